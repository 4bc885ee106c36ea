"""What the page shows, in words: every figure formatted once, for the first view and every poll.

The script only puts these texts in their places, so the page says the same with and without it.
Times are clock times in the reader's zone; a figure that is not known is a dash, never 0.
"""

from dataclasses import dataclass
from datetime import tzinfo

from daemon.api import meters, pump_words
from daemon.api.bath import due_words
from daemon.api.rounding import thickness_figures
from daemon.api.sentence import (
    DAEMON_DOWN,
    Level,
    Word,
    clock,
    dated,
    duration,
    finish,
    is_stale,
    of_target,
    utc_of,
    word,
)
from daemon.api.socket.messages import DueStatus, RunStatus, Status
from daemon.control.states import ALLOWED, Act, State
from web.drawings.section import share
from web.language import gettext as _
from web.typography import UNKNOWN
from web.units import in_units, number, units


@dataclass(frozen=True, slots=True)
class View:
    """The changing part of the page.

    `texts` go to the places named by their keys; `acts` are those possible now, stop always among
    them, and an empty one hides an optional place. `copper` is the deposit's share of the drawn
    section, 0 to 1, and `doubt` that of its ±. `alarms` changes whenever an alarm does. `run_id` is
    None before the first run, `stages` each stage's state in order.
    """

    level: Level
    state: str
    run_id: int | None
    texts: dict[str, str]
    acts: tuple[str, ...]
    stages: tuple[str, ...]
    copper: float
    doubt: float
    alarms: str = ""


def silent_view() -> View:
    """Tell that the daemon does not answer: no figure at all, and nothing to press but stop."""
    texts = _spoken(DAEMON_DOWN) | {"title": _("No answer")}
    return View(DAEMON_DOWN.level, "unknown", None, texts, (Act.STOP.value,), (), 0.0, 0.0)


def view_of(status: Status, zone: tzinfo | None) -> View:
    """Put a status into words, with clock times in `zone`; None is the machine's own."""
    said = word(status, zone)
    run = status.run
    texts = _spoken(said) | _supply(status) | _devices(status)
    texts["pump"] = in_units(pump_words.short(status, zone))
    texts["clock_rate"] = _clock_rate(status, zone)
    if run is not None:
        texts |= _run(status, run, zone)
    return View(
        level=said.level,
        state=status.state,
        run_id=run.run_id if run else None,
        texts=texts | {"title": _title(said, run)},
        acts=_acts(status),
        stages=tuple(stage.state for stage in run.stages) if run else (),
        copper=round(share(run.thickness_um, run), 4) if run else 0.0,
        doubt=round(share(run.thickness_u95_um, run), 4) if run else 0.0,
        alarms=alarm_key(status),
    )


def alarm_key(status: Status) -> str:
    """What changes whenever an alarm does: the script then fetches them anew."""
    return "; ".join(f"{a.number} {a.life} {a.times} {a.acknowledged_by}" for a in status.alarms)


def _acts(status: Status) -> tuple[str, ...]:
    state = State(status.state)
    return tuple(
        act.value
        for act in Act
        if act is Act.STOP or (act is not Act.START and state in ALLOWED[act])
    )


def _spoken(said: Word) -> dict[str, str]:
    parts = {"what": said.what, "figures": said.figures, "need": said.need}
    return {key: in_units(text) for key, text in parts.items()}


def _title(said: Word, run: RunStatus | None) -> str:
    what = said.what.rstrip(".")
    if run is None or said.level == "alarm":
        return what
    return in_units(f"{of_target(run)}, {what[0].lower()}{what[1:]}")


def _supply(status: Status) -> dict[str, str]:
    stale = is_stale(status)
    return {
        "current": UNKNOWN if stale else _number(status.current_a, 2),
        "voltage": UNKNOWN if stale else _number(status.voltage_v, 2),
        "mode": (status.mode or "") if status.output_on else "",
        "set_current": _("output on") if status.output_on else _("output off"),
        "set_voltage": "",
        "density": "",
        "bath_charge": _number(status.bath_charge_ah, 1),
        "proving": "" if status.proving is None else _("A proof test is under way:"),
        "due": in_units(due_words.short(status.dues)),
    } | {f"dose_{place}": _dose(status, due) for place, due in enumerate(status.dues)}


