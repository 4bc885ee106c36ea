"""Calibration against published results, scipy, and meters whose true line is known."""

import math
import random

import numpy as np
import pytest
from scipy import optimize, stats

from daemon.chemistry.calibration import (
    MeterLine,
    Point,
    ReferenceClass,
    calibrated,
    fitted,
    mean_reading,
    zeroed,
)
from daemon.chemistry.uncertainty import Counted, charge_budget, propagate

EXACT = ReferenceClass()

# JCGM 100:2008, table H.6: thermometer readings, °C, and their observed corrections, °C (from
# memory; that the published results come out says that they are right).
READ_C = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTION_C = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)  # fmt: skip  # noqa: E501


def test_the_guides_thermometer() -> None:
    """JCGM 100:2008, H.3: y1 = -0.1712(29) °C, y2 = 0.00218(67), r = -0.930, s = 0.0035 °C."""
    points = [Point(b, 0.0, t - 20) for b, t in zip(CORRECTION_C, READ_C, strict=True)]
    found = fitted(points, EXACT)

    line = found.line
    assert round(line.offset_a, 4) == -0.1712
    assert round(line.u_offset_a, 4) == 0.0029
    assert round(line.gain, 5) == 0.00218
    assert round(line.u_gain, 5) == 0.00067
    assert round(line.covariance_a / (line.u_gain * line.u_offset_a), 3) == -0.930
    assert round(math.sqrt(sum(e * e for e in found.residuals_a) / found.freedom), 4) == 0.0035
    # Its prediction at 30 °C: -0.1494(41) °C.
    correlations = [[1, -0.930], [-0.930, 1]]
    u = propagate(
        lambda v: v[0] + 10 * v[1],
        [line.offset_a, line.gain],
        [line.u_offset_a, line.u_gain],
        correlations,
    )
    assert round(line.offset_a + 10 * line.gain, 4) == -0.1494
    assert round(u, 4) == 0.0041


def scattered(seed: int, n: int) -> list[Point]:
    """Points of a meter with gain 1.012 and offset 8 mA, each as unsure as it says."""
    rng = random.Random(seed)
    points = []
    for _ in range(n):
        true_a, u_a = rng.uniform(0.1, 5.0), rng.uniform(0.5e-3, 4e-3)
        points.append(Point(1.012 * true_a + 0.008 + rng.gauss(0, u_a), u_a, true_a))
    return points


