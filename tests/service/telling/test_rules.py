"""Who is told of what, and when: nights on a virtual clock, through a teller turned by hand."""

from datetime import time

import pytest

from daemon.control.kept_dose import KeptDose
from daemon.control.protection import causes
from daemon.control.protection.causes import Priority
from daemon.control.protection.effects import DEFAULTS, Effects, Stop, Table
from daemon.control.states import State
from daemon.service.telling.recipients import Hours, Recipient, Rules
from daemon.service.telling.tank import Current

NIGHT = Hours(time(22), time(7))
QUIET = Recipient("phone", quiet=NIGHT)


def test_an_alarm_is_told_at_once(night):
    night.comes(causes.WHISKER)
    assert night.titles() == ["Tank 1: Whisker. The current is on."]


def test_one_that_the_table_does_not_tell_is_not_told(night):
    night.comes(causes.RIPPLE_HIGH)
    night.passes(h=1)
    assert night.titles() == []


def test_the_table_decides_what_is_told(new_night):
    table = Table({**DEFAULTS, causes.RIPPLE_HIGH: Effects(), causes.WHISKER: Effects(tell=False)})
    night = new_night(table=table)
    night.comes(causes.RIPPLE_HIGH)
    night.comes(causes.WHISKER)
    assert night.titles() == ["Tank 1: Ripple high. The current is on."]


@pytest.mark.parametrize(("least", "told"), [
    (Priority.HIGH, ["Short"]),
    (Priority.MEDIUM, ["Short", "Bath too hot"]),
    (Priority.LOW, ["Short", "Bath too hot", "Bath too cold"]),
])  # fmt: skip
def test_only_alarms_of_the_priority_asked_for(new_night, least, told):
    night = new_night([Recipient("phone", least)])
    for cause in (causes.SHORT, causes.BATH_HOT, causes.BATH_COLD):
        night.comes(cause)
    assert [title.split(": ")[1].split(".")[0] for title in night.titles()] == told


def test_repeated_until_somebody_acknowledges(new_night):
    night = new_night(rules=Rules(repeat_s=900.0))
    night.comes(causes.WHISKER)
    night.passes(min=50)
    assert night.times() == ["20:00", "20:15", "20:30", "20:45"]
    assert night.titles()[1] == (
        "Tank 1: Whisker: still not acknowledged after 15 min. The current is on."
    )
    night.acknowledged()
    night.passes(h=3)
    assert night.titles()[4:] == ["Tank 1: Whisker: acknowledged by ina. The current is on."]


def test_an_alarm_that_comes_and_goes_is_not_told_more_often(new_night):
    night = new_night(rules=Rules(repeat_s=900.0))
    night.comes(causes.WHISKER)
    for _ in range(60):
        night.passes(s=15)
        night.goes(causes.WHISKER)
        night.passes(s=15)
        night.comes(causes.WHISKER)
    # In half an hour: raised, gone once, and two repeats, each with one going.
    assert len(night.titles()) <= 6
    assert [at for at, title in zip(night.times(), night.titles(), strict=True)
            if "still not" in title] == ["20:15", "20:30"]  # fmt: skip


def test_an_alarm_that_comes_again_after_it_was_acknowledged_is_told_at_once(night):
    night.comes(causes.BATH_HOT)
    night.stops(causes.BATH_HOT, Stop.HOLD)
    night.acknowledged()
    night.goes(causes.BATH_HOT)
    night.passes(min=1)
    night.comes(causes.BATH_HOT, "35.4 °C")
    assert night.titles()[-1] == "Tank 1: Bath too hot. The current is on."
    assert "35.4 °C" in night.got["phone"][-1].letter.body


def test_returned_to_normal(night):
    night.comes(causes.WHISKER)
    night.goes(causes.WHISKER)
    night.passes(h=1)
    assert night.titles()[1:] == ["Tank 1: Whisker: returned to normal. The current is on."]
    night.acknowledged()
    night.passes(h=1)
    assert len(night.titles()) == 2


def test_acknowledged_and_then_normal(night):
    night.comes(causes.WHISKER)
    night.acknowledged("ben")
    night.passes(min=5)
    night.goes(causes.WHISKER)
    assert [title.split(": ", 1)[1] for title in night.titles()[1:]] == [
        "Whisker: acknowledged by ben. The current is on.",
        "Whisker: returned to normal. The current is on.",
    ]
    assert "ben has seen to it" in night.got["phone"][-1].letter.body


