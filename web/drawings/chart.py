"""The run's chart: columns for the script, and the same drawn as plain lines for everybody else."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, log10
from statistics import median

from daemon.api.runs.course import RunCourse
from daemon.api.socket.rehearsal import Rehearsal
from daemon.record.series import Series
from daemon.record.summary import GAP_LIMIT_S
from web.drawings.lines import HEIGHT, WIDTH, area, path, unbroken
from web.language import gettext as _
from web.units import converter, sign

USUAL_TIMES = 4
"""A silence this many times as long as the run's usual one is a gap: a supply may be slow."""

DRAWN = ("current", "voltage", "thickness")
"""What a rehearsal foretells of what is drawn, as the columns call it."""

Values = list[float | None]


@dataclass(frozen=True, slots=True)
class Panel:
    """One channel, drawn. `line`, `band` and `foretold` are SVG path data.

    `top` labels the upper edge; the lower one is 0. `band` reaches from least to greatest of what
    was read, and is empty for thickness and charge; `foretold` is where it was expected, empty
    where nothing was foretold.
    """

    name: str
    unit: str
    top: str
    line: str
    band: str
    foretold: str = ""


def columns(series: Series) -> dict[str, Values]:
    """Turn a series into columns: `t` in s since the start, current in A, voltage in V, charge Ah.

    Where the run was not read for longer than the gap limit, and for much longer than is usual in
    it, a row of None breaks the lines.
    """
    after_gap = _after_gaps(series)

    def broken(values: Sequence[float | None], digits: int) -> Values:
        column: Values = []
        for gap, value in zip(after_gap, values, strict=True):
            column += [None] if gap else []
            column.append(None if value is None else round(value, digits))
        return column

    return {
        "t": broken(series.last_s, 2),
        "current_least": broken(series.current_a.least, 4),
        "current_mean": broken(series.current_a.mean, 4),
        "current_most": broken(series.current_a.greatest, 4),
        "voltage_least": broken(series.voltage_v.least, 4),
        "voltage_mean": broken(series.voltage_v.mean, 4),
        "voltage_most": broken(series.voltage_v.greatest, 4),
        "charge": broken(series.charge_ah, 5),
    }


def course_columns(course: RunCourse) -> dict[str, Values]:
    """Add to the columns `thickness` where the record can tell, and what was foretold.

    That has times of its own, `foretold_t`, within those of the readings, and for each of current,
    voltage and thickness two columns, `foretold_current_least` and so on. Thicknesses are in the
    reader's units.
    """
    data = columns(course.series)
    if course.um_per_ah is not None:
        thickness = grown(data["charge"], course.um_per_ah, course.before_ah)
        data["thickness"] = [None if um is None else round(um, 4) for um in thickness]
    if course.rehearsal is not None and course.series.last_s:
        data |= _foretold(course.rehearsal, course.series.first_s[0], course.series.last_s[-1])
    if sign("µm") == "µm":
        return data
    into = converter("µm")
    return {
        key: [None if v is None else round(into(v), 6) for v in values]
        if key.removeprefix("foretold_").startswith("thickness")
        else values
        for key, values in data.items()
    }


def grown(charge_ah: Values, um_per_ah: float, before_ah: float) -> Values:
    """The thickness that a run's charge has come to, µm, on a part that had `before_ah` already."""
    return [None if ah is None else um_per_ah * (before_ah + ah) for ah in charge_ah]


def panels(course: RunCourse) -> tuple[Panel, ...]:
    """Draw current, voltage and thickness over the time that was read; none where nothing was.

    Where the thickness is not known it is the charge.
    """
    seen = course.series
    if not seen.last_s:
        return ()
    data = course_columns(course)
    across = _Across(seen.first_s[0], seen.last_s[-1])
    last = (
        across.panel(_("Thickness"), sign("µm"), data, "thickness")
        if "thickness" in data
        else across.panel(_("Charge"), "Ah", data, "charge")
    )
    return (
        across.panel(_("Current"), "A", data, "current"),
        across.panel(_("Voltage"), "V", data, "voltage"),
        last,
    )


