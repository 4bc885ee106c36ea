"""How each kind of part is drawn: its strokes and pins, as it lies with its first pin at 0, 0.

Symbols follow IEC 60617, as far as lines and circles go. A unit is the grid of the sheets.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

Point = tuple[float, float]
Stroke = Sequence[Point]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of part.

    pins: places by name, in order. body: lower left and upper right corner of what no wire may run
    through. filled: closed strokes that are filled. circles: centre and radius.
    """

    pins: Mapping[str, Point]
    body: tuple[Point, Point]
    strokes: tuple[Stroke, ...] = ()
    filled: tuple[Stroke, ...] = ()
    circles: tuple[tuple[Point, float], ...] = ()


def _box(low: Point, high: Point) -> Stroke:
    (left, bottom), (right, top) = low, high
    return ((left, bottom), (right, bottom), (right, top), (left, top), (left, bottom))


def _two(
    *strokes: Stroke,
    half: float | tuple[float, float] = 0.25,
    inner: tuple[float, float] = (0.5, 1.5),
    names: tuple[str, str] = ("1", "2"),
    filled: tuple[Stroke, ...] = (),
    circles: tuple[tuple[Point, float], ...] = (),
) -> Kind:
    """A part with a pin at either end, 2 units apart."""
    first, last = inner
    below, above = half if isinstance(half, tuple) else (half, half)
    leads = (((0, 0), (first, 0)), ((last, 0), (2, 0)))
    return Kind(
        pins={names[0]: (0, 0), names[1]: (2, 0)},
        body=((first, -below), (last, above)),
        strokes=(*leads, *strokes),
        filled=filled,
        circles=circles,
    )


_ARROW = ((0.7, 0.3), (0.7, -0.3), (1.2, 0.0), (0.7, 0.3))
_CROSS = 0.4 * math.sqrt(0.5)

RESISTOR = _two(_box((0.5, -0.2), (1.5, 0.2)))
FUSE = _two(_box((0.5, -0.2), (1.5, 0.2)), ((0.5, 0), (1.5, 0)))
CAPACITOR = _two(
    ((0.9, -0.4), (0.9, 0.4)), ((1.1, -0.4), (1.1, 0.4)), half=0.4, inner=(0.9, 1.1)
)  # fmt: skip
DIODE = _two(
    ((1.2, -0.3), (1.2, 0.3)), filled=(_ARROW,), half=0.3, names=("a", "k"), inner=(0.7, 1.2)
)  # fmt: skip
ZENER = _two(
    ((1.05, -0.3), (1.2, -0.3), (1.2, 0.3), (1.35, 0.3)),
    filled=(_ARROW,), half=0.3, names=("a", "k"), inner=(0.7, 1.2),
)  # fmt: skip
COIL = _two(_box((0.75, -0.5), (1.25, 0.5)), half=0.5, inner=(0.75, 1.25))
LINK = _two(((0.5, 0), (1.5, 0)), half=0.1, circles=(((0.5, 0), 0.08), ((1.5, 0), 0.08)))
LAMP = _two(
    ((1 - _CROSS, -_CROSS), (1 + _CROSS, _CROSS)), ((1 - _CROSS, _CROSS), (1 + _CROSS, -_CROSS)),
    half=0.4, inner=(0.6, 1.4), circles=(((1, 0), 0.4),),
)  # fmt: skip
MAKE = _two(((1.45, 0), (0.6, 0.45)), half=(0.1, 0.45), inner=(0.5, 1.45))
BREAK = _two(((1.45, 0), (0.5, 0.35)), ((0.6, 0), (0.6, 0.45)), half=(0.1, 0.45), inner=(0.6, 1.45))
SHUNT = Kind(
    pins={"1": (0, 0), "2": (3, 0), "s1": (0.8, -0.6), "s2": (2.2, -0.6)},
    body=((0.4, -0.25), (2.6, 0.25)),
    strokes=(
        ((0, 0), (0.4, 0)), ((2.6, 0), (3, 0)), _box((0.4, -0.25), (2.6, 0.25)),
        ((0.8, -0.25), (0.8, -0.6)), ((2.2, -0.25), (2.2, -0.6)),
    ),
)  # fmt: skip

