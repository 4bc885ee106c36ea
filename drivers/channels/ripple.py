"""Ripple of a current, as far as a meter is fast enough to see it. Pure.

Ripple is given against the direct current, which is the mean: once as the root mean square of the
alternating part, the usual figure for rectifiers ("% rms ripple"), and once as the whole swing from
the least to the greatest value. For a sine on a direct current the first is the second divided by
2√2. An unfiltered rectifier has 121 % rms (one-phase half-wave), 48 % (one-phase full-wave) or
4.2 % (three-phase full-wave); the tests derive these from their closed forms.

What is faster than half the meter's conversions per second is folded down or averaged away by it:
the figures speak of mains ripple and say nothing about a switching supply's.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from statistics import fmean, pstdev

_CONVERSIONS_PER_PERIOD = 7.5
"""A converter that averages from one conversion to the next then shows a sine 2.9 % too small
(sinc); it is as few as an INA219 makes in a period of 120 Hz."""

_LEAST_PERIODS = 10
"""A part of a period at the end of the burst then changes the figures by little."""

_LEAST_VALUES = 8
"""With fewer different values the ripple is no larger than the meter's steps."""

_GREATEST_SWING = 10.0
"""A swing of more than this many times the mean: there is no direct current to compare with."""


@dataclass(frozen=True, slots=True)
class Ripple:
    """Ripple in % of the mean current.

    rms_percent: the root mean square of the alternating part. peak_to_peak_percent: the greatest
    less the least value, which has the meter's noise in it; the other hardly has.
    """

    rms_percent: float
    peak_to_peak_percent: float


class NotMeasured(Enum):
    """Why a burst tells nothing of ripple; the value says it in words."""

    TOO_SHORT = "the burst is too short"
    TOO_SLOW = "the meter samples too slowly"
    TOO_FEW = "too few new values: the ripple is below the meter's steps, or it converts too slowly"
    NO_CURRENT = "there is no direct current to compare with"


def ripple(
    times_s: Sequence[float], values: Sequence[float], lowest_hz: float
) -> Ripple | NotMeasured:
    """The ripple in a burst of readings, or why it is not measured.

    `times_s` are rising; `lowest_hz` is the lowest ripple to be judged: 100 Hz or 120 Hz behind a
    full-wave rectifier on mains of 50 Hz or 60 Hz.

    Not measured if the burst is shorter than 10 periods of it; if the meter was read, or made
    conversions, fewer than 7.5 times in a period; if fewer than 8 different values came; or if
    there is no direct current. Only readings that differ from the one before count as conversions:
    a meter that is read faster than it converts repeats itself. So a current without any ripple is
    not measured too, and not 0.

    Raises ValueError for sequences of different lengths, for times that do not rise, and for a
    frequency that is not above 0.
    """
    if len(times_s) != len(values):
        raise ValueError(f"as many times as values, got {len(times_s)} and {len(values)}")
    if not lowest_hz > 0:
        raise ValueError(f"lowest frequency must be above 0 Hz, got {lowest_hz}")
    if any(later <= earlier for earlier, later in pairwise(times_s)):
        raise ValueError("times must rise")
    duration_s = times_s[-1] - times_s[0] if times_s else 0.0
    if duration_s < _LEAST_PERIODS / lowest_hz:
        return NotMeasured.TOO_SHORT
    wanted = _CONVERSIONS_PER_PERIOD * lowest_hz * duration_s
    if len(values) - 1 < wanted:
        return NotMeasured.TOO_SLOW
    conversions = sum(later != earlier for earlier, later in pairwise(values))
    if conversions < wanted or len(set(values)) < _LEAST_VALUES:
        return NotMeasured.TOO_FEW
    mean = abs(fmean(values))
    swing = max(values) - min(values)
    if swing > _GREATEST_SWING * mean:
        return NotMeasured.NO_CURRENT
    return Ripple(100.0 * pstdev(values) / mean, 100.0 * swing / mean)
