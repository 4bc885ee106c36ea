"""The count against sums made another way: closed forms, scipy, exact fractions."""

import math
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, trapezoid

from daemon.control.charge import Count
from daemon.control.states import Act, State


def counted(samples, gap_s=1e9, set_a=0.0):
    (first_s, first_a), *rest = samples
    count = Count.from_reading(first_s, first_a)
    for moment_s, current_a in rest:
        count = count.add(moment_s, current_a, gap_s, set_a)
    return count


def test_a_constant_current_for_a_whole_night():
    count = counted([(s, 2.5) for s in range(12 * 3600 + 1)], gap_s=1.0)
    assert count.charge_ah == pytest.approx(30.0, rel=1e-12)
    assert count.covered_s == 12 * 3600
    assert count.gap_s == 0.0


def test_the_ramp_of_an_exam_paper():
    # I = 12 + 0.2 t in A with t in min, for 20 min: 280 A·min = 16800 C (printed answer).
    count = counted([(60.0 * t, 12 + 0.2 * t) for t in range(21)])
    assert count.charge_ah * 3600 == pytest.approx(16800.0, rel=1e-12)
    assert count.charge_ah * 60 == pytest.approx(280.0, rel=1e-12)


def test_a_decaying_current_against_its_integral():
    # The trapezoid's error is h²/12 of the slope's change: 0.1²/12 · I0/τ = 8e-6 A·s here.
    def current_a(t):
        return 3.0 * math.exp(-t / 300.0)

    count = counted([(0.1 * n, current_a(0.1 * n)) for n in range(20_001)])
    whole_as, _ = quad(current_a, 0.0, 2000.0)
    assert count.charge_ah * 3600 == pytest.approx(whole_as, abs=1e-5)
    assert count.charge_ah * 3600 != pytest.approx(whole_as, abs=1e-7)


intervals = st.lists(
    st.tuples(st.floats(1e-3, 10.0), st.floats(-5.0, 50.0)), min_size=1, max_size=200
)


@given(intervals, st.floats(0.0, 1e6))
@settings(deadline=None)
def test_uneven_readings_against_exact_fractions_and_scipy(steps, start_s):
    samples = [(start_s, 0.0)]
    for interval_s, current_a in steps:
        samples.append((samples[-1][0] + interval_s, current_a))
    exact_as = sum(
        (Fraction(a0) + Fraction(a1)) / 2 * (Fraction(s1) - Fraction(s0))
        for (s0, a0), (s1, a1) in pairwise(samples)
    )
    count = counted(samples)
    scale = sum(abs(a) for _, a in samples) + 1.0
    assert count.charge_ah * 3600 == pytest.approx(float(exact_as), abs=1e-11 * scale * 10)
    times_s, currents_a = zip(*samples, strict=True)
    by_scipy_as = trapezoid(currents_a, times_s)
    assert count.charge_ah * 3600 == pytest.approx(by_scipy_as, abs=1e-9 * scale)


@given(intervals)
@settings(deadline=None)
def test_a_current_that_plates_never_takes_from_the_count(steps):
    now_s, count = 0.0, Count.from_reading(0.0, 0.0)
    for interval_s, current_a in steps:
        now_s += interval_s
        more = count.add(now_s, abs(current_a), 1.0, 50.0)
        assert more.charge_ah >= count.charge_ah
        assert more.gap_least_ah >= count.gap_least_ah
        assert more.gap_greatest_ah >= count.gap_greatest_ah
        assert more.covered_s + more.gap_s == pytest.approx(now_s)
        count = more


def test_an_interval_of_just_the_limit_is_no_gap_and_a_longer_one_is():
    count = Count.from_reading(0.0, 2.0)
    seen = count.add(1.0, 4.0, 1.0, 4.0)
    assert (seen.charge_ah * 3600, seen.covered_s, seen.gap_s) == (pytest.approx(3.0), 1.0, 0.0)
    gap = count.add(1.001, 4.0, 1.0, 4.0)
    assert (gap.charge_ah, gap.covered_s, gap.gap_s) == (0.0, 0.0, 1.001)


