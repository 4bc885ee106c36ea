"""Which end comes first, when, and what is passed before it is seen."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.control.charge import Count
from daemon.control.ends import next_end
from daemon.control.situation import Limits, Progress, Run, RunOver, StageOver
from daemon.control.states import State

LIMITS = Limits()
NOW_S = 5000.0


def the_end(plan, *, current_a=3.6, best_ah=0.0, gap_ah=0.0, last_s=NOW_S, set_a=0.0, **progress):
    """At 3.6 A a second brings 0.001 Ah, which is 0.001 µm."""
    count = Count(best_ah, 0.0, gap_ah, 0.0, 0.0, last_s, current_a, set_a)
    run = Run(1, plan, 0.0, 1.0, plan.target_um)
    defaults = Progress(0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    return next_end(run, replace(defaults, **progress), count, NOW_S, LIMITS)


@pytest.mark.parametrize(
    ("until", "left", "name", "in_s"),
    [
        ({}, {}, "target", 1000.0),
        ({"charge_ah": 0.3}, {}, "charge", 300.0),
        ({"charge_ah": 0.3}, {"best_ah": 0.2, "stage_from_ah": 0.1}, "charge", 200.0),
        ({"thickness_um": 0.3}, {"best_ah": 0.2, "stage_from_ah": 0.1}, "thickness", 100.0),
        ({"duration_s": 60.0}, {"stage_elapsed_s": 45.0}, "duration", 15.0),
        ({"cell_voltage_below_v": 2.0}, {"below_since_s": 4990.0}, "target", 1000.0),
        (
            {"cell_voltage_below_v": 2.0},
            {"below_since_s": 4990.0, "below_last_s": 4999.0},
            "cell voltage",
            -7.0,
        ),
        ({}, {"best_ah": 0.999, "running_s": 9999.0}, "target", 1.0),
        ({}, {"running_s": 9999.0}, "cap on time", 1.0),
        ({}, {"gap_ah": 1.0}, "target", 500.0),
        ({}, {"gap_ah": 1.8}, "target", 100.0),
        ({}, {"gap_ah": 1.99}, "target", 5.0),
        ({}, {"gap_ah": 1.95, "best_ah": -0.1}, "target", 125.0),
    ],
)
def test_each_end_and_its_moment(plan, stage, until, left, name, in_s):
    whole = plan(stage(3.6, **until), target_ah=1.0, charge_cap_ah=2.1, duration_cap_s=10_000.0)
    end = the_end(whole, **left)
    assert end.name == name
    assert end.at_s - NOW_S == pytest.approx(in_s)


def test_the_cap_on_charge_is_held_against_the_greatest_that_may_have_passed(plan, stage):
    whole = plan(stage(3.6), target_ah=1.0, charge_cap_ah=1.1)
    end = the_end(whole, best_ah=0.2, gap_ah=0.8)
    assert (end.name, end.at_s - NOW_S) == ("cap on charge", pytest.approx(100.0))


def test_during_a_gap_the_cap_on_charge_counts_with_the_set_point(plan, stage):
    whole = plan(stage(3.6), target_ah=1.0, charge_cap_ah=1.0001)
    left = {"best_ah": 0.99, "current_a": 0.36, "set_a": 3.6}
    assert the_end(whole, **left, last_s=NOW_S - 1.0).name == "target"
    end = the_end(whole, **left, last_s=NOW_S - 2.0)
    assert (end.name, end.at_s - NOW_S) == ("cap on charge", pytest.approx(8.1))


def test_nothing_flows_so_nothing_is_foreseen(plan, stage):
    assert the_end(plan(stage(3.6), duration_cap_s=math.inf), current_a=0.0).at_s == math.inf
    assert the_end(plan(stage(3.6), duration_cap_s=math.inf), current_a=-1.0).at_s == math.inf


@pytest.mark.parametrize("best_ah", [1.0, 1.5])
def test_a_target_that_is_reached_is_due_though_no_current_flows_any_more(plan, stage, best_ah):
    end = the_end(plan(stage(3.6)), current_a=0.0, best_ah=best_ah)
    assert end.name == "target"
    assert end.is_due(NOW_S)


# Every end falls into the same moment; taken away one by one, the next wins.
ORDER = [
    "target",
    "cap on charge",
    "cap on time",
    "charge",
    "thickness",
    "duration",
    "cell voltage",
]


@pytest.mark.parametrize("first", range(len(ORDER)))
def test_who_wins_a_tie(plan, stage, first):
    def at(name, value, otherwise):
        return value if ORDER.index(name) >= first else otherwise

    until = {
        "charge_ah": at("charge", 0.5, None),
        "thickness_um": at("thickness", 0.5, None),
        "duration_s": at("duration", 500.0, None),
    }
    whole = plan(
        stage(3.6, cell_voltage_below_v=2.0, **until),
        target_ah=at("target", 0.5, 9.0),
        charge_cap_ah=at("cap on charge", 0.5, 9.0),
        duration_cap_s=at("cap on time", 500.0, 9999.0),
    )
    since_s = NOW_S - LIMITS.settle_s
    end = the_end(
        whole,
        best_ah=0.5,
        stage_elapsed_s=500.0,
        running_s=500.0,
        below_since_s=since_s,
        below_last_s=NOW_S,
    )
    assert end.name == ORDER[first]
    assert end.at_s == NOW_S


def finished(tank, whole):
    tank.start(whole)
    begun_s = tank.now_s
    while tank.situation.wind_down is None:
        tank.tick()
    return tank.now_s - begun_s


@pytest.mark.parametrize(
    ("changes", "state", "reason", "in_s"),
    [
        ({"target_ah": 0.01}, State.COMPLETE, "target reached at 0.01 of 0.01 µm", 18.0),
        ({"charge_cap_ah": 0.02}, State.STOPPED, "cap on charge reached at 0.02 of 1.00 µm", 36.0),
        ({"duration_cap_s": 27.0}, State.STOPPED, "cap on time reached at 0.01 of 1.00 µm", 27.0),
    ],
)
def test_each_end_of_a_run(tank, plan, stage, changes, state, reason, in_s):
    # The first interval after the start is counted as a slope from 0 A: half a tick more is needed.
    late_s = 0.0 if "duration_cap_s" in changes else 0.05
    assert finished(tank, plan(stage(2.0), **changes)) == pytest.approx(in_s + late_s, abs=1e-5)
    tank.run_to_rest()
    assert tank.said(RunOver)[-1][1] == RunOver(state, reason)


def test_the_end_of_the_last_stage_stops_the_run(tank, plan, stage):
    tank.start(plan(stage(2.0, duration_s=9.0))).run_to_rest()
    assert tank.state is State.STOPPED
    assert tank.said(RunOver)[-1][1].reason == "the last stage's end reached at 0.00 of 1.00 µm"


def test_stages_of_no_length_are_passed_in_one_tick(tank, plan, stage):
    nothing = [stage(1.0, name=f"none {n}", duration_s=0.0) for n in range(20)]
    tank.start(plan(*nothing, stage(2.0), target_ah=0.01))
    assert [over.index for _, over in tank.said(StageOver)] == list(range(20))
    assert tank.situation.progress.stage == 20
    assert tank.demand.current_a == 2.0
    assert [e.data["stage"] for _, e in tank.said("stage begun")] == list(range(1, 22))


def test_several_stages_can_end_in_one_tick(tank, plan, stage):
    first, second = stage(2.0, thickness_um=0.01), stage(1.0, thickness_um=0.01)
    tank.start(plan(first, second, stage(3.0))).run_for(30.0)
    overs = tank.said(StageOver)
    assert [over.ended_by for _, over in overs] == ["thickness", "thickness"]
    assert overs[0][0] == overs[1][0]
    assert overs[1][1].charge_ah == 0.0


@given(st.floats(0.0, 1e8), st.floats(0.05, 30.0), st.floats(0.3, 100.0), st.floats(0.01, 0.9))
@settings(max_examples=50, deadline=None)
def test_a_stage_ends_on_the_moment_and_in_one_wake_up(
    new_tank, plan, stage, start_s, current_a, duration_s, period_s
):
    tank = new_tank(Limits(period_s=period_s), start_s)
    took_s = finished(tank, plan(stage(current_a, duration_s=duration_s), target_ah=1e6))
    assert took_s == pytest.approx(duration_s, abs=2e-6)
    assert tank.ticks <= duration_s / period_s + 4


@given(
    st.floats(0.0, 1e8),
    st.floats(0.05, 30.0),
    st.floats(0.0, 30.0),
    st.floats(1.0, 60.0),
    st.floats(0.05, 0.9),
)
@settings(max_examples=50, deadline=None)
def test_the_target_is_passed_by_less_than_one_tick_of_charge(
    new_tank, plan, stage, start_s, current_a, ramp_s, full_s, period_s
):
    target_ah = current_a * full_s / 3600
    tank = new_tank(Limits(period_s=period_s), start_s)
    finished(tank, plan(stage(current_a, ramp_s=ramp_s), target_ah=target_ah))
    tick_ah = current_a * period_s / 3600
    counted_ah = tank.situation.count.projected_ah(tank.now_s)
    assert target_ah - 1e-8 <= counted_ah < target_ah + tick_ah
    # Of what really passed, half a tick is not counted: the step from 0 A, seen as a slope.
    assert abs(tank.true_as / 3600 - target_ah) < tick_ah + 1e-8
    most_wakes = 3
    assert tank.ticks <= (tank.now_s - start_s) / period_s + 2 + most_wakes
