"""Stopping when the target is reached with a stated confidence."""

import math
import random
from dataclasses import replace

import pytest

from daemon.chemistry.metals import metal_named
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.control.charge import Count
from daemon.control.doubt import charge_doubt, sure_target_ah, thickness_doubt, wanted_ah
from daemon.control.feasibility import problems
from daemon.control.plan import Plan, Stage
from daemon.control.situation import Run
from drivers.contracts import Rating

PLAN = Plan(
    title="Bracket",
    metal=metal_named("Cu"),
    area_dm2=1.0,
    efficiency=1.0,
    target_um=25.0,
    charge_cap_ah=4.0,
    duration_cap_s=86400.0,
    stages=(Stage("build", 2.0, 4.0),),
    area_u=0.02,
    efficiency_u=0.01,
)
UM_PER_AH = 13.231  # Cu(II) at 8.96 g/cm³ on 1 dm², computed from CODATA's Faraday constant


def run_of(plan: Plan, doubt: MeterDoubt) -> Run:
    return Run(1, plan, 0.0, UM_PER_AH, plan.target_um / UM_PER_AH, doubt)


def counted(charge_ah: float, covered_s: float, period_s: float = 1.0) -> Count:
    return replace(
        Count.from_reading(0.0, 2.0),
        charge_ah=charge_ah,
        covered_s=covered_s,
        squares_s2=covered_s * period_s,
        last_s=covered_s,
    )


def test_without_a_confidence_the_best_estimate_decides():
    run = run_of(PLAN, MeterDoubt(gain=0.05))
    assert wanted_ah(run, counted(1.0, 1800.0)) == run.target_ah


def test_more_copper_makes_it_sure():
    # Everything relative: 25 µm · 1/(1 - 1.645·√(0.02² + 0.01² + 0.01²)).
    plan = replace(PLAN, confidence=0.95)
    run = run_of(plan, MeterDoubt(gain=0.01))
    wanted = wanted_ah(run, counted(1.9, 3420.0))
    by_hand = run.target_ah / (1 - 1.6449 * math.sqrt(0.0006))
    assert wanted == pytest.approx(by_hand, rel=1e-4)
    assert sure_target_ah(plan, run.target_ah, run.doubt) == pytest.approx(by_hand, rel=1e-4)


def test_what_is_wanted_is_sure_by_its_own_budget():
    plan = replace(PLAN, confidence=0.95)
    doubt = MeterDoubt(gain=0.006, offset_a=0.02, noise_a=0.05)
    count = replace(counted(2.0, 3600.0), gap_greatest_ah=0.05)
    run = run_of(plan, doubt)
    there = replace(count, charge_ah=wanted_ah(run, count) - 0.025)
    thickness = thickness_doubt(run, there)
    assert thickness.value - 1.6449 * thickness.u == pytest.approx(25.0, rel=1e-4)


def test_a_calibration_whose_gain_and_offset_depend_on_each_other():
    plan = replace(PLAN, confidence=0.95)
    run = run_of(plan, MeterDoubt(gain=0.01, offset_a=0.01, covariance_a=-0.00009))
    count = counted(2.0, 3600.0)
    # At 2 A the two nearly cancel: √((2·0.01)² + 0.01² - 2·2·0.00009) A for an hour.
    meter = charge_doubt(run, count)
    assert meter.u == pytest.approx(math.sqrt(0.0004 + 0.0001 - 0.00036), rel=1e-9)
    there = replace(count, charge_ah=wanted_ah(run, count))
    assert wanted_ah(run, there) < wanted_ah(run_of(plan, MeterDoubt(0.01, 0.01)), count)


def test_a_plan_that_can_never_be_sure_is_refused():
    rating = Rating(5.0, 30.0, 0.001, 0.01)
    hopeless = replace(PLAN, confidence=0.95, area_u=0.25)
    (said,) = problems(hopeless, rating)
    assert said.startswith("target 25 µm cannot be reached with 0.95 confidence")
    assert sure_target_ah(hopeless, 1.9, MeterDoubt()) is None


def test_the_cap_has_to_leave_room_for_being_sure():
    rating = Rating(5.0, 30.0, 0.001, 0.01)
    tight = replace(PLAN, charge_cap_ah=1.90)
    assert problems(tight, rating) == []
    (said,) = problems(replace(tight, confidence=0.95), rating)
    assert "the cap on charge is 1.9 Ah" in said