@pytest.mark.parametrize(
    ("before_a", "after_a", "set_before_a", "set_after_a", "greatest_a"),
    [
        (2.0, 2.0, 2.0, 2.0, 2.0),
        (2.0, 3.0, 2.0, 2.0, 3.0),
        (3.0, 2.0, 2.0, 2.0, 3.0),
        (0.1, 0.1, 5.0, 5.0, 5.0),
        (0.1, 0.1, 0.0, 5.0, 5.0),
        (0.1, 0.1, 5.0, 0.0, 5.0),
        (-0.1, -0.1, 0.0, 0.0, 0.0),
    ],
)
def test_a_gap_is_between_nothing_and_all_that_may_have_flowed(
    before_a, after_a, set_before_a, set_after_a, greatest_a
):
    count = Count.from_reading(0.0, 0.0).add(1.0, before_a, 1.0, set_before_a)
    charge_ah = count.charge_ah
    count = count.add(361.0, after_a, 1.0, set_after_a)
    assert count.charge_ah == charge_ah
    assert count.gap_least_ah == 0.0
    assert count.gap_greatest_ah == pytest.approx(greatest_a / 10)
    assert count.best_ah == pytest.approx(charge_ah + greatest_a / 20)
    assert count.greatest_ah == pytest.approx(charge_ah + greatest_a / 10)


def test_a_set_point_that_rose_and_fell_within_the_gap_bounds_it():
    count = Count.from_reading(0.0, 1.0).add(1.0, 1.0, 1.0, 1.0)
    count = count.demanding(5.0).demanding(2.0)
    assert count.add(361.0, 1.0, 1.0, 1.0).gap_greatest_ah == pytest.approx(0.5)
    # What a reading has seen the end of bounds no later gap.
    later = count.add(2.0, 1.0, 1.0, 1.0)
    assert later.add(362.0, 1.0, 1.0, 1.0).gap_greatest_ah == pytest.approx(0.1)


def test_the_projection_carries_the_last_current_forward():
    count = Count.from_reading(0.0, 2.0).add(1.0, 4.0, 1.0, 4.0)
    assert count.projected_ah(1.5) * 3600 == pytest.approx(5.0)
    assert count.projected_ah(1.0) == count.best_ah


def test_a_burst_between_two_readings_is_in_the_bounds(tank, plan, stage):
    tank.with_limits(lost_s=10.0)
    tank.start(plan(stage(1.0, duration_s=10.0), stage(5.0, duration_s=1.0), stage(1.0)))
    tank.run_for(9.5)
    seen_s = tank.now_s
    tank.silent = True
    tank.run_for(3.0)
    tank.silent = False
    tank.tick()
    [(_, gap)] = tank.said("gap")
    assert gap.data["gap_s"] == pytest.approx(tank.now_s - seen_s)
    assert gap.data["greatest_ah"] * 3600 == pytest.approx(5.0 * (tank.now_s - seen_s))
    assert gap.text == "3.1 s without a reading: between 0.0000 and 0.0043 Ah passed"


def test_a_hold_loses_no_charge(tank, plan, stage):
    tank.start(plan(stage(2.0), target_ah=0.1))
    for held_s in (0.0, 5.0, 3600.0):
        tank.run_for(20.0)
        tank.tick(Act.HOLD)
        tank.run_to(State.HELD).run_for(held_s)
        tank.tick(Act.RESUME)
        tank.run_to(State.RUNNING)
    tank.run_to_rest()
    assert tank.state is State.COMPLETE
    # Every step of the set-point is counted as a slope over one interval, up as down.
    assert tank.situation.count.best_ah * 3600 == pytest.approx(tank.true_as, abs=0.01)
    assert tank.situation.count.gap_s == 0.0


def test_charge_that_flows_while_held_is_counted(tank):
    tank.bring_to(State.HELD)
    before_ah = tank.situation.count.best_ah
    tank.stick_at(0.01)
    tank.run_for(360.0)
    assert tank.situation.count.best_ah - before_ah == pytest.approx(0.001, rel=1e-3)
