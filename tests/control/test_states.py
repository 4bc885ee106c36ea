"""Every state against every act, as the table of ANSI/ISA-88 has it, written out by hand."""

import pytest

from daemon.control.obey import refusal
from daemon.control.situation import Event
from daemon.control.states import Act, State

# state: what start, hold, resume, stop, abort and reset lead to; None where the act is refused.
# Two leaves from ISA-88: start is allowed after stopped and complete without a reset, and the way
# from running to complete has no state of its own.
TABLE = {
    #                START      HOLD       RESUME        STOP        ABORT      RESET
    State.IDLE: ("running", None, None, None, None, None),
    State.RUNNING: (None, "holding", None, "stopping", "aborting", None),
    State.HOLDING: (None, None, None, "stopping", "aborting", None),
    State.HELD: (None, None, "restarting", "stopping", "aborting", None),
    State.RESTARTING: (None, "holding", None, "stopping", "aborting", None),
    State.STOPPING: (None, None, None, None, "aborting", None),
    State.STOPPED: ("running", None, None, None, None, "idle"),
    State.ABORTING: (None, None, None, None, None, None),
    State.ABORTED: (None, None, None, None, None, "idle"),
    State.COMPLETE: ("running", None, None, None, None, "idle"),
}
ACTS = (Act.START, Act.HOLD, Act.RESUME, Act.STOP, Act.ABORT, Act.RESET)
CASES = [(s, act, TABLE[s][n]) for s in State for n, act in enumerate(ACTS)]


def test_the_table_has_every_state_and_act():
    assert set(TABLE) == set(State)
    assert set(ACTS) == set(Act)


@pytest.mark.parametrize(("state", "act", "leads_to"), CASES)
def test_each_act_in_each_state(tank, plan, state, act, leads_to):
    tank.bring_to(state)
    before = tank.situation
    why = refusal(before, act, tank.now_s, tank.limits)
    tank.silent = True  # no news but the act
    happenings = tank.tick(act, plan=plan() if act is Act.START else None, at_s=tank.now_s)
    if leads_to is None:
        assert act.value in why
        assert before.state.value in why or "aborted" in why
        assert tank.situation == before
        assert happenings == []
    else:
        assert why is None
        assert tank.state.value == leads_to
        assert Event("act", f"{act.value} by Ann", {"who": "Ann"}) in happenings


def test_a_refusal_names_where_the_act_is_possible(tank):
    tank.bring_to(State.IDLE)
    why = refusal(tank.situation, Act.HOLD, tank.now_s, tank.limits)
    assert why == "cannot hold a run that is idle: possible when running, restarting"


def test_after_an_abort_the_person_is_sent_to_the_tank_first(tank):
    tank.bring_to(State.ABORTED)
    why = refusal(tank.situation, Act.START, tank.now_s, tank.limits)
    assert why == "the last run was aborted: look at the tank, then reset, then start"


@pytest.mark.parametrize(
    ("by", "via", "to"),
    [
        (Act.HOLD, State.HOLDING, State.HELD),
        (Act.STOP, State.STOPPING, State.STOPPED),
        (Act.ABORT, State.ABORTING, State.ABORTED),
    ],
)
def test_passing_states_come_to_rest_by_themselves(tank, by, via, to):
    tank.bring_to(State.RUNNING)
    tank.tick(by)
    assert tank.state is via
    tank.run_to(to, most_s=2.0)
    assert not tank.demand.output_on


def test_a_restart_becomes_running_when_its_ramp_is_over(tank):
    tank.bring_to(State.RESTARTING)
    restarted_s = tank.now_s
    tank.run_to(State.RUNNING, most_s=60.0)
    assert tank.now_s - restarted_s == pytest.approx(tank.limits.restart_s, abs=0.101)
    assert tank.said("state")[-1][1].text == "running again"


def test_a_run_is_running_until_its_current_is_gone_at_the_target(tank):
    tank.bring_to(State.COMPLETE)
    states = [state for _, state, _ in tank.trail]
    assert set(states) == {State.IDLE, State.RUNNING, State.COMPLETE}
    assert tank.situation.wind_down is None
