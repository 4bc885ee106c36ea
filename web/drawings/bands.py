"""What is expected in a bath, drawn: each component's band beside its window."""

from dataclasses import dataclass

from daemon.api.bath import expected_words
from daemon.bath.expected import Component, Expected
from web.typography import capital

_ROOM = 0.12
"""Of the span of window and band, left free on both sides."""

Part = tuple[float, float]
"""Where something begins and how wide it is, in % of the drawing."""


@dataclass(frozen=True, slots=True)
class Band:
    """A component: its figure, what else is told of it, and places in % of the drawing's width.

    outside: it is expected below its least or above its greatest. window: None where none is
    described.
    """

    name: str
    figure: str
    also: str
    outside: bool
    window: Part | None
    band: Part
    middle: float


def bands(found: Expected) -> tuple[Band, ...]:
    """The components in the order of the balance; those with a window first."""
    ordered = sorted(found.components, key=lambda each: each.window is None)
    return tuple(_band(each) for each in ordered)


def _also(each: Component) -> str:
    """What is told of it besides its figure."""
    also = expected_words.component(each).removeprefix(expected_words.figure(each))
    return also.replace("(", "", 1).replace(")", "", 1).strip("; ")


def _band(each: Component) -> Band:
    window = each.window
    least = None if window is None else window.least
    greatest = None if window is None else window.greatest
    told = [limit for limit in (least, greatest) if limit is not None]
    low, high = min(each.lower, *told, each.value), max(each.upper, *told, each.value)
    room = _ROOM * (high - low) or 1.0
    low, high = low - room, high + room

    def place(value: float) -> float:
        return 100 * (value - low) / (high - low)

    drawn = None
    if told:
        start = 0.0 if least is None else place(least)
        end = 100.0 if greatest is None else place(greatest)
        drawn = (start, end - start)
    return Band(
        name=capital(each.name),
        figure=expected_words.figure(each),
        also=_also(each),
        outside=(least is not None and each.value < least)
        or (greatest is not None and each.value > greatest),
        window=drawn,
        band=(place(each.lower), place(each.upper) - place(each.lower)),
        middle=place(each.value),
    )
