"""Following a plan: stages one after the other, holds, and what ends a run."""

import pytest

from daemon.control.situation import Limits, RunOver, StageOver
from daemon.control.states import Act, State


@pytest.mark.parametrize("act", [Act.HOLD, Act.STOP, Act.ABORT])
@pytest.mark.parametrize("tick_s", [0.01, 0.1, 60.0])
def test_the_time_up_to_an_act_is_running_time(tank, act, tick_s):
    tank.bring_to(State.RUNNING)
    running_s = tank.situation.progress.running_s
    tank.tick(act, at_s=tank.now_s + tick_s)
    assert tank.situation.progress.running_s == pytest.approx(running_s + tick_s)


def test_the_cap_on_time_counts_running_time_alone(tank, plan):
    tank.start(plan(duration_cap_s=100.0))
    for _ in range(7):
        tank.run_for(10.03)
        tank.tick(Act.HOLD)
        tank.run_to(State.HELD).run_for(500.0)
        tank.tick(Act.RESUME)
    tank.run_to_rest()
    assert tank.state is State.STOPPED
    assert tank.situation.progress.running_s == pytest.approx(100.0, abs=1e-6)
    plating_s = sum(
        after - before
        for (before, state, _), (after, _, _) in zip(tank.trail, tank.trail[1:], strict=False)
        if state in (State.RUNNING, State.RESTARTING)
    )
    # What is left between 100 s and this is the way down after the cap.
    assert 100.0 <= plating_s + 1e-6 < 101.0
    assert tank.said(RunOver)[-1][1].reason.startswith("cap on time reached at ")


def test_time_in_a_hold_is_no_time_of_the_stage(tank, plan, stage):
    tank.start(plan(stage(1.0, duration_s=20.0), stage(2.0)))
    tank.run_for(10.0)
    tank.tick(Act.HOLD)
    tank.run_to(State.HELD).run_for(3600.0)
    tank.tick(Act.RESUME)
    resumed_s = tank.now_s
    while not tank.said(StageOver):
        tank.tick()
    assert tank.now_s - resumed_s == pytest.approx(9.9, abs=1e-6)


def gentle(plan, stage, **until):
    """A start on a painted part: 1 A until the cell's voltage falls, then 2 A."""
    return plan(
        stage(1.0, **{"cell_voltage_below_v": 2.0, "duration_s": 3600.0} | until), stage(2.0)
    )


def ended_by(tank):
    return [over.ended_by for _, over in tank.said(StageOver)]


def test_the_voltage_ends_a_stage_after_it_stayed_low(tank, plan, stage):
    tank.cell_v = lambda _: 3.0
    tank.start(gentle(plan, stage)).run_for(60.0)
    tank.cell_v = lambda _: 1.9
    tank.tick()
    low_s = tank.now_s
    while not ended_by(tank):
        tank.tick()
    assert ended_by(tank) == ["cell voltage"]
    assert tank.now_s - low_s == pytest.approx(3.0, abs=0.101)
    assert tank.demand.current_a == 2.0


def test_the_limit_itself_is_not_below(tank, plan, stage):
    tank.cell_v = lambda _: 2.0
    tank.start(gentle(plan, stage)).run_for(60.0)
    assert ended_by(tank) == []


def test_a_noisy_voltage_ends_no_stage(tank, plan, stage):
    tank.start(gentle(plan, stage))
    for _ in range(10):
        tank.cell_v = lambda _: 1.5
        tank.run_for(2.9)
        tank.cell_v = lambda _: 2.1
        tank.tick()
    assert ended_by(tank) == []


def test_one_low_voltage_and_then_silence_end_no_stage(tank, plan, stage):
    tank.cell_v = lambda _: 3.0
    tank.start(gentle(plan, stage)).run_for(10.0)
    tank.cell_v = lambda _: 0.5
    tank.tick()
    tank.silent = True
    tank.run_to(State.ABORTING)
    assert ended_by(tank) == []


def test_voltages_that_could_not_be_read_end_no_stage(tank, plan, stage):
    tank.cell_v = lambda _: 1.0
    tank.start(gentle(plan, stage)).run_for(1.0)
    tank.cell_v = lambda _: None
    tank.run_for(60.0)
    assert ended_by(tank) == []
    tank.cell_v = lambda _: 3.0
    tank.run_for(1.0)
    assert ended_by(tank) == []


