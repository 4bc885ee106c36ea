"""Uncertainty against the Guide's own worked examples, and against the `uncertainties` package."""

import itertools
import math
import random
from fractions import Fraction
from statistics import fmean, stdev

import pytest
from uncertainties import correlated_values, covariance_matrix, ufloat, umath

from daemon.chemistry.uncertainty import (
    Budget,
    Counted,
    MeterDoubt,
    Shape,
    Share,
    between_readings_as,
    charge_budget,
    coverage_factor,
    in_step_as,
    one_sided_factor,
    propagate,
    rectangular,
    thickness_budget,
    undithered,
)

# JCGM 100:2008, example H.2: five sets of V (V), I (A), phi (rad) and what follows from them.
VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
AMPERES = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
RADIANS = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]

PRINTED_VALUES = (4.999, 19.661e-3, 1.04446)
PRINTED_U = (0.0032, 0.0095e-3, 0.00075)
PRINTED_R = ((1, -0.36, 0.86), (-0.36, 1, -0.65), (0.86, -0.65, 1))

RESULTS = {
    "resistance": lambda x: x[0] / x[1] * math.cos(x[2]),
    "reactance": lambda x: x[0] / x[1] * math.sin(x[2]),
    "impedance": lambda x: x[0] / x[1],
}


@pytest.mark.parametrize(
    ("name", "value", "u"),
    [
        # R 127.732(70), X 219.85(30), Z 254.26(24) Ω: JCGM 100:2008 H.2, as re-run by the worked
        # example of a calculator of uncertainties (127.7322/0.06998 and so on).
        ("resistance", 127.7322, 0.06998),
        ("reactance", 219.8465, 0.2957),
        ("impedance", 254.2597, 0.2366),
    ],
)
def test_the_guides_simultaneous_example(name: str, value: float, u: float) -> None:
    function = RESULTS[name]
    assert function(PRINTED_VALUES) == pytest.approx(value, abs=1e-3)
    assert propagate(function, PRINTED_VALUES, PRINTED_U, PRINTED_R) == pytest.approx(u, rel=1e-3)


@pytest.mark.parametrize(
    ("name", "value", "u"),
    [
        ("resistance", 127.732, 0.071),
        ("reactance", 219.847, 0.295),
        ("impedance", 254.260, 0.236),
    ],
)
def test_the_guides_example_from_its_raw_data(name: str, value: float, u: float) -> None:
    # The data are table H.2 of JCGM 100:2008 (from memory), its results as printed there.
    data = (VOLTS, AMPERES, RADIANS)
    means = [fmean(column) for column in data]
    doubts = [stdev(column) / math.sqrt(len(column)) for column in data]
    r = [[_correlation(a, b) for b in data] for a in data]
    assert r[0][1] == pytest.approx(-0.355, abs=5e-4)
    assert r[0][2] == pytest.approx(0.858, abs=5e-4)
    assert r[1][2] == pytest.approx(-0.645, abs=5e-4)
    assert RESULTS[name](means) == pytest.approx(value, abs=1e-3)
    assert propagate(RESULTS[name], means, doubts, r) == pytest.approx(u, abs=6e-4)


def _correlation(a: list[float], b: list[float]) -> float:
    mean_a, mean_b = fmean(a), fmean(b)
    top = sum((x - mean_a) * (y - mean_b) for x, y in zip(a, b, strict=True))
    return top / (len(a) - 1) / stdev(a) / stdev(b)


def test_a_quotient_without_correlation() -> None:
    # JCGM 100:2008 eq. (12) by hand: (u/y)² = (0.0032/4.999)² + (0.0095/19.661)².
    u = propagate(lambda x: x[0] / x[1], (4.999, 19.661e-3), (0.0032, 0.0095e-3))
    assert u == pytest.approx(0.2039, rel=1e-3)


def test_a_voltmeters_limits() -> None:
    # JCGM 100:2008 4.3.7 and 5.1.5 (from memory): a = 14e-6 · 0.928571 V + 2e-6 · 1 V = 15 µV,
    # u = 8.7 µV; with 12 µV of repeatability 15 µV.
    u = rectangular(14e-6 * 0.928571 + 2e-6)
    assert u == pytest.approx(8.66e-6, rel=1e-3)
    assert math.hypot(u, 12e-6) == pytest.approx(14.8e-6, rel=1e-2)


def test_a_certificates_expanded_uncertainty() -> None:
    # JCGM 100:2008 4.3.4 (from memory): 129 µΩ at 99 % is u = 50 µΩ, with k = 2.58.
    assert coverage_factor(0.99) == pytest.approx(2.58, abs=0.005)
    assert 129 / coverage_factor(0.99) == pytest.approx(50, rel=2e-3)


