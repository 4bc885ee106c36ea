"""A rehearsal's curves as plain drawings: the range, its middle, and what happened where known.

Everything across is a share of the drawing's width, everything down one of its height. Pure.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from daemon.api.rehearsal.after import After
from daemon.api.socket.rehearsal import CurveMessage, Rehearsal
from daemon.record.series import Series
from web.drawings.lines import Frame, Points, Values, area, path, unbroken
from web.drawings.scale import Tick, marks, scale, time_marks
from web.language import gettext as _
from web.units import converter, sign

FROM_NOTHING = frozenset({"Current", "Voltage", "Thickness"})
"""Curves whose scale begins at 0."""


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
    return Chart(panels, time_marks(end_s, at_most=5))


def _panel(
    curve: CurveMessage, times_s: Sequence[float], end_s: float, after: After | None
) -> Panel:
    real_s, real = _real(curve.name, after)
    curve, real = _in_units(curve, real)
    shown = [v for v in (*curve.least, *curve.greatest, *real) if v is not None]
    low, high, step = scale([0.0, *shown] if curve.name in FROM_NOTHING else shown)
    frame = Frame(0.0, end_s, low, high)

    def placed(at_s: Sequence[float], values: Values) -> list[Points]:
        return [frame.place(part) for part in unbroken(at_s, values)]

    return Panel(
        curve.name,
        curve.unit,
        area(placed(times_s, curve.greatest), placed(times_s, curve.least)),
        "".join(map(path, placed(times_s, curve.middle))),
        "".join(map(path, placed(real_s, real))),
        marks(low, high, step),
        _said(curve, real),
    )


def _in_units(curve: CurveMessage, real: Values) -> tuple[CurveMessage, Values]:
    """What was foretold and what was read, in the reader's units."""
    into = converter(curve.unit)

    def through(values: Values) -> list[float | None]:
        return [None if value is None else into(value) for value in values]

    told = {key: through(getattr(curve, key)) for key in ("least", "middle", "greatest")}
    return curve.model_copy(update={**told, "unit": sign(curve.unit)}), through(real)


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
