"""Records with runs of known figures, for the tests and pictures of the pages about runs.

All is round, so that it can be worked out by hand: 2 A over half a dm², an hour long, counted by a
meter whose gain may be off by a standard uncertainty of 1 %. By Faraday's law 2 Ah deposit
2.3710 g, which are 52.92 µm of copper of 8.96 g/cm³ on 0.5 dm² (63.546 g/mol, 96485.33 C/mol).
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from daemon.api.socket.rehearsal import CurveMessage, RangeMessage, Rehearsal, StageForeseen
from daemon.bath.description import Additive, Description, Prices
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.record.entries import (
    AlarmChanged,
    AlarmRaised,
    BathEntered,
    CloseUpTaken,
    CountedBy,
    Entry,
    Noted,
    Part,
    Reckoning,
    RunEnded,
    RunOpened,
    Sample,
    StageEnded,
    Trace,
    TraceReading,
)
from daemon.record.writer import Writer

STARTED_MS = 1_772_395_200_000
"""1 March 2026, 20:00 UTC."""

HOUR_MS, DAY_MS = 3_600_000, 86_400_000

PLAN = """\
title = "Lamp foot"
metal = "Cu(II)"
area = "0.5 dm²"
area_uncertainty = "5 %"
efficiency = "100 %"
target = "52.92 µm"
voltage_ceiling = "6 V"
caps = { charge = "5 Ah", duration = "10 h" }

[[stage]]
name = "strike"
current = "1 A"
until = { duration = "20 min" }

