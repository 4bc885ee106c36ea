"""How sure a figure is, by the Guide to the Expression of Uncertainty in Measurement (GUM).

The general law (JCGM 100:2008, 5.1.2 and 5.2.2) is `propagate`; charge and thickness have sums of
their own, since a run's readings are many and their errors of a few simple kinds. Everything here
is standard uncertainty (one standard deviation) unless a name says `expanded`.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from itertools import product
from statistics import NormalDist

from daemon.chemistry.checks import require_not_negative
from daemon.chemistry.constants import COULOMBS_PER_AH
from daemon.chemistry.student import student_factor

Matrix = Sequence[Sequence[float]]


class Shape(Enum):
    """How an error spreads.

    FLAT: just as likely anywhere within ±√3·u, and never beyond (a rectangular distribution).
    BOUND: at one of both bounds, ±u, as what lies between is never far from them in its effect.
    """

    NORMAL = "normal"
    FLAT = "flat"
    BOUND = "bound"


@dataclass(frozen=True, slots=True)
class Share:
    """One cause of doubt, and the standard uncertainty that it alone gives the result.

    `freedom`: degrees of freedom of a scatter of few readings, one less than they are.
    """

    name: str
    u: float
    shape: Shape = Shape.NORMAL
    freedom: float = math.inf


@dataclass(frozen=True, slots=True)
class Budget:
    """A value and what its uncertainty is made of, all in the value's unit.

    The causes are independent of each other: u² is the sum of the shares' squares.
    """

    value: float
    shares: tuple[Share, ...]

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return math.sqrt(math.fsum(share.u * share.u for share in self.shares))

    def times(self, factor: float) -> "Budget":
        """The same in another unit, of which `factor` are one of this; above 0."""
        shares = tuple(replace(share, u=share.u * factor) for share in self.shares)
        return Budget(self.value * factor, shares)

    def expanded(self, confidence: float) -> float:
        """Half the width of the interval that holds the truth with `confidence`, 0 < it < 1.

        All causes are folded exactly, as JCGM 101 does by drawing: where a maker's limits dominate,
        ±1.96·u would hold nearly everything and not 95 %. Scatter of few readings is Student's and
        not normal (JCGM 101, 6.4.9); it counts as normal with the same interval. That holds at
        least what it says, where the effective degrees of freedom of JCGM 100, G.4, do not: of two
        readings and a small limit beside them, 87 % and not 95.
        """
        factor = coverage_factor(confidence)
        bound = math.fsum(share.u for share in self.shares if share.shape is Shape.BOUND)
        spread = [share for share in self.shares if share.shape is not Shape.BOUND]
        u = math.hypot(*(share.u for share in spread))
        flat, rest = [], []
        for share in spread:
            if share.shape is Shape.FLAT and share.u > FLAT_LEAST * u:
                flat.append(math.sqrt(3) * share.u)
            elif math.isinf(share.freedom):
                rest.append(share.u)
            else:
                rest.append(share.u * student_factor(confidence, share.freedom) / factor)
        if not flat and not bound:
            return factor * math.hypot(*rest)
        # A trace of normal error keeps the formula whole where there is none.
        sigma = max(math.hypot(*rest), 1e-6 * (u + bound))
        below, above = 0.0, bound + math.fsum(flat) + factor * sigma
        for _ in range(BISECTIONS):
            middle = (below + above) / 2
            # With the error at its upper bound; at the lower one it is the mirror image.
            inside = _below(middle - bound, flat, sigma) - _below(-middle - bound, flat, sigma)
            if inside < confidence:
                below = middle
            else:
                above = middle
        return above


FLAT_LEAST = 0.25
"""Of the whole uncertainty, below which a flat cause counts as normal: its part of the result's
excess kurtosis, 1.2 times the fourth power of this, is below 0.005."""

BISECTIONS = 30
"""Halve an interval of some u to a billionth of it."""


def _below(x: float, flat: Sequence[float], sigma: float) -> float:
    """The probability that a normal error and flat ones of these half-widths sum to below x.

    The distribution of a sum of n flat errors and a normal one z is the mixed difference, over all
    signs s, of E[(x + Σ s·a - z)₊ⁿ] / (n!·Π 2a): each flat error integrates once, between its ends.
    """
    total = 0.0
    for signs in product((1.0, -1.0), repeat=len(flat)):
        at = x + math.fsum(sign * a for sign, a in zip(signs, flat, strict=True))
        total += math.prod(signs) * _partial_moment(at, sigma, len(flat))
    whole = math.factorial(len(flat)) * math.prod(2 * a for a in flat)
    return total / whole


def _partial_moment(y: float, sigma: float, order: int) -> float:
    """E[(y - z)₊^order] for a normal z around 0 with standard deviation `sigma`.

    M(n) = y·M(n-1) + (n-1)·σ²·M(n-2), by parts.
    """
    score = y / sigma
    before = math.erfc(-score / math.sqrt(2)) / 2
    if order == 0:
        return before
    density = math.exp(-score * score / 2) / math.sqrt(2 * math.pi)
    moment = y * before + sigma * density
    for n in range(2, order + 1):
        before, moment = moment, y * moment + (n - 1) * sigma * sigma * before
    return moment


def coverage_factor(confidence: float) -> float:
    """The k of a two-sided interval of the normal distribution: 1.960 at 0.95 (JCGM 100, G.1)."""
    _require_confidence(confidence)
    return NormalDist().inv_cdf((1 + confidence) / 2)


def one_sided_factor(confidence: float) -> float:
    """The k below which a normal value stays with `confidence`: 1.645 at 0.95."""
    _require_confidence(confidence)
    return NormalDist().inv_cdf(confidence)


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value that lies anywhere within ±half_width (JCGM 100, 4.3.7)."""
    return require_not_negative("half width", half_width, "") / math.sqrt(3)


