"""When a person's act has to be refused although the state would allow it."""

import pytest

from daemon.control.obey import refusal, refusals
from daemon.control.situation import RunOver
from daemon.control.states import Act, State
from drivers.contracts import Reading

ENERGISING = [(State.IDLE, Act.START), (State.COMPLETE, Act.START), (State.HELD, Act.RESUME)]


def why_not(tank, act):
    return refusal(tank.situation, act, tank.now_s, tank.limits)


@pytest.mark.parametrize(("state", "act"), ENERGISING)
@pytest.mark.parametrize("sign", [1, -1])
def test_nothing_is_energised_while_current_flows_already(tank, plan, state, act, sign):
    tank.bring_to(state)
    tank.stick_at(sign * 0.5)
    tank.tick()
    expected = f"{sign * 0.5:.3f} A flows although the output is off; less than 0.020 A is expected"
    assert why_not(tank, act) == expected
    tank.tick(act, plan=plan() if act is Act.START else None)
    assert tank.state is state
    assert not tank.demand.output_on


@pytest.mark.parametrize(("state", "act"), ENERGISING)
def test_nothing_is_energised_on_an_old_reading(tank, plan, state, act):
    tank.bring_to(state)
    tank.silent = True
    tank.run_for(3.0)
    assert why_not(tank, act) is None
    tank.run_for(1.0)
    assert why_not(tank, act) == "the newest reading is 4.0 s old, at most 3.0 s is allowed"
    tank.tick(act, plan=plan() if act is Act.START else None)
    assert tank.state is state


@pytest.mark.parametrize(("state", "act"), ENERGISING)
def test_nothing_is_energised_when_the_output_says_it_is_on(tank, state, act):
    tank.bring_to(state)
    tank.tick(reading=Reading(tank.now_s + 0.1, 0.0, 1.0, output_on=True))
    assert (
        why_not(tank, act) == "the supply says that its output is on although it was switched off"
    )


def test_a_start_before_the_first_reading_is_refused(tank, plan):
    assert why_not(tank, Act.START) == "no reading from the supply yet"
    tank.silent = True
    tank.tick(Act.START, plan=plan())
    assert tank.state is State.IDLE


def test_the_reading_of_the_very_tick_decides_about_a_start(tank, plan):
    tank.tick()
    tank.stick_at(1.0)
    tank.tick(Act.START, plan=plan())
    assert tank.state is State.IDLE


@pytest.mark.parametrize("act", [Act.HOLD, Act.STOP])
def test_a_run_that_is_at_its_target_completes_all_the_same(tank, plan, stage, act):
    tank.start(plan(stage(2.0), target_ah=0.001))
    while tank.situation.wind_down is None:
        tank.tick()
    assert why_not(tank, act) == "the run has reached its target: its current is going down already"
    tank.tick(act)
    tank.run_to_rest()
    assert [over.state for _, over in tank.said(RunOver)] == [State.COMPLETE]


def test_a_run_that_is_at_its_target_can_be_aborted(tank, plan, stage):
    tank.start(plan(stage(2.0), target_ah=0.001))
    while tank.situation.wind_down is None:
        tank.tick()
    tank.tick(Act.ABORT)
    tank.run_to_rest()
    assert [over.state for _, over in tank.said(RunOver)] == [State.ABORTED]


def test_a_hold_in_the_tick_that_reaches_the_target_holds_and_then_completes(tank, plan, stage):
    tank.start(plan(stage(2.0), target_ah=0.001))
    while tank.wake_at_s is None:
        tank.tick()
    tank.tick(Act.HOLD)
    assert tank.state is State.HOLDING
    tank.run_to(State.HELD)
    tank.tick(Act.RESUME)
    assert not tank.demand.output_on
    tank.run_to_rest()
    assert tank.state is State.COMPLETE


def test_an_abort_while_winding_down_to_held_ends_aborted(tank):
    tank.bring_to(State.HOLDING)
    tank.tick(Act.ABORT)
    assert not tank.demand.output_on
    tank.run_to_rest()
    assert tank.state is State.ABORTED


def test_a_stop_while_restarting_brings_the_current_down(tank):
    tank.bring_to(State.RESTARTING)
    tank.run_for(5.0)
    assert 0 < tank.demand.current_a < 2.0
    tank.tick(Act.STOP)
    assert tank.demand.current_a == 0.0
    tank.run_to_rest()
    assert tank.state is State.STOPPED


def test_a_reset_clears_the_reason_and_leaves_the_output_off(tank):
    tank.bring_to(State.ABORTED)
    tank.tick(Act.RESET)
    assert tank.state is State.IDLE
    assert tank.situation.reason is None
    assert not tank.demand.output_on


def test_a_new_run_counts_from_nothing(tank, plan):
    tank.bring_to(State.COMPLETE)
    tank.tick(Act.START, plan=plan())
    assert tank.situation.count.best_ah == 0.0
    assert tank.situation.progress.running_s == 0.0
    assert tank.situation.run.started_s == tank.now_s


def test_a_start_without_a_plan_is_a_mistake_of_the_caller(tank):
    tank.tick()
    with pytest.raises(ValueError, match="needs a plan"):
        tank.tick(Act.START)


def test_each_reason_that_keeps_a_start_away_is_told(tank):
    tank.bring_to(State.IDLE)
    assert refusals(tank.situation, Act.START, tank.now_s, tank.limits) == ()
    tank.stick_at(0.5)
    tank.open_loops = ("lid",)
    tank.tick()
    found = refusals(tank.situation, Act.START, tank.now_s, tank.limits)
    assert found[0] == "interlock open: lid"
    assert found[-1].startswith("0.500 A flows although the output is off")
    assert found[0] == why_not(tank, Act.START)