[[stage]]
name = "build"
current = "2.5 A"
"""


def begun(run_id: int = 12, **changes: Any) -> RunOpened:
    fields: dict[str, Any] = {
        "run_id": run_id,
        "bath": "Copper 1",
        "title": "Lamp foot",
        "plan": PLAN,
        "metal": "Cu",
        "area_dm2": 0.5,
        "target_um": 52.92,
        "who": "anna",
        "utc_ms": STARTED_MS,
        "monotonic_s": 100.0,
        "boot_id": "boot",
        "clock_synchronised": True,
        "counted_by": CountedBy("shunt", 1.01, 0.004, None, MeterDoubt(gain=0.01)),
        "reckoning": Reckoning(0.0, 1.0, 0.0),
    }
    return RunOpened(**(fields | changes))


def over(run_id: int = 12, **changes: Any) -> RunEnded:
    fields: dict[str, Any] = {
        "run_id": run_id,
        "state": "complete",
        "reason": "target reached",
        "utc_ms": STARTED_MS + HOUR_MS,
        "elapsed_s": 3600.0,
        "running_s": 3600.0,
        "charge_ah": 2.0,
        "gap_least_ah": 0.0,
        "gap_greatest_ah": 0.0,
        "mass_g": 2.3710,
        "thickness_um": 52.92,
    }
    return RunEnded(**(fields | changes))


def readings(run_id: int = 12, every_s: float = 4.0, **changes: Any) -> Iterator[Sample]:
    """20 min at 1 A and 1.5 V, then 40 min at 2.5 A and 2 V: a third and five thirds of an Ah."""
    until_s = changes.get("until_s", 3600.0)
    charge_ah = before_a = 0.0
    for k in range(round(until_s / every_s) + 1):
        at_s = k * every_s
        current_a, voltage_v = (1.0, 1.5) if at_s <= 1200.0 else (2.5, 2.0)
        if k:
            # The step from 1 A to 2.5 A falls between two readings, and is counted as it was.
            charge_ah += (before_a if at_s <= 1200.0 else 2.5) * every_s / 3600
        before_a = current_a
        yield Sample(run_id, at_s, current_a, voltage_v, current_a, charge_ah, changes.get("t_c"))


def stages(run_id: int = 12) -> list[Entry]:
    return [
        StageEnded(run_id, 0, "strike", 0.0, 1200.0, 1 / 3, "duration"),
        StageEnded(run_id, 1, "build", 1200.0, 3600.0, 5 / 3, "target"),
    ]


def a_run(run_id: int = 12, **changes: Any) -> list[Entry]:
    """A complete run of an hour; `opened` and `ended` change its two ends."""
    opened, ended = changes.get("opened", {}), changes.get("ended", {})
    return [
        begun(run_id, **opened),
        *readings(run_id, changes.get("every_s", 4.0)),
        *stages(run_id),
        over(run_id, **ended),
    ]


def keep(path: Path, *entries: Entry) -> None:
    """Put entries into the record at `path`, made where there is none."""
    writer = Writer(path, threaded=False)
    for each in entries:
        writer.put(each)
    writer.flush()
    writer.close()


LONG = "Bracket, left, third try, hung by two hooks of 2 mm, masked at the thread " * 2
RTL = "\u05de\u05e0\u05d5\u05e8\u05d4 (lamp) \U0001f4a1"


def keep_nights(path: Path) -> None:
    """Nights as somebody may have had them, with names that are hard to set."""
    titles = ("Lamp foot", "Door knob, 4 of them", LONG, "Lamp foot", RTL, "<b>Handle</b>")
    short = "short: 0.11 V at 3.50 A; 2.21 V a second before"
    ends: tuple[dict[str, Any], ...] = (
        {},
        {"state": "stopped", "reason": "stopped by anna", "thickness_um": 31.4},
        {"state": "aborted", "reason": short, "thickness_um": 3.21, "elapsed_s": 900.0},
    )
    entries: list[Entry] = []
    for number in range(1, 61):
        at_ms = STARTED_MS + (number - 60) * DAY_MS
        title = titles[number % len(titles)]
        entries += a_run(
            number,
            every_s=600.0,
            opened={"utc_ms": at_ms, "title": title, "bath": f"Copper {1 + number % 2}"},
            ended={"utc_ms": at_ms + HOUR_MS, **ends[number % len(ends)]},
        )
        if number % len(ends) == 2:
            alarm = AlarmRaised(number, number, "short", "high", short[7:], {}, at_ms, 5.0, "boot")
            entries.insert(-1, alarm)
    keep(path, *entries, begun(61, utc_ms=STARTED_MS + DAY_MS, title="Under way"))


def foretold() -> Rehearsal:
    """What the run was foretold: its own curves, ± 10 %."""
    times = tuple(60.0 * k for k in range(61))

    def curve(name: str, unit: str, at: Callable[[float], float], share: float) -> CurveMessage:
        middle = tuple(at(t) for t in times)
        least, greatest = (tuple(v * (1 + s) for v in middle) for s in (-share, share))
        return CurveMessage(name=name, unit=unit, middle=middle, least=least, greatest=greatest)

    def between(middle: float) -> RangeMessage:
        return RangeMessage(least=0.9 * middle, middle=middle, greatest=1.1 * middle)

    def stage(name: str, current_a: float, begins_s: float, ends_s: float, by: str) -> Any:
        return StageForeseen(
            name=name, current_a=current_a, begins_s=between(begins_s), ends_s=between(ends_s),
            charge_ah=between(current_a * (ends_s - begins_s) / 3600), voltage_v=between(2.0),
            ended_by=by, draws=39,
        )  # fmt: skip

    return Rehearsal(
        title="Lamp foot", bath="Copper 1", target_um=52.92, area_dm2=0.5, because=(), draws=39,
        completes=39, duration_s=between(3600.0), charge_ah=between(2.0),
        stages=(stage("strike", 1.0, 0.0, 1200.0, "duration"),
                stage("build", 2.5, 1200.0, 3600.0, "target")),
        times_s=times,
        curves=(
            curve("Current", "A", lambda t: 1.0 if t <= 1200 else 2.5, 0.02),
            curve("Voltage", "V", lambda t: 1.6 if t <= 1200 else 2.1, 0.1),
            curve("Bath", "°C", lambda t: 22.0 + t / 1800, 0.03),
            curve("Thickness", "µm", lambda t: 52.92 * (t / 7200 if t <= 1200 else
                                                        (1 / 6 + 5 / 6 * (t - 1200) / 2400)), 0.03),
        ),
    )  # fmt: skip


def a_short(number: int, run_id: int = 12, *, after_s: float = 2400.0) -> list[Entry]:
    """An alarm so long after the start, its life, and its close-up."""
    at_ms, at_s = STARTED_MS + round(1000 * after_s), 100.0 + after_s
    seen = "the voltage fell from 2.00 V to 1.61 V at 2.50 A, and is restless"
    readings = tuple(
        TraceReading(at_s + k / 2, 2.5, 2.0 if k < 0 else 1.61 + 0.05 * (k % 3), 2.5)
        for k in range(-120, 60)
    )

    def part(which: Part, low: int, high: int, from_s: float, to_s: float) -> CloseUpTaken:
        trace = Trace("shunt", True, readings[low:high])
        return CloseUpTaken(number, which, at_s, from_s, to_s, (trace,))

    return [
        AlarmRaised(number, run_id, "whisker", "medium", seen, {}, at_ms, at_s, "boot"),
        part(Part.BEFORE, 0, 120, -60.0, 0.0),
        part(Part.AFTER, 120, 180, 0.0, 30.0),
        AlarmChanged(number, "acknowledged", "anna", at_ms + 60_000, at_s + 60.0),
        AlarmChanged(number, "returned", None, at_ms + 90_000, at_s + 90.0),
        AlarmChanged(number, "cleared", None, at_ms + 90_000, at_s + 90.0),
    ]


PRICED = Description(
    "Copper 1",
    volume_l=15.0,
    additives=(Additive("brightener", 150.0, 5.0),),
    prices=Prices("EUR", 12.5, 0.32, {"brightener": 38.0}),
)


def keep_report(path: Path) -> None:
    """Run 12 with all that a report can tell: rehearsal, alarms, doses, a weighing, prices."""
    data: Any = {"rehearsal": foretold().model_dump_json()}
    entries = a_run()
    opened, rest = entries[0], entries[1:]
    told = [
        Noted(12, kind, text, STARTED_MS + round(1000 * at_s), 100.0 + at_s, given)
        for at_s, kind, text, given in (
            (0.4, "run started", "Lamp foot, by anna", {}),
            (60.0, "foretold", "would work", data),
            (1200.0, "stage ended", "strike: ended by duration", {}),
            (2000.0, "gap", "no reading for 1.4 s: 0 to 0.001 Ah", {}),
            (3600.0, "run ended", "target reached", {}),
        )
    ]
    keep(path, opened, *rest[:-1], *told, *a_short(1), *a_short(2, after_s=3000.0), rest[-1])
    before_ms, dose_ms = STARTED_MS - DAY_MS, STARTED_MS + 1_800_000
    details = {
        "metal": "Cu(II)", "charge_ah": 2.0, "efficiency": 0.9741, "u_own": 0.001,
        "u_common": 0.01, "counts": True,
    }  # fmt: skip
    weighed = {"what": "part", "before_g": 24.31, "after_g": 26.62, "details": details}
    writer = Writer(path, threaded=False)
    for each in (
        BathEntered("Copper 1", "description", "tankhand", before_ms, before_ms,
                    facts=PRICED.to_json()),
        BathEntered("Copper 1", "dose", "anna", before_ms, before_ms, {"brightener": 5.0}),
        BathEntered("Copper 1", "dose", "anna", dose_ms, dose_ms,
                    {"brightener": 5.0, "volume": 0.005}, note="=HYPERLINK(\"http://x\")"),
        BathEntered("Copper 1", "weighing", "ben", STARTED_MS + DAY_MS, STARTED_MS + DAY_MS,
                    facts=weighed, run_id=12),
    ):  # fmt: skip
        writer.keep_bath_entry(each)
    writer.close()
