"""The walk through a proof test on an ideal supply: what passes, what fails, and how it ends."""

from dataclasses import replace

import pytest

from daemon.control.proof.walk import ANSWER_S, PATIENCE_S
from daemon.control.proof.wants import Deed, ProofEndedError
from daemon.control.protection.causes import INTERLOCK, OPEN_CIRCUIT
from daemon.control.protection.effects import DEFAULTS, Effects, Stop, Table
from daemon.control.situation import AlarmAct
from daemon.control.states import Act, State

ALL = {"beacon": True, "siren": True, "button": True, "addresses": ("phone",)}


def verdicts(found):
    return {name: each.passed for name, each in found.items()}


def test_everything_is_proved_by_what_the_meter_shows_and_nothing_is_left(guide, tank):
    led = guide(**ALL)
    found = led.lead()
    assert set(verdicts(found).values()) == {True}
    seen = {name: each.seen for name, each in found.items()}
    assert list(seen) == [
        "supply off by command", "interlock filter pump", "interlock lid", "interlock level",
        "interlock leak", "contactor without its heartbeat", "beacon", "siren",
        "acknowledge button", "message to phone",
    ]  # fmt: skip
    # The supply obeys at once: the first reading after it, a period later, shows it.
    assert seen["interlock lid"] == "0.000 A after 0.10 s, then held"
    assert seen["interlock level"].endswith("then stopped")
    assert seen["interlock leak"].endswith("then aborted")
    # It lets go after 0.35 s, which the reading after 0.4 s shows; the detector tells later.
    assert seen["contactor without its heartbeat"] == "0.000 A after 0.40 s: open circuit"
    assert (tank.state, tank.demand.output_on) == (State.IDLE, False)
    assert tank.situation.alarms.standing == ()


def test_what_was_held_is_ended_at_the_end(guide, tank):
    guide(loops=("lid",), drop_out_s=0.0).lead()
    assert tank.state is State.STOPPED


def test_no_current_flows_while_somebody_is_asked(guide, tank):
    led = guide(loops=("filter pump",), drop_out_s=0.0, beacon=True, addresses=("phone",))

    def says(_):
        assert not tank.demand.output_on
        return True

    led.says = says
    assert verdicts(led.lead()) == {
        "supply off by command": True, "interlock filter pump": True, "beacon": True,
        "message to phone": True,
    }  # fmt: skip


def test_a_supply_that_is_slow_fails_and_is_told_by_how_much(guide, tank):
    """Current flows for 3.45 s after the hold; 3 s are good, and the alarm comes then."""
    led = guide(loops=(), drop_out_s=0.0)

    def meddle(want):
        if want.do is Deed.HOLD:
            until_s = tank.now_s + 3.45
            tank.flowing_a = lambda _: 0.2 if tank.now_s < until_s else 0.0

    led.meddle = meddle
    found = led.lead()["supply off by command"]
    assert (found.passed, found.seen) == (False, "0.000 A after 3.50 s, then aborted")


def test_a_supply_that_does_not_obey_ends_the_walk_with_its_failure_found(guide, tank):
    led = guide()

    def meddle(want):
        if want.do is Deed.HOLD:
            tank.stick_at(0.2)

    led.meddle = meddle
    with pytest.raises(ProofEndedError, match="its current was not seen gone"):
        led.lead()
    (found,) = led.wants[-1].findings
    assert (found.passed, found.seen.startswith("0.200 A after 7.")) == (False, True)


def test_a_reading_from_before_is_no_witness(guide, tank):
    """The meter shows no current for a moment, and falls silent before the loop opens."""
    led = guide(loops=("lid",), drop_out_s=0.0)

    def meddle(want):
        if want.todo.startswith("Open") and not tank.silent:
            tank.flowing_a = lambda _: 0.0
            tank.tick()
            tank.silent = True

    led.meddle = meddle
    with pytest.raises(ProofEndedError, match="its current was not seen gone"):
        led.lead()
    found = led.wants[-1].findings[-1]
    assert (found.name, found.passed) == ("interlock lid", False)
    assert found.seen.startswith("no reading after 7.")


