"""Where analyses lead: a straight line through them, and when it reaches a limit.

Weighted least squares over time or charge, x, with the uncertainty of the line after JCGM
100:2008, H.3. Errors that all analyses share (the same burette, the same titrant) shift the line as
a whole; counted in each of them, they make its slope look less sure than it is.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from daemon.chemistry.checks import require_finite, require_positive
from daemon.chemistry.student import student_factor

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """An analysis: x, and the concentration with its standard uncertainty, which is above 0."""

    x: float
    y: float
    u: float

    def __post_init__(self) -> None:
        require_finite("moment of an analysis", self.x, "")
        require_finite("concentration", self.y, "")
        require_positive("uncertainty of a concentration", self.u, "")


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where the line reaches a limit; earliest and latest hold the truth with 95 %.

    latest: None where the line may as well never get there.
    """

    x: float
    earliest: float
    latest: float | None


@dataclass(frozen=True, slots=True)
class Trend:
    """The line y = middle_y + slope·(x - middle_x), whose two figures err independently.

    factor: that of a 95 % interval.
    """

    middle_x: float
    middle_y: float
    slope: float
    u_middle_y: float
    u_slope: float
    factor: float

    @property
    def clear(self) -> bool:
        """Whether it is sure that the line rises, or that it falls."""
        return abs(self.slope) > self.factor * self.u_slope

    def at(self, x: float) -> float:
        """The line's y."""
        return self.middle_y + self.slope * (x - self.middle_x)

    def expanded_at(self, x: float) -> float:
        """Half the width of the line's 95 % interval there."""
        return self.factor * math.hypot(self.u_middle_y, self.u_slope * (x - self.middle_x))

    def reaches(self, limit: float, after_x: float) -> Crossing | None:
        """Where beyond `after_x` the line reaches the limit; None where it leads away from it.

        The interval is Fieller's (E. C. Fieller, J. R. Statist. Soc. B 16 (1954) 175): all x at
        which the line's own interval holds the limit.
        """
        if self.slope == 0 or (limit - self.at(after_x)) / self.slope < 0:
            return None
        x = self.middle_x + (limit - self.middle_y) / self.slope
        if abs(self.at(after_x) - limit) <= self.expanded_at(after_x):
            earliest = after_x
        else:
            earliest = min(end for end in self._ends(limit) if end > after_x)
        return Crossing(x, earliest, max(self._ends(limit)) if self.clear else None)

    def _ends(self, limit: float) -> list[float]:
        """Where an end of the line's interval is at the limit.

        With d = x - middle_x: (middle_y - limit + slope·d)² = k²·(u_middle_y² + d²·u_slope²).
        """
        gap = self.middle_y - limit
        square = self.slope**2 - (self.factor * self.u_slope) ** 2
        rise = self.slope * gap
        rest = gap**2 - (self.factor * self.u_middle_y) ** 2
        if square == 0:
            return [self.middle_x - rest / (2 * rise)] if rise else []
        root = rise**2 - square * rest
        if root < 0:
            return []
        return [self.middle_x + (sign * math.sqrt(root) - rise) / square for sign in (1, -1)]


def trend(points: Sequence[TrendPoint]) -> Trend:
    """The line through two points or more, at two different x at least.

    Points that scatter about it more than they say widen its uncertainty by √(chi²/freedom), and
    then Student's factor is that of so few. Raises ValueError for points without a line.
    """
    if len({point.x for point in points}) < 2:
        raise ValueError("a trend needs analyses at two different moments at least")
    weights = [1 / point.u**2 for point in points]
    total = math.fsum(weights)
    middle_x = math.fsum(w * p.x for w, p in zip(weights, points, strict=True)) / total
    middle_y = math.fsum(w * p.y for w, p in zip(weights, points, strict=True)) / total
    spread = math.fsum(w * (p.x - middle_x) ** 2 for w, p in zip(weights, points, strict=True))
    both = ((w * (p.x - middle_x), p.y - middle_y) for w, p in zip(weights, points, strict=True))
    slope = math.fsum(x * y for x, y in both) / spread
    off = [p.y - middle_y - slope * (p.x - middle_x) for p in points]
    chi_square = math.fsum(w * e * e for w, e in zip(weights, off, strict=True))
    freedom = len(points) - 2
    excess = chi_square / freedom if freedom else 0.0
    scale = max(1.0, excess)
    return Trend(
        middle_x,
        middle_y,
        slope,
        math.sqrt(scale / total),
        math.sqrt(scale / spread),
        student_factor(CONFIDENCE, freedom if excess > 1 else math.inf),
    )