def undithered(step_a: float, noise_a: float) -> float:
    """How much of a step of rounding noise leaves standing, A.

    Rounding errs by a saw tooth of the current, whose harmonics noise averages out; the first is
    left with exp(-2π²·σ²/step²) of its size, the others with less (the characteristic function of
    the normal distribution). Noise of half a step leaves 0.7 %.
    """
    return step_a * math.exp(-2 * (math.pi * noise_a / step_a) ** 2) if step_a else 0.0


def propagate(
    function: Callable[[Sequence[float]], float],
    values: Sequence[float],
    u: Sequence[float],
    correlations: Matrix | None = None,
) -> float:
    """Standard uncertainty of `function(values)`, whose inputs have uncertainties `u`.

    First-order law of propagation, JCGM 100:2008 eq. (13), with `correlations` the matrix r(i, j);
    without it the inputs are independent, eq. (10). The partial derivatives are central
    differences over ±u(i) (5.1.3, note 2).
    """
    if len(values) != len(u):
        raise ValueError(f"{len(values)} values, {len(u)} uncertainties: the same number is wanted")
    parts = [_part(function, values, index, u[index]) for index in range(len(values))]
    total = 0.0
    for i, first in enumerate(parts):
        for j, second in enumerate(parts):
            r = 1.0 if i == j else 0.0
            if correlations is not None:
                r = correlations[i][j]
            total += r * first * second
    return math.sqrt(max(0.0, total))


def _part(
    function: Callable[[Sequence[float]], float], values: Sequence[float], index: int, u: float
) -> float:
    """The change of the result with one input, times that input's uncertainty."""
    above, below = list(values), list(values)
    above[index] += u
    below[index] -= u
    return (function(above) - function(below)) / 2


@dataclass(frozen=True, slots=True)
class MeterDoubt:
    """What is not known of an ammeter, as standard uncertainties.

    gain: relative, the same for all readings. offset_a: the same for all readings, A. covariance_a:
    of gain and offset as a calibration gives it, A. noise_a: of each reading anew, A. clock:
    relative, of the seconds between readings. step_a: the smallest step that is shown, A; a steady
    current is rounded in all readings alike. of_limits: gain and offset come from limits that a
    maker promises, so that all within them is as likely; from a calibration they are normal.
    reference: relative, what the class of a calibration's reference adds to the gain's, likewise
    from limits.
    """

    gain: float = 0.0
    offset_a: float = 0.0
    covariance_a: float = 0.0
    noise_a: float = 0.0
    clock: float = 0.0
    step_a: float = 0.0
    of_limits: bool = False
    reference: float = 0.0


NO_DOUBT = MeterDoubt()
"""Of a meter that is taken at its word."""


