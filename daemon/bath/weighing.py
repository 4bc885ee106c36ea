"""Weighing: what a mass before and after says of the cathode efficiency, and what many say.

η = m / (k·Q), m the mass gained and k·Q what Faraday's law gives at 100 %. For one weighing the
balance errs anew, and so do gaps; the meter that counted errs alike in all runs, so that no number
of weighings helps against it. Pure. Masses are g, charges A·h, efficiencies fractions.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from daemon.bath.errors import WeighingError
from daemon.chemistry.checks import require_efficiency
from daemon.chemistry.electrolysis import g_per_ah
from daemon.chemistry.metals import Metal
from daemon.chemistry.student import outlier, student_factor
from daemon.chemistry.uncertainty import (
    Budget,
    Shape,
    Share,
    coverage_factor,
    rectangular,
)

CONFIDENCE = 0.95

LEAST_WEIGHINGS = 3
"""Of two nobody can tell which is wrong, and how far the next will be off is anyone's guess."""

BEYOND_FARADAY = 3.0
"""Standard uncertainties above 100 % beyond which a weighing is asked about: one in 700 honest ones
is so at most."""

APART = 2.0
"""Joint standard uncertainties of two weighings within which none of them is an outlier."""

_OF_ONE_RUN = {"gaps", "noise", "between readings"}
"""Doubts of a charge that are new in each run; all others are the meter's."""

_BISECTIONS = 60


@dataclass(frozen=True, slots=True)
class Efficiency:
    """What one weighing found.

    own: the standard uncertainty that is new in each weighing; common: the meter's, which is the
    same in all. budget: both by their causes; of a weighing that was kept, those two.
    """

    value: float
    own: float
    common: float
    budget: Budget

    @property
    def u(self) -> float:
        """Standard uncertainty."""
        return math.hypot(self.own, self.common)


@dataclass(frozen=True, slots=True)
class Learned:
    """What weighings say together: the efficiency to expect of the next run, ± half95 with 95 %.

    number: of weighings. between: standard deviation from run to run beyond what weighing explains.
    """

    value: float
    half95: float
    between: float
    number: int


def gained(before_g: float, after_g: float, limit_g: float) -> Budget:
    """The mass gained, g, each weighing within ± limit_g. Raises WeighingError."""
    for name, mass_g in (("before", before_g), ("after", after_g)):
        if not (math.isfinite(mass_g) and mass_g > 0):
            raise WeighingError(f"{name}: must be above 0 g, got {mass_g:g} g")
    if not (math.isfinite(limit_g) and limit_g >= 0):
        raise WeighingError(f"balance: must be at least 0 g, got {limit_g:g} g")
    if not after_g > before_g:
        raise WeighingError(
            f"after: {after_g:g} g is no more than the {before_g:g} g before: copper only adds"
        )
    u_g = rectangular(limit_g)
    return Budget(
        after_g - before_g,
        (Share("before", u_g, Shape.FLAT), Share("after", u_g, Shape.FLAT)),
    )


def efficiency(gain: Budget, charge: Budget, metal: Metal) -> Efficiency:
    """The cathode efficiency that a mass gained by a charge means. Raises WeighingError."""
    if not charge.value > 0:
        raise WeighingError(f"no charge passed that could deposit anything: {charge.value:g} Ah")
    whole_g = g_per_ah(metal) * charge.value
    value = gain.value / whole_g
    balance = [Share(each.name, each.u / whole_g, each.shape) for each in gain.shares]
    of_charge = [
        Share(each.name, value * each.u / charge.value, each.shape) for each in charge.shares
    ]
    own = [*balance, *(each for each in of_charge if each.name in _OF_ONE_RUN)]
    common = [each for each in of_charge if each.name not in _OF_ONE_RUN]
    return Efficiency(
        value,
        math.hypot(*(each.u for each in own)),
        math.hypot(*(each.u for each in common)),
        Budget(value, tuple(each for each in (*balance, *of_charge) if each.u)),
    )


def beyond_faraday(found: Efficiency) -> bool:
    """Whether more was gained than the charge can have deposited, beyond doubt."""
    return found.value - 1 > BEYOND_FARADAY * found.u


def does_not_belong(found: Efficiency, earlier: Sequence[Efficiency]) -> bool:
    """Whether a weighing does not belong to the earlier ones: Grubbs's test, 95 %.

    It also has to lie further from the nearest of them than `APART` times what both are unsure by.
    Below three in all nobody can tell.
    """
    values = [*(each.value for each in earlier), found.value]
    least = APART * max(math.hypot(found.own, each.own) for each in (*earlier, found))
    return outlier(values, least) == len(earlier)


def learned(found: Sequence[Efficiency]) -> Learned | None:
    """What weighings say together; None from fewer than `LEAST_WEIGHINGS`.

    A weighted mean by 1/(u² + s²), where s, the scatter between runs, is such that the weighted
    squares of the deviations sum to one less than their number; 0 where the weighings' own doubt
    explains them (R. C. Paule and J. Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377; from memory,
    not checked). The next run will be off by s again, whose few degrees of freedom are Student's;
    the meter's doubt is added once.
    """
    if len(found) < LEAST_WEIGHINGS:
        return None
    # A trace of doubt, where none was stated, leaves the sums finite.
    own = [max(each.own, 1e-9) for each in found]
    values = [each.value for each in found]
    between2 = _between2(values, own)
    mean, _ = _mean(values, own, between2)
    _, u_weighed = _mean(values, own, 0.0)
    number = len(found)
    # That of the next run, and what is left of it in the mean.
    scatter = student_factor(CONFIDENCE, number - 1) * math.sqrt(between2 * (1 + 1 / number))
    common = max(each.common for each in found)
    known = coverage_factor(CONFIDENCE) * math.hypot(u_weighed, common)
    return Learned(mean, math.hypot(scatter, known), math.sqrt(between2), number)


def area(found: Efficiency, trusted: float, area_dm2: float) -> Budget:
    """The area of what was weighed, dm², if the efficiency is `trusted` and copper is even.

    What was gained is then the share of the charge that went there, and that is its share of the
    area that was plated together, area_dm2.
    """
    require_efficiency(trusted)
    return found.budget.times(area_dm2 / trusted)


def _mean(values: Sequence[float], own: Sequence[float], between2: float) -> tuple[float, float]:
    """The weighted mean and its standard uncertainty."""
    weights = [1 / (u * u + between2) for u in own]
    total = math.fsum(weights)
    mean = math.fsum(w * x for w, x in zip(weights, values, strict=True)) / total
    return mean, 1 / math.sqrt(total)


def _between2(values: Sequence[float], own: Sequence[float]) -> float:
    """The variance between runs, by Paule and Mandel."""

    def excess(between2: float) -> float:
        mean, _ = _mean(values, own, between2)
        squares = ((x - mean) ** 2 / (u * u + between2) for x, u in zip(values, own, strict=True))
        return math.fsum(squares) - (len(values) - 1)

    below, above = 0.0, (max(values) - min(values)) ** 2
    if excess(below) <= 0:
        return 0.0
    for _ in range(_BISECTIONS):
        middle = (below + above) / 2
        if excess(middle) > 0:
            below = middle
        else:
            above = middle
    return above
