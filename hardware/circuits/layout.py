"""Where everything of a sheet lies: pins, wires, dots, labels."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from hardware.circuits.netlist import GROUNDS, BoxPin, Part, Sheet
from hardware.circuits.symbols import KINDS, Point, Stroke

CHARACTER = (0.24, 0.45)
"""Width and height of a letter, in units of the grid."""

LINE = 0.55
"""From one line of text to the next."""

Align = Literal["left", "center", "right"]
Box = tuple[Point, Point]


class LayoutError(ValueError):
    """A wire or flag of a sheet that cannot be read; says which."""


@dataclass(frozen=True, slots=True)
class Wire:
    """A line of a net, from corner to corner."""

    net: str
    path: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Flag:
    """A net's name at a pin, or the sign of a ground; `toward` is a unit step."""

    net: str
    at: Point
    toward: Point


@dataclass(frozen=True, slots=True)
class Label:
    """A line of text whose middle height is at `at`."""

    text: str
    at: Point
    align: Align = "left"

    @property
    def box(self) -> Box:
        """What it covers."""
        width, height = len(self.text) * CHARACTER[0], CHARACTER[1]
        left = {"left": 0.0, "center": width / 2, "right": width}[self.align]
        x, y = self.at
        return (x - left, y - height / 2), (x - left + width, y + height / 2)


@dataclass(frozen=True)
class Layout:
    """A sheet laid out."""

    strokes: tuple[Stroke, ...]
    filled: tuple[Stroke, ...]
    circles: tuple[tuple[Point, float], ...]
    wires: tuple[Wire, ...]
    flags: tuple[Flag, ...]
    dots: tuple[Point, ...]
    labels: tuple[Label, ...]


_TOWARD: Mapping[str, Point] = {"right": (1, 0), "up": (0, 1), "left": (-1, 0), "down": (0, -1)}


def placed(part: Part, point: Point) -> Point:
    """A place of the part's own drawing, on the sheet."""
    (across, along), (x, y) = _TOWARD[part.turn], point
    turned = (x * across - y * along, x * along + y * across)
    return round(part.at[0] + turned[0], 6), round(part.at[1] + turned[1], 6)


def pins_of(part: Part) -> dict[str, Point]:
    """The places of a part's pins on the sheet, by name."""
    if part.size is None:
        return {name: placed(part, at) for name, at in KINDS[part.kind].pins.items()}
    return {pin.name: placed(part, _at_side(pin, part.size)) for pin in part.pins}


def _at_side(pin: BoxPin, size: Point) -> Point:
    return {
        "left": (0.0, pin.at),
        "right": (size[0], pin.at),
        "top": (pin.at, size[1]),
        "bottom": (pin.at, 0.0),
    }[pin.side]


def body_of(part: Part) -> Box:
    """What no wire may run through."""
    low, high = ((0, 0), part.size) if part.size is not None else KINDS[part.kind].body
    (x1, y1), (x2, y2) = placed(part, low), placed(part, high)
    return (min(x1, x2), min(y1, y2)), (max(x1, x2), max(y1, y2))


def laid_out(sheet: Sheet, shown: Mapping[str, str] | None = None) -> Layout:
    """Lay a sheet out. `shown` says how a role of the Pi's pins is written, where it is known.

    Raises LayoutError.
    """
    wires = tuple(_wire(sheet, text) for text in sheet.wires)
    flags = tuple(_flag(sheet, text) for text in sheet.flags)
    strokes: list[Stroke] = []
    filled: list[Stroke] = []
    circles: list[tuple[Point, float]] = []
    for part in sheet.part:
        if part.size is not None:
            width, height = part.size
            corners = ((0, 0), (width, 0), (width, height), (0, height), (0, 0))
            strokes.append([placed(part, each) for each in corners])
            continue
        kind = KINDS[part.kind]
        strokes += [[placed(part, each) for each in stroke] for stroke in kind.strokes]
        filled += [[placed(part, each) for each in stroke] for stroke in kind.filled]
        circles += [(placed(part, centre), radius) for centre, radius in kind.circles]
    labels = [label for part in sheet.part for label in _labels(part, shown or {})]
    labels += [label for flag in flags for label in _flag_labels(flag)]
    x, y = sheet.notes_at
    labels += [Label(text, (x, y - LINE * row)) for row, text in enumerate(sheet.notes)]
    return Layout(
        tuple(strokes), tuple(filled), tuple(circles), wires, flags,
        tuple(_dots(sheet, wires, flags)), tuple(labels),
    )  # fmt: skip


def _pin(sheet: Sheet, text: str) -> tuple[str | None, Point]:
    """The net and place of `R1.2`, or no net and the place of `4,7`."""
    if "," in text:
        x, y = text.split(",")
        return None, (float(x), float(y))
    mark, _, name = text.rpartition(".")
    try:
        part = sheet.named(mark)
        return part.net_of[name], pins_of(part)[name]
    except KeyError as error:
        raise LayoutError(f"there is no pin {text!r}") from error