@dataclass(frozen=True, slots=True)
class Counted:
    """What a count of charge is made of.

    charge_ah: the sum of trapezoids, A·h. covered_s: the time they span, s. squares_s2: the sum of
    their widths squared, s². gap_least_ah and gap_greatest_ah: bounds of what passed in gaps, A·h.
    """

    charge_ah: float
    covered_s: float
    squares_s2: float
    gap_least_ah: float = 0.0
    gap_greatest_ah: float = 0.0


def charge_budget(counted: Counted, doubt: MeterDoubt) -> Budget:
    """The charge, A·h, with the middle of its gaps, and how sure it is.

    Gain and offset are common to all readings: their errors add up over the whole run. So does
    that of rounding to a step, within ± half of it (JCGM 100, F.2.2.1), as a bath's current stands
    still for hours. Noise is new in each reading: the errors of n equal intervals add up as √n. A
    gap's charge lies between its bounds, and mostly at the greatest: where nobody looks, a supply
    usually goes on. So it counts as lying at a bound, and in all gaps alike.
    """
    offset_ah = doubt.offset_a * counted.covered_s / COULOMBS_PER_AH
    gain_ah = doubt.gain * counted.charge_ah
    covariance = 2 * doubt.covariance_a * counted.charge_ah * counted.covered_s / COULOMBS_PER_AH
    common = math.sqrt(max(0.0, gain_ah**2 + offset_ah**2 + covariance))
    of_meter = Shape.FLAT if doubt.of_limits else Shape.NORMAL
    shares = (
        (Share("gain and offset", common),)
        if doubt.covariance_a
        else (
            Share("gain", abs(gain_ah), of_meter),
            Share("offset", offset_ah, of_meter),
        )
    )
    step_ah = rectangular(doubt.step_a / 2) * counted.covered_s / COULOMBS_PER_AH
    noise_ah = doubt.noise_a * math.sqrt(counted.squares_s2) / COULOMBS_PER_AH
    gap_ah = abs(counted.gap_greatest_ah - counted.gap_least_ah) / 2
    value = counted.charge_ah + (counted.gap_least_ah + counted.gap_greatest_ah) / 2
    return Budget(
        value,
        (
            *shares,
            Share("reference", abs(doubt.reference * counted.charge_ah), Shape.FLAT),
            Share("resolution", step_ah, Shape.FLAT),
            Share("noise", noise_ah),
            Share("clock", abs(doubt.clock * counted.charge_ah), Shape.FLAT),
            Share("gaps", gap_ah, Shape.BOUND),
        ),
    )


def between_readings_as(steps_a2s2: float, squares_s2: float, noise_a: float) -> float:
    """Standard uncertainty of the charge for what nobody saw between readings, A·s.

    A current that changed by d somewhere in an interval h gives a charge within ±|d|·h/2 of the
    trapezoid, all of it as likely (JCGM 100, 4.3.7), each interval independently of the others.
    `steps_a2s2` is the sum of (d·h)², `squares_s2` that of h². Noise makes two readings differ by
    √2 of its own, and that is no change.
    """
    changes_a2s2 = max(0.0, steps_a2s2 - 2 * noise_a**2 * squares_s2)
    return math.sqrt(changes_a2s2 / 12)


def in_step_as(steps_as: float, between_as: float) -> float:
    """Standard uncertainty of the charge for steps that all come at one phase of the readings, A·s.

    A ramp is made in steps, and a meter with a rhythm of its own reads each of them as late as the
    one before: the trapezoids are wrong by the same share of each d·h, anywhere within ± half of it
    (JCGM 100, 4.3.7). `steps_as` is the sum of d·h with its signs: up and down make up for each
    other, and so does a current that flutters. What `between_readings_as` says of the same steps
    is left out.
    """
    return math.sqrt(max(0.0, rectangular(abs(steps_as) / 2) ** 2 - between_as**2))


def thickness_budget(charge: Budget, um_per_ah: float, area: float, efficiency: float) -> Budget:
    """Mean thickness in µm; `area` and `efficiency` are their relative standard uncertainties."""
    thickness = charge.times(um_per_ah)
    known = abs(thickness.value)
    more = (Share("area", known * area), Share("efficiency", known * efficiency))
    return Budget(thickness.value, (*thickness.shares, *more))


def _require_confidence(confidence: float) -> None:
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must be between 0 and 1, got {confidence}")
