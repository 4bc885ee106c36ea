"""A record that the first program wrote, opened by this one: nothing of it is lost or changed."""

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from daemon.record import alarms, interruptions, ledger, queries
from daemon.record.entries import CountedBy, RunEnded, Sample, Settled
from daemon.record.errors import RecordOlderError
from daemon.record.interruptions import Restart
from daemon.record.series import samples, series
from daemon.record.store import open_reader
from daemon.record.writer import Writer
from tests.record.first_record import write_first_record

Make = Callable[..., Any]


@pytest.fixture
def old(path: Path) -> Path:
    write_first_record(path)
    return path


LATER = {
    "alembic_version", "calibration", "counted_by", "alarm", "alarm_change", "close_up", "trace",
    "interruption", "settlement", "audit", "proof", "bath_entry", "bath_amount", "part",
    "reckoned_with", "eight_hours",
}  # fmt: skip
"""Tables that the first program did not have, or does not fill."""


def rows(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table that the first program had."""
    connection = sqlite3.connect(path)
    names = [
        name
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        if name not in LATER
    ]
    found = {name: connection.execute(f"SELECT * FROM {name}").fetchall() for name in names}
    connection.close()
    return found


def test_a_reader_waits_for_the_daemon(old: Path) -> None:
    with pytest.raises(RecordOlderError):
        open_reader(old)


def test_every_row_is_as_it_was(old: Path) -> None:
    before = rows(old)
    Writer(old, threaded=False).close()
    after = rows(old)

    assert before.keys() == after.keys()
    for name, was in before.items():
        # New columns come after the old ones and are empty.
        width = len(was[0])
        assert [row[:width] for row in after[name]] == was
        assert {value for row in after[name] for value in row[width:]} <= {None}


def test_old_runs_are_read_as_ever(old: Path) -> None:
    Writer(old, threaded=False).close()
    engine = open_reader(old)
    with engine.connect() as connection:
        run = queries.one_run(connection, 1)
        found = list(samples(connection, 1, 0.0, 1e9))
        charts = [series(connection, 1, 0.0, 100.0, points) for points in (1, 10, 1000)]
    engine.dispose()

    assert (run.state, run.charge_ah, run.counted_by) == ("complete", 0.0795, CountedBy())
    assert found == [Sample(1, k / 2, 3.6, 1.25, 3.6, k / 2000) for k in range(160)]
    for chart in charts:
        assert set(chart.temperature_c.mean) == {None}
        assert chart.current_a.greatest[0] == 3.6


def test_a_run_that_the_first_program_left_open_is_closed(old: Path) -> None:
    writer = Writer(old, threaded=False)
    (unfinished,) = writer.close_unfinished("the daemon stopped")
    writer.close()

    assert (unfinished.run_id, unfinished.charge_ah) == (2, pytest.approx(129 / 4000))


def test_the_account_goes_on_and_stays_guarded(old: Path, opened: object, steady: object) -> None:
    writer = Writer(old, threaded=False)
    writer.close_unfinished("the daemon stopped")
    for entry in (opened(3), *steady(70, run_id=3)):  # type: ignore[operator]
        writer.put(entry)
    writer.put(RunEnded(3, "stopped", "", 0, 70.0, 70.0, 0.0695, 0.0, 0.0, 0.1, 1.0))
    writer.close()
    engine = open_reader(old)
    with engine.connect() as connection:
        (bath,) = queries.baths(connection)
        kinds = [e.kind for e in queries.ledger_entries(connection, bath.id)]
    engine.dispose()
    assert bath.charge_ah == pytest.approx(0.0795 + 129 / 4000 + 0.0695)
    assert kinds[0] == ledger.RUN_ENDED
    with pytest.raises(sqlite3.IntegrityError, match="nothing in it is edited"):
        sqlite3.connect(old).execute("UPDATE ledger SET corrects_id = 1")


def test_what_the_first_program_left_open_is_settled_as_any(old: Path, look: Make) -> None:
    """Run 2 began at 200 s on the monotonic clock, and its last reading is of 64.5 s."""
    writer = Writer(old, threaded=False)
    restart = Restart(300.0, 1_700_000_200_000, "boot", True, lambda *_: 3.6)
    (left,) = writer.close_unfinished("the daemon stopped", restart)
    assert (left.elapsed_s, left.lasted_s, left.greatest_ah) == (64.5, 35.5, 0.0355)
    writer.settle(Settled(2, 0.01, "anna", "it had been off", 0))
    bath_ah = writer.bath_charge_ah("bath A")
    writer.close()

    assert bath_ah == pytest.approx(0.0795 + 129 / 4000 + 0.01)
    assert look(interruptions.of_run, 1) is None
    assert look(interruptions.of_run, 2).charge_ah == 0.01


def test_alarms_begin_at_one_in_an_old_record(old: Path, look: Make, raised: Make) -> None:
    writer = Writer(old, threaded=False)
    assert writer.next_alarm_number() == 1
    assert writer.newest_proof() is None
    writer.close_unfinished("the daemon stopped")
    writer.put(raised(1, 2))
    writer.close()

    assert [alarm.number for alarm in look(alarms.of_run, 2)] == [1]
    assert look(alarms.of_run, 1) == []
    with pytest.raises(sqlite3.IntegrityError, match="nothing in it is edited"):
        sqlite3.connect(old).execute("UPDATE alarm SET cause = ''")
