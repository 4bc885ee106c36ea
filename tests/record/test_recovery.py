"""A daemon that dies during a run: what was acknowledged is there, and the run is closed."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from daemon.record import queries
from daemon.record.entries import Sample
from daemon.record.series import samples
from daemon.record.store import open_reader
from daemon.record.writer import Writer

Make = Callable[..., Any]

# Commits 10 samples at a time, 20 s of the run, and says how many are acknowledged by now.
DAEMON = """
import sys
from pathlib import Path
from daemon.record.entries import RunOpened, Sample
from daemon.record.writer import Writer
writer = Writer(Path(sys.argv[1]), threaded=False)
writer.put(RunOpened(1, "bath A", "rings", "", "Cu(II)", 1.0, 25.0, "me", 0, 0.0, "b", True))
count = 0
while True:
    for _ in range(10):
        writer.put(Sample(1, 2.0 * count, 3.6, 1.25, 3.6, 2.0 * count / 1000))
        count += 1
    writer.flush()
    print(count, flush=True)
"""
COMMIT = 10


def expected(count: int) -> list[Sample]:
    return [Sample(1, 2.0 * k, 3.6, 1.25, 3.6, 2.0 * k / 1000) for k in range(count)]


@pytest.mark.parametrize("commits", [1, 2, 3, 7, 31, 200])
def test_a_killed_daemon_loses_no_acknowledged_sample(
    path: Path, child: Make, commits: int
) -> None:
    daemon = child(DAEMON, path)
    told = [daemon.stdout.readline() for _ in range(commits)]
    daemon.kill()
    told += daemon.stdout.readlines()
    acknowledged = max(int(line) for line in told if line.endswith("\n"))

    writer = Writer(path, threaded=False)
    (left,) = writer.close_unfinished("the daemon stopped during this run")
    assert writer.close_unfinished("again") == []
    writer.close()

    engine = open_reader(path)
    with engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalars().all() == ["ok"]
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
        kept = list(samples(connection, 1, 0, 1e9))
        run = queries.one_run(connection, 1)
        (bath,) = queries.baths(connection)
        entries = queries.ledger_entries(connection, bath.id, limit=10_000)
        journal = connection.exec_driver_sql("SELECT count(*) FROM journal").scalar_one()
    engine.dispose()

    assert kept == expected(len(kept))
    # The commit under way when it was killed may be there as well.
    assert len(kept) in {acknowledged, acknowledged + COMMIT}
    last = kept[-1]
    assert (left.run_id, left.bath, left.title) == (1, "bath A", "rings")
    assert (left.elapsed_s, left.charge_ah) == (last.elapsed_s, pytest.approx(last.charge_ah))
    assert (run.state, run.reason) == ("aborted", "the daemon stopped during this run")
    assert (run.elapsed_s, run.charge_ah) == (last.elapsed_s, pytest.approx(last.charge_ah))
    assert (run.running_s, run.mass_g, run.thickness_um) == (None, None, None)
    assert (bath.posted_ah, bath.live_ah) == (pytest.approx(last.charge_ah), 0)
    assert sum(e.charge_ah for e in entries) == pytest.approx(last.charge_ah)
    assert "aborted: the daemon stopped during this run" in entries[0].text
    assert journal == 0


def test_charge_finer_than_a_stored_sample_is_not_lost(path: Path, opened: Make) -> None:
    writer = Writer(path, threaded=False)
    writer.put(opened())
    writer.put(Sample(1, 0.1, 1.0, 1.0, 1.0, 0.000_000_123))
    writer.close()
    writer = Writer(path, threaded=False)
    (left,) = writer.close_unfinished("power cut")
    writer.close()

    assert left.charge_ah == 0.000_000_123


def test_a_run_without_a_sample_is_closed_too(path: Path, opened: Make) -> None:
    writer = Writer(path, threaded=False)
    writer.put(opened(4))
    writer.close()
    writer = Writer(path, threaded=False)
    (left,) = writer.close_unfinished("power cut")
    assert (left.run_id, left.elapsed_s, left.charge_ah) == (4, 0.0, 0.0)
    assert writer.next_run_id() == 5
    writer.close()


def test_all_levels_are_closed_and_later_runs_are_not_touched(
    path: Path, opened: Make, steady: Make, ended: Make
) -> None:
    writer = Writer(path, threaded=False)
    for entry in (opened(1), *steady(4000), opened(2), *steady(30, run_id=2)):
        writer.put(entry)
    writer.put(ended(2, charge_ah=0.03))
    writer.close()
    writer = Writer(path, threaded=False)
    assert [left.run_id for left in writer.close_unfinished("power cut")] == [1]
    writer.close()

    engine = open_reader(path)
    with engine.connect() as connection:
        spans = {
            table: connection.exec_driver_sql(
                f"SELECT run_id, count(*), sum(samples) FROM {table} GROUP BY run_id"
            ).all()
            for table in ("minute", "ten_minutes", "hour", "eight_hours")
        }
        assert queries.one_run(connection, 2).state == "complete"
    engine.dispose()
    assert spans == {
        "minute": [(1, 67, 8000), (2, 1, 60)],
        "ten_minutes": [(1, 7, 8000), (2, 1, 60)],
        "hour": [(1, 2, 8000), (2, 1, 60)],
        "eight_hours": [(1, 1, 8000), (2, 1, 60)],
    }