_LED = (
    ((0, 0), (0.9, 0), (0.9, -0.7)), ((0.9, -1.2), (0.9, -2), (0, -2)),
    ((0.6, -1.2), (1.2, -1.2)), ((1.3, -0.85), (1.75, -0.85)), ((1.3, -1.15), (1.75, -1.15)),
    ((1.6, -0.75), (1.75, -0.85), (1.6, -0.95)), ((1.6, -1.05), (1.75, -1.15), (1.6, -1.25)),
)  # fmt: skip
_LED_ARROW = ((0.6, -0.7), (1.2, -0.7), (0.9, -1.2), (0.6, -0.7))
_CASE = _box((0.4, -2.3), (2.8, 0.3))

OPTOCOUPLER = Kind(
    pins={"a": (0, 0), "k": (0, -2), "c": (3, 0), "e": (3, -2)},
    body=((0.4, -2.3), (2.8, 0.3)),
    strokes=(
        *_LED, _CASE, ((2.0, -0.6), (2.0, -1.4)),
        ((2.0, -0.8), (2.5, -0.4), (2.5, 0), (3, 0)),
        ((2.0, -1.2), (2.5, -1.6), (2.5, -2), (3, -2)), ((2.2, -1.55), (2.5, -1.6), (2.4, -1.3)),
    ),
    filled=(_LED_ARROW,),
)  # fmt: skip
SOLID_STATE_RELAY = Kind(
    pins={"a": (0, 0), "k": (0, -2), "1": (3, 0), "2": (3, -2)},
    body=((0.4, -2.3), (2.8, 0.3)),
    strokes=(
        *_LED, _CASE, ((3, 0), (2.3, 0), (2.3, -0.6)), ((3, -2), (2.3, -2), (2.3, -1.4)),
        ((2.3, -1.4), (1.95, -0.6)),
    ),
    filled=(_LED_ARROW,),
)  # fmt: skip
COMPARATOR = Kind(
    pins={"minus": (0, 0), "plus": (0, -2), "out": (3, -1), "vp": (1.25, 1), "vn": (1.25, -3)},
    body=((0.4, -2.0), (1.9, 0.0)),
    strokes=(
        ((0.4, -2.8), (0.4, 0.8), (2.6, -1), (0.4, -2.8)), ((0, 0), (0.4, 0)),
        ((0, -2), (0.4, -2)), ((2.6, -1), (3, -1)), ((1.25, 1), (1.25, 0.105)),
        ((1.25, -3), (1.25, -2.105)), ((0.55, 0), (0.8, 0)), ((0.55, -2), (0.8, -2)),
        ((0.675, -1.875), (0.675, -2.125)),
    ),
)  # fmt: skip
P_TRANSISTOR = Kind(
    pins={"s": (0, 0), "d": (0, -2), "g": (-1.5, -1)},
    body=((-0.95, -1.7), (0.1, -0.3)),
    strokes=(
        ((-1.5, -1), (-0.75, -1)), ((-0.75, -1.6), (-0.75, -0.4)), ((-0.55, -1.6), (-0.55, -1.2)),
        ((-0.55, -1.15), (-0.55, -0.85)), ((-0.55, -0.8), (-0.55, -0.4)),
        ((-0.55, -0.6), (0, -0.6), (0, 0)), ((-0.55, -1.4), (0, -1.4), (0, -2)),
        ((-0.55, -1), (0, -1), (0, -0.6)), ((-0.15, -0.9), (0, -1), (-0.15, -1.1)),
    ),
)  # fmt: skip

KINDS: Mapping[str, Kind] = {
    "resistor": RESISTOR,
    "fuse": FUSE,
    "capacitor": CAPACITOR,
    "diode": DIODE,
    "zener": ZENER,
    "coil": COIL,
    "lamp": LAMP,
    "link": LINK,
    "make": MAKE,
    "break": BREAK,
    "shunt": SHUNT,
    "optocoupler": OPTOCOUPLER,
    "solid-state relay": SOLID_STATE_RELAY,
    "comparator": COMPARATOR,
    "p-transistor": P_TRANSISTOR,
}
"""Every kind but the box, whose pins each part brings itself."""
