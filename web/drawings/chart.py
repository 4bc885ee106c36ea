"""The run's chart: columns for the script, and the same drawn as plain lines for everybody else."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, log10
from statistics import median

from daemon.record.series import Series
from daemon.record.summary import GAP_LIMIT_S
from web.language import gettext as _

WIDTH, HEIGHT = 1000, 100
"""The plain drawing's own units; the page stretches it to the space there is."""

USUAL_TIMES = 4
"""A silence this many times as long as the run's usual one is a gap: a supply may be slow."""

Values = list[float | None]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Panel:
    """One channel, drawn. `line` and `band` are SVG path data, `top` labels the upper edge.

    The lower edge is 0. `band` reaches from least to greatest and is empty for the charge.
    """

    name: str
    unit: str
    top: str
    line: str
    band: str


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


def panels(series: Series) -> tuple[Panel, ...]:
    """Draw current, voltage and charge over the time of the series; none when it is empty."""
    if not series.last_s:
        return ()
    data = columns(series)
    start, end = series.first_s[0], series.last_s[-1]
    x = [None if t is None else WIDTH * (t - start) / max(end - start, 1.0) for t in data["t"]]
    return (
        _panel(
            _("Current"), "A", x, data["current_mean"], data["current_least"], data["current_most"]
        ),
        _panel(
            _("Voltage"), "V", x, data["voltage_mean"], data["voltage_least"], data["voltage_most"]
        ),
        _panel(_("Charge"), "Ah", x, data["charge"], None, data["charge"]),
    )


def _after_gaps(series: Series) -> list[bool]:
    """For each point, whether a gap lies before it."""
    if not series.last_s:
        return []
    silences_s = [
        first_s - last_s for first_s, last_s in zip(series.first_s[1:], series.last_s, strict=False)
    ]
    limit_s = max(GAP_LIMIT_S, USUAL_TIMES * median(silences_s)) if silences_s else GAP_LIMIT_S
    return [False, *(silence_s > limit_s for silence_s in silences_s)]


def _panel(
    name: str, unit: str, x: Values, mean: Values, least: Values | None, most: Values
) -> Panel:
    top = _top(max((v for v in most if v is not None), default=0.0))
    line = "".join(_path(part) for part in _parts(x, _heights(mean, top)))
    band = ""
    if least is not None:
        edges = zip(_parts(x, _heights(least, top)), _parts(x, _heights(most, top)), strict=True)
        band = "".join(f"{_path(upper + lower[::-1])}Z" for lower, upper in edges)
    return Panel(name, unit, f"{top:g}", line, band)


def _top(greatest: float) -> float:
    """Find the next 1, 2, 3, 4, 5 or 8 times a power of ten not below `greatest`; 1 for nothing."""
    if greatest <= 0:
        return 1.0
    power = 10.0 ** floor(log10(greatest))
    return next(m * power for m in (1.0, 2.0, 3.0, 4.0, 5.0, 8.0, 10.0) if m * power >= greatest)


def _heights(values: Values, top: float) -> Values:
    return [None if v is None else HEIGHT * (1 - max(0.0, v) / top) for v in values]


def _parts(x: Values, y: Values) -> list[list[Point]]:
    """Split a line where a value is missing."""
    parts: list[list[Point]] = [[]]
    for across, down in zip(x, y, strict=True):
        if across is None or down is None:
            parts.append([])
        else:
            parts[-1].append((across, down))
    return [part for part in parts if part]


def _path(points: list[Point]) -> str:
    return "M" + "L".join(f"{across:.0f} {down:.1f}" for across, down in points)
