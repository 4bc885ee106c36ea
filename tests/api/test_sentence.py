"""What the plain sentence says in every state, and what it never says."""

from datetime import UTC, datetime, timedelta, timezone
from typing import Any, get_args
from zoneinfo import ZoneInfo

import pytest

from daemon.api.sentence import (
    CALM_NEED,
    DAEMON_DOWN,
    clock,
    duration,
    finish,
    is_stale,
    sentence,
    thickness,
    word,
)
from daemon.api.socket.messages import AlarmStatus, RunStatus, StageStatus, StateName, Status

RUN = RunStatus(
    run_id=12,
    title="Bracket, left",
    bath="Copper 1",
    started_utc="2026-03-01T18:00:00+00:00",
    running_s=29000.0,
    stage=1,
    stages=(
        StageStatus(name="Cover", current_a=0.5, state="done"),
        StageStatus(name="Build", current_a=3.5, state="under way"),
    ),
    area_dm2=1.75,
    charge_ah=8.31,
    gap_charge_ah=0.0,
    thickness_um=18.2,
    target_um=25.0,
    mass_g=9.85,
    metal="copper",
    remaining_s=5400.0,
    set_current_a=3.5,
    set_voltage_v=4.0,
)


def a_status(figures: dict[str, Any] | None = None, **changes: Any) -> Status:
    fields: dict[str, Any] = {
        "state": "running",
        "utc": "2026-03-02T02:10:00+00:00",
        "monotonic_s": 29000.0,
        "rate": 1.0,
        "current_a": 3.5,
        "voltage_v": 2.2,
        "reading_age_s": 0.2,
        "mode": "constant current",
        "output_on": True,
        "supply": "bench supply",
        "run": RUN.model_copy(update=figures or {}),
        "bath": "Copper 1",
        "bath_charge_ah": 180.4,
    }
    return Status.model_validate(fields | changes)


@pytest.mark.parametrize(
    ("changes", "figures", "expected"),
    [
        (
            {"state": "idle", "run": None, "output_on": False},
            {},
            "Nothing is running. No run since the daemon's start, output off. Nothing needs you.",
        ),
        (
            {"state": "idle", "output_on": False},
            {"thickness_um": 25.0},
            "Nothing is running. The last run ended at 25.0 of 25 µm. Nothing needs you.",
        ),
        ({}, {}, "Plating. 18.2 of 25 µm, done about 03:40. Nothing needs you."),
        (
            {"current_a": 0.0},
            {"remaining_s": None},
            "Plating. 18.2 of 25 µm, no finishing time yet. Nothing needs you.",
        ),
        (
            {},
            {"reason": "the voltage is at its ceiling"},
            "Plating. 18.2 of 25 µm, done about 03:40. The voltage is at its ceiling. "
            "Nothing needs you.",
        ),
        (
            {},
            {"thickness_um": 25.01, "remaining_s": 0.0},
            "Plating. 25.0 of 25 µm, the current is coming down. Nothing needs you.",
        ),
        ({"state": "holding"}, {}, "Going to hold. 18.2 of 25 µm, the current is coming down."),
        (
            {"state": "held", "output_on": False},
            {"reason": "held by anna"},
            "Held. 18.2 of 25 µm so far. Held by anna. It waits for you: resume or stop.",
        ),
        (
            {"state": "restarting"},
            {},
            "Resuming. 18.2 of 25 µm, done about 03:40. Nothing needs you.",
        ),
        ({"state": "stopping"}, {}, "Stopping. 18.2 of 25 µm, the current is coming down."),
        (
            {"state": "stopped", "output_on": False},
            {"reason": "Stopped by anna."},
            "Stopped. 18.2 of 25 µm, output off. Stopped by anna. The part can come out.",
        ),
        (
            {"state": "aborting"},
            {"reason": "no current for 3 s"},
            "Aborting. 18.2 of 25 µm, the output is being switched off. No current for 3 s. "
            "If current still flows, switch the supply off by hand.",
        ),
        (
            {"state": "aborted", "output_on": False},
            {"reason": "voltage 5.6 V above 5.5 V for 2 s"},
            "Aborted. 18.2 of 25 µm, output off. Voltage 5.6 V above 5.5 V for 2 s. "
            "Find the cause, then reset.",
        ),
        (
            {"state": "complete", "output_on": False},
            {"thickness_um": 25.02},
            "Done. 25.0 of 25 µm, output off. The part can come out.",
        ),
    ],
)
def test_says_what_when_and_whom(
    changes: dict[str, Any], figures: dict[str, Any], expected: str
) -> None:
    assert sentence(a_status(figures, **changes), UTC) == expected


