"""Comparing an ammeter with a reference: a straight line by least squares, and how sure it is.

What the meter shows is taken as gain times the current plus offset; the current is therefore
(reading - offset) / gain. Currents are A, uncertainties standard uncertainties. The method is that
of JCGM 100:2008, H.3 (calibration of a thermometer), with weights; its law of propagation, 5.2.2.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import mul
from statistics import mean, stdev

from daemon.chemistry.checks import require_finite, require_not_negative
from daemon.chemistry.uncertainty import MeterDoubt, rectangular

MISFIT_FACTOR = 3.0
"""A point further from the line than this many of its own standard uncertainties does not fit: by
chance alone 3 in 1,000 do that."""

_ROUNDS = 6  # weights depend on the gain so weakly that two rounds reach the last digit


@dataclass(frozen=True, slots=True)
class Point:
    """One comparison: the mean of the meter's readings, and what the reference said meanwhile, A.

    A point at 0 A without any uncertainty is one with the output off, known without the reference.
    `u_reference_a` is what is new in each point (how finely the reference can be read), not the
    reference's class, which is common to all. Raises ValueError for a value that is not finite.
    """

    reading_a: float
    u_reading_a: float
    reference_a: float
    u_reference_a: float = 0.0

    def __post_init__(self) -> None:
        require_finite("meter reading", self.reading_a, "A")
        require_not_negative("uncertainty of the meter reading", self.u_reading_a, "A")
        require_finite("reference", self.reference_a, "A")
        require_not_negative("uncertainty of the reference", self.u_reference_a, "A")


@dataclass(frozen=True, slots=True)
class ReferenceClass:
    """How wrong the reference may be: the current lies within ±(gain · current + offset_a).

    Every value within is taken as just as likely, and the error as the same in all points.
    """

    gain: float = 0.0
    offset_a: float = 0.0

    def __post_init__(self) -> None:
        require_not_negative("the reference's class", self.gain, "")
        require_not_negative("the reference's class", self.offset_a, "A")


@dataclass(frozen=True, slots=True)
class MeterLine:
    """What a meter shows: gain · current + offset_a, with the uncertainty of both.

    `covariance_a` is that of gain and offset, A. `u_class` is the part of `u_gain` that the
    reference's class makes: within its limits, every error is just as likely.
    """

    gain: float = 1.0
    offset_a: float = 0.0
    u_gain: float = 0.0
    u_offset_a: float = 0.0
    covariance_a: float = 0.0
    u_class: float = 0.0

    def residual_a(self, point: Point) -> float:
        """How far the meter's reading lies above the line, A."""
        return point.reading_a - (self.gain * point.reference_a + self.offset_a)

    def doubt(self, noise_a: float = 0.0, clock: float = 0.0, step_a: float = 0.0) -> MeterDoubt:
        """The doubt of a corrected current; noise and step are those of an uncorrected reading, A.

        The current is i = (r - b) / g, so to first order di = dr/g - db/g - i·dg/g (JCGM 100, eq.
        13): the relative doubt of the gain is u(g)/g, that of the offset u(b)/g, their covariance
        u(g, b)/g², with the same sign, since dg and db enter with the same sign.
        """
        return MeterDoubt(
            gain=math.sqrt(max(0.0, self.u_gain**2 - self.u_class**2)) / self.gain,
            reference=self.u_class / self.gain,
            offset_a=self.u_offset_a / self.gain,
            covariance_a=self.covariance_a / self.gain**2,
            noise_a=noise_a / self.gain,
            clock=clock,
            step_a=step_a / self.gain,
        )


@dataclass(frozen=True, slots=True)
class Fit:
    """A line through points.

    residuals_a: each reading above the line, A. chi_square: their squares over the points' own
    variances, with `freedom` degrees of freedom; None where the points do not state their
    uncertainty. misfit: the index of the point that fits worst, if it is beyond `MISFIT_FACTOR`.
    """

    line: MeterLine
    points: tuple[Point, ...]
    residuals_a: tuple[float, ...]
    chi_square: float | None
    freedom: int
    misfit: int | None = None


def mean_reading(readings_a: Sequence[float]) -> tuple[float, float]:
    """The mean of at least two readings and its standard uncertainty, s/√n (JCGM 100, 4.2.3), A."""
    if len(readings_a) < 2:
        raise ValueError(f"at least 2 readings are wanted, got {len(readings_a)}")
    return mean(readings_a), stdev(readings_a) / math.sqrt(len(readings_a))


def stepped(points: Sequence[Point], step_a: float) -> tuple[Point, ...]:
    """The points of a meter that shows the current in steps of so many A.

    A mean of many readings is no finer than that: within a step, every current is as likely.
    """
    u_step_a = rectangular(step_a / 2)
    return tuple(
        replace(point, u_reading_a=math.hypot(point.u_reading_a, u_step_a)) for point in points
    )


def calibrated(points: Sequence[Point], reference: ReferenceClass, last: MeterLine) -> Fit:
    """What the points say of the meter: a line, or with one point at 0 A its offset alone.

    `last` is what was known of the meter so far; only a single point uses it. Raises ValueError for
    points through which there is no line, with the reason.
    """
    if not points:
        raise ValueError("at least one point is wanted, got none")
    return zeroed(points[0], last) if len(points) == 1 else fitted(points, reference)