def test_coverage_factors_of_the_normal_distribution() -> None:
    # JCGM 100:2008 table G.1: 1.645 at 90 %, 1.960 at 95 %.
    assert coverage_factor(0.90) == pytest.approx(1.645, abs=5e-4)
    assert coverage_factor(0.95) == pytest.approx(1.960, abs=5e-4)
    assert one_sided_factor(0.95) == pytest.approx(1.645, abs=5e-4)


@pytest.mark.parametrize("confidence", [0.0, 1.0, -0.1, 95.0, math.nan])
def test_a_confidence_is_between_0_and_1(confidence: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        coverage_factor(confidence)


def test_propagation_agrees_with_a_second_opinion() -> None:
    values = correlated_values(
        PRINTED_VALUES,
        [[PRINTED_R[i][j] * PRINTED_U[i] * PRINTED_U[j] for j in range(3)] for i in range(3)],
    )
    other = values[0] / values[1] * umath.cos(values[2])
    ours = propagate(RESULTS["resistance"], PRINTED_VALUES, PRINTED_U, PRINTED_R)
    assert ours == pytest.approx(other.std_dev, rel=1e-4)


def test_propagation_wants_an_uncertainty_for_each_value() -> None:
    with pytest.raises(ValueError, match="2 values, 1 uncertainties"):
        propagate(sum, (1.0, 2.0), (0.1,))


def test_a_run_of_equal_readings_against_a_second_opinion() -> None:
    # 100 readings of 2 A, 1 s apart, as 100 rectangles: gain and offset common, noise not.
    gain, offset = ufloat(1, 0.005), ufloat(0, 0.003)
    noise = [ufloat(0, 0.02) for _ in range(100)]
    charge = sum((2 * gain + offset + n) for n in noise) / 3600
    counted = Counted(charge_ah=200 / 3600, covered_s=100.0, squares_s2=100.0)
    budget = charge_budget(counted, MeterDoubt(gain=0.005, offset_a=0.003, noise_a=0.02))
    assert budget.value == pytest.approx(charge.nominal_value)
    assert budget.u == pytest.approx(charge.std_dev, rel=1e-9)


def test_gain_and_offset_of_a_calibration_may_depend_on_each_other() -> None:
    gain, offset = correlated_values([1, 0], [[0.004**2, -6e-6], [-6e-6, 0.002**2]])
    charge = (3 * gain + offset) * 7200 / 3600
    counted = Counted(charge_ah=6.0, covered_s=7200.0, squares_s2=7200.0)
    doubt = MeterDoubt(gain=0.004, offset_a=0.002, covariance_a=-6e-6)
    assert charge_budget(counted, doubt).u == pytest.approx(charge.std_dev, rel=1e-9)
    assert covariance_matrix([gain, offset])[0][1] == pytest.approx(-6e-6)


def test_a_gap_counts_with_its_middle_and_reaches_to_its_bounds() -> None:
    counted = Counted(1.0, 3600.0, 3600.0, gap_least_ah=0.0, gap_greatest_ah=0.12)
    budget = charge_budget(counted, MeterDoubt())
    assert budget.value == pytest.approx(1.06)
    assert budget.u == pytest.approx(0.06)
    assert budget.expanded(0.95) == pytest.approx(0.06, rel=1e-5)


def test_a_gap_through_which_some_current_is_known_to_have_gone() -> None:
    # 0.04 to 0.12 Ah: 0.08 ± 0.04. Against the current, -3 to 2 Ah: -0.5 ± 2.5.
    some = Counted(1.0, 3600.0, 3600.0, gap_least_ah=0.04, gap_greatest_ah=0.12)
    assert charge_budget(some, MeterDoubt()).value == pytest.approx(1.08)
    assert charge_budget(some, MeterDoubt()).u == pytest.approx(0.04)
    both = Counted(1.0, 3600.0, 3600.0, gap_least_ah=-3.0, gap_greatest_ah=2.0)
    assert charge_budget(both, MeterDoubt()).value == pytest.approx(0.5)
    assert charge_budget(both, MeterDoubt()).u == pytest.approx(2.5)


def test_the_interval_of_a_run_whose_current_went_on_in_its_gaps() -> None:
    """The truth is at the upper bound, whatever else errs: 95 % of that lies to either side."""
    chance = random.Random(7)
    budget = Budget(0.0, (Share("gaps", 3.0, Shape.BOUND), Share("noise", 1.0)))
    half_width = budget.expanded(0.95)
    # The far side is out of reach: one-sided, 3 + 1.645.
    assert half_width == pytest.approx(4.645, abs=1e-3)
    inside = sum(abs(3.0 + chance.gauss(0, 1)) <= half_width for _ in range(40_000))
    assert inside / 40_000 == pytest.approx(0.95, abs=0.0044)


@pytest.mark.parametrize("noise_steps", [0.0, 0.1, 0.2, 0.3])
def test_noise_dithers_the_rounding_away(noise_steps: float) -> None:
    """The mean of 4,000 rounded readings, over 200 steady currents: what it is still off by."""
    chance = random.Random(13)
    errors = []
    for _ in range(200):
        current = chance.uniform(10, 11)
        shown = [round(current + chance.gauss(0, noise_steps)) for _ in range(4000)]
        errors.append(fmean(shown) - current)
    rms = math.sqrt(fmean(error**2 for error in errors))
    left = rectangular(undithered(1.0, noise_steps) / 2)
    # The first harmonic alone is 0.78 of the saw tooth.
    assert 0.75 * left < rms < 1.1 * left


def test_noise_of_half_a_step_leaves_next_to_nothing() -> None:
    assert undithered(0.004, 0.002) == pytest.approx(0.004 * 0.0072, rel=0.01)
    assert undithered(0.004, 0.004) < 1e-9


def test_nothing_is_left_of_no_step() -> None:
    assert undithered(0.0, 0.01) == 0.0


def test_thickness_carries_area_and_efficiency() -> None:
    charge = Budget(3.4, (Share("gain", 0.034),))
    thickness = thickness_budget(charge, um_per_ah=7.35, area=0.02, efficiency=0.01)
    other = ufloat(3.4, 0.034) * 7.35 / ufloat(1, 0.02) * ufloat(1, 0.01)
    assert thickness.value == pytest.approx(other.nominal_value)
    assert thickness.u == pytest.approx(other.std_dev, rel=1e-9)
    assert [share.name for share in thickness.shares] == ["gain", "area", "efficiency"]
    assert thickness.expanded(0.95) == pytest.approx(1.96 * other.std_dev, rel=1e-4)


def test_a_steady_current_is_rounded_the_same_way_all_night() -> None:
    # 8 h at 2.0003 A shown in steps of 1 mA: off by up to 0.5 mA throughout, 4 mAh.
    counted = Counted(charge_ah=16.0, covered_s=28800.0, squares_s2=2880.0)
    (share,) = (s for s in charge_budget(counted, MeterDoubt(step_a=0.001)).shares if s.u)
    assert (share.name, share.shape) == ("resolution", Shape.FLAT)
    assert share.u == pytest.approx(0.004 / math.sqrt(3))


@pytest.mark.parametrize("charge_ah", [16.0, -16.0])
@pytest.mark.parametrize(
    ("doubt", "name", "u_ah"),
    [
        # Of 16 Ah: 0.5 % of the meter's gain, 0.25 % of a calibration's reference, 100 ppm of the
        # seconds; and 8 h of 3 mA.
        (MeterDoubt(gain=0.005, of_limits=True), "gain", 0.08),
        (MeterDoubt(reference=0.0025), "reference", 0.04),
        (MeterDoubt(clock=1e-4), "clock", 0.0016),
        (MeterDoubt(offset_a=0.003, of_limits=True), "offset", 0.024),
    ],
)
def test_what_a_maker_promises_is_flat_and_adds_up_all_night(
    charge_ah: float, doubt: MeterDoubt, name: str, u_ah: float
) -> None:
    counted = Counted(charge_ah, covered_s=28800.0, squares_s2=28800.0)
    budget = charge_budget(counted, doubt)
    (share,) = (s for s in budget.shares if s.u)
    assert (share.name, share.shape) == (name, Shape.FLAT)
    assert share.u == pytest.approx(u_ah)
    # 95 % of what is flat lies within 0.95 of its half-width.
    assert budget.expanded(0.95) == pytest.approx(0.95 * math.sqrt(3) * u_ah, rel=1e-6)


def test_a_change_that_nobody_saw_lies_anywhere_between_two_readings() -> None:
    # 1 A more somewhere within 10 s, and 2 A less within the next: ±5 and ±10 A·s, each flat.
    assert between_readings_as(100.0, 200.0, 0.0) == pytest.approx(5 / math.sqrt(3))
    assert between_readings_as(100.0 + 400.0, 200.0, 0.0) == pytest.approx(
        math.hypot(5, 10) / math.sqrt(3)
    )


def test_noise_is_taken_out_of_the_changes_between_readings() -> None:
    # Two readings that each scatter by 0.3 A differ by 0.3·√2 A: (d·h)² is 0.18 A² · 100 s².
    assert between_readings_as(18.0, 100.0, 0.3) == pytest.approx(0.0, abs=1e-6)
    assert between_readings_as(10.0, 100.0, 0.3) == 0.0
    assert between_readings_as(18.0 + 12.0, 100.0, 0.3) == pytest.approx(1.0)


def test_steps_that_are_all_read_late_err_by_half_of_them_at_most() -> None:
    # A ramp of 4 A at readings 0.5 s apart: ±1 A·s, flat, less what is counted as chance already.
    assert in_step_as(2.0, 0.0) == in_step_as(-2.0, 0.0) == pytest.approx(1 / math.sqrt(3))
    assert in_step_as(6.0, 1.0) == pytest.approx(math.sqrt(3 - 1))
    assert in_step_as(2.0, 1.0) == 0.0


@pytest.mark.parametrize(
    ("half_widths", "normal", "k"),
    [
        # One flat cause alone: 0.95 of its half-width, 0.95·√3 (EA-4/02, S9; from memory).
        ((1.0,), 0.0, 0.95 * math.sqrt(3)),
        # Two equal ones make a triangle of half-width 2a, u = a·√(2/3): 2a·(1 - √0.05).
        ((1.0, 1.0), 0.0, 2 * (1 - math.sqrt(0.05)) / math.sqrt(2 / 3)),
        # Two unequal ones make a trapezoid whose edges are in the ratio beta = (a-b)/(a+b); the
        # formula is that of EA-4/02, S10, k = 1.83 at a beta of 0.33 (from memory, not checked).
        ((1.0, 0.5), 0.0, (1 - math.sqrt(0.05 * (1 - 1 / 9))) / math.sqrt((1 + 1 / 9) / 6)),
        # Nothing but normal.
        ((), 1.0, 1.959964),
    ],
)
def test_the_interval_of_flat_causes(
    half_widths: tuple[float, ...], normal: float, k: float
) -> None:
    shares = [Share("limit", a / math.sqrt(3), Shape.FLAT) for a in half_widths]
    budget = Budget(0.0, (*shares, Share("noise", normal)))
    assert budget.expanded(0.95) / budget.u == pytest.approx(k, rel=1e-5)


def test_the_interval_of_flat_and_normal_causes_by_drawing() -> None:
    chance = random.Random(101)
    budget = Budget(
        0.0, (Share("gain", 1.0, Shape.FLAT), Share("offset", 0.7, Shape.FLAT), Share("noise", 0.5))
    )
    for confidence in (0.5, 0.95, 0.99):
        half_width = budget.expanded(confidence)
        inside = 0
        for _ in range(40_000):
            flat = chance.uniform(-1, 1) + 0.7 * chance.uniform(-1, 1)
            inside += abs(math.sqrt(3) * flat + chance.gauss(0, 0.5)) <= half_width
        # Four standard deviations of 40,000 draws.
        room = 4 * math.sqrt(confidence * (1 - confidence) / 40_000)
        assert inside / 40_000 == pytest.approx(confidence, abs=room)


def test_limits_stay_flat_in_a_thickness() -> None:
    doubt = MeterDoubt(gain=0.01, of_limits=True)
    charge = charge_budget(Counted(2.0, 3600.0, 360.0), doubt)
    thickness = thickness_budget(charge, um_per_ah=10.0, area=0.0, efficiency=0.0)
    assert thickness.expanded(0.95) == pytest.approx(20 * 0.01 * 0.95 * math.sqrt(3), rel=1e-6)


def test_noise_of_trapezoids_is_that_of_their_readings() -> None:
    # The sum of squared widths stands for the readings' weights; at even intervals they differ by
    # half a reading at each end. Exact weights: ends half, the others whole.
    n, sigma = 1000, 0.05
    weights = [Fraction(1, 2), *[Fraction(1)] * (n - 2), Fraction(1, 2)]
    exact = sigma * math.sqrt(sum(weight * weight for weight in weights)) / 3600
    counted = Counted(charge_ah=0.0, covered_s=n - 1.0, squares_s2=n - 1.0)
    (share,) = (s for s in charge_budget(counted, MeterDoubt(noise_a=sigma)).shares if s.u)
    assert (share.name, share.shape) == ("noise", Shape.NORMAL)
    assert share.u == pytest.approx(exact, rel=1e-3)


def test_the_interval_holds_what_it_says() -> None:
    """1,000 runs with gain, offset and noise drawn anew: 93 to 97 % within the 95 % interval."""
    chance = random.Random(20261125)
    doubt = MeterDoubt(gain=0.005, offset_a=0.004, noise_a=0.05)
    inside = 0
    for _ in range(1000):
        current_a = chance.uniform(0.2, 5.0)
        gain, offset = 1 + chance.gauss(0, doubt.gain), chance.gauss(0, doubt.offset_a)
        readings = [gain * current_a + offset + chance.gauss(0, doubt.noise_a) for _ in range(201)]
        counted_ah = sum((a + b) / 2 * 30 for a, b in itertools.pairwise(readings))
        counted = Counted(counted_ah / 3600, 6000.0, 200 * 900.0)
        budget = charge_budget(counted, doubt)
        inside += abs(budget.value - current_a * 6000 / 3600) <= budget.expanded(0.95)
    assert 930 <= inside <= 970
