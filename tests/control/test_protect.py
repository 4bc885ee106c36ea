"""What a cause does to a run in each state, and what a person's act on its alarm changes."""

import pytest

from daemon.control import protect
from daemon.control.obey import refusal
from daemon.control.protection.alarms import Life, Sign
from daemon.control.protection.effects import DEFAULTS, Effects, Stop, Table
from daemon.control.situation import AlarmAct
from daemon.control.states import Act, State

SHORT = Sign("short", "0.02 V at 2.00 A")
HOT = Sign("bath too hot", "41.0 °C, at most 40 °C is wanted")
COLD = Sign("bath too cold", "16.0 °C, at least 18 °C is wanted")
STOPS = Table({**DEFAULTS, "short": Effects(Stop.STOP)})

# Where a run in this state is once a cause is seen that aborts, stops, holds, tells.
LEADS_TO = {
    State.IDLE: ("idle", "idle", "idle", "idle"),
    State.RUNNING: ("aborting", "stopping", "holding", "running"),
    State.HOLDING: ("aborting", "stopping", "holding", "holding"),
    State.HELD: ("held", "held", "held", "held"),
    State.RESTARTING: ("aborting", "stopping", "holding", "restarting"),
    State.STOPPING: ("aborting", "stopping", "stopping", "stopping"),
    State.STOPPED: ("stopped", "stopped", "stopped", "stopped"),
    State.ABORTING: ("aborting", "aborting", "aborting", "aborting"),
    State.ABORTED: ("aborted", "aborted", "aborted", "aborted"),
    State.COMPLETE: ("complete", "complete", "complete", "complete"),
}
CAUSES = ((SHORT, Table()), (SHORT, STOPS), (HOT, Table()), (COLD, Table()))


@pytest.mark.parametrize("state", State)
@pytest.mark.parametrize("column", range(len(CAUSES)))
def test_each_stop_in_each_state(tank, state, column):
    sign, table = CAUSES[column]
    tank.with_limits(table=table).bring_to(state)
    tank.signs = (sign,)
    tank.tick(at_s=tank.now_s)
    assert tank.state.value == LEADS_TO[state][column]
    assert tank.raised()[-1:] == [sign.cause]
    alarm = tank.situation.alarms.of(sign.cause)
    moved = tank.state is not state
    assert alarm.latched == moved
    assert alarm.stopped is (table.row(sign.cause).stop if moved else Stop.NOTHING)


def test_a_short_takes_the_current_away_at_once_and_is_the_reason(tank):
    tank.bring_to(State.RUNNING)
    tank.signs = (SHORT,)
    tank.tick()
    assert not tank.demand.output_on
    assert not tank.situation.contactor.closed
    tank.signs = ()
    tank.run_to(State.ABORTED)
    assert tank.situation.reason == "short: 0.02 V at 2.00 A"
    (alarm,) = tank.situation.alarms.standing
    assert (alarm.first_out, alarm.active, alarm.life) == (True, False, Life.RETURNED)


def test_one_short_is_one_alarm_whatever_else_it_looks_like(tank):
    tank.bring_to(State.RUNNING)
    tank.signs = (
        Sign("over-current", "3.1 A"), Sign("current spike", "3.1 A"), SHORT,
        Sign("current off the plan", "3.1 A"), Sign("whisker", "-40 %"),
    )  # fmt: skip
    tank.tick()
    tank.run_to(State.ABORTED)
    assert tank.raised() == ["short"]


def test_a_delay_of_the_table_is_met_to_the_moment(tank):
    table = Table({**DEFAULTS, "bath too hot": Effects(Stop.HOLD, after_s=7.25)})
    tank.with_limits(table=table).bring_to(State.RUNNING)
    tank.signs = (HOT,)
    tank.tick()
    raised_s = tank.now_s
    tank.run_to(State.HOLDING)
    assert tank.now_s - raised_s == pytest.approx(7.25)


def test_a_bath_that_cools_in_time_holds_nothing(tank):
    table = Table({**DEFAULTS, "bath too hot": Effects(Stop.HOLD, after_s=30.0)})
    tank.with_limits(table=table).bring_to(State.RUNNING)
    tank.signs = (HOT,)
    tank.run_for(29.0)
    tank.signs = ()
    tank.run_for(60.0)
    assert tank.state is State.RUNNING


@pytest.mark.parametrize(("state", "act"), [
    (State.IDLE, Act.START), (State.STOPPED, Act.START), (State.COMPLETE, Act.START),
    (State.HELD, Act.RESUME),
])  # fmt: skip
def test_nothing_is_energised_while_a_cause_is_there_that_would_stop_it(tank, plan, state, act):
    tank.bring_to(state)
    tank.signs = (HOT, COLD)
    tank.tick()
    why = refusal(tank.situation, act, tank.now_s, tank.limits)
    assert why == "bath too hot: 41.0 °C, at most 40 °C is wanted"
    tank.tick(act, plan=plan() if act is Act.START else None)
    assert tank.state is state
    tank.signs = (COLD,)
    tank.tick()
    tank.tick(act, plan=plan() if act is Act.START else None)
    assert tank.state in (State.RUNNING, State.RESTARTING)


@pytest.mark.parametrize(("goal", "act"), [(State.ABORTED, Act.RESET), (State.HELD, Act.RESUME)])
def test_who_resets_or_resumes_has_seen_the_alarm(tank, goal, act):
    sign = SHORT if goal is State.ABORTED else HOT
    tank.bring_to(State.RUNNING)
    tank.signs = (sign,)
    tank.tick()
    tank.signs = ()
    tank.run_to(goal)
    attend(tank, "acknowledge")
    assert [alarm.life for alarm in tank.situation.alarms.standing] == [Life.LATCHED]
    tank.tick(act)
    assert tank.situation.alarms.standing == ()