@pytest.mark.parametrize("seed", range(5))
def test_without_weights_it_is_the_usual_straight_line(seed: int) -> None:
    points = [Point(p.reading_a, 0.0, p.reference_a) for p in scattered(seed, 7)]
    line = fitted(points, EXACT).line
    said = stats.linregress([p.reference_a for p in points], [p.reading_a for p in points])

    assert line.gain == pytest.approx(said.slope, rel=1e-12)
    assert line.offset_a == pytest.approx(said.intercept, abs=1e-12)
    assert line.u_gain == pytest.approx(said.stderr, rel=1e-9)
    assert line.u_offset_a == pytest.approx(said.intercept_stderr, rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_with_weights_it_is_what_scipy_finds(seed: int) -> None:
    points = scattered(seed, 30)
    found = fitted(points, EXACT)
    x, y, u = (
        np.array([getattr(p, name) for p in points])
        for name in ("reference_a", "reading_a", "u_reading_a")
    )
    best, covariance = optimize.curve_fit(
        lambda x, gain, offset: gain * x + offset, x, y, [1, 0], u, absolute_sigma=True
    )

    scale = max(1.0, found.chi_square / found.freedom)
    assert [found.line.gain, found.line.offset_a] == pytest.approx(best, rel=1e-6)
    u2 = [found.line.u_gain**2, found.line.covariance_a, found.line.u_offset_a**2]
    assert u2 == pytest.approx(scale * covariance[[0, 0, 1], [0, 1, 1]], rel=1e-5)
    assert found.chi_square == pytest.approx(
        float(np.sum(((y - best[0] * x - best[1]) / u) ** 2)), rel=1e-6
    )


def test_the_references_own_scatter_weighs_as_orthogonal_regression_has_it() -> None:
    rng = random.Random(4)
    points = []
    for k in range(12):
        true_a, u_a, u_ref_a = 0.4 * k, 1e-3 + 1e-4 * k, 2e-3 - 1e-4 * k
        reading_a = 1.05 * true_a - 0.02 + rng.gauss(0, u_a)
        points.append(Point(reading_a, u_a, true_a + rng.gauss(0, u_ref_a), u_ref_a))
    line = fitted(points, EXACT).line
    # Effective variance by scipy's general minimiser.
    said = optimize.minimize(
        lambda v: sum(
            (p.reading_a - v[0] * p.reference_a - v[1]) ** 2
            / (p.u_reading_a**2 + 1.05**2 * p.u_reference_a**2)
            for p in points
        ),
        [1.0, 0.0],
        tol=1e-14,
    )
    assert [line.gain, line.offset_a] == pytest.approx(said.x, abs=2e-6)


def test_two_points_give_the_line_through_them() -> None:
    found = fitted([Point(0.010, 1e-4, 0.0), Point(3.040, 3e-4, 3.0)], EXACT)

    assert found.line.gain == pytest.approx(1.01)
    assert found.line.offset_a == pytest.approx(0.010)
    # gain = (r2 - r1) / 3 A by hand; the offset is the first reading itself.
    assert found.line.u_gain == pytest.approx(math.hypot(1e-4, 3e-4) / 3)
    assert found.line.u_offset_a == pytest.approx(1e-4)
    assert found.line.covariance_a == pytest.approx(-(1e-4**2) / 3)
    assert (found.residuals_a, found.misfit) == (pytest.approx((0, 0), abs=1e-15), None)


def test_the_references_class_is_common_to_all_points() -> None:
    """More points do not make a wrong reference right."""
    reference = ReferenceClass(gain=0.005, offset_a=0.003)
    points = [Point(1.02 * a + 0.01, 1e-9, a) for a in (0.5, 1.0, 2.0, 3.0, 4.0, 5.0)]
    line = fitted(points, reference).line

    assert line.u_gain == pytest.approx(1.02 * 0.005 / math.sqrt(3), rel=1e-4)
    assert line.u_offset_a == pytest.approx(1.02 * 0.003 / math.sqrt(3), rel=1e-4)


def test_a_zero_taken_with_the_output_off_owes_nothing_to_the_reference() -> None:
    reference = ReferenceClass(offset_a=0.006)
    found = fitted([Point(0.01, 1e-9, 0.0), Point(2.01, 1e-9, 2.0)], reference).line

    # The reference's offset error tilts the line about the zero, by hand: d/2 A.
    assert found.u_offset_a == pytest.approx(0.0, abs=1e-6)
    assert found.u_gain == pytest.approx(0.006 / math.sqrt(3) / 2)


def test_a_zero_that_the_reference_showed_is_no_better_than_the_reference() -> None:
    reference = ReferenceClass(offset_a=0.006)
    points = [Point(0.01, 1e-9, 0.0, 1e-9), Point(2.01, 1e-9, 2.0, 1e-9)]
    assert fitted(points, reference).line.u_offset_a == pytest.approx(0.006 / math.sqrt(3))


def test_a_wrong_reference_is_covered_as_often_as_the_doubt_says() -> None:
    """Whole calibrations at random; the true charge of a run has to lie inside the interval."""
    rng = random.Random(11)
    inside, tries = 0, 2000
    for _ in range(tries):
        gain, offset_a = rng.uniform(0.95, 1.05), rng.uniform(-0.02, 0.02)
        reference = ReferenceClass(0.004, 0.004)
        e, d_a = rng.uniform(-0.004, 0.004), rng.uniform(-0.004, 0.004)
        points = []
        for true_a in (0.0, 0.8, 1.9, 3.1, 4.2):
            reading_a = gain * true_a + offset_a + rng.gauss(0, 4e-4)
            shown_a = (true_a - d_a) / (1 + e) + rng.gauss(0, 3e-4) if true_a else 0.0
            points.append(Point(reading_a, 4e-4, shown_a, 3e-4 if true_a else 0.0))
        line = fitted(points, reference).line
        true_a, hours = 2.5, 8.0
        corrected_a = (gain * true_a + offset_a - line.offset_a) / line.gain
        counted = Counted(corrected_a * hours, hours * 3600, 0.0)
        charge = charge_budget(counted, line.doubt())
        inside += abs(charge.value - true_a * hours) <= charge.expanded(0.95)
    # A rectangular error lies inside a normal interval a little more often than 95 %.
    assert 0.93 <= inside / tries <= 1.0


def test_the_reference_s_class_stays_apart_in_the_doubt() -> None:
    # Two sure points; 0.6 % of class: u = 0.006/√3, all of it flat, and nothing else in the gain.
    points = [Point(0.0, 1e-9, 0.0), Point(4.08, 1e-9, 4.0)]
    line = fitted(points, ReferenceClass(gain=0.006)).line
    assert line.u_gain == pytest.approx(1.02 * 0.006 / math.sqrt(3))
    assert line.u_class == pytest.approx(line.u_gain)
    doubt = line.doubt(step_a=0.00102)
    assert doubt.reference == pytest.approx(0.006 / math.sqrt(3))
    assert doubt.gain == pytest.approx(0.0, abs=1e-6)
    assert doubt.step_a == pytest.approx(0.001)
    # Setting the zero anew changes nothing of that.
    assert zeroed(Point(0.001, 1e-4, 0.0), line).line.u_class == line.u_class


def test_the_doubt_of_a_corrected_current_is_the_law_of_propagation() -> None:
    line = MeterLine(1.03, 0.02, 0.004, 0.006, -1.1e-5)
    doubt = line.doubt(noise_a=0.002, clock=5e-5)
    reading_a = 2.7
    current_a = (reading_a - line.offset_a) / line.gain
    r = line.covariance_a / (line.u_gain * line.u_offset_a)
    u_a = propagate(
        lambda v: (v[0] - v[1]) / v[2],
        [reading_a, line.offset_a, line.gain],
        [0.002, line.u_offset_a, line.u_gain],
        [[1, 0, 0], [0, 1, r], [0, r, 1]],
    )
    of_parts = (
        (doubt.gain * current_a) ** 2
        + doubt.offset_a**2
        + 2 * doubt.covariance_a * current_a
        + doubt.noise_a**2
    )
    assert math.sqrt(of_parts) == pytest.approx(u_a, rel=1e-4)
    assert doubt.clock == 5e-5


@pytest.mark.parametrize("wrong", [0, 2, 4])
def test_a_point_that_does_not_fit_is_told(wrong: int) -> None:
    points = [Point(1.01 * a + 0.002, 5e-4, a, 3e-4) for a in (0.0, 1.0, 2.0, 3.0, 4.0)]
    assert fitted(points, EXACT).misfit is None
    good = fitted(points, EXACT).line
    points[wrong] = Point(points[wrong].reading_a + 0.05, 5e-4, points[wrong].reference_a, 3e-4)
    found = fitted(points, EXACT)

    assert found.misfit == wrong
    # Points that contradict each other make the line less sure, by what they say.
    assert found.line.u_gain > 10 * good.u_gain


def test_a_meter_as_good_as_it_says_is_rarely_accused() -> None:
    accused = sum(fitted(scattered(seed, 5), EXACT).misfit is not None for seed in range(500))
    assert accused < 20


def test_a_point_without_any_spread_does_not_rule_the_line() -> None:
    """A supply that shows 0.000 A with its output off, digit for digit."""
    quiet = [Point(0.0, 0.0, 0.0), Point(1.0, 1e-3, 1.0), Point(2.004, 2e-3, 2.0)]
    as_unsure = [Point(0.0, 2e-3, 0.0), *quiet[1:]]

    assert fitted(quiet, EXACT).line == fitted(as_unsure, EXACT).line


def test_one_point_sets_the_zero_and_keeps_the_gain() -> None:
    last = MeterLine(1.02, 0.004, 0.003, 0.002, -1e-6)
    found = calibrated([Point(0.011, 2e-4, 0.0)], ReferenceClass(0.01, 0.01), last)

    assert found.line == MeterLine(1.02, 0.011, 0.003, 2e-4, 0.0)
    assert (found.chi_square, found.freedom) == (None, 0)


def test_a_zero_without_any_spread_is_no_surer_than_before() -> None:
    assert zeroed(Point(0.0, 0.0, 0.0), MeterLine(u_offset_a=0.002)).line.u_offset_a == 0.002


def test_several_points_leave_nothing_of_the_last_line() -> None:
    points = [Point(0.01, 1e-4, 0.0), Point(1.03, 1e-4, 1.0)]
    assert calibrated(points, EXACT, MeterLine(7.0)) == fitted(points, EXACT)


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([], "at least one point"),
        ([Point(1.0, 1e-3, 1.0)], "its reference has to be 0 A, got 1 A"),
        ([Point(1.0, 1e-3, 1.0), Point(1.1, 1e-3, 1.0)], "two different currents"),
        ([Point(1.0, 0.0, 1.0), Point(2.0, 0.0, 2.0)], "have to be three at least"),
        ([Point(-1.0, 1e-3, 1.0), Point(-2.0, 1e-3, 2.0)], "a gain of -1"),
        ([Point(1.0, 1e-3, 1.0), Point(1.0, 1e-3, 2.0)], "a gain of 0"),
    ],
)
def test_points_without_a_line_are_refused(points: list[Point], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        calibrated(points, EXACT, MeterLine())


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_value_that_is_no_number_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        Point(value, 0.0, 1.0)
    with pytest.raises(ValueError, match="finite"):
        ReferenceClass(gain=value)


def test_the_mean_of_readings_and_how_sure_it_is() -> None:
    # JCGM 100:2008, table H.2: five observations of V, mean 4.9990(32) V.
    found = mean_reading([5.007, 4.994, 5.005, 4.990, 4.999])
    assert (round(found[0], 4), round(found[1], 4)) == (4.9990, 0.0032)
    with pytest.raises(ValueError, match="at least 2 readings"):
        mean_reading([1.0])