def test_only_those_are_told_of_its_end_who_were_told_of_it(new_night):
    night = new_night([Recipient("phone"), Recipient("boss", Priority.HIGH)])
    night.comes(causes.WHISKER)
    night.acknowledged()
    night.goes(causes.WHISKER)
    assert len(night.titles("phone")) == 3
    assert night.titles("boss") == []


def test_a_latched_alarm_goes_on_although_its_cause_is_gone(new_night):
    """A short is gone once the current is: nobody has looked at the tank for that."""
    night = new_night(rules=Rules(repeat_s=600.0))
    night.comes(causes.SHORT)
    night.stops(causes.SHORT, Stop.ABORT)
    night.goes(causes.SHORT)
    night.is_now(State.ABORTED, Current.OFF)
    night.passes(min=11)
    assert [title.split(".")[0] for title in night.titles()][-1].startswith(
        "Tank 1: Short: still not acknowledged"
    )
    night.acknowledged()
    night.passes(min=1)
    night.reset()
    assert night.titles()[-1] == "Tank 1: Short: returned to normal. The current is off."


def test_nothing_is_said_of_shelved_alarms_but_that_they_are(night):
    night.comes(causes.BAD_CONTACT)
    night.shelved(1, 3600.0)
    night.passes(min=50)
    assert night.titles()[1:] == [
        "Tank 1: Bad contact: shelved by ina until 21:00. The current is on."
    ]
    night.passes(min=15)
    assert night.titles()[2] == "Tank 1: Bad contact. The current is on."


class TestEscalation:
    two = (Recipient("phone"), Recipient("neighbour", after_s=1200.0, runs=False))

    def test_told_only_when_nobody_has_acknowledged_in_time(self, new_night):
        night = new_night(self.two)
        night.comes(causes.SHORT)
        night.passes(min=19)
        assert night.titles("neighbour") == []
        night.passes(min=2)
        assert night.titles("neighbour") == [
            "Tank 1: Short: nobody has acknowledged it for 20 min. The current is on."
        ]
        assert night.times("neighbour") == ["20:20"]

    def test_not_told_when_somebody_has(self, new_night):
        night = new_night(self.two)
        night.comes(causes.SHORT)
        night.passes(min=19)
        night.acknowledged()
        night.passes(h=3)
        assert night.titles("neighbour") == []

    def test_the_time_begins_anew_when_it_comes_again(self, new_night):
        night = new_night(self.two)
        night.comes(causes.WHISKER)
        night.stops(causes.WHISKER, Stop.HOLD)
        night.passes(min=10)
        night.acknowledged()
        night.goes(causes.WHISKER)
        night.passes(min=5)
        night.comes(causes.WHISKER)
        night.passes(min=19)
        assert night.titles("neighbour") == []
        night.passes(min=2)
        assert night.times("neighbour") == ["20:35"]

    def test_one_that_is_gone_again_wakes_nobody_else(self, new_night):
        night = new_night(self.two)
        night.comes(causes.WHISKER)
        night.goes(causes.WHISKER)
        night.passes(h=3)
        assert night.titles("neighbour") == []

    def test_told_of_the_acknowledgement_in_turn(self, new_night):
        night = new_night(self.two)
        night.comes(causes.SHORT)
        night.passes(min=21)
        night.acknowledged("ben")
        assert night.titles("neighbour")[-1].startswith("Tank 1: Short: acknowledged by ben.")


