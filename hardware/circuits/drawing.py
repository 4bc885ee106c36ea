"""Sheets as pictures: an SVG each, drawn by schemdraw, to be printed on A4."""

from collections.abc import Mapping, Sequence

import schemdraw
from schemdraw.elements import Element
from schemdraw.segments import Segment, SegmentCircle, SegmentPoly, SegmentText

from hardware.circuits.layout import Flag, Label, Layout, laid_out
from hardware.circuits.netlist import GROUNDS, Sheet
from hardware.circuits.symbols import Point

THIN = 1.2
FONT_SIZE, TITLE_SIZE = 14, 18
MARGIN = 0.6
"""Points; points; units of the grid around what is drawn."""

POINTS_PER_UNIT = 36
PAPER = "white"


def _drawn(title: str, layout: Layout) -> Element:
    """All of a sheet as one element, in the sheet's own places."""
    (left, bottom), (right, top) = _extent(layout)
    low, high = (left - MARGIN, bottom - MARGIN), (right + MARGIN, top + 0.6 + MARGIN)
    frame = [low, (high[0], low[1]), high, (low[0], high[1]), low]
    drawn = Element()
    drawn.segments += [
        *(_line(stroke) for stroke in layout.strokes),
        *(SegmentPoly([*each], fill="black", lw=THIN) for each in layout.filled),
        *(SegmentCircle(at, radius, lw=THIN) for at, radius in layout.circles),
        *(_line(wire.path) for wire in layout.wires),
        *(SegmentCircle(at, 0.09, fill="black", lw=THIN) for at in layout.dots),
        *(_line(stroke) for flag in layout.flags for stroke in _flag_strokes(flag)),
        *(_text(label, FONT_SIZE) for label in layout.labels),
        _text(Label(title, (left, top + 0.6)), TITLE_SIZE),
        Segment(frame, lw=THIN / 2),
    ]
    return drawn


def _extent(layout: Layout) -> tuple[Point, Point]:
    """Lower left and upper right corner of all that is drawn, the title left out."""
    places = [at for wire in layout.wires for at in wire.path]
    places += [at for stroke in layout.strokes for at in stroke]
    places += [corner for label in layout.labels for corner in label.box]
    across, along = [x for x, _ in places], [y for _, y in places]
    return (min(across), min(along)), (max(across), max(along))


def _line(stroke: Sequence[Point]) -> Segment:
    return Segment([*stroke], lw=THIN, capstyle="round", joinstyle="round")


def _text(label: Label, size: float) -> SegmentText:
    return SegmentText(label.at, label.text, align=(label.align, "center"), fontsize=size)


def _flag_strokes(flag: Flag) -> list[list[tuple[float, float]]]:
    """A stub, and a ground's three bars or a bar across."""
    (x, y), (across, along) = flag.at, flag.toward
    if flag.net in GROUNDS and along < 0:
        bars = ((0.35, 0.4), (0.22, 0.53), (0.09, 0.66))
        return [[(x, y), (x, y - 0.4)], *([(x - w, y - d), (x + w, y - d)] for w, d in bars)]
    tip = (x + 0.5 * across, y + 0.5 * along)
    wide, high = 0.2 * along, 0.2 * across
    return [
        [(x, y), tip],
        [(tip[0] - wide, tip[1] - high), (tip[0] + wide, tip[1] + high)],
    ]  # fmt: skip


def svg(sheet: Sheet, shown: Mapping[str, str]) -> str:
    """The sheet as the text of an SVG file. `shown` says how each role of the Pi's pins is written.

    Raises LayoutError.
    """
    schemdraw.use("svg")
    schemdraw.svgconfig.text = "text"
    drawing = schemdraw.Drawing(show=False)
    drawing.config(
        inches_per_unit=POINTS_PER_UNIT / 72, fontsize=FONT_SIZE, font="sans-serif", bgcolor=PAPER
    )
    drawing.add(_drawn(sheet.title, laid_out(sheet, shown)).at((0, 0)).right())
    return bytes(drawing.get_imagedata("svg")).decode()
