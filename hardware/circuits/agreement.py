"""Whether a drawing can be trusted: it says what the netlist says, and can be read.

A drawing says what the netlist says if every pin of a net is joined to the others by wires or by
the net's name, and if nothing of two nets touches. It can be read if no text lies on anything.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from itertools import combinations, pairwise, product

from hardware.circuits.layout import (
    Box,
    Layout,
    body_of,
    ends,
    ground_box,
    laid_out,
    on_path,
    pins_of,
)
from hardware.circuits.netlist import Sheet
from hardware.circuits.symbols import Point

CLEAR = (0.12, 0.04)
"""Across and along: what is free around a text, so that it is read at one look."""


def problems(sheet: Sheet, shown: Mapping[str, str] | None = None) -> list[str]:
    """Where the drawing and the netlist say different things, or cannot be told apart."""
    layout = laid_out(sheet, shown)
    return [
        *_unjoined(sheet, layout),
        *_touching(sheet, layout),
        *_through_bodies(sheet, layout),
        *_covered_labels(sheet, layout),
    ]


def _unjoined(sheet: Sheet, layout: Layout) -> Iterator[str]:
    """Pins of a net that no wire, common place or name joins to the net's others."""
    pins: dict[str, list[tuple[str, Point]]] = defaultdict(list)
    for part in sheet.part:
        for name, at in pins_of(part).items():
            pins[part.net_of[name]].append((f"{part.id}.{name}", at))
    for net, members in pins.items():
        within = [
            {at for name, at in pins_of(part).items() if part.net_of[name] == net}
            for part in sheet.part
        ]
        wires = [wire.path for wire in layout.wires if wire.net == net]
        flagged = {flag.at for flag in layout.flags if flag.net == net}
        reached, new = set[Point](), {members[0][1]}
        while new:
            reached |= new
            new = {
                at
                for path in wires
                if any(on_path(path, each) for each in reached)
                for at in (*path, *(place for _, place in members if on_path(path, place)),
                           *(end for other in wires for end in (other[0], other[-1])
                             if on_path(path, end)))
            } - reached  # fmt: skip
            for together in (flagged, *within):
                if together & (reached | new):
                    new |= together - reached
        lost = [name for name, at in members if at not in reached]
        if lost:
            yield f"net {net!r}: {', '.join(lost)} hang on nothing that {members[0][0]} hangs on"


def _touching(sheet: Sheet, layout: Layout) -> Iterator[str]:
    """Lines of two nets that meet otherwise than by crossing."""
    for one, other in combinations(layout.wires, 2):
        if one.net == other.net:
            if any(
                _runs_along(*each) for each in product(pairwise(one.path), pairwise(other.path))
            ):
                yield f"wires of {one.net!r} run on each other"
        elif any(on_path(one.path, at) for at in other.path) or any(
            on_path(other.path, at) for at in one.path
        ):
            yield f"wires of {one.net!r} and {other.net!r} touch"
    for net, at in ends(sheet, ()):
        for wire in layout.wires:
            if wire.net != net and on_path(wire.path, at):
                yield f"a wire of {wire.net!r} touches a pin of {net!r} at {at}"


def _through_bodies(sheet: Sheet, layout: Layout) -> Iterator[str]:
    for part in sheet.part:
        (left, bottom), (right, top) = body_of(part)
        inner = (left + 0.05, bottom + 0.05), (right - 0.05, top - 0.05)
        for wire in layout.wires:
            for first, last in pairwise(wire.path):
                if _overlap((_low(first, last), _high(first, last)), inner):
                    yield f"a wire of {wire.net!r} runs through {part.id}"


def _runs_along(one: tuple[Point, Point], other: tuple[Point, Point]) -> bool:
    """Whether two lines have more than a point in common."""
    low = [max(_low(*one)[axis], _low(*other)[axis]) for axis in (0, 1)]
    high = [min(_high(*one)[axis], _high(*other)[axis]) for axis in (0, 1)]
    return all(a <= b for a, b in zip(low, high, strict=True)) and low != high


def _low(first: Point, last: Point) -> Point:
    return min(first[0], last[0]), min(first[1], last[1])


def _high(first: Point, last: Point) -> Point:
    return max(first[0], last[0]), max(first[1], last[1])


def _overlap(one: Box, other: Box) -> bool:
    return all(
        one[0][axis] < other[1][axis] and other[0][axis] < one[1][axis] for axis in (0, 1)
    )  # fmt: skip


def _with_room(box: Box) -> Box:
    (left, bottom), (right, top) = box
    across, along = CLEAR
    return (left - across, bottom - along), (right + across, top + along)


def _covered_labels(sheet: Sheet, layout: Layout) -> Iterator[str]:
    """Labels that lie on each other, on a wire, or on a part whose frame is not theirs; or nearly.

    Lines of one text stand as close as they do.
    """
    for one, other in combinations(layout.labels, 2):
        if _overlap(_with_room(one.box), _with_room(other.box)):
            yield f"labels {one.text!r} and {other.text!r} overlap"
    for label in layout.labels:
        box = _with_room(label.box)
        for wire in layout.wires:
            for first, last in pairwise(wire.path):
                if _overlap((_low(first, last), _high(first, last)), box):
                    yield f"label {label.text!r} lies on a wire of {wire.net!r}"
        for flag in layout.flags:
            sign = ground_box(flag)
            if sign is not None and _overlap(sign, box):
                yield f"label {label.text!r} lies on the sign of {flag.net!r}"
        for part in sheet.part:
            if part.size is None and _overlap(body_of(part), box):
                yield f"label {label.text!r} lies on {part.id}"
            elif part.size is not None and _overlap(body_of(part), box):
                (left, bottom), (right, top) = body_of(part)
                (x1, y1), (x2, y2) = box
                if x1 < left or y1 < bottom or x2 > right or y2 > top:
                    yield f"label {label.text!r} runs over the frame of {part.id}"