def test_nineteen_of_twenty_sure_parts_are_thick_enough():
    """2,000 parts plated to 25 µm with 95 %: their true thickness, drawn from the stated doubts."""
    chance = random.Random(4)
    plan = replace(PLAN, confidence=0.95)
    doubt = MeterDoubt(gain=0.01, offset_a=0.01)
    run = run_of(plan, doubt)
    hours = 1.0
    count = counted(1.9, 3600.0 * hours)
    wanted = wanted_ah(run, count)
    thick = 0
    for _ in range(2000):
        gain, offset_a = 1 + chance.gauss(0, 0.01), chance.gauss(0, 0.01)
        true_ah = (wanted - offset_a * hours) / gain
        area, efficiency = 1 + chance.gauss(0, 0.02), 1 + chance.gauss(0, 0.01)
        thick += true_ah * UM_PER_AH * efficiency / area >= 25.0
    assert 0.935 <= thick / 2000 <= 0.965


def test_a_change_between_readings_is_a_doubt_of_its_own():
    # From 0 to 3 A somewhere within 2 s: 3 A·s ± 3 A·s, rectangular.
    count = Count.from_reading(0.0, 0.0).add(2.0, 3.0, 10.0, 3.0)
    budget = charge_doubt(run_of(PLAN, MeterDoubt()), count)
    assert budget.value == pytest.approx(3 / 3600)
    assert budget.u == pytest.approx(3 / math.sqrt(3) / 3600)


def test_noise_alone_is_no_change_between_readings():
    chance = random.Random(17)
    count = Count.from_reading(0.0, 2.0)
    for second in range(1, 5001):
        count = count.add(float(second), 2.0 + chance.gauss(0, 0.05), 10.0, 2.0)
    shares = {
        s.name: s.u for s in charge_doubt(run_of(PLAN, MeterDoubt(noise_a=0.05)), count).shares
    }
    # 5,000 readings 1 s apart: 0.05 A·s·√5000 of noise, and nothing to speak of besides.
    assert shares["noise"] == pytest.approx(0.05 * math.sqrt(5000) / 3600)
    assert shares["between readings"] < 0.1 * shares["noise"]


def stairs(late_s):
    """A ramp to 4 A in 40 steps of 0.5 s, each read `late_s` after it was made: count and truth."""
    count, true_as = Count.from_reading(0.0, 0.0), 0.0
    for number in range(1, 41):
        count = count.add(0.5 * number + late_s, 0.1 * number, 10.0, 4.0)
    # The step to 0.1·k A is made at 0.5·k s, and the last is read late_s after it.
    true_as = sum(0.1 * k * 0.5 for k in range(1, 40)) + 4.0 * late_s
    return count, true_as / 3600


@pytest.mark.parametrize("late_s", [0.01, 0.25, 0.49])
def test_the_steps_of_a_ramp_are_read_at_one_phase_and_err_alike(late_s):
    count, true_ah = stairs(late_s)
    budget = charge_doubt(run_of(PLAN, MeterDoubt()), count)
    # Change of 4 A at intervals of 0.5 s, anywhere within ± half: 1.0 A·s / √3.
    ramp = next(share for share in budget.shares if share.name == "ramps")
    assert ramp.u == pytest.approx(1.0 / math.sqrt(3) / 3600, rel=0.03)
    assert abs(count.charge_ah - true_ah) <= math.sqrt(3) * ramp.u


def test_a_ramp_read_just_after_each_step_errs_by_more_than_chance_could():
    count, true_ah = stairs(0.01)
    shares = {s.name: s.u for s in charge_doubt(run_of(PLAN, MeterDoubt()), count).shares}
    assert abs(count.charge_ah - true_ah) > 5 * shares["between readings"]


def test_up_and_down_at_one_phase_make_up_for_each_other():
    count, _ = stairs(0.01)
    for number in range(39, -1, -1):
        count = count.add(0.5 * (80 - number) + 0.01, 0.1 * number, 10.0, 4.0)
    shares = {s.name: s.u for s in charge_doubt(run_of(PLAN, MeterDoubt()), count).shares}
    assert shares["ramps"] == pytest.approx(0.0, abs=0.01 / 3600)