def test_every_state_has_words_and_a_level() -> None:
    levels = {
        state: word(a_status(state=state, output_on=False), UTC).level
        for state in get_args(StateName)
    }
    assert levels == {
        "idle": "calm",
        "running": "calm",
        "holding": "calm",
        "held": "attention",
        "restarting": "calm",
        "stopping": "calm",
        "stopped": "calm",
        "aborting": "alarm",
        "aborted": "alarm",
        "complete": "calm",
    }


@pytest.mark.parametrize("state", ["idle", "stopped", "aborted", "complete"])
def test_an_output_on_without_reason_drowns_everything_else(state: str) -> None:
    said = word(a_status(state=state, output_on=True), UTC)
    assert said.level == "alarm"
    assert said.need == "Switch the supply off by hand now."
    assert said.what.startswith("The supply's output is on although")


def test_a_silent_supply_is_told_with_its_age() -> None:
    assert sentence(a_status(reading_age_s=14.0), UTC) == (
        "Plating, but the supply has been silent for 14 s. 18.2 of 25 µm when last known. "
        "Look at the supply and its cable."
    )


def test_no_reading_at_all_is_told() -> None:
    said = word(a_status(reading_age_s=None, current_a=None, voltage_v=None), UTC)
    assert said.what == "Plating, but the supply has not been read yet."
    assert said.level == "attention"


def test_age_counts_in_the_bystanders_seconds() -> None:
    assert not is_stale(a_status(rate=200.0, reading_age_s=900.0))
    assert is_stale(a_status(rate=200.0, reading_age_s=1100.0))
    said = word(a_status(rate=200.0, reading_age_s=2800.0), UTC)
    assert "silent for 14 s" in said.what


def test_a_stale_reading_does_not_hide_an_end() -> None:
    assert word(a_status(state="aborted", output_on=False, reading_age_s=None)).what == "Aborted."


def test_a_notice_takes_the_place_of_nothing_needs_you() -> None:
    said = word(a_status(notice="the clock is not synchronised"), UTC)
    assert said.need == "The clock is not synchronised."
    assert said.level == "attention"


def test_a_notice_follows_what_already_needs_somebody() -> None:
    said = word(a_status({"reason": "no current"}, state="aborted", output_on=False, notice="x"))
    assert said.need == "No current. Find the cause, then reset. X."
    assert said.level == "alarm"


@pytest.mark.parametrize(("count", "words"), [(1, "1 sample is"), (37, "37 samples are")])
def test_samples_missing_from_the_record_are_told(count: int, words: str) -> None:
    said = word(a_status(unrecorded=count), UTC)
    assert said.need == f"{words} missing from the record: look at the disk."
    assert CALM_NEED not in str(said)


@pytest.mark.parametrize(
    ("thickness_um", "target_um", "expected"),
    [
        (24.96, 25.0, "24.9"),
        (24.94, 25.0, "24.9"),
        (25.0, 25.0, "25.0"),
        (25.04, 25.0, "25.0"),
        (0.0, 25.0, "0.0"),
        (12.66, 12.7, "12.6"),
    ],
)
def test_short_of_the_target_never_reads_as_there(
    thickness_um: float, target_um: float, expected: str
) -> None:
    run = RUN.model_copy(update={"thickness_um": thickness_um, "target_um": target_um})
    assert thickness(run) == expected


def test_there_is_no_finish_without_honest_figures() -> None:
    assert finish(a_status()) == datetime(2026, 3, 2, 3, 40, tzinfo=UTC)
    assert finish(a_status({"remaining_s": None})) is None
    assert finish(a_status(state="held")) is None
    assert finish(a_status(run=None)) is None


def test_the_clock_is_the_readers() -> None:
    east = timezone(timedelta(hours=5, minutes=30))
    assert "done about 09:10." in sentence(a_status(), east)


def test_the_finish_knows_that_summer_time_begins() -> None:
    # Clocks in Berlin go from 02:00 to 03:00 at 01:00 UTC on 29 March 2026.
    status = a_status({"remaining_s": 3600.0}, utc="2026-03-29T00:30:00Z")
    assert "done about 03:30." in sentence(status, ZoneInfo("Europe/Berlin"))


@pytest.mark.parametrize(
    ("hours", "expected"),
    [
        (1.0, "21:00"),
        (7.5, "03:30 tomorrow"),
        (40.0, "12:00 on Wednesday 4 March"),
        (-22.0, "22:00 yesterday"),
    ],
)
def test_the_day_is_told_where_it_is_another(hours: float, expected: str) -> None:
    now = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)
    assert clock(now + timedelta(hours=hours), now, UTC) == expected


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [
        (-1.0, "0 s"),
        (48.2, "48 s"),
        (420.0, "7 min"),
        (3590.0, "1 h 00 min"),
        (7500.0, "2 h 05 min"),
        (200_000.0, "2 d 7 h"),
    ],
)
def test_durations(seconds: float, expected: str) -> None:
    assert duration(seconds) == expected