def _dose(status: Status, due: DueStatus) -> str:
    """Whether a dose is due that somebody has to give: one that a pump will give is nobody's."""
    by_pump = any(pump.additive == due.name and not pump.kept_utc for pump in status.pumps)
    return "due" if due.doses and not by_pump else ""


def _devices(status: Status) -> dict[str, str]:
    """What other meters and thermometers say, where there are any."""
    found = {"meters": "", "ripple": "", "swing": "", "temperature": "", "thermometers": ""}
    if len(status.meters) > 1:
        found["meters"] = meters.agreement(status)
    looks = sorted(status.meters, key=lambda meter: not meter.counts)
    for look in (meter.ripple for meter in looks if not meters.is_silent(meter, status)):
        if look is not None and look.rms_percent is not None:
            found["ripple"] = f"{look.rms_percent:.1f}"
            found["swing"] = _(
                "rms, %(percent)s %% peak to peak",
                percent=f"{look.peak_to_peak_percent:.1f}",
            )
            break
    if status.thermometers:
        first, *others = sorted(status.thermometers, key=lambda seen: "bath" not in seen.name)
        old = meters.is_warmth_old(first, status.rate)
        found["temperature"] = UNKNOWN if old else number(f"{first.temperature_c:z.1f}", "°C")
        told = [first.name + (f" {meters.temperature(first, status.rate)}" if old else "")]
        told += [f"{seen.name} {meters.temperature(seen, status.rate)}" for seen in others]
        found["thermometers"] = in_units("; ".join(told))
    return found


def _run(status: Status, run: RunStatus, zone: tzinfo | None) -> dict[str, str]:
    now, done = utc_of(status.utc), None if is_stale(status) else finish(status)
    under_way = done is not None and run.remaining_s is not None
    value, doubt = thickness_figures(run, units())
    set_points = {
        "set_current": _("set %(current)s A", current=f"{run.set_current_a:.2f}"),
        "set_voltage": _("ceiling %(voltage)s V", voltage=f"{run.set_voltage_v:.2f}"),
        "density": _density(status, run),
    }
    return (set_points if status.output_on else {}) | {
        "thickness": value,
        "doubt": f"± {doubt}" if doubt else "",
        "to_go": duration(run.remaining_s or 0.0) if under_way else UNKNOWN,
        "done": _("done %(at)s", at=clock(done, now, zone)) if done else "",
        "charge": _number(run.charge_ah, 3),
        "gap": _gap(run),
        "mass": in_units(f"{run.mass_g:.2f} g {run.metal}"),
        "running": duration(run.running_s),
        "since": _("since %(at)s", at=clock(utc_of(run.started_utc), now, zone)),
        "over": "over" if State(status.state) in (State.STOPPED, State.COMPLETE) else "",
        "stage": _("%(stage)s of %(stages)s", stage=run.stage + 1, stages=len(run.stages)),
    }


def _density(status: Status, run: RunStatus) -> str:
    if is_stale(status) or status.current_a is None:
        return ""
    return in_units(f"{status.current_a / run.area_dm2:z.2f} A/dm²")


def _gap(run: RunStatus) -> str:
    if not run.gap_charge_ah:
        return ""
    return _("%(charge)s Ah in doubt: not read", charge=f"{run.gap_charge_ah:.3f}")


def _clock_rate(status: Status, zone: tzinfo | None) -> str:
    if status.rate == 1:
        return ""
    return _(
        "Simulated tank, clock runs %(rate)s times as fast. It is %(time)s there.",
        rate=f"{status.rate:g}",
        # It soon has another day than its reader.
        time=dated(utc_of(status.utc).astimezone(zone)),
    )


def _number(value: float | None, digits: int) -> str:
    return UNKNOWN if value is None else f"{value:z.{digits}f}"
