"""The forecast against sums made step by step, and against runs that really went through."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from daemon.control.forecast import charge_over, current_at, duration_for, walk
from daemon.control.situation import Limits
from daemon.control.states import State

currents = st.floats(0.01, 50.0)
starts = st.one_of(st.just(0.0), currents)
ramps = st.one_of(st.just(0.0), st.floats(0.1, 1200.0))
elapsed = st.floats(0.0, 1500.0)


def test_the_ramp_of_an_exam_paper(stage):
    # From 12 A to 16 A within 20 min: 280 A·min = 16800 C (printed answer).
    ramp = stage(16.0, ramp_s=1200.0)
    assert charge_over(ramp, 12.0, 0.0, 1200.0) * 3600 == pytest.approx(16_800.0, rel=1e-12)
    assert duration_for(ramp, 12.0, 0.0, 280 / 60) == pytest.approx(1200.0, rel=1e-12)
    assert current_at(ramp, 12.0, 600.0) == 14.0


@pytest.mark.parametrize(
    ("from_a", "to_a", "at_s", "expected_a"),
    [
        (0.0, 4.0, 0.0, 0.0),
        (0.0, 4.0, 25.0, 1.0),
        (0.0, 4.0, 100.0, 4.0),
        (0.0, 4.0, 1e9, 4.0),
        (5.0, 1.0, 50.0, 3.0),
        (5.0, 1.0, 100.0, 1.0),
    ],
)
def test_a_ramp_goes_in_a_straight_line_and_then_stays(stage, from_a, to_a, at_s, expected_a):
    assert current_at(stage(to_a, ramp_s=100.0), from_a, at_s) == expected_a


@given(starts, currents, ramps, elapsed, st.floats(0.0, 3000.0))
@settings(deadline=None)
def test_charge_against_an_integral(stage, from_a, to_a, ramp_s, at_s, span_s):
    ramp = stage(to_a, ramp_s=ramp_s)

    def current_a(t):
        # Written once more, from the words: straight from one current to the other, then level.
        return to_a if t >= ramp_s else from_a * (1 - t / ramp_s) + to_a * t / ramp_s

    corner = [ramp_s] if at_s < ramp_s < at_s + span_s else None
    expected_as, _ = quad(current_a, at_s, at_s + span_s, points=corner)
    assert charge_over(ramp, from_a, at_s, span_s) * 3600 == pytest.approx(
        expected_as, rel=1e-9, abs=1e-6
    )


@given(starts, currents, ramps, elapsed, st.floats(1e-6, 100.0))
@settings(deadline=None)
def test_the_duration_for_a_charge_brings_that_charge(stage, from_a, to_a, ramp_s, at_s, charge_ah):
    ramp = stage(to_a, ramp_s=ramp_s)
    span_s = duration_for(ramp, from_a, at_s, charge_ah)
    assert charge_over(ramp, from_a, at_s, span_s) == pytest.approx(charge_ah, rel=1e-9)


@given(starts, currents, ramps, elapsed, st.floats(0.1, 3000.0))
@settings(deadline=None)
def test_the_charge_of_a_duration_takes_that_long(stage, from_a, to_a, ramp_s, at_s, span_s):
    ramp = stage(to_a, ramp_s=ramp_s)
    charge_ah = charge_over(ramp, from_a, at_s, span_s)
    assert duration_for(ramp, from_a, at_s, charge_ah) == pytest.approx(span_s, rel=1e-6)


def test_nothing_takes_no_time_and_the_impossible_takes_for_ever(stage):
    assert duration_for(stage(2.0, ramp_s=10.0), 0.0, 0.0, 0.0) == 0.0
    assert duration_for(stage(2.0, ramp_s=10.0), 0.0, 0.0, -1.0) == 0.0
    assert duration_for(stage(0.0, ramp_s=10.0), 3.6, 0.0, 1.0) == math.inf
    # On its way down to 0 A a ramp still gives half of its start: 3.6 A · 10 s / 2.
    assert duration_for(stage(0.0, ramp_s=10.0), 3.6, 0.0, 0.005) == pytest.approx(10.0)


ends = st.fixed_dictionaries(
    {},
    optional={
        "charge_ah": st.floats(0.0, 2.0),
        "thickness_um": st.floats(0.0, 4.0),
        "duration_s": st.floats(0.0, 3000.0),
    },
)
# No ramp so steep that a step of half a second is a good part of it.
slow_ramps = st.one_of(st.just(0.0), st.floats(60.0, 1200.0))
stages = st.lists(st.tuples(st.floats(0.5, 10.0), slow_ramps, ends), min_size=1, max_size=5)


def by_small_steps(rows, target_ah, most_s, step_s=0.5):
    """Walk by the stage's words alone: s, A·h, and whether the target came."""
    now_s = charge_ah = from_a = 0.0
    for current_a, ramp_s, until in rows:
        spent_s, begun_ah = 0.0, charge_ah
        # Without a ramp the stage is at its current at once, however short it is.
        level_a = from_a if ramp_s else current_a
        while True:
            if charge_ah >= target_ah:
                return now_s, charge_ah, True
            if (
                spent_s >= until.get("duration_s", math.inf)
                or charge_ah - begun_ah >= until.get("charge_ah", math.inf)
                or charge_ah >= until.get("thickness_um", math.inf)
            ):
                break
            if now_s > most_s:
                return math.inf, charge_ah, False
            middle_s = spent_s + step_s / 2
            share = 1.0 if middle_s >= ramp_s else middle_s / ramp_s
            level_a = from_a + (current_a - from_a) * share
            charge_ah += level_a * step_s / 3600
            spent_s += step_s
            now_s += step_s
        from_a = level_a
    return now_s, charge_ah, charge_ah >= target_ah


