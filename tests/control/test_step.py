"""One tick: readings of every kind, and what protects a run while nobody looks."""

import pytest

from daemon.control.states import Act, State
from drivers.contracts import Reading


def test_a_repeated_reading_counts_once(tank):
    tank.bring_to(State.RUNNING)
    count = tank.situation.count
    tank.tick(reading=Reading(count.last_s, 9.0, 1.0))
    assert tank.situation.count == count
    assert tank.situation.reading.current_a == 2.0


def test_a_reading_that_comes_late_changes_nothing(tank):
    tank.bring_to(State.RUNNING)
    before = tank.situation
    tank.tick(reading=Reading(before.reading.monotonic_s - 0.05, 9.0, 1.0))
    assert tank.situation.count == before.count
    assert tank.situation.reading == before.reading


def test_a_reading_without_a_current_is_no_reading(tank):
    tank.bring_to(State.RUNNING)
    before = tank.situation
    tank.tick(reading=Reading(tank.now_s + 0.1, None, 1.0))
    assert tank.situation.count == before.count
    assert tank.situation.reading == before.reading


def test_readings_without_a_current_lose_the_run(tank):
    tank.bring_to(State.RUNNING)
    for _ in range(40):
        tank.tick(reading=Reading(tank.now_s + 0.1, None, 1.0))
    assert tank.raised() == ["reading lost"]
    assert tank.state is State.ABORTING
    assert not tank.demand.output_on


@pytest.mark.parametrize("state", [State.RUNNING, State.RESTARTING])
def test_silence_aborts(tank, state):
    tank.bring_to(state)
    heard_s = tank.now_s
    tank.silent = True
    tank.run_to(State.ABORTING, most_s=10.0)
    assert tank.now_s - heard_s == pytest.approx(3.0, abs=0.101)
    assert tank.now_s - heard_s > 3.0
    assert not tank.demand.output_on
    assert tank.situation.reason.startswith("reading lost: the newest is 3.1 s old")


def test_silence_shorter_than_the_limit_does_not(tank):
    tank.bring_to(State.RUNNING)
    tank.silent = True
    tank.run_for(2.9)
    tank.silent = False
    tank.tick()
    assert tank.state is State.RUNNING


def test_a_link_that_comes_back_ends_the_abort(tank):
    tank.bring_to(State.RUNNING)
    tank.silent = True
    tank.run_to(State.ABORTING).run_for(20.0)
    assert tank.state is State.ABORTING
    tank.silent = False
    tank.tick()
    assert tank.state is State.ABORTED
    assert tank.situation.reason.startswith("reading lost")


@pytest.mark.parametrize(
    ("state", "ends_in"),
    [
        (State.IDLE, State.IDLE),
        (State.RUNNING, State.ABORTING),
        (State.HOLDING, State.ABORTING),
        (State.HELD, State.HELD),
        (State.RESTARTING, State.ABORTING),
        (State.STOPPING, State.ABORTING),
        (State.STOPPED, State.STOPPED),
        (State.ABORTED, State.ABORTED),
        (State.COMPLETE, State.COMPLETE),
    ],
)
def test_trouble_in_each_state(tank, state, ends_in):
    tank.bring_to(state)
    tank.tick(trouble="the port is gone")
    assert tank.state is ends_in
    assert not tank.demand.output_on
    # At rest a device may be switched off without anybody being woken.
    assert tank.raised() == (["device failed"] if ends_in is State.ABORTING else [])
    if ends_in is State.ABORTING:
        tank.run_to(State.ABORTED, most_s=1.0)
        assert tank.situation.reason == "device failed: the port is gone"


def test_the_first_cause_of_an_abort_stays(tank):
    tank.bring_to(State.RUNNING)
    tank.silent = True
    tank.tick(trouble="the port is gone")
    tank.tick(trouble="something else")
    tank.silent = False
    tank.run_to(State.ABORTED, most_s=1.0)
    assert tank.situation.reason == "device failed: the port is gone"


@pytest.mark.parametrize(
    ("state", "act"),
    [
        (State.IDLE, Act.START),
        (State.STOPPED, Act.START),
        (State.COMPLETE, Act.START),
        (State.HELD, Act.RESUME),
        (State.RUNNING, Act.HOLD),
        (State.RUNNING, Act.STOP),
        (State.RUNNING, Act.ABORT),
        (State.RESTARTING, Act.HOLD),
    ],
)
def test_trouble_wins_over_an_act_of_the_same_tick(tank, plan, state, act):
    tank.bring_to(state)
    tank.tick(act, plan=plan() if act is Act.START else None, trouble="no answer")
    assert tank.state is State.ABORTING
    assert not tank.demand.output_on
    tank.run_to(State.ABORTED, most_s=1.0)