@dataclass(frozen=True, slots=True)
class _Across:
    """The width of the drawing, which is the time between two moments, s."""

    start_s: float
    end_s: float

    def panel(self, name: str, unit: str, data: dict[str, Values], key: str) -> Panel:
        """Draw the columns that begin with `key`."""
        read = [data.get(f"{key}_least"), data.get(f"{key}_most")]
        told = [data.get(f"foretold_{key}_least"), data.get(f"foretold_{key}_most")]
        middle = data.get(f"{key}_mean", data.get(key, []))
        top = _top(
            max((v for each in (middle, read[1], told[1]) for v in each or () if v is not None),
                default=0.0)
        )  # fmt: skip
        x, told_x = self._places(data["t"]), self._places(data.get("foretold_t", []))
        return Panel(
            name,
            unit,
            f"{top:g}",
            "".join(map(path, unbroken(x, _heights(middle, top)))),
            _between(x, *read, top=top),
            _between(told_x, *told, top=top),
        )

    def _places(self, times_s: Values) -> Values:
        wide_s = max(self.end_s - self.start_s, 1.0)
        return [None if t is None else WIDTH * (t - self.start_s) / wide_s for t in times_s]


def _foretold(told: Rehearsal, start_s: float, end_s: float) -> dict[str, Values]:
    """What was foretold between two moments, at its own times and at both ends."""
    if not told.times_s:
        return {}
    last_s = min(end_s, told.times_s[-1])
    times = [start_s, *(t for t in told.times_s if start_s < t < last_s), last_s]
    if last_s <= start_s:
        return {}
    data: dict[str, Values] = {"foretold_t": [round(t, 2) for t in times]}
    for curve in told.curves:
        if (key := curve.name.lower()) in DRAWN:
            for edge, values in (("least", curve.least), ("most", curve.greatest)):
                data[f"foretold_{key}_{edge}"] = [_at(told.times_s, values, t) for t in times]
    return data


def _at(times_s: Sequence[float], values: Sequence[float | None], at_s: float) -> float | None:
    """The value at a moment, on the straight line between its neighbours; None beside a None."""
    after = bisect_left(times_s, at_s)
    if after == len(times_s):
        return None
    after_s, later = times_s[after], values[after]
    if later is None or after_s == at_s:
        return None if later is None else round(later, 4)
    if after == 0 or (earlier := values[after - 1]) is None:
        return None
    before_s = times_s[after - 1]
    share = (at_s - before_s) / (after_s - before_s)
    return round(earlier + share * (later - earlier), 4)


def _after_gaps(series: Series) -> list[bool]:
    """For each point, whether a gap lies before it."""
    if not series.last_s:
        return []
    silences_s = [
        first_s - last_s for first_s, last_s in zip(series.first_s[1:], series.last_s, strict=False)
    ]
    limit_s = max(GAP_LIMIT_S, USUAL_TIMES * median(silences_s)) if silences_s else GAP_LIMIT_S
    return [False, *(silence_s > limit_s for silence_s in silences_s)]


def _between(x: Values, least: Values | None, most: Values | None, *, top: float) -> str:
    """Draw the area between two columns; nothing where they are not there."""
    if least is None or most is None:
        return ""
    return area(unbroken(x, _heights(most, top)), unbroken(x, _heights(least, top)))


def _top(greatest: float) -> float:
    """Find the next 1, 2, 3, 4, 5 or 8 times a power of ten not below `greatest`; 1 for nothing."""
    if greatest <= 0:
        return 1.0
    power = 10.0 ** floor(log10(greatest))
    return next(m * power for m in (1.0, 2.0, 3.0, 4.0, 5.0, 8.0, 10.0) if m * power >= greatest)


def _heights(values: Values, top: float) -> Values:
    return [None if v is None else HEIGHT * (1 - max(0.0, v) / top) for v in values]