def _wire(sheet: Sheet, text: str) -> Wire:
    words = text.split()
    nets = set()
    net, point = _pin(sheet, words[0])
    nets.add(net)
    path = [point]
    for how, where in zip(words[1::2], words[2::2], strict=True):
        net, (x, y) = _pin(sheet, where)
        nets.add(net)
        corner = {"-": None, "-|": (x, path[-1][1]), "|-": (path[-1][0], y)}[how]
        if corner is not None:
            path.append(corner)
        path.append((x, y))
    nets.discard(None)
    if len(nets) != 1:
        raise LayoutError(f"wire {text!r} joins {sorted(str(each) for each in nets)}")
    if any(x1 != x2 and y1 != y2 for (x1, y1), (x2, y2) in pairwise(path)):
        raise LayoutError(f"wire {text!r} is neither level nor plumb")
    return Wire(str(nets.pop()), tuple(path))


def _flag(sheet: Sheet, text: str) -> Flag:
    pin, way = text.split()
    net, at = _pin(sheet, pin)
    if net is None:
        raise LayoutError(f"flag {text!r} is at no pin")
    return Flag(net, at, _TOWARD[way])


def _labels(part: Part, shown: Mapping[str, str]) -> Iterator[Label]:
    if part.size is not None:
        yield from _box_labels(part, shown)
        return
    (left, bottom), (right, top) = body_of(part)
    words = [part.device, part.value] if part.value else [part.device]
    if part.turn in ("up", "down") or part.kind == "p-transistor":
        middle = (bottom + top) / 2 + LINE / 2 * (len(words) - 1)
        for row, text in enumerate(words):
            yield Label(text, (right + 0.2, middle - LINE * row))
    elif part.kind == "comparator":
        yield Label(part.device, (right + 0.25, top - 0.1))
    else:
        below = part.value or (part.what if part.kind in ("make", "break", "lamp") else "")
        yield Label(part.device, ((left + right) / 2, top + 0.35), "center")
        if below:
            yield Label(below, ((left + right) / 2, bottom - 0.35), "center")


def _box_labels(part: Part, shown: Mapping[str, str]) -> Iterator[Label]:
    (left, bottom), (right, top) = body_of(part)
    words = [part.id, *part.what.split(", ")]
    middle_x, middle_y = (left + right) / 2, (bottom + top) / 2
    for row, text in enumerate(words):
        spread = LINE / 2 * (len(words) - 1)
        yield Label(text, (middle_x, middle_y + spread - LINE * row), "center")
    places = pins_of(part)
    for pin in part.pins:
        x, y = places[pin.name]
        text = shown.get(pin.role, pin.name) if pin.role else pin.name
        if pin.side == "left":
            yield Label(text, (x + 0.15, y))
        elif pin.side == "right":
            yield Label(text, (x - 0.15, y), "right")
        else:
            yield Label(text, (x, y + (-0.35 if pin.side == "top" else 0.35)), "center")


def _flag_labels(flag: Flag) -> Iterator[Label]:
    (x, y), (across, along) = flag.at, flag.toward
    if _is_ground(flag):
        yield Label(flag.net, (x, y - 1.1), "center")
    elif along:
        yield Label(flag.net, (x, y + 0.85 * along), "center")
    else:
        yield Label(flag.net, (x + 0.75 * across, y), "left" if across > 0 else "right")


def ends(sheet: Sheet, wires: tuple[Wire, ...]) -> Iterator[tuple[str, Point]]:
    """Where something of a net ends: its wires, and the pins of its parts; with the net's name."""
    for wire in wires:
        yield wire.net, wire.path[0]
        yield wire.net, wire.path[-1]
    for part in sheet.part:
        for name, at in pins_of(part).items():
            yield part.net_of[name], at


def _dots(sheet: Sheet, wires: tuple[Wire, ...], flags: tuple[Flag, ...]) -> Iterator[Point]:
    """Where three or more lines of one net meet."""
    meeting = Counter(at for _, at in ends(sheet, wires))
    for flag in flags:
        meeting[flag.at] += 1
    for at in list(meeting):
        for wire in wires:
            meeting[at] += 2 * _passes(wire, at)
    # A pin that a wire ends at is one line, not two: the part's lead and the wire go on from it.
    return (at for at, lines in meeting.items() if lines >= 3)


def _passes(wire: Wire, at: Point) -> bool:
    """Whether a wire goes on beyond `at`, on both sides."""
    return at not in (wire.path[0], wire.path[-1]) and on_path(wire.path, at)


def on_path(path: tuple[Point, ...], at: Point) -> bool:
    """Whether a place lies on a line."""
    return any(_between(first, last, at) for first, last in pairwise(path))


def _between(first: Point, last: Point, at: Point) -> bool:
    (x1, y1), (x2, y2), (x, y) = first, last, at
    return min(x1, x2) <= x <= max(x1, x2) and min(y1, y2) <= y <= max(y1, y2)


def ground_box(flag: Flag) -> Box | None:
    """What the bars of a ground's sign cover; None of another flag."""
    x, y = flag.at
    return ((x - 0.35, y - 0.66), (x + 0.35, y - 0.4)) if _is_ground(flag) else None


def _is_ground(flag: Flag) -> bool:
    return flag.net in GROUNDS and flag.toward[1] < 0
