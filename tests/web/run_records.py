"""Records with runs of known figures, for the tests and pictures of the pages about runs.

All is round, so that it can be worked out by hand: 2 A over half a dm², an hour long, counted by a
meter whose gain may be off by a standard uncertainty of 1 %. By Faraday's law 2 Ah deposit
2.3713 g, which are 52.93 µm of copper of 8.96 g/cm³ on 0.5 dm² (63.546 g/mol, 96485.33 C/mol).
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from daemon.chemistry.uncertainty import MeterDoubt
from daemon.record.entries import (
    AlarmRaised,
    CountedBy,
    Entry,
    Reckoning,
    RunEnded,
    RunOpened,
    Sample,
    StageEnded,
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
target = "52.93 µm"
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
        "target_um": 52.93,
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
        "mass_g": 2.3713,
        "thickness_um": 52.93,
    }
    return RunEnded(**(fields | changes))


def readings(run_id: int = 12, every_s: float = 10.0, **changes: Any) -> Iterator[Sample]:
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
        *readings(run_id, changes.get("every_s", 10.0)),
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
