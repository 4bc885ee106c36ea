"""Quantities over time as plain lines, for paper as well as for screens. Pure.

Everything across is a share of the drawing's width and everything down one of its height, so that
it fits any screen and page without a script. Lines are told apart by how they are drawn, and not by
their colours alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from web.drawings.lines import HEIGHT, WIDTH, Frame, Points, Values, area, path
from web.drawings.scale import Tick, marks, scale, time_marks


@dataclass(frozen=True, slots=True)
class Curve:
    """A line: how it is drawn, s from the start, and values; None breaks it.

    label: stands at its end.
    """

    kind: str
    at_s: Values
    values: Values
    label: str = ""


@dataclass(frozen=True, slots=True)
class Range:
    """Between which values something was to lie, at s from the start."""

    at_s: Sequence[float]
    least: Values
    greatest: Values


@dataclass(frozen=True, slots=True)
class Quantity:
    """What one panel shows. from_nothing: its scale begins at 0. said: it in words."""

    name: str
    unit: str
    curves: tuple[Curve, ...]
    said: str
    range: Range | None = None
    from_nothing: bool = True


@dataclass(frozen=True, slots=True)
class Line:
    """A curve, drawn: SVG path data, and its label's place, shares of width and height."""

    kind: str
    path: str
    label: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Panel:
    """A quantity, drawn. band is empty where there is no range."""

    name: str
    unit: str
    band: str
    lines: tuple[Line, ...]
    ticks: tuple[Tick, ...]
    said: str


@dataclass(frozen=True, slots=True)
class Chart:
    """Panels over the same hours; marks of time, and moments worth a line of their own."""

    panels: tuple[Panel, ...]
    ticks: tuple[Tick, ...]
    moments: tuple[Tick, ...]


def drawn(
    quantities: Sequence[Quantity], end_s: float, moments: Sequence[tuple[float, str]] = ()
) -> Chart | None:
    """Draw what there is from the start to `end_s`; None where nothing can be drawn.

    moments: s from the start, each with its label.
    """
    shown = [each for each in quantities if any(_seen(curve, end_s) for curve in each.curves)]
    if not shown or not end_s > 0:
        return None
    return Chart(
        tuple(_panel(each, end_s) for each in shown),
        time_marks(end_s, at_most=4),
        tuple(Tick(label, at_s / end_s) for at_s, label in moments if 0 <= at_s <= end_s),
    )


def _panel(quantity: Quantity, end_s: float) -> Panel:
    curves = [each for each in quantity.curves if _seen(each, end_s)]
    shown = [v for curve in curves for _, v in _seen(curve, end_s)]
    of_range = quantity.range
    if of_range is not None:
        for values in (of_range.least, of_range.greatest):
            shown += [v for _, v in _seen(Curve("", of_range.at_s, values), end_s)]
    low, high, step = scale([0.0, *shown] if quantity.from_nothing else shown)

    frame = Frame(0.0, end_s, low, high)

    def placed(at_s: Values, values: Values) -> list[Points]:
        return [frame.place(part) for part in _parts(at_s, values, end_s)]

    band = ""
    if of_range is not None:
        least, greatest = of_range.least, of_range.greatest
        band = area(placed(of_range.at_s, greatest), placed(of_range.at_s, least))
    lines = []
    for curve in curves:
        parts = placed(curve.at_s, curve.values)
        across, down = parts[-1][-1]
        drawn_as = "".join(map(path, parts))
        lines.append(Line(curve.kind, drawn_as, curve.label, across / WIDTH, down / HEIGHT))
    ticks = marks(low, high, step)
    return Panel(quantity.name, quantity.unit, band, tuple(lines), ticks, quantity.said)


def _seen(curve: Curve, end_s: float) -> Points:
    return [point for part in _parts(curve.at_s, curve.values, end_s) for point in part]


def _parts(at_s: Values, values: Values, end_s: float) -> list[Points]:
    """A line in pieces: cut where a value is missing, and at `end_s`."""
    parts: list[Points] = [[]]
    for t, v in zip(at_s, values, strict=True):
        if t is None or v is None:
            parts.append([])
        elif t <= end_s:
            parts[-1].append((t, v))
        elif parts[-1] and parts[-1][-1][0] < end_s:
            before_s, before = parts[-1][-1]
            share = (end_s - before_s) / (t - before_s)
            parts[-1].append((end_s, before + (v - before) * share))
    return [part for part in parts if part]