def test_a_meter_that_shows_no_current_shows_nothing(guide, tank):
    """It answers all the time, and without a current from before the hold on."""
    led = guide(loops=(), drop_out_s=0.0)
    shows = tank.reading

    def meddle(want):
        if want.do is Deed.HOLD:
            tank.reading = lambda: replace(shows(), current_a=None)

    led.meddle = meddle
    with pytest.raises(ProofEndedError, match="its current was not seen gone"):
        led.lead()
    (found,) = led.wants[-1].findings
    assert (found.passed, found.seen.startswith("no reading after 7.")) == (False, True)


def test_a_welded_contactor_fails_and_the_current_is_taken_away(guide, tank):
    led = guide(loops=(), **ALL)
    led.welded = True
    found = led.lead()
    contactor = found["contactor without its heartbeat"]
    assert not contactor.passed
    assert contactor.seen.startswith("0.200 A 3.")
    assert not tank.demand.output_on
    # No alarm stands to prove signals with, which is told and is no pass.
    assert found["beacon"].seen == "no alarm stands that wants it"
    assert found["acknowledge button"].seen == "no alarm stands that waits for it"
    signals = ("beacon", "siren", "acknowledge button")
    assert not any(found[name].passed for name in signals)


def test_a_button_that_nobody_presses_is_not_proved(guide):
    led = guide(loops=("leak",), drop_out_s=0.0, button=True)

    def meddle(want):
        led.lazy = want.todo.startswith("Press")

    led.meddle = meddle
    found = led.lead()["acknowledge button"]
    assert (found.passed, found.seen) == (False, f"nothing within {PATIENCE_S:.0f} s")


def test_an_open_contactor_that_nobody_tells_of_fails(guide):
    table = Table({**DEFAULTS, OPEN_CIRCUIT: Effects(Stop.NOTHING)})
    found = guide(loops=(), table=table).lead()
    assert (
        found["contactor without its heartbeat"].seen
        == "0.000 A after 0.40 s: nothing has told of it"
    )
    assert not found["contactor without its heartbeat"].passed


def test_a_loop_that_stays_closed_fails(guide, tank):
    led = guide(loops=("lid",), drop_out_s=0.0)
    led.lazy = True
    found = led.lead()["interlock lid"]
    assert (found.passed, found.seen) == (False, f"no alarm within {PATIENCE_S:.0f} s")
    assert tank.state is State.STOPPED


def test_a_loop_that_does_not_do_what_it_should_fails(guide):
    """The table that the walk knows says abort, the one by which the tank runs says hold."""
    led = guide(loops=("leak",), drop_out_s=0.0)
    rows = {**DEFAULTS, INTERLOCK + "leak": Effects(Stop.HOLD)}
    led.tank.with_limits(table=Table(rows))
    found = led.lead()["interlock leak"]
    assert (found.passed, found.seen) == (False, "0.000 A after 0.10 s, then held")


def test_a_delay_belongs_to_what_is_expected(guide):
    table = Table({INTERLOCK + "agitation": Effects(Stop.HOLD, after_s=20.0)})
    found = guide(loops=("agitation",), drop_out_s=0.0, table=table).lead()
    assert found["interlock agitation"].passed
    assert found["interlock agitation"].seen.startswith("0.000 A after 20.")


def test_another_open_loop_does_not_hide_that_one_is_not_closed_again(guide, tank):
    """The alarm of the second comes as well; the first has to be seen closed all the same."""
    led = guide(loops=("lid",), drop_out_s=0.0)

    def meddle(want):
        if want.todo.startswith("Close"):
            led.lazy = True
            tank.open_loops = ("level", "lid")

    led.meddle = meddle
    with pytest.raises(ProofEndedError, match="the loop of 'lid' was not closed again"):
        led.lead()
    assert not tank.demand.output_on


def test_a_loop_that_is_open_already_keeps_it_from_going_on(guide, tank):
    led = guide()
    tank.open_loops = ("lid",)
    with pytest.raises(ProofEndedError, match="start: interlock open: lid"):
        led.lead()


def test_without_current_nothing_is_proved(guide, tank):
    led = guide()
    led._flowing_a = lambda _: 0.0
    with pytest.raises(ProofEndedError, match="no current flows: nothing can be proved without"):
        led.lead()