def test_the_voltage_is_not_judged_during_the_ramp_of_the_stage(tank, plan, stage):
    tank.cell_v = lambda demand: 0.1 + 3 * demand.current_a
    first = stage(1.0, ramp_s=30.0, cell_voltage_below_v=2.0, duration_s=3600.0)
    tank.start(plan(first, stage(2.0))).run_for(100.0)
    assert ended_by(tank) == []


def test_a_voltage_that_is_low_at_the_end_of_the_ramp_has_to_stay_low(tank, plan, stage):
    tank.cell_v = lambda _: 0.5
    first = stage(1.0, ramp_s=30.0, cell_voltage_below_v=2.0, duration_s=3600.0)
    tank.start(plan(first, stage(2.0)))
    begun_s = tank.now_s
    while not ended_by(tank):
        tank.tick()
    assert 33.0 <= tank.now_s - begun_s <= 33.2 + 1e-6


@pytest.mark.parametrize("held_s", [1.0, 3600.0])
@pytest.mark.parametrize("low_before", [False, True])
def test_the_voltage_is_not_judged_while_the_current_comes_back(
    tank, plan, stage, held_s, low_before
):
    tank.cell_v = lambda demand: 0.1 + 3 * demand.current_a
    tank.start(gentle(plan, stage)).run_for(20.0)
    if low_before:
        tank.cell_v = lambda demand: 0.1 + 1.0 * demand.current_a
        tank.run_for(2.0)
        tank.cell_v = lambda demand: 0.1 + 3 * demand.current_a
    tank.tick(Act.HOLD)
    tank.run_to(State.HELD).run_for(held_s)
    tank.tick(Act.RESUME)
    tank.run_to(State.RUNNING).run_for(20.0)
    assert ended_by(tank) == []


def test_a_voltage_from_before_a_hold_counts_no_more(tank, plan, stage):
    tank.cell_v = lambda _: 3.0
    tank.start(gentle(plan, stage)).run_for(20.0)
    tank.cell_v = lambda _: 1.0
    tank.run_for(2.0)
    tank.cell_v = lambda _: None
    tank.tick(Act.HOLD)
    tank.run_to(State.HELD).run_for(60.0)
    tank.tick(Act.RESUME)
    tank.run_to(State.RUNNING)
    tank.cell_v = lambda _: 1.0
    tank.run_for(2.0)
    assert ended_by(tank) == []
    tank.run_for(2.0)
    assert ended_by(tank) == ["cell voltage"]


def test_a_stage_without_settling_ends_on_the_first_low_voltage(new_tank, plan, stage):
    tank = new_tank(Limits(settle_s=0.0))
    tank.cell_v = lambda _: 3.0
    tank.start(gentle(plan, stage)).run_for(10.0)
    tank.cell_v = lambda _: 1.0
    tank.tick()
    assert ended_by(tank) == ["cell voltage"]


@pytest.mark.parametrize(
    ("act", "ended_by"), [(None, "target"), (Act.STOP, "stopped"), (Act.ABORT, "aborted")]
)
def test_the_stages_add_up_to_the_run(tank, plan, stage, act, ended_by):
    tank.start(plan(stage(1.0, duration_s=20.0), stage(3.0), target_ah=0.02)).run_for(30.0)
    if act is not None:
        tank.tick(act)
    tank.run_to_rest()
    overs = [over for _, over in tank.said(StageOver)]
    assert [(over.index, over.ended_by) for over in overs] == [(0, "duration"), (1, ended_by)]
    assert sum(over.charge_ah for over in overs) == pytest.approx(tank.situation.count.best_ah)
    assert overs[0].charge_ah * 3600 == pytest.approx(19.95)
    assert [type(said) for _, said in tank.log[-2:]] == [StageOver, RunOver]


def test_a_hold_ends_no_stage(tank):
    tank.bring_to(State.HELD)
    assert tank.said(StageOver) == []
    tank.tick(Act.STOP)
    tank.run_to_rest()
    assert ended_by(tank) == ["stopped"]
