"""Taking the current away: nobody is told that it is gone before a reading shows it."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.control.situation import Limits, RunOver
from daemon.control.states import Act, State
from drivers.contracts import Reading


def test_a_stop_brings_the_set_point_down_before_the_output_goes_off(tank):
    tank.bring_to(State.RUNNING)
    tank.tick(Act.STOP)
    assert tank.demand.output_on
    assert tank.demand.current_a == 0.0
    assert tank.demand.voltage_v == 4.0
    tank.tick()
    assert not tank.demand.output_on
    assert tank.state is State.STOPPING
    tank.tick()
    assert tank.state is State.STOPPED
    assert [over.state for _, over in tank.said(RunOver)] == [State.STOPPED]


def test_an_abort_switches_the_output_off_at_once(tank):
    tank.bring_to(State.RUNNING)
    tank.tick(Act.ABORT)
    assert not tank.demand.output_on
    assert tank.state is State.ABORTING
    tank.tick()
    assert tank.state is State.ABORTED
    assert tank.said(RunOver)[-1][1] == RunOver(State.ABORTED, "aborted by Ann")


def test_an_abort_does_not_wait_for_the_set_point_of_a_stop_to_come_down(tank):
    tank.bring_to(State.STOPPING)
    assert tank.demand.output_on
    tank.tick(Act.ABORT)
    assert not tank.demand.output_on


@given(st.floats(0.0, 1e7), st.floats(0.0, 5.0), st.sampled_from([Act.HOLD, Act.STOP]))
@settings(max_examples=50, deadline=None)
def test_the_output_goes_off_in_time_though_the_current_stays(new_tank, start_s, down_s, act):
    tank = new_tank(Limits(down_s=down_s), start_s)
    tank.bring_to(State.RUNNING)
    tank.stick_at(2.0)
    tank.tick(act)
    asked_s = tank.now_s
    while tank.demand.output_on:
        tank.tick()
    assert tank.now_s == pytest.approx(asked_s + down_s, abs=1e-6)


@pytest.mark.parametrize("act", [Act.HOLD, Act.STOP, Act.ABORT])
def test_current_that_stays_is_told_at_growing_intervals(tank, act):
    tank.with_limits(period_s=0.5).bring_to(State.RUNNING)
    tank.stick_at(2.0)
    tank.tick(act)
    while tank.demand.output_on:
        tank.tick()
    off_s = tank.now_s
    tank.run_for(4000.0)
    assert tank.state is State.ABORTING
    moments_s = [s - off_s for s, _ in tank.said("output did not stop")]
    # Off for 2 s, then 4, 8, 16 ... s apart, never more than 600 s.
    expected_s = [2, 6, 14, 30, 62, 126, 254, 510, 1022, 1622, 2222, 2822, 3422]
    assert moments_s == pytest.approx(expected_s, abs=1e-6)
    first = tank.said("output did not stop")[0][1]
    assert first.text == "output did not stop: 2.000 A still flows 2.0 s after output off"
    assert first.data == {"current_a": 2.0, "waited_s": pytest.approx(2.0)}
    assert tank.said(RunOver) == []


def test_it_ends_aborted_when_the_current_goes_at_last(tank):
    tank.bring_to(State.RUNNING)
    tank.stick_at(2.0)
    tank.tick(Act.STOP)
    tank.run_for(60.0)
    tank.stick_at(0.0)
    tank.tick()
    assert tank.state is State.ABORTED


def test_silence_is_no_proof_that_the_current_is_gone(tank):
    tank.bring_to(State.RUNNING)
    tank.tick(Act.ABORT)
    tank.silent = True
    tank.run_for(30.0)
    assert tank.state is State.ABORTING
    text = tank.said("output did not stop")[0][1].text
    assert text == "output did not stop: no reading shows the current gone 2.0 s after output off"
    tank.silent = False
    tank.tick()
    assert tank.state is State.ABORTED


def test_an_old_reading_that_comes_late_does_not_prove_it_either(tank):
    tank.bring_to(State.RUNNING)
    tank.stick_at(2.0)
    tank.tick(Act.ABORT)
    off_s = tank.now_s
    tank.tick()
    late = Reading(off_s + 0.05, 0.0, 0.0)
    tank.tick(reading=late)
    assert tank.state is State.ABORTING


def test_an_output_that_says_it_is_on_is_not_off_though_no_current_flows(tank):
    tank.tells_output = True
    tank.bring_to(State.RUNNING)
    off_s = tank.now_s + 0.1
    tank.tick(Act.ABORT)
    for late_s in (0.1, 0.2, 1.0, 2.1):
        still_on = Reading(off_s + late_s, 0.0, 1.0, output_on=True)
        tank.tick(at_s=off_s + late_s, reading=still_on)
        assert tank.state is State.ABORTING
    text = tank.said("output did not stop")[0][1].text
    assert text == "output did not stop: the supply says that it is still on 2.1 s after output off"
    tank.tick()
    assert tank.state is State.ABORTED


@pytest.mark.parametrize("late_s", [0.35, 1.5, 2.5])
def test_pressing_abort_after_stop_does_not_put_the_alarm_off(tank, late_s):
    tank.bring_to(State.RUNNING)
    tank.stick_at(2.0)
    tank.tick(Act.HOLD)
    held_s = tank.now_s
    tank.tick(Act.STOP, at_s=held_s + 0.3)
    tank.run_for(late_s - 0.4)
    off_s = held_s + 1.0 if not tank.demand.output_on else tank.now_s + 0.1
    tank.tick(Act.ABORT, at_s=tank.now_s + 0.1)
    tank.run_for(4.0)
    assert tank.said("output did not stop")[0][0] == pytest.approx(off_s + 2.0, abs=1e-6)


def test_a_stop_after_a_hold_does_not_leave_the_output_on_longer(tank):
    tank.bring_to(State.RUNNING)
    tank.stick_at(2.0)
    tank.tick(Act.HOLD)
    held_s = tank.now_s
    tank.tick(Act.STOP, at_s=held_s + 0.9)
    while tank.demand.output_on:
        tank.tick()
    assert tank.now_s == pytest.approx(held_s + 1.0, abs=1e-6)


def test_the_reason_for_an_abort_is_that_the_output_did_not_stop(tank):
    tank.bring_to(State.RUNNING)
    tank.stick_at(2.0)
    tank.tick(Act.STOP)
    tank.run_for(10.0)
    tank.stick_at(0.0)
    tank.run_to_rest()
    text = "output did not stop: 2.000 A still flows 2.0 s after output off"
    assert tank.said(RunOver)[-1][1] == RunOver(State.ABORTED, text)


def test_the_first_cause_of_an_abort_stays_though_the_output_did_not_stop(tank):
    tank.bring_to(State.RUNNING)
    tank.stick_at(2.0)
    tank.tick(trouble="set-point refused")
    tank.run_for(10.0)
    assert tank.situation.reason.startswith("output did not stop: 2.000 A still flows")
    tank.stick_at(0.0)
    tank.run_to_rest()
    reason = "device failed: set-point refused"
    assert tank.said(RunOver)[-1][1] == RunOver(State.ABORTED, reason)
    assert tank.situation.reason == reason


def test_alarms_go_on_for_weeks(new_tank):
    tank = new_tank(Limits(period_s=0.5, tell_most_s=0.5))
    tank.bring_to(State.RUNNING)
    tank.stick_at(2.0)
    tank.tick(Act.ABORT)
    tank.run_for(1000.0)
    assert len(tank.said("output did not stop")) > 1024


def test_current_while_held_aborts_the_run(tank):
    tank.bring_to(State.HELD)
    tank.stick_at(0.5)
    tank.tick()
    assert tank.state is State.HELD
    seen_s = tank.now_s
    tank.run_to(State.ABORTING)
    assert tank.now_s - seen_s == pytest.approx(2.0)
    tank.stick_at(0.0)
    tank.tick()
    text = "output did not stop: 0.500 A still flows 2.0 s after it came on by itself"
    assert tank.said(RunOver) == [(tank.now_s, RunOver(State.ABORTED, text))]


def test_one_noisy_reading_while_held_does_not(tank):
    tank.bring_to(State.HELD)
    reason = tank.situation.reason
    for _ in range(20):
        tank.stick_at(0.03)
        tank.run_for(1.8)
        tank.stick_at(0.0)
        tank.tick()
    assert tank.state is State.HELD
    assert tank.situation.reason == reason == "hold by Ann"
    assert tank.said("output did not stop") == []
    tank.tick(Act.RESUME)
    assert tank.state is State.RESTARTING


@pytest.mark.parametrize("act", [Act.STOP, Act.ABORT])
def test_a_held_run_with_current_can_be_ended_but_not_before_it_is_gone(tank, act):
    tank.bring_to(State.HELD)
    tank.stick_at(0.5)
    tank.run_for(1.0)
    tank.tick(act)
    tank.run_for(0.5)
    assert tank.said(RunOver) == []
    tank.stick_at(0.0)
    tank.run_to_rest()
    assert tank.state in (State.STOPPED, State.ABORTED)


@pytest.mark.parametrize(
    "state", [State.IDLE, State.STOPPED, State.ABORTED, State.COMPLETE], ids=lambda s: s.value
)
def test_an_output_that_comes_on_after_the_end_is_told(tank, state):
    tank.bring_to(state)
    reason, overs = tank.situation.reason, len(tank.said(RunOver))
    tank.stick_at(1.0)
    tank.run_for(100.0)
    assert tank.state is state
    alarms = tank.said("output did not stop")
    assert [s - alarms[0][0] for s, _ in alarms] == pytest.approx([0, 4, 12, 28, 60], abs=1e-6)
    assert tank.situation.reason == alarms[-1][1].text
    tank.stick_at(0.0)
    tank.tick()
    assert tank.situation.wind_down is None
    assert tank.situation.reason == reason
    assert tank.said("state")[-1][1].text == f"{state.value}: the output is off again"
    assert len(tank.said(RunOver)) == overs


def test_an_output_switched_on_by_hand_without_a_load_is_told_too(tank):
    tank.tells_output = True
    tank.bring_to(State.COMPLETE)
    for _ in range(25):
        tank.tick(reading=Reading(tank.now_s + 0.1, 0.0, 4.0, output_on=True))
    [(_, alarm)] = tank.said("output did not stop")
    assert "the supply says that it is still on" in alarm.text


def test_a_reset_does_not_silence_the_watch(tank):
    tank.bring_to(State.ABORTED)
    tank.stick_at(1.0)
    tank.run_for(1.0)
    tank.tick(Act.RESET)
    assert tank.state is State.IDLE
    tank.run_for(3.0)
    assert tank.state is State.IDLE
    assert len(tank.said("output did not stop")) == 1
    tank.stick_at(0.0)
    tank.run_for(1.0)
    assert tank.state is State.IDLE
    assert len(tank.said(RunOver)) == 1


def test_a_reset_does_not_put_output_did_not_stop_off(tank):
    tank.bring_to(State.ABORTED)
    tank.stick_at(1.0)
    tank.run_for(3.0)
    [(told_s, _)] = tank.said("output did not stop")
    tank.tick(Act.RESET)
    assert tank.state is State.IDLE
    assert tank.situation.alarms.of("output did not stop").active
    assert "1.000 A still flows" in tank.situation.reason
    tank.run_for(4.0)
    # 2 s after it came on, and then 4 s later, as without the reset.
    assert [s - told_s for s, _ in tank.said("output did not stop")] == pytest.approx([0, 4])
    tank.stick_at(0.0)
    tank.run_for(1.0)
    assert tank.situation.wind_down is None
    assert tank.situation.reason is None
    assert tank.state is State.IDLE


def test_current_the_other_way_is_current(tank):
    tank.bring_to(State.RUNNING)
    tank.stick_at(-1.0)
    tank.tick(Act.ABORT)
    tank.run_for(5.0)
    assert tank.state is State.ABORTING
    assert "-1.000 A still flows" in tank.said("output did not stop")[0][1].text