def test_a_run_that_ends_meanwhile_ends_the_walk_at_once(guide, tank):
    led = guide()
    led.lazy = True

    def meddle(want):
        if want.todo.startswith("Open") and tank.state is State.RUNNING:
            tank.tick(Act.ABORT)

    led.meddle = meddle
    began_s = tank.now_s
    with pytest.raises(ProofEndedError, match=r"the run is aborted: aborted by Ann"):
        led.lead()
    assert tank.now_s - began_s < PATIENCE_S / 2


def test_a_person_who_sees_nothing_is_believed(guide):
    led = guide(loops=("leak",), drop_out_s=0.0, **ALL)
    led.says = lambda question: "siren" not in question and "message" not in question
    assert verdicts(led.lead()) == {
        "supply off by command": True, "interlock leak": True, "beacon": True, "siren": False,
        "acknowledge button": True, "message to phone": False,
    }  # fmt: skip


def test_nobody_answers(guide, tank):
    led = guide(loops=("leak",), drop_out_s=0.0, beacon=True)
    led.says = lambda _: None
    with pytest.raises(ProofEndedError, match="nobody has answered: Does the beacon light now"):
        led.lead()
    asked = next(want for want in led.wants if want.question)
    assert tank.now_s == pytest.approx(asked.until_s, abs=0.2)
    assert tank.now_s > tank.start_s + ANSWER_S


def test_a_message_that_is_not_taken_fails_and_is_not_asked_for(guide):
    led = guide(loops=(), drop_out_s=0.0, addresses=("phone",))
    led.sends = lambda: "no route to host"
    led.says = lambda question: pytest.fail(question)
    assert led.lead()["message to phone"].seen == "no route to host"


def test_who_else_acknowledges_does_not_prove_the_button(guide, tank):
    led = guide(loops=("leak",), drop_out_s=0.0, button=True)
    led.lazy = False

    def meddle(want):
        if want.todo.startswith("Press"):
            led.lazy = True
            tank.alarm_act = AlarmAct("acknowledge", "Ben")

    led.meddle = meddle
    found = led.lead()["acknowledge button"]
    assert (found.passed, found.seen) == (False, "acknowledged by Ben")


def test_alarms_that_are_over_before_the_press_do_not_prove_the_button(guide, tank):
    led = guide(loops=("leak",), drop_out_s=0.0, button=True)

    def meddle(want):
        if want.todo.startswith("Press"):
            led.lazy = True
            tank.tick(Act.RESET)

    led.meddle = meddle
    found = led.lead()["acknowledge button"]
    assert (found.passed, found.seen) == (False, "acknowledged by somebody else")


UP, GONE = "The current is brought up.", "The meter is watched: the current has to go."


@pytest.mark.parametrize(
    ("drop_out_s", "told"),
    [
        (1.0, [UP, GONE, "The meter is watched: the contactor has to open.",
               "The test message is being sent."]),
        # What an interlock has held is ended by the walk itself.
        (0.0, [UP, GONE, "The current is taken away.", "The test message is being sent."]),
    ],
)  # fmt: skip
def test_what_is_under_way_is_told_where_nobody_has_anything_to_do(guide, drop_out_s, told):
    led = guide(loops=("lid",), drop_out_s=drop_out_s, addresses=("phone",))
    led.lead()
    assert list(dict.fromkeys(want.doing for want in led.wants if want.doing)) == told
    # From the first moment on, before anything has been looked at, and each time.
    begins = [led.wants[0], *(w for w in led.wants if w.do in (Deed.START, Deed.RESUME))]
    assert {want.doing for want in begins} == {UP}


def test_the_steps_and_their_findings_are_told_as_they_come(guide):
    led = guide(loops=("lid",), drop_out_s=0.0)
    led.lead()
    told = [(want.step, len(want.findings), want.todo) for want in led.wants]
    assert (0, 0, "") in told
    assert (1, 1, "Open the loop of 'lid' now, at the contact itself.") in told
    assert (1, 1, "Close the loop of 'lid' again.") in told
    waits = [want for want in led.wants if want.todo]
    assert all(want.until_s is not None for want in waits)
