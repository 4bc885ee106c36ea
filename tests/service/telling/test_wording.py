"""Messages in words: short, the first line with what happened and whether the current is off."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from daemon.control.protection import causes
from daemon.control.protection.causes import CAUSES, INTERLOCK
from daemon.control.protection.effects import Stop
from daemon.control.states import State
from daemon.service.telling.rules import Moment
from daemon.service.telling.tank import Current
from daemon.service.telling.wording import trial


def test_an_alarm_that_has_stopped_a_run_in_full(new_night):
    night = new_night(start="2026-11-26 02:13")
    night.tank = night.tank.__class__(State.ABORTING, Current.FALLING)
    night.comes(causes.SHORT, "0.1 V at 9.2 A")
    night.stops(causes.SHORT, Stop.ABORT)
    night.is_now(State.ABORTED, Current.OFF)
    (got,) = night.got["phone"]
    assert got.letter.title == "Tank 1: Short. The current is off."
    assert got.letter.body == (
        "Seen at 02:13: 0.1 V at 9.2 A.\n"
        "Done: The output was switched off at once; the run is over.\n"
        "Check: a part or hook touching an anode; a tree of copper at an edge; a dropped tool in "
        "the tank.\n"
        "Needed: Switch the supply off, part the electrodes, look at the part.\n"
        "Alarm 1, high priority.\n"
        "\n"
        "Acknowledge on the page, or with: tankhand acknowledge"
    )


def test_an_interlock(night):
    night.comes(INTERLOCK + "lid", "the loop is open")
    (got,) = night.got["phone"]
    assert got.letter.title == "Tank 1: Interlock: lid. The current is on."
    assert "a broken wire opens it too" in got.letter.body


@pytest.mark.parametrize(("current", "said"), [
    (Current.ON, "The current is on."),
    (Current.OFF, "The current is off."),
    (Current.NOT_OFF, "THE CURRENT IS NOT OFF."),
    (Current.UNKNOWN, "Whether current flows is not known."),
])  # fmt: skip
def test_the_first_line_says_whether_the_current_is_off(night, current, said):
    night.is_now(State.RUNNING, current)
    night.comes(causes.BATH_HOT)
    assert night.titles() == [f"Tank 1: Bath too hot. {said}"]


def test_current_that_has_not_stopped(night):
    night.is_now(State.ABORTING, Current.NOT_OFF)
    night.comes(causes.OUTPUT_DID_NOT_STOP, "1.2 A after 2 s")
    (got,) = night.got["phone"]
    assert got.letter.title == "Tank 1: Output did not stop. THE CURRENT IS NOT OFF."
    assert "Done: The supply was told again to switch its output off" in got.letter.body


def test_one_that_is_gone_already_says_so(night):
    night.refuses["phone"] = "busy"
    night.comes(causes.WHISKER)
    night.goes(causes.WHISKER)
    del night.refuses["phone"]
    night.passes(min=1)
    (got,) = night.got["phone"]
    assert "It is not there any more." in got.letter.body


@pytest.mark.parametrize("cause", sorted(CAUSES))
def test_every_cause_is_short_enough_for_a_phone(new_night, cause):
    night = new_night()
    night.comes(cause, "what was seen, with figures such as 9.2 A and 0.1 V")
    for got in night.got["phone"]:
        assert len(got.letter.title) <= 100
        assert len(got.letter.body) <= 500
        assert "\n\n\n" not in got.letter.body


def test_many_at_once_are_told_by_name(night):
    night.refuses["phone"] = "busy"
    several = [causes.BATH_COLD, causes.WHISKER, causes.BATH_HOT, causes.METERS_DISAGREE,
               causes.RECORD_BEHIND, causes.SHORT]  # fmt: skip
    for cause in several:
        night.comes(cause)
    del night.refuses["phone"]
    night.passes(min=1)
    (got,) = night.got["phone"]
    assert got.letter.title == "Tank 1: Short. The current is on. And 5 more."
    assert got.letter.body.count("Check: ") == 4
    for cause in several:
        assert cause.capitalize() in got.letter.body


def test_a_test_message_says_that_nothing_has_happened():
    moment = Moment(0.0, datetime(2026, 11, 25, 18, 5, tzinfo=UTC), ZoneInfo("Europe/Berlin"))
    letter = trial("Tank 1", "ina", moment)
    assert letter.title == "Tank 1: only a test, nothing has happened."
    assert "ina has asked for it at 19:05." in letter.body
    assert letter.priority is None
