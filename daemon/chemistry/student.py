"""Student's distribution: how far a mean of few readings may be off.

Of 3 readings the scatter itself is little known, so that ±1.96 standard deviations hold far less
than 95 %. JCGM 100:2008, G.3, gives the wider factor by the number of degrees of freedom.
"""

import math
from collections.abc import Sequence
from statistics import NormalDist, mean, stdev

NORMAL_FROM = 1000
"""Degrees of freedom from which on the normal distribution will do: at 0.95 it is 0.12 % short."""

_BISECTIONS = 60


def student_factor(confidence: float, freedom: float) -> float:
    """The k of a two-sided interval of Student's distribution: 4.303 at 0.95 and 2 (table G.2).

    Broken degrees of freedom, at least 1, are cut to the whole number below (JCGM 100, G.4.1).
    Raises ValueError for a confidence outside 0 < it < 1 or less than 1 degree of freedom.
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must be between 0 and 1, got {confidence}")
    if not freedom >= 1:
        raise ValueError(f"at least 1 degree of freedom is wanted, got {freedom:g}")
    if freedom >= NORMAL_FROM:
        return NormalDist().inv_cdf((1 + confidence) / 2)
    whole = int(freedom)
    # t = √ν·tan θ: the angle lies between 0 and a right angle, however great t is.
    below, above = 0.0, math.pi / 2
    for _ in range(_BISECTIONS):
        middle = (below + above) / 2
        if _inside(middle, whole) < confidence:
            below = middle
        else:
            above = middle
    return math.sqrt(whole) * math.tan(above)


def _inside(angle: float, freedom: int) -> float:
    """The probability within ±√ν·tan(angle), by the finite sums for a whole ν.

    Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4.
    """
    sine, cosine = math.sin(angle), math.cos(angle)
    odd = freedom % 2
    term = cosine if odd else 1.0
    total = 0.0
    for power in range(odd, freedom - 1, 2):
        total += term
        term *= cosine * cosine * (power + 1) / (power + 2)
    if odd:
        return 2 / math.pi * (angle + sine * total)
    return sine * total


OUTLIER_CONFIDENCE = 0.95
"""Values that belong together are called an outlier's once in 20 times."""


def outlier(values: Sequence[float], least_distance: float) -> int | None:
    """The index of a value that does not belong to the others, by Grubbs's test; None without one.

    G = |x - mean|/s of the furthest value against its bound at 95 %, two-sided (F. E. Grubbs,
    Technometrics 11 (1969) 1). It also has to lie further than `least_distance` from the nearest
    other value: three readings of which two are equal would else have an outlier always. Below
    3 values nobody can tell which is wrong.
    """
    number = len(values)
    if number < 3:
        return None
    s = stdev(values)
    middle = mean(values)
    furthest = max(range(number), key=lambda index: abs(values[index] - middle))
    others = [value for index, value in enumerate(values) if index != furthest]
    if min(abs(value - values[furthest]) for value in others) <= least_distance:
        return None
    far = abs(values[furthest] - middle) / s
    return furthest if far > grubbs_bound(number) else None


def grubbs_bound(number: int) -> float:
    """The greatest G of `number` values that belong together, 3 at least: 1.715 of 5."""
    t = student_factor(1 - (1 - OUTLIER_CONFIDENCE) / number, number - 2)
    return (number - 1) / math.sqrt(number) * math.sqrt(t * t / (number - 2 + t * t))