class TestQuietHours:
    def test_medium_waits_until_they_are_over(self, new_night):
        night = new_night([QUIET], start="2026-11-25 23:00")
        night.comes(causes.BATH_HOT)
        night.passes(h=7, min=59)
        assert night.titles() == []
        night.passes(min=2)
        assert night.times() == ["07:00"]

    def test_high_is_never_quiet(self, new_night):
        night = new_night([QUIET], start="2026-11-25 23:00")
        night.comes(causes.SHORT)
        night.passes(min=16)
        assert night.times() == ["23:00", "23:15"]

    def test_a_loop_is_as_loud_as_what_it_does(self, new_night):
        loops = {
            "interlock: filter pump": Effects(Stop.NOTHING),
            "interlock: agitation": Effects(Stop.HOLD),
            "interlock: leak": Effects(Stop.ABORT),
        }
        urgent = Recipient("neighbour", least=Priority.MEDIUM)
        night = new_night([QUIET, urgent], start="2026-11-25 23:00", table=Table(loops))
        for loop in loops:
            night.comes(loop)
        assert [title.split(".")[0] for title in night.titles()] == ["Tank 1: Interlock: leak"]
        assert [title.split(".")[0] for title in night.titles("neighbour")] == [
            "Tank 1: Interlock: agitation", "Tank 1: Interlock: leak",
        ]  # fmt: skip
        night.passes(h=8)
        assert any("Interlock: filter pump" in each.letter.body for each in night.got["phone"])

    def test_what_was_acknowledged_meanwhile_is_not_told(self, new_night):
        night = new_night([QUIET], start="2026-11-25 23:00")
        night.comes(causes.BATH_HOT)
        night.passes(h=1)
        night.acknowledged()
        night.passes(h=10)
        assert night.titles() == []

    def test_that_one_is_gone_is_told_in_the_morning_whatever_else_was_told(self, new_night):
        night = new_night([QUIET], start="2026-11-25 21:59")
        night.comes(causes.BATH_HOT)
        night.passes(h=1)
        night.goes(causes.BATH_HOT)
        night.acknowledged()
        night.comes(causes.SHORT)
        night.acknowledged()
        night.passes(h=9)
        assert night.times()[0] == "21:59"
        assert night.times()[-1] == "07:00"
        assert night.titles()[-1].startswith("Tank 1: Bath too hot: returned to normal.")

    def test_before_midnight_and_after_the_end_it_is_told(self, new_night):
        night = new_night([QUIET], start="2026-11-25 21:59")
        night.comes(causes.BATH_HOT)
        assert night.times() == ["21:59"]

    @pytest.mark.parametrize("start", [
        "2026-10-24 23:00",  # summer time ends: the night has an hour more
        "2026-03-28 23:00",  # summer time begins: it has one less
    ])  # fmt: skip
    def test_the_wall_clock_decides_when_the_time_changes(self, new_night, start):
        night = new_night([QUIET], start=start)
        night.comes(causes.BATH_HOT)
        night.passes(h=10)
        assert night.times()[0] == "07:00"

    def test_within_one_day(self, new_night):
        night = new_night(
            [Recipient("phone", quiet=Hours(time(12), time(14)))], start="2026-11-25 11:59"
        )
        night.passes(min=1)
        night.comes(causes.BATH_HOT)
        night.passes(h=3)
        assert night.times()[0] == "14:00"


class TestFlood:
    def test_no_more_than_so_many_in_an_hour_and_nothing_is_lost(self, new_night):
        night = new_night(rules=Rules(repeat_s=36000.0, most_an_hour=3))
        low = [causes.BATH_COLD, causes.WHISKER, causes.BATH_HOT, causes.METERS_DISAGREE,
               causes.RECORD_BEHIND]  # fmt: skip
        for cause in low:
            night.comes(cause)
            night.passes(s=10)
        assert len(night.titles()) == 3
        night.passes(min=58)
        assert len(night.titles()) == 3
        night.passes(min=3)
        assert len(night.titles()) == 4
        assert night.titles()[3].endswith("And 1 more.")
        assert "Meters disagree" in night.got["phone"][3].letter.body
        assert "Record behind" in night.got["phone"][3].letter.body

    def test_new_alarms_of_high_priority_get_through(self, new_night):
        night = new_night(rules=Rules(most_an_hour=1))
        night.comes(causes.BATH_HOT)
        night.comes(causes.SHORT)
        assert len(night.titles()) == 2
        night.passes(min=50)
        assert len(night.titles()) == 2

    def test_alarms_of_one_moment_make_one_message(self, night):
        night.refuses["phone"] = "busy"
        night.comes(causes.BATH_HOT)
        night.comes(causes.SHORT)
        del night.refuses["phone"]
        night.passes(min=1)
        assert night.titles() == ["Tank 1: Short. The current is on. And 1 more."]

    def test_a_new_alarm_goes_before_news_of_an_old_one(self, night):
        night.comes(causes.SHORT)
        night.refuses["phone"] = "busy"
        night.acknowledged()
        night.comes(causes.BATH_COLD)
        del night.refuses["phone"]
        night.passes(min=1)
        assert night.titles()[1] == "Tank 1: Bath too cold. The current is on. And 1 more."


