"""Interlocks: what an open loop does to a run in each state, and what it never does."""

from dataclasses import replace

import pytest

from daemon.control.obey import refusal
from daemon.control.states import Act, State

STOP_BUTTON, LEVEL, LID = "emergency stop", "level", "lid"

# Where a run in this state is one tick after a loop opened that aborts, stops, holds.
TABLE = {
    State.IDLE: ("idle", "idle", "idle"),
    State.RUNNING: ("aborting", "stopping", "holding"),
    State.HOLDING: ("aborting", "stopping", "holding"),
    State.HELD: ("held", "held", "held"),
    State.RESTARTING: ("aborting", "stopping", "holding"),
    State.STOPPING: ("aborting", "stopping", "stopping"),
    State.STOPPED: ("stopped", "stopped", "stopped"),
    State.ABORTING: ("aborting", "aborting", "aborting"),
    State.ABORTED: ("aborted", "aborted", "aborted"),
    State.COMPLETE: ("complete", "complete", "complete"),
}
LOOPS = (STOP_BUTTON, LEVEL, LID)
CASES = [(s, loop, TABLE[s][n]) for s in State for n, loop in enumerate(LOOPS)]


def test_the_table_has_every_state():
    assert set(TABLE) == set(State)


@pytest.mark.parametrize(("state", "loop", "leads_to"), CASES)
def test_each_loop_in_each_state(tank, state, loop, leads_to):
    tank.bring_to(state)
    tank.open_loops = (loop,)
    tank.tick(at_s=tank.now_s)
    assert tank.state.value == leads_to
    assert [event.text for _, event in tank.said("interlock")] == [f"interlock open: {loop}"]


def test_a_run_is_aborted_at_once_and_for_the_reason_that_is_told(tank):
    tank.bring_to(State.RUNNING)
    tank.open_loops = (STOP_BUTTON,)
    tank.tick()
    assert not tank.demand.output_on
    assert not tank.situation.contactor.closed
    tank.run_to(State.ABORTED)
    assert tank.situation.reason == "interlock open: emergency stop"


def test_a_hold_takes_the_current_down_first(tank):
    tank.bring_to(State.RUNNING)
    tank.open_loops = (LID,)
    tank.tick()
    assert (tank.demand.output_on, tank.demand.current_a) == (True, 0.0)
    tank.run_to(State.HELD)
    assert tank.situation.reason == "interlock open: lid"


def test_of_several_loops_the_most_urgent_decides(tank):
    tank.bring_to(State.RUNNING)
    tank.open_loops = (LID, LEVEL, STOP_BUTTON)
    tank.tick()
    assert tank.state is State.ABORTING
    assert tank.situation.reason == "interlock open: emergency stop"


def test_a_more_urgent_loop_overtakes(tank):
    tank.bring_to(State.RUNNING)
    for loops, state in [((LID,), "holding"), ((LID, LEVEL), "stopping"), (LOOPS, "aborting")]:
        tank.open_loops = loops
        tank.tick(at_s=tank.now_s)
        assert tank.state.value == state


def test_a_run_at_its_target_is_still_aborted_by_a_loop_and_not_held(tank, plan, stage):
    tank.start(plan(stage(2.0), target_ah=0.001))
    tank.flowing_a = lambda demand: 2.0 if demand.output_on else 0.0  # does not come down
    while tank.situation.wind_down is None:
        tank.tick()
    tank.open_loops = (LID, LEVEL)
    tank.tick()
    assert tank.situation.wind_down.goal is State.COMPLETE
    tank.open_loops = LOOPS
    tank.tick()
    assert tank.state is State.ABORTING


def test_closing_the_loop_again_brings_nothing_back(tank):
    tank.bring_to(State.RUNNING)
    tank.open_loops = (LID,)
    tank.run_to(State.HELD)
    tank.open_loops = ()
    tank.run_for(60.0)
    assert tank.state is State.HELD
    assert not tank.demand.output_on
    assert [event.text for _, event in tank.said("interlock")] == [
        "interlock open: lid", "interlock closed again: lid",
    ]  # fmt: skip


@pytest.mark.parametrize(("state", "act"), [
    (State.IDLE, Act.START), (State.STOPPED, Act.START), (State.COMPLETE, Act.START),
    (State.HELD, Act.RESUME),
])  # fmt: skip
def test_nothing_is_energised_while_a_loop_is_open(tank, plan, state, act):
    tank.bring_to(state)
    tank.open_loops = (LID,)
    tank.tick()
    why = refusal(tank.situation, act, tank.now_s, tank.limits)
    assert why == "interlock open: lid"
    tank.tick(act, plan=plan() if act is Act.START else None)
    assert tank.state is state
    tank.open_loops = (LID, STOP_BUTTON)
    tank.tick()
    why = refusal(tank.situation, act, tank.now_s, tank.limits)
    assert why == "interlocks open: lid, emergency stop"
    tank.open_loops = ()
    tank.tick()
    assert refusal(tank.situation, act, tank.now_s, tank.limits) is None
    tank.tick(act, plan=plan() if act is Act.START else None)
    assert tank.state in (State.RUNNING, State.RESTARTING)


def test_its_alarm_is_as_urgent_as_what_the_loop_does(tank):
    tank.bring_to(State.RUNNING)
    tank.open_loops = LOOPS
    tank.tick()
    standing = {alarm.cause: alarm.priority.value for alarm in tank.situation.alarms.standing}
    assert standing == {
        "interlock: emergency stop": "high",
        "interlock: level": "high",
        "interlock: lid": "medium",
    }


def test_a_loop_that_opens_with_the_very_start_refuses_it(tank, plan):
    tank.bring_to(State.IDLE)
    tank.open_loops = (LID,)
    tank.tick(Act.START, plan=plan())
    assert tank.state is State.IDLE
    assert not tank.situation.contactor.closed


@pytest.mark.parametrize("act", [Act.HOLD, Act.STOP, Act.ABORT])
def test_an_open_loop_keeps_nobody_from_taking_the_current_away(tank, act):
    tank.bring_to(State.RUNNING)
    situation = replace(tank.situation, open_loops=(LID,))
    assert refusal(situation, act, tank.now_s, tank.limits) is None
