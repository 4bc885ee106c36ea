"""Alarms in the record: as they were raised, with what became of them, and none that hangs."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from daemon.control.protection.alarms import CLEARED
from daemon.record import alarms, queries
from daemon.record.entries import AlarmChanged
from daemon.record.errors import NoSuchAlarmError, RecordError
from daemon.record.writer import Writer

Make = Callable[..., Any]


def change(number: int, what: str, who: str | None = None, **data: Any) -> AlarmChanged:
    return AlarmChanged(number, what, who, 1_700_000_040_000, 140.0, "0.20 V at 3.600 A", data)


def test_an_alarm_comes_back_with_all_that_happened_to_it(
    writer: Writer, ask: Make, opened: Make, raised: Make
) -> None:
    life = [
        change(1, "stopped the run", stop="abort", first_out=True),
        change(1, "acknowledged", "anna"),
        change(1, "shelved", "anna", until_utc_ms=1_700_000_900_000),
        change(1, "cleared", "ben"),
    ]
    for entry in (opened(), raised(1, 1), raised(2, 1, cause="whisker"), *life):
        writer.put(entry)
    writer.flush()

    first, second = ask(alarms.of_run, 1)
    assert (first.raised, first.changes, first.is_over) == (raised(1, 1), tuple(life), True)
    assert (second.raised.cause, second.changes, second.is_over) == ("whisker", (), False)
    assert ask(alarms.one, 1) == first
    assert ask(alarms.of_run, 2) == []


def test_an_alarm_that_is_not_there(ask: Make) -> None:
    with pytest.raises(NoSuchAlarmError, match="no alarm 7 in the record") as refused:
        ask(alarms.one, 7)
    assert isinstance(refused.value, RecordError)


def test_the_alarms_of_the_last_days_come_a_page_at_a_time(
    writer: Writer, ask: Make, raised: Make
) -> None:
    for number in range(1, 8):
        writer.put(raised(number, utc_ms=1000 * number))
    writer.put(change(5, "returned"))
    writer.flush()

    newest = ask(alarms.since, 3000, limit=3)
    assert [alarm.number for alarm in newest] == [7, 6, 5]
    assert newest[2].changes == (change(5, "returned"),)
    rest = ask(alarms.since, 3000, limit=3, before_number=5)
    assert [alarm.number for alarm in rest] == [4, 3]


def test_alarms_go_on_being_numbered_after_a_start(path: Path, raised: Make) -> None:
    writer = Writer(path, threaded=False)
    assert writer.next_alarm_number() == 1
    writer.put(raised(41))
    writer.close()

    writer = Writer(path, threaded=False)
    assert writer.next_alarm_number() == 42
    writer.close()


def test_no_alarm_hangs_when_its_daemon_is_gone(path: Path, raised: Make, look: Make) -> None:
    writer = Writer(path, threaded=False)
    for entry in (
        raised(1),
        raised(2),
        raised(3),
        change(2, CLEARED, "anna"),
        change(3, "returned"),
    ):
        writer.put(entry)
    writer.close()
    writer = Writer(path, threaded=False)
    writer.close_unfinished("the daemon stopped")
    writer.close_unfinished("and again")
    writer.close()

    found = {number: look(alarms.one, number) for number in (1, 2, 3)}
    assert all(alarm.is_over for alarm in found.values())
    assert [len(alarm.changes) for alarm in found.values()] == [1, 1, 2]
    last = found[3].changes[-1]
    assert (last.what, last.who, last.text) == ("daemon ended", None, "the daemon stopped")
    assert last.monotonic_s is None


def test_what_belongs_to_no_alarm_is_told_and_holds_nothing_up(
    writer: Writer, ask: Make, raised: Make
) -> None:
    for entry in (change(9, "returned"), raised(1), raised(1), raised(2, seen=None), raised(3)):
        writer.put(entry)
    writer.flush()

    assert [alarm.number for alarm in ask(alarms.since, 0)] == [3, 1]
    texts = [event.text.split("(")[0] for event in ask(queries.events)]
    assert texts == [
        "not recorded: AlarmRaised", "not recorded: AlarmRaised", "not recorded: AlarmChanged",
    ]  # fmt: skip