def test_a_silent_daemon_is_an_alarm_that_promises_nothing() -> None:
    assert DAEMON_DOWN.level == "alarm"
    assert "not known" in str(DAEMON_DOWN)


# Alarms.


def an_alarm(**changes: Any) -> AlarmStatus:
    fields: dict[str, Any] = {
        "number": 3,
        "cause": "whisker",
        "priority": "medium",
        "life": "unacknowledged",
        "seen": "the voltage fell from 1.42 V to 1.21 V at 3.50 A",
        "did": "Nothing was switched.",
        "check": "edges and hooks",
        "need": "Shake or brush it off.",
        "raised_utc": "2026-03-02T02:09:00+00:00",
    }
    return AlarmStatus.model_validate(fields | changes)


SHORT = an_alarm(
    cause="short", priority="high", seen="0.02 V at 3.50 A", need="Part the electrodes.",
    first_out=True,
)  # fmt: skip


def test_an_alarm_while_plating_says_its_name_and_what_it_needs() -> None:
    said = word(a_status(alarms=(an_alarm(),)), UTC)
    assert (said.what, said.level) == ("Plating.", "attention")
    assert said.need == "Alarm: whisker. Shake or brush it off."


def test_what_has_stopped_the_run_is_named_with_the_state_and_needs_what_its_alarm_needs() -> None:
    status = a_status(
        {"reason": "short: 0.02 V at 3.50 A", "remaining_s": None},
        state="aborted", output_on=False, current_a=0.0, alarms=(SHORT,),
    )  # fmt: skip
    assert sentence(status, UTC) == (
        "Aborted: short. 18.2 of 25 µm, output off. Part the electrodes."
    )
    assert word(status, UTC).level == "alarm"


def test_a_current_that_does_not_stop_comes_before_everything_else() -> None:
    still_on = an_alarm(
        cause="output did not stop", priority="high", seen="3.498 A still flows",
        need="Switch the supply off by hand now.",
    )  # fmt: skip
    said = word(a_status(state="aborting", alarms=(still_on, SHORT)), UTC)
    assert str(said) == (
        "Output did not stop. 3.498 A still flows. Switch the supply off by hand now. 1 more alarm."
    )
    assert said.level == "alarm"


def test_an_acknowledged_alarm_is_amber_and_short() -> None:
    said = word(a_status(alarms=(an_alarm(acknowledged_by="Ann", life="acknowledged"),)), UTC)
    assert (said.level, said.need) == ("attention", "Acknowledged: whisker.")


def test_further_alarms_are_counted() -> None:
    two = word(a_status(alarms=(an_alarm(), an_alarm(number=4))), UTC)
    assert two.need.endswith("Shake or brush it off. 1 more alarm.")
    three = word(a_status(alarms=(an_alarm(),) * 3), UTC)
    assert three.need.endswith("2 more alarms.")


def test_a_high_alarm_is_red_until_it_is_acknowledged() -> None:
    cause = an_alarm(cause="contactor did not open", priority="high")
    assert word(a_status(alarms=(cause,)), UTC).level == "alarm"
    heard = cause.model_copy(update={"acknowledged_by": "Ann", "life": "acknowledged"})
    assert word(a_status(alarms=(heard,)), UTC).level == "attention"


def test_an_alarm_and_a_notice_are_both_said() -> None:
    said = word(a_status(alarms=(an_alarm(),), notice="interlock open: lid"), UTC)
    assert said.need.endswith("Shake or brush it off. Interlock open: lid.")


def test_an_interruption_is_what_happened_and_asks_for_a_word_until_it_has_one() -> None:
    cut = an_alarm(cause="run interrupted", need="Say what happened.")
    at_rest = a_status(state="idle", run=None, output_on=False)
    said = word(at_rest.model_copy(update={"alarms": (cut,), "unsettled": (7, 12)}), UTC)
    assert str(said) == (
        "A run was interrupted. Nothing is running now, output off. Alarm: run interrupted. Say "
        "what happened."
    )
    # Once the alarm is acknowledged, and until somebody has said it; that is no trouble.
    said = word(at_rest.model_copy(update={"unsettled": (7, 12)}), UTC)
    assert (said.need, said.level) == ("Say what passed while run 12 was interrupted.", "calm")
    assert word(at_rest, UTC).need == "Nothing needs you."
    under_way = word(a_status(unsettled=(12,)), UTC)
    assert under_way.need == "Nothing needs you."
