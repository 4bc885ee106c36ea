"""Following a plan: stages one after the other, holds, and what ends a run."""

import pytest

from daemon.control.situation import RunOver, StageOver
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
