"""A run against what was foretold of it: rows, and the shares of the time within the ranges."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pydantic import ValidationError
from sqlalchemy import Connection

from daemon.api.rehearsal.rehearsal_words import span
from daemon.api.report import Report, Row
from daemon.api.sentence import duration
from daemon.api.socket.rehearsal import CurveMessage, RangeMessage, Rehearsal
from daemon.bath.cost import energy_by_means
from daemon.control.notices import OFF_REHEARSAL
from daemon.record import foretold, queries
from daemon.record.errors import NotForetoldError
from daemon.record.queries import Run, StageResult
from daemon.record.recovery import RUNNING
from daemon.record.series import Series, series

POINTS = 240
"""Points of a run that are compared."""


@dataclass(frozen=True, slots=True)
class After:
    """A run and its rehearsal. `events` are the notices that were given, each with its words."""

    run: Run
    stages: tuple[StageResult, ...]
    series: Series
    rehearsal: Rehearsal
    events: tuple[str, ...] = ()


def read_after(connection: Connection, run_id: int) -> After:
    """A run that was foretold, out of the record. Raises RecordError."""
    run = queries.one_run(connection, run_id)
    text = foretold.foretold(connection, run_id)
    if text is None:
        raise NotForetoldError(f"run {run_id} {_why_none(connection, run)}")
    try:
        told = Rehearsal.model_validate_json(text)
    except ValidationError as error:
        reason = "was foretold by another version of tankhand, whose words are not known here"
        raise NotForetoldError(f"run {run_id} {reason}") from error
    return After(
        run,
        tuple(queries.stages(connection, run_id)),
        series(connection, run_id, 0.0, max(run.elapsed_s, 1.0), POINTS),
        told,
        foretold.told_during(connection, run_id, OFF_REHEARSAL),
    )


def _why_none(connection: Connection, run: Run) -> str:
    why = foretold.told_during(connection, run.id, foretold.NOT_FORETOLD)
    if why:
        return f"has no rehearsal: {why[-1]}"
    return "was not foretold: it ended within a minute, or an earlier version ran it"


def compared(after: After) -> Report:
    """What was foretold beside what happened."""
    run, told = after.run, after.rehearsal
    return Report(tuple(_rows(after)), _warnings(run, told))


def _rows(after: After) -> Iterator[Row]:
    run, told = after.run, after.rehearsal
    yield Row("run", f"{run.id}, {run.title}, {run.state}")
    if told.duration_s is not None:
        took_s = run.elapsed_s if run.running_s is None else run.running_s
        said = f"after {duration(took_s)} of plating; foretold {span(told.duration_s)}"
        yield Row("over", f"{said}{_within(took_s, told.duration_s, run.state == 'complete')}")
    if told.charge_ah is not None:
        yield Row("charge", f"{run.charge_ah:.4g} Ah; foretold {_range(told.charge_ah, 'Ah')}")
    energy_kwh = energy_by_means(after.series).cell_kwh
    if told.energy_kwh is not None:
        scale, unit = (1.0, "kWh") if told.energy_kwh.middle >= 0.1 else (1000.0, "Wh")
        cell = RangeMessage(
            least=scale * told.energy_kwh.least,
            middle=scale * told.energy_kwh.middle,
            greatest=scale * told.energy_kwh.greatest,
        )
        yield Row(
            "energy",
            f"{scale * energy_kwh:.3g} {unit} in the cell; foretold {_range(cell, unit)}",
        )
    for name, word in (("Voltage", "voltage"), ("Bath", "bath")):
        share = within(after, name)
        if share is not None:
            yield Row(word, f"within what was foretold for {100 * share:.0f} % of the time")
    yield from _stage_rows(after)
    for place, text in enumerate(after.events):
        yield Row("" if place else "told then", text)
    if run.state != RUNNING:
        yield Row("learned", "the next rehearsal of this bath is fitted to this run too")


def _stage_rows(after: After) -> Iterator[Row]:
    by_name = {each.name: each for each in after.rehearsal.stages}
    for place, each in enumerate(after.stages):
        said = f"{each.name}: ended by {each.ended_by} after {duration(each.ended_s)}"
        told = by_name.get(each.name)
        if told is not None:
            said += f"; foretold {span(told.ends_s)}, by {told.ended_by}"
        yield Row("" if place else "stages", said)


def _warnings(run: Run, told: Rehearsal) -> tuple[str, ...]:
    found = []
    if run.state == RUNNING:
        found.append("the run is under way: this is how it stands so far")
    elif run.state != "complete":
        found.append(f"the run did not reach its target: {run.reason or run.state}")
    if told.because:
        found.append(f"it was foretold that it would not work: {told.because[0]}")
    return tuple(found)


def within(after: After, name: str) -> float | None:
    """The share of a run's points at which a curve's range held the mean; None without any.

    name: "Voltage" or "Bath".
    """
    curve = next((each for each in after.rehearsal.curves if each.name == name), None)
    if curve is None:
        return None
    seen = after.series
    means = seen.voltage_v.mean if name == "Voltage" else seen.temperature_c.mean
    held = []
    for first_s, last_s, value in zip(seen.first_s, seen.last_s, means, strict=True):
        band = _band_at(curve, after.rehearsal.times_s, (first_s + last_s) / 2)
        if value is not None and band is not None:
            held.append(band[0] <= value <= band[1])
    return sum(held) / len(held) if held else None


def _band_at(
    curve: CurveMessage, times_s: Sequence[float], at_s: float
) -> tuple[float, float] | None:
    """Least and greatest at a time, on straight lines; None where nothing was foretold."""
    right = bisect_right(times_s, at_s)
    if right == 0 or right == len(times_s):
        return None
    share = (at_s - times_s[right - 1]) / (times_s[right] - times_s[right - 1])
    found = []
    for values in (curve.least, curve.greatest):
        before, after = values[right - 1], values[right]
        if before is None or after is None:
            return None
        found.append(before + (after - before) * share)
    return found[0], found[1]


def _range(found: RangeMessage, unit: str) -> str:
    least, middle, most = (f"{each:.3g}" for each in (found.least, found.middle, found.greatest))
    return f"{middle} {unit}" if least == most else f"{middle} {unit} ({least} to {most})"


def _within(value: float, found: RangeMessage, complete: bool) -> str:
    if not complete:
        return ""
    return ", within it" if found.least <= value <= found.greatest else ", outside of it"