class TestRuns:
    def test_the_end_of_a_run(self, night):
        night.is_now(State.COMPLETE, Current.OFF, thickness_um=25.0)
        night.passes(h=3)
        assert night.titles() == ["Tank 1: Done: lamp foot, 25.0 of 25 µm. The current is off."]

    def test_a_stop(self, night):
        night.is_now(State.STOPPING, Current.FALLING)
        assert night.titles() == []
        night.is_now(State.STOPPED, Current.OFF, reason="stopped by ina")
        assert night.titles() == ["Tank 1: Stopped: lamp foot, 18.2 of 25 µm. The current is off."]
        assert "Stopped by ina." in night.got["phone"][0].letter.body

    def test_whoever_does_not_care_is_not_told(self, new_night):
        night = new_night([Recipient("phone", runs=False)])
        night.is_now(State.COMPLETE, Current.OFF)
        assert night.titles() == []

    def test_it_is_quiet_at_night(self, new_night):
        night = new_night([QUIET], start="2026-11-25 23:00")
        night.is_now(State.COMPLETE, Current.OFF)
        night.passes(h=9)
        assert night.times() == ["07:00"]

    def test_one_that_an_alarm_ended_is_told_once(self, night):
        night.comes(causes.SHORT)
        night.stops(causes.SHORT, Stop.ABORT)
        night.is_now(State.ABORTING, Current.FALLING)
        night.is_now(State.ABORTED, Current.OFF)
        night.goes(causes.SHORT)
        night.acknowledged()
        night.reset()
        night.passes(h=1)
        assert night.titles()[-1].startswith("Tank 1: Short: returned to normal.")
        assert not [title for title in night.titles() if "Aborted" in title]

    def test_one_that_an_alarm_ended_is_told_to_those_who_hear_of_no_such_alarm(self, new_night):
        night = new_night([Recipient("phone", Priority.HIGH)])
        night.comes(causes.BATH_HOT)
        night.stops(causes.BATH_HOT, Stop.ABORT)
        night.is_now(State.ABORTED, Current.OFF)
        assert len(night.titles()) == 1
        assert night.titles()[0].startswith("Tank 1: Aborted: lamp foot")

    def test_a_start_of_the_daemon_ends_no_run(self, new_night):
        night = new_night()
        night.is_now(State.RUNNING, Current.ON)
        night.passes(h=1)
        assert night.titles() == []


class TestCurrentOnItsWayDown:
    def test_a_message_waits_until_it_has_gone(self, night):
        night.tank = night.tank.__class__(State.ABORTING, Current.FALLING)
        night.comes(causes.SHORT)
        assert night.titles() == []
        night.passes(s=2, step_s=1.0)
        assert night.titles() == []
        night.is_now(State.ABORTED, Current.OFF)
        assert night.titles() == ["Tank 1: Short. The current is off."]

    def test_but_not_for_long(self, night):
        night.tank = night.tank.__class__(State.ABORTING, Current.FALLING)
        night.comes(causes.SHORT)
        night.passes(s=6, step_s=1.0)
        assert night.titles() == ["Tank 1: Short. The current is being taken away."]

    def test_an_alarm_that_stops_the_run_later_is_told_again(self, night):
        night.comes(causes.OFF_PLAN)
        night.passes(min=1)
        night.stops(causes.OFF_PLAN, Stop.HOLD)
        assert len(night.titles()) == 2
        assert night.titles()[1].startswith("Tank 1: Current off the plan: the run is now held.")


