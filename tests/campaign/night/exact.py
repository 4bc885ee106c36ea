"""The charge, the stages and the summaries of a run once more, in whole numbers and fractions.

A float is a whole number over a power of two, so every trapezoid below is exact, and so is their
sum. Nothing here is shared with the code that counts.
"""

from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

SHIFT = 160
"""Bits after the point: a float of the size met here has fewer."""

SECONDS = 3600
COPPER_G_PER_AH = Fraction(63546, 1000) * 3600 / (2 * Fraction("96485.33212"))
"""CODATA 2018; the standard atomic weight of copper."""


@lru_cache(maxsize=1 << 16)
def whole(value):
    """A float as a whole number of 2^-SHIFT, exactly."""
    above, below = value.as_integer_ratio()
    shift = SHIFT - (below.bit_length() - 1)
    return above << shift if shift >= 0 else above >> -shift


def charge_ah(points, gap_limit_s):
    """Of (s, A): the trapezoids between points no further apart than the limit, A·h, a fraction."""
    twice = 0
    for (a_s, a_a), (b_s, b_a) in pairwise(points):
        if b_s - a_s <= gap_limit_s:
            twice += (whole(a_a) + whole(b_a)) * (whole(b_s) - whole(a_s))
    return Fraction(twice, 2 * SECONDS << 2 * SHIFT)


def band(points, skip, gap_limit_s):
    """Of (s, value or None): least, mean, greatest of those after `skip`, and s that are covered.

    The mean is over time where two points are joined, and plain where none are.
    """
    own = [value for _, value in points[skip:] if value is not None]
    if not own:
        return None
    twice, covered = 0, 0
    for (a_s, a), (b_s, b) in pairwise(points):
        if a is not None and b is not None and b_s - a_s <= gap_limit_s:
            width = whole(b_s) - whole(a_s)
            twice += (whole(a) + whole(b)) * width
            covered += width
    mean = Fraction(twice, 2 * covered << SHIFT) if covered else _plain(own)
    return min(own), mean, max(own), Fraction(covered, 1 << SHIFT)


def _plain(values):
    return sum(map(Fraction, values)) / len(values)
