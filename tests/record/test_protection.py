"""Alarms, close-ups and acts on their way to the disk: at once, in order, and never dropped."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.exc import DatabaseError

from daemon.record import alarms, audits, close_ups, proofs, queries
from daemon.record.entries import (
    AlarmChanged,
    Audited,
    CloseUpTaken,
    Entry,
    Part,
    ProofMade,
    ProofStep,
    Trace,
    TraceReading,
)
from daemon.record.series import samples
from daemon.record.writer import Writer

Make = Callable[..., Any]

ACT = Audited(1_700_000_040_000, "anna", "terminal of anna", "stop", "run 1")
GONE = AlarmChanged(1, "returned", None, 1_700_000_031_000, 131.0)


def close_up(number: int = 1) -> CloseUpTaken:
    """A minute at 20 readings a second, with noise, so that it does not pack to nothing."""
    readings = tuple(
        TraceReading(
            70.0 + k / 20, 3.6 + (k * 7919 % 1009) / 1e4, 1.25 + (k * 104729 % 997) / 1e4, 3.6
        )
        for k in range(1201)
    )
    return CloseUpTaken(number, Part.BEFORE, 130.0, -60.0, 0.0, (Trace("supply", True, readings),))


def test_a_full_disk_loses_no_alarm(
    path: Path, look: Make, small_disk: Callable[[int], None], opened: Make, raised: Make,
    steady: Make,
) -> None:  # fmt: skip
    writer = Writer(path, capacity=10, threaded=False)
    writer.put(opened())
    assert writer.flush()
    small_disk(1)
    entries: list[Entry] = [raised(1, 1), close_up(), GONE, ACT, *steady(50)]
    for entry in entries:
        writer.put(entry)
    assert not writer.flush()
    assert writer.fault == "database or disk is full"
    for entry in (raised(2, 1), close_up(2)):
        writer.put(entry)
    assert not writer.flush()
    small_disk(1_000_000)
    assert writer.flush()
    writer.close()

    # Samples found no room, in a queue of ten; nothing else was turned away.
    assert writer.unrecorded > 0
    assert len(look(lambda c: list(samples(c, 1, 0, 1e6)))) + writer.unrecorded == 100
    assert [alarm.number for alarm in look(alarms.of_run, 1)] == [1, 2]
    assert look(alarms.one, 1).changes == (GONE,)
    assert [len(look(close_ups.of_alarm, n).traces[0].readings) for n in (1, 2)] == [1201, 1201]
    assert [entry.act for entry in look(audits.page)] == [ACT]


def test_a_full_disk_keeps_no_half_a_proof(
    path: Path, look: Make, small_disk: Callable[[int], None]
) -> None:
    """Whoever proved the ways to stop is told that it is not kept, and can try again."""
    writer = Writer(path, threaded=False)
    steps = tuple(ProofStep(f"interlock {k}", "opens", "opened", True) for k in range(100))
    made = ProofMade(0, "anna", steps)
    small_disk(1)
    with pytest.raises(DatabaseError, match="disk is full"):
        writer.keep_proof(made)
    assert writer.newest_proof() is None
    small_disk(1_000_000)
    writer.keep_proof(made)
    writer.close()
    assert look(proofs.newest).made == made


def test_an_alarm_is_on_the_disk_before_the_next_second(
    path: Path, look: Make, raised: Make, told: Make
) -> None:
    writer = Writer(path, commit_every_s=3600)
    committed = told("commit")
    writer.put(raised(1))

    assert committed.wait(30)
    writer.close()
    assert look(alarms.one, 1).raised == raised(1)


# Raises alarm after alarm, each with a close-up, a change and an act, says which are acknowledged.
DAEMON = """
import sys
from pathlib import Path
from daemon.record.entries import *
from daemon.record.writer import Writer
writer = Writer(Path(sys.argv[1]), threaded=False)
readings = tuple(TraceReading(k / 20, 1.0 + k % 7, 1.0, 2.0) for k in range(1200))
number = writer.next_alarm_number()
while True:
    writer.put(AlarmRaised(number, None, "whisker", "medium", "seen", {}, 0, 60.0, "b"))
    writer.put(CloseUpTaken(number, Part.BEFORE, 60.0, -60.0, 0.0, (Trace("s", True, readings),)))
    writer.put(AlarmChanged(number, "acknowledged", "anna", 0, 61.0))
    writer.put(Audited(0, "anna", "page", "acknowledge", str(number)))
    writer.flush()
    print(number, flush=True)
    number += 1
"""


@pytest.mark.parametrize("commits", [1, 2, 9, 60])
def test_a_killed_daemon_loses_no_acknowledged_alarm(
    path: Path, look: Make, child: Make, commits: int
) -> None:
    daemon = child(DAEMON, path)
    told = [daemon.stdout.readline() for _ in range(commits)]
    daemon.kill()
    told += daemon.stdout.readlines()
    acknowledged = max(int(line) for line in told if line.endswith("\n"))

    writer = Writer(path, threaded=False)
    writer.close_unfinished("the daemon stopped")
    assert writer.next_alarm_number() - 1 in {acknowledged, acknowledged + 1}
    writer.close()

    assert look(lambda c: c.exec_driver_sql("PRAGMA integrity_check").scalars().all()) == ["ok"]
    assert look(lambda c: c.exec_driver_sql("PRAGMA foreign_key_check").all()) == []
    kept = look(alarms.since, 0, limit=10_000)
    assert [alarm.number for alarm in kept] == list(range(len(kept), 0, -1))
    assert {tuple(c.what for c in alarm.changes) for alarm in kept} == {
        ("acknowledged", "daemon ended")
    }
    assert len(look(audits.page, limit=10_000)) == len(kept)
    for number in (1, len(kept)):
        assert len(look(close_ups.of_alarm, number).traces[0].readings) == 1200
    assert look(queries.events) == []