class TestSummary:
    rules = Rules(summary=time(7))

    def test_each_morning(self, new_night):
        night = new_night(rules=self.rules)
        night.passes(h=36, step_s=60.0)
        assert night.times() == ["07:00", "07:00"]
        assert night.titles()[0] == (
            "Tank 1: Summary. Running: lamp foot, 18.2 of 25 µm. The current is on."
        )

    def test_it_has_the_run_the_alarms_and_what_waits(self, new_night):
        night = new_night([QUIET], rules=self.rules, start="2026-11-25 23:00")
        night.comes(causes.WHISKER)
        night.passes(h=1)
        night.goes(causes.WHISKER)
        night.passes(h=1)
        night.acknowledged("ben")
        night.passes(h=1)
        night.comes(causes.BATH_COLD, "16.0 °C")
        night.passes(h=1)
        night.is_now(State.COMPLETE, Current.OFF, thickness_um=25.03)
        night.passes(h=4)
        assert night.times() == ["07:00"]
        title, body = night.got["phone"][0].letter.title, night.got["phone"][0].letter.body
        assert "The current is off." in title
        assert "Done: lamp foot, 25.0 of 25 µm. At 03:00." in body
        assert "23:00 yesterday whisker (medium): over since 01:00, ben" in body
        assert "02:00 bath too cold (low): unacknowledged" in body
        assert "Waits for you: 1 alarm to acknowledge. The part can come out." in body

    def test_after_a_night_without_anything(self, new_night):
        night = new_night(rules=self.rules)
        night.is_now(State.IDLE, Current.OFF, run_id=None)
        night.got["phone"].clear()
        night.passes(h=12, step_s=60.0)
        assert "No alarms in the last 24 h.\nWaits for you: nothing." in (
            night.got["phone"][0].letter.body
        )

    def test_it_does_not_make_up_for_this_morning(self, new_night):
        night = new_night(rules=self.rules, start="2026-11-25 07:30")
        night.passes(h=23, step_s=60.0)
        assert night.titles() == []

    @pytest.mark.parametrize("start", ["2026-10-24 20:00", "2026-03-28 20:00"])
    def test_once_also_when_the_hour_comes_twice_or_never(self, new_night, start):
        night = new_night(rules=Rules(summary=time(2, 30)), start=start)
        night.passes(h=12, step_s=60.0)
        assert len(night.titles()) == 1

    def test_it_does_not_care_for_quiet_hours(self, new_night):
        night = new_night([QUIET], rules=Rules(summary=time(6)), start="2026-11-25 23:00")
        night.passes(h=8, step_s=60.0)
        assert night.times() == ["06:00"]


# Doses that a pump is kept from.


def kept(number=1, additive="brightener", words="the level is low"):
    return KeptDose(additive, number, 1000.0, 0, 5.02, words)


def test_a_dose_that_a_pump_is_kept_from_is_told_once(night):
    night.is_now(State.RUNNING, Current.ON, kept=(kept(),))
    night.passes(h=4)
    assert night.titles() == [
        "Tank 1: Brightener is not dosed: the level is low. The current is on."
    ]
    assert night.got["phone"][0].letter.body == (
        "So since 20:00; 5.02 mL are owed.\n"
        "Needed: see to what keeps the pump, or give the dose by hand and enter it."
    )
    night.is_now(State.RUNNING, Current.ON)
    night.is_now(State.RUNNING, Current.ON, kept=(kept(),))
    assert len(night.titles()) == 1
    night.is_now(State.RUNNING, Current.ON, kept=(kept(2, words="enough in a day"), kept(1, "x")))
    assert len(night.titles()) == 2
    assert "enough in a day. The current is on. And 1 more." in night.titles()[1]


def test_it_waits_until_morning_and_until_it_gets_through(new_night):
    night = new_night([Recipient("phone", quiet=NIGHT)], Rules(summary=time(8)))
    night.refuses["phone"] = "no network"
    night.is_now(State.RUNNING, Current.ON, kept=(kept(),))
    night.passes(h=3)
    assert night.titles() == []
    del night.refuses["phone"]
    night.passes(h=10)
    assert night.times() == ["07:00", "08:00"]
    assert "Waits for you: Brightener is not dosed." in night.got["phone"][1].letter.body


@pytest.mark.parametrize(
    "recipient", [Recipient("phone", Priority.MEDIUM), Recipient("phone", after_s=900.0)]
)
def test_who_wants_urgent_things_only_is_not_told_of_it(new_night, recipient):
    night = new_night([recipient])
    night.is_now(State.RUNNING, Current.ON, kept=(kept(),))
    night.passes(h=1)
    assert night.titles() == []