def test_a_shelved_alarm_still_aborts(tank):
    tank.with_limits(table=Table({**DEFAULTS, "short": Effects(Stop.ABORT, after_s=5.0)}))
    tank.bring_to(State.RUNNING)
    tank.signs = (SHORT,)
    tank.tick()
    attend(tank, "shelve", number=1, for_s=3600.0)
    tank.run_for(6.0)
    assert tank.state is State.ABORTED


def test_an_alarm_is_shelved_and_taken_from_its_shelf(tank):
    tank.bring_to(State.IDLE)
    tank.signs = (COLD,)
    tank.tick()
    attend(tank, "shelve", number=1, for_s=3600.0)
    assert [alarm.life for alarm in tank.situation.alarms.standing] == [Life.SHELVED]
    attend(tank, "unshelve", number=1)
    assert [alarm.life for alarm in tank.situation.alarms.standing] == [Life.UNACKNOWLEDGED]


@pytest.mark.parametrize(("act", "why"), [
    (AlarmAct("acknowledge", "Ann", 7), "alarm 7 does not stand; standing: 1, 2"),
    (AlarmAct("shelve", "Ann", 7, 60.0), "alarm 7 does not stand; standing: 1, 2"),
    (AlarmAct("shelve", "Ann"), "shelve: an alarm's number is wanted"),
    (AlarmAct("unshelve", "Ann"), "unshelve: an alarm's number is wanted"),
    (AlarmAct("shelve", "Ann", 1, 13 * 3600.0), "an alarm is shelved for at most 12 h, got 13 h"),
    (AlarmAct("shelve", "Ann", 1, 0.0), "an alarm is shelved for at most 12 h, got 0 h"),
    (AlarmAct("shelve", "Ann", 2, 60.0),
     "'output did not stop' is never shelved: the tank may be energised at this moment"),
    (AlarmAct("acknowledge", "Ann"), None),
    (AlarmAct("shelve", "Ann", 1, 12 * 3600.0), None),
])  # fmt: skip
def test_acts_on_alarms_that_are_refused_change_nothing(tank, act, why):
    tank.bring_to(State.IDLE)
    tank.signs = (COLD, Sign("output did not stop", "2 A"))
    tank.tick()
    before = tank.situation.alarms
    assert protect.refusal(before, act) == why
    tank.alarm_act = act
    tank.tick()
    assert (tank.situation.alarms == before) == (why is not None)


def test_an_output_that_does_not_stop_is_told_until_it_does_and_sounds_each_time(tank):
    tank.bring_to(State.RUNNING)
    tank.stick_at(2.0)
    tank.tick(Act.ABORT)
    tank.run_for(3.0)
    assert tank.raised() == ["output did not stop"]
    assert tank.outputs.siren
    attend(tank, "acknowledge")
    assert not tank.outputs.siren
    tank.run_for(5.0)
    assert tank.outputs.siren
    tank.stick_at(0.0)
    tank.run_to(State.ABORTED)
    attend(tank, "acknowledge")
    tank.run_for(60.0)
    assert tank.raised() == ["output did not stop"]
    assert not tank.outputs.siren
    assert not tank.outputs.beacon


def test_a_current_that_comes_by_itself_is_an_alarm_at_rest(tank):
    tank.bring_to(State.STOPPED)
    tank.stick_at(1.5)
    tank.run_for(0.5)
    assert tank.raised() == ["current with no run"]
    (alarm,) = tank.situation.alarms.standing
    assert alarm.seen == "1.500 A flows while the run is stopped"
    tank.run_for(5.0)
    assert tank.raised() == ["current with no run", "output did not stop"]


def test_a_cap_that_ends_a_run_is_told(tank, plan, stage):
    tank.start(plan(stage(2.0, duration_s=100.0), target_ah=1.0, duration_cap_s=20.0))
    tank.run_to(State.STOPPED)
    assert tank.raised() == ["cap reached"]
    assert tank.situation.alarms.standing[0].seen.startswith("cap on time reached at ")


def test_readings_that_stay_away_are_one_alarm_until_they_come_again(tank):
    tank.bring_to(State.RUNNING)
    tank.silent = True
    tank.run_for(30.0)
    assert tank.raised()[0] == "reading lost"
    lost = tank.situation.alarms.of("reading lost")
    assert lost.active
    assert lost.times == 1
    tank.silent = False
    tank.run_for(1.0)
    assert not tank.situation.alarms.of("reading lost").active


def test_at_rest_a_device_that_fails_and_a_loop_that_opens_wake_nobody(tank):
    for state in (State.IDLE, State.HELD):
        tank.bring_to(state)
        tank.open_loops = ("lid",)
        tank.tick(trouble="no answer")
        assert tank.raised() == []
        tank.open_loops = ()


def test_a_start_keeps_the_alarms_that_stand(tank, plan):
    tank.tick()
    tank.signs = (COLD,)
    tank.tick()
    tank.start(plan())
    assert [alarm.cause for alarm in tank.situation.alarms.standing] == ["bath too cold"]


def attend(tank, what, number=None, for_s=0.0):
    tank.alarm_act = AlarmAct(what, "Ann", number, for_s)
    tank.tick(at_s=tank.now_s)
    tank.alarm_act = None


def test_who_acknowledges_has_not_seen_what_comes_with_the_same_tick(tank):
    tank.bring_to(State.RUNNING)
    tank.signs = (COLD,)
    tank.alarm_act = AlarmAct("acknowledge", "Ann")
    tank.tick()
    (alarm,) = tank.situation.alarms.standing
    assert alarm.life is Life.UNACKNOWLEDGED
