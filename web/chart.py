"""The run's chart: columns for the script, and the same drawn as plain lines for everybody else."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, log10

from daemon.record.series import Bands, Series
from daemon.record.summary import GAP_LIMIT_S

WIDTH, HEIGHT = 1000, 100
"""The plain drawing's own units; the page stretches it to the space there is."""

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

    Where the run was not read for longer than the gap limit, a row of None breaks the lines.
    """
    return {
        "t": _broken(series, series.last_s, 2),
        **_banded("current", series, series.current_a),
        **_banded("voltage", series, series.voltage_v),
        "charge": _broken(series, series.charge_ah, 5),
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
            "Current", "A", x, data["current_mean"], data["current_least"], data["current_most"]
        ),
        _panel(
            "Voltage", "V", x, data["voltage_mean"], data["voltage_least"], data["voltage_most"]
        ),
        _panel("Charge", "Ah", x, data["charge"], None, data["charge"]),
    )


def _banded(name: str, series: Series, bands: Bands) -> dict[str, Values]:
    return {
        f"{name}_least": _broken(series, bands.least, 4),
        f"{name}_mean": _broken(series, bands.mean, 4),
        f"{name}_most": _broken(series, bands.greatest, 4),
    }


def _broken(series: Series, values: Sequence[float | None], digits: int) -> Values:
    """Round the values, with a None before each that follows a gap."""
    column: Values = []
    ends = (None, *series.last_s)
    for before_s, first_s, value in zip(ends, series.first_s, values, strict=False):
        if before_s is not None and first_s - before_s > GAP_LIMIT_S:
            column.append(None)
        column.append(None if value is None else round(value, digits))
    return column


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