@given(stages, st.floats(0.05, 5.0))
@settings(max_examples=60, deadline=None)
def test_the_walk_against_small_steps(stage, rows, target_ah):
    made = tuple(stage(a, ramp_s=ramp_s, **until) for a, ramp_s, until in rows)
    foreseen = walk(made, 1.0, target_ah)
    stepped_s, stepped_ah, reached = by_small_steps(rows, target_ah, most_s=2e5)
    # A step too long in each stage, each with up to 10 A, and what that shifts in the next: a ramp
    # that is left half a second late is left 10 A · 0.5 s / 60 s higher, and the next one, of up to
    # 1200 s, begins there.
    slack_ah = len(rows) * (10.0 * 0.5 * 2 + 10.0 * 0.5 / 60 * 1200 / 2) / 3600
    assume(abs(foreseen.charge_ah - target_ah) > slack_ah or foreseen.reached)
    assume(abs(stepped_ah - target_ah) > slack_ah or reached)
    assert foreseen.reached == reached
    assert foreseen.charge_ah == pytest.approx(stepped_ah, abs=slack_ah)
    # An ampere-second too much at one place is made up for at 0.5 A at least, or on a ramp.
    if not math.isinf(stepped_s):
        assert foreseen.duration_s == pytest.approx(stepped_s, abs=240.0 * len(rows))


def test_a_walk_that_is_under_way_goes_on_from_there(stage):
    made = (stage(2.0, ramp_s=100.0, charge_ah=0.2), stage(4.0, ramp_s=50.0, duration_s=900.0))
    whole = walk(made, 1.0, 1.0)
    done_ah = charge_over(made[0], 0.0, 0.0, 70.0)
    rest = walk(made, 1.0, 1.0, done_ah=done_ah, elapsed_s=70.0, stage_done_ah=done_ah)
    assert rest.duration_s == pytest.approx(whole.duration_s - 70.0)
    assert rest.charge_ah == pytest.approx(whole.charge_ah)


def test_stages_that_never_get_there_say_what_they_reach(stage):
    foreseen = walk((stage(0.0, ramp_s=10.0),), 1.0, 1.0, from_a=3.6)
    assert foreseen.duration_s == math.inf
    assert not foreseen.reached
    assert foreseen.charge_ah == pytest.approx(0.005)


@given(
    st.lists(
        st.tuples(
            st.floats(2.0, 4.0),
            st.one_of(st.just(0.0), st.floats(1.0, 20.0)),
            st.sampled_from(["duration_s", "charge_ah", "thickness_um"]),
            st.floats(2.0, 20.0),
        ),
        max_size=4,
    ),
    st.floats(5.0, 60.0),
    st.sampled_from([0.1, 0.25, 0.9]),
)
@settings(max_examples=40, deadline=None)
def test_a_run_takes_as_long_as_its_forecast(new_tank, plan, stage, rows, last_s, period_s):
    made, passed_ah = [], 0.0
    for current_a, ramp_s, end, about_s in rows:
        about_ah = current_a * about_s / 3600
        passed_ah += about_ah
        value = {"duration_s": about_s, "charge_ah": about_ah, "thickness_um": passed_ah}[end]
        made.append(stage(current_a, ramp_s=ramp_s, **{end: value}))
    made.append(stage(4.0, ramp_s=5.0))
    whole = plan(*made, target_ah=passed_ah + 4.0 * last_s / 3600)
    foreseen = walk(whole.stages, 1.0, whole.target_um)
    tank = new_tank(Limits(period_s=period_s)).start(whole)
    begun_s = tank.now_s
    while tank.situation.wind_down is None:
        tank.tick()
    # A set-point stands for a tick and is seen at its end, so that ramps and steps lag by a tick;
    # at half the current of the stage before, that takes two to make up for.
    assert tank.now_s - begun_s == pytest.approx(foreseen.duration_s, abs=2 * period_s * len(made))
    tank.run_to_rest()
    assert tank.state is State.COMPLETE


@pytest.mark.parametrize("period_s", [0.1, 0.5])
@pytest.mark.parametrize("number", [1, 2, 3])
def test_a_plan_ends_within_one_tick_a_stage_of_its_forecast(
    new_tank, plan, stage, period_s, number
):
    made = (
        stage(0.5, ramp_s=30.0, charge_ah=0.02),
        stage(3.0, ramp_s=120.0, thickness_um=0.2),
        stage(4.0, ramp_s=60.0),
    )
    whole = plan(*made[3 - number :], target_ah=0.5)
    foreseen = walk(whole.stages, 1.0, 0.5)
    tank = new_tank(Limits(period_s=period_s)).start(whole)
    begun_s = tank.now_s
    while tank.situation.wind_down is None:
        tank.tick()
    assert tank.now_s - begun_s == pytest.approx(foreseen.duration_s, abs=period_s * number)


def test_a_forecast_made_during_a_run_holds(tank, plan, stage):
    whole = plan(stage(1.0, ramp_s=60.0, charge_ah=0.05), stage(3.0, ramp_s=100.0), target_ah=0.3)
    tank.start(whole)
    for _ in range(4):
        tank.run_for(37.0)
        progress, count = tank.situation.progress, tank.situation.count
        foreseen = walk(
            whole.stages[progress.stage :],
            1.0,
            0.3,
            done_ah=count.best_ah,
            elapsed_s=progress.stage_elapsed_s,
            from_a=progress.stage_from_a,
            stage_done_ah=count.best_ah - progress.stage_from_ah,
        )
        ends_s = tank.now_s + foreseen.duration_s
    while tank.situation.wind_down is None:
        tank.tick()
    assert tank.now_s == pytest.approx(ends_s, abs=0.1)
