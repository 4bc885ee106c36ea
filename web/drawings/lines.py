"""Lines of drawings: from times and values to SVG path data. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass

WIDTH, HEIGHT = 1000, 100
"""The lines' own units; the page stretches them to the space there is."""

Point = tuple[float, float]
Points = list[Point]
Values = Sequence[float | None]


@dataclass(frozen=True, slots=True)
class Frame:
    """What a drawing shows: times across, in s, and values down, the greatest at the top."""

    begins_s: float
    ends_s: float
    low: float
    high: float

    def across(self, at_s: float) -> float:
        """Where a moment is, as a share of the width."""
        return (at_s - self.begins_s) / (self.ends_s - self.begins_s)

    def place(self, part: Sequence[Point]) -> Points:
        """Times and values as points in the lines' own units."""
        span = self.high - self.low
        return [(WIDTH * self.across(t), HEIGHT * (self.high - v) / span) for t, v in part]


def unbroken(across: Values, down: Values) -> list[Points]:
    """A line in pieces: cut where a value is missing."""
    parts: list[Points] = [[]]
    for x, y in zip(across, down, strict=True):
        if x is None or y is None:
            parts.append([])
        else:
            parts[-1].append((x, y))
    return [part for part in parts if part]


def path(points: Points) -> str:
    """A line through the points; one that stands alone is a dot."""
    if len(points) == 1:
        points = points * 2
    return "M" + "L".join(f"{across:.1f} {down:.1f}" for across, down in points)


def area(upper: Sequence[Points], lower: Sequence[Points]) -> str:
    """What lies between two lines, part for part."""
    return "".join(f"{path(a + b[::-1])}Z" for a, b in zip(upper, lower, strict=True))
