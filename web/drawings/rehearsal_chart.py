"""A rehearsal's curves as plain drawings: the range, its middle, and what happened where known.

Everything across is a share of the drawing's width, everything down one of its height. Pure.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from daemon.api.rehearsal.after import After
from daemon.api.socket.rehearsal import CurveMessage, Rehearsal
from daemon.record.series import Series
from web.drawings.scale import Tick, decimals, scale, step_of, steps
from web.language import gettext as _

WIDTH, HEIGHT = 1000, 100
"""The lines' own units; the page stretches them to the space there is."""

FROM_NOTHING = frozenset({"Current", "Voltage", "Thickness"})
"""Curves whose scale begins at 0."""

Values = Sequence[float | None]


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity: path data of the range, the middle and what happened; its scale; in words."""

    name: str
    unit: str
    band: str
    line: str
    real: str
    ticks: tuple[Tick, ...]
    said: str


@dataclass(frozen=True, slots=True)
class Chart:
    """All panels over the same hours."""

    panels: tuple[Panel, ...]
    ticks: tuple[Tick, ...]


def drawn(found: Rehearsal, after: After | None = None) -> Chart | None:
    """Draw a rehearsal, with the run that it was of; None where there are no curves."""
    if not found.times_s:
        return None
    end_s = found.times_s[-1]
    if after is not None and after.series.last_s:
        end_s = max(end_s, after.series.last_s[-1])
    panels = tuple(_panel(curve, found.times_s, end_s, after) for curve in found.curves)
    hours = end_s / 3600
    step = step_of(hours, at_most=5)
    ticks = tuple(
        Tick(f"{h:.{decimals(step)}f} h" if h else "0", h / hours) for h in steps(0.0, hours, step)
    )
    return Chart(panels, ticks)


def _panel(
    curve: CurveMessage, times_s: Sequence[float], end_s: float, after: After | None
) -> Panel:
    real_s, real = _real(curve.name, after)
    shown = [v for v in (*curve.least, *curve.greatest, *real) if v is not None]
    low, high, step = scale([0.0, *shown] if curve.name in FROM_NOTHING else shown)

    def placed(at_s: Sequence[float], values: Values) -> list[list[tuple[float, float]]]:
        parts: list[list[tuple[float, float]]] = [[]]
        for t, v in zip(at_s, values, strict=True):
            if v is None:
                parts.append([])
            else:
                parts[-1].append((WIDTH * t / end_s, HEIGHT * (high - v) / (high - low)))
        return [part for part in parts if part]

    lower, upper = placed(times_s, curve.least), placed(times_s, curve.greatest)
    band = "".join(f"{_path(a + b[::-1])}Z" for a, b in zip(upper, lower, strict=True))
    return Panel(
        curve.name,
        curve.unit,
        band,
        "".join(_path(part) for part in placed(times_s, curve.middle)),
        "".join(_path(part) for part in placed(real_s, real)),
        tuple(
            Tick(f"{v:z.{decimals(step)}f}", (high - v) / (high - low))
            for v in steps(low, high, step)
        ),
        _said(curve, real),
    )


def _real(name: str, after: After | None) -> tuple[Sequence[float], Values]:
    """When something was read, s from the start, and what; nothing for what is not recorded."""
    if after is None:
        return (), ()
    seen: Series = after.series
    values: Values | None = {
        "Current": seen.current_a.mean,
        "Voltage": seen.voltage_v.mean,
        "Bath": seen.temperature_c.mean,
    }.get(name)
    return (seen.last_s, values) if values is not None else ((), ())


def _said(curve: CurveMessage, real: Values) -> str:
    """The drawing in words."""
    least = [v for v in curve.least if v is not None]
    most = [v for v in curve.greatest if v is not None]
    said = _(
        "%(name)s in %(unit)s: foretold from %(least)s to %(most)s.",
        name=curve.name,
        unit=curve.unit,
        least=f"{min(least):.3g}",
        most=f"{max(most):.3g}",
    )
    there = [v for v in real if v is not None]
    if there:
        said += _(
            " It was from %(least)s to %(most)s.",
            least=f"{min(there):.3g}",
            most=f"{max(there):.3g}",
        )
    return said


def _path(points: Sequence[tuple[float, float]]) -> str:
    if len(points) == 1:
        points = [*points, *points]
    return "M" + "L".join(f"{across:.1f} {down:.1f}" for across, down in points)