def zeroed(point: Point, last: MeterLine) -> Fit:
    """The offset anew, from a point with the output off; the gain stays that of `last`.

    Nothing that made the gain uncertain has made this offset so: they are independent. Readings
    without any spread do not say how sure they are; then the offset is as unsure as it was.
    """
    if point.reference_a != 0:
        raise ValueError(
            f"a single point can only set the zero, with the output off: its reference has to be "
            f"0 A, got {point.reference_a:g} A"
        )
    u_offset_a = math.hypot(point.u_reading_a, point.u_reference_a) or last.u_offset_a
    line = MeterLine(last.gain, point.reading_a, last.u_gain, u_offset_a, u_class=last.u_class)
    return Fit(line, (point,), (0.0,), None, 0)


def fitted(points: Sequence[Point], reference: ReferenceClass) -> Fit:
    """The least-squares line through two points or more, at two different currents at least.

    Each point weighs as 1/σ², with σ from the meter's and the reference's uncertainty (effective
    variance). Where none is stated, all points weigh the same and their scatter tells how sure the
    line is, so that takes three. A point without spread among others that have one is taken as
    unsure as the least sure of them. Points that scatter more than they state widen the line's
    uncertainty by √(chi²/freedom). Raises ValueError for points through which there is no line.
    """
    freedom = len(points) - 2
    currents = {point.reference_a for point in points}
    if len(currents) < 2:
        raise ValueError("points at two different currents at least are wanted for a line")
    stated = any(point.u_reading_a or point.u_reference_a for point in points)
    if not stated and freedom < 1:
        raise ValueError("points that do not state how sure they are have to be three at least")
    gain = 1.0
    for _ in range(_ROUNDS):
        sigmas = _sigmas(points, gain)
        towards = _Coefficients.of([point.reference_a for point in points], sigmas)
        gain = _dot(towards.gain, [point.reading_a for point in points])
    if not gain > 0:
        raise ValueError(f"the meter has to show more for more current, got a gain of {gain:.4g}")
    return _fit(points, reference, towards, sigmas, stated)


@dataclass(frozen=True, slots=True)
class _Coefficients:
    """How much of each reading goes into the line: gain = Σ gain[k]·r[k], offset likewise."""

    gain: list[float]
    offset: list[float]

    @staticmethod
    def of(currents: Sequence[float], sigmas: Sequence[float]) -> "_Coefficients":
        """Of the weighted least squares, written about the mean current for the digits' sake."""
        weights = [1 / sigma**2 for sigma in sigmas]
        total = math.fsum(weights)
        middle = _dot(weights, currents) / total
        from_middle = [x - middle for x in currents]
        spread = _dot(weights, [x * x for x in from_middle])
        gain = [w * x / spread for w, x in zip(weights, from_middle, strict=True)]
        offset = [w / total - middle * c for w, c in zip(weights, gain, strict=True)]
        return _Coefficients(gain, offset)


def _sigmas(points: Sequence[Point], gain: float) -> list[float]:
    sigmas = [math.hypot(point.u_reading_a, gain * point.u_reference_a) for point in points]
    greatest = max(sigmas) or 1.0
    return [sigma or greatest for sigma in sigmas]


def _fit(
    points: Sequence[Point],
    reference: ReferenceClass,
    towards: _Coefficients,
    sigmas: Sequence[float],
    stated: bool,
) -> Fit:
    readings = [point.reading_a for point in points]
    gain, offset_a = _dot(towards.gain, readings), _dot(towards.offset, readings)
    residuals_a = tuple(map(MeterLine(gain, offset_a).residual_a, points))
    freedom = len(points) - 2
    chi_square = math.fsum((e / s) ** 2 for e, s in zip(residuals_a, sigmas, strict=True))
    excess = chi_square / freedom if freedom else 1.0
    scale = max(1.0, excess) if stated else excess
    by_gain = [c * s for c, s in zip(towards.gain, sigmas, strict=True)]
    by_offset = [c * s for c, s in zip(towards.offset, sigmas, strict=True)]
    # The reference's class moves all points that it measured, together. An error of its gain goes
    # into the gain alone, an error of its offset into both, if there is a point without it.
    class_gain = gain * rectangular(reference.gain)
    measured = [1.0 if point.reference_a or point.u_reference_a else 0.0 for point in points]
    shift_a = gain * rectangular(reference.offset_a)
    to_gain, to_offset_a = (
        shift_a * _dot(coefficients, measured) for coefficients in (towards.gain, towards.offset)
    )
    line = MeterLine(
        gain,
        offset_a,
        u_gain=math.sqrt(scale * _dot(by_gain, by_gain) + class_gain**2 + to_gain**2),
        u_offset_a=math.sqrt(scale * _dot(by_offset, by_offset) + to_offset_a**2),
        covariance_a=scale * _dot(by_gain, by_offset) + to_gain * to_offset_a,
        u_class=class_gain,
    )
    if not stated:
        return Fit(line, tuple(points), residuals_a, None, freedom)
    misfit = _misfit(points, residuals_a, sigmas, towards) if freedom else None
    return Fit(line, tuple(points), residuals_a, chi_square, freedom, misfit)


def _misfit(
    points: Sequence[Point],
    residuals_a: Sequence[float],
    sigmas: Sequence[float],
    towards: _Coefficients,
) -> int | None:
    """The point whose residual is most improbable, if it is beyond `MISFIT_FACTOR`.

    A residual's own variance is σ²·(1 - h), where h, the point's leverage, is how far it pulls the
    line towards itself.
    """
    worst, worst_factor = None, MISFIT_FACTOR
    for k, point in enumerate(points):
        leverage = towards.offset[k] + towards.gain[k] * point.reference_a
        u_a = sigmas[k] * math.sqrt(max(1e-9, 1 - leverage))
        if abs(residuals_a[k]) > worst_factor * u_a:
            worst, worst_factor = k, abs(residuals_a[k]) / u_a
    return worst


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    return math.fsum(map(mul, a, b))
