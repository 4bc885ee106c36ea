"""What power is cut to: evenings at the tank as the record sees them, by the writer that ships.

Run as a program in a folder: two daemons after each other, the first of which just stops to write.
A line among what is traced tells what is acknowledged; see `disk.tracing.mark`.
"""

import sys
from pathlib import Path

from sqlalchemy import Connection, Engine, event

from daemon.record.entries import (
    AlarmChanged,
    AlarmRaised,
    Audited,
    BathEntered,
    Noted,
    RunEnded,
    RunOpened,
    Sample,
    StageEnded,
)
from daemon.record.writer import Writer
from disk.tracing import mark

RECORD = "record.sqlite"
BATH = "bath A"
UTC_MS = 1_700_000_000_000
CURRENT_A = 3.6
"""1 mA·h each second."""

LOG_PAGES = 40
"""After so many the log is moved into the file: some 200 times less than the daemon's, so that cuts
fall into many such moves."""


def opened(run_id: int) -> RunOpened:
    """A run begins."""
    return RunOpened(
        run_id, BATH, "four knobs", "title = 'four knobs'", "Cu(II)", 1.2, 25.0, "Ann", UTC_MS,
        100.0, "boot", None,
    )  # fmt: skip


def ended(run_id: int, seconds: float) -> RunEnded:
    """It is over."""
    return RunEnded(
        run_id, "complete", "target reached", UTC_MS, seconds, seconds, seconds / 1000, 0.0, 0.0,
        0.4, 25.1,
    )  # fmt: skip


def sample(run_id: int, at_s: float) -> Sample:
    """A reading of a run."""
    return Sample(run_id, at_s, CURRENT_A, 1.25, CURRENT_A, at_s / 1000, 22.0)


def raised(alarm: int, run_id: int) -> AlarmRaised:
    """An alarm in a run."""
    figures = {"voltage_v": 0.21, "current_a": CURRENT_A}
    return AlarmRaised(alarm, run_id, "short", "high", "0.21 V", figures, UTC_MS, 130.0, "boot")


class Evening:
    """One writer, and what is put in; each commit of it is marked as acknowledged."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.writer = Writer(folder / RECORD, threaded=False, busy_timeout_ms=0)
        self._done()

    def _done(self) -> None:
        mark(self._folder, "done")

    def begin(self) -> None:
        """What a daemon does before its first reading."""
        self.writer.close_unfinished("the daemon died")
        self._done()
        self.writer.ensure_bath(BATH)
        self._done()

    def commit(self) -> None:
        """Bring what waits to the disk."""
        if not self.writer.flush():
            raise RuntimeError(self.writer.fault)
        self._done()

    def add(self, kind: str, **amounts: float) -> None:
        """Something is done to the bath, and kept before it is answered."""
        made = BathEntered(BATH, kind, "Ann", UTC_MS, UTC_MS, amounts=amounts)
        self.writer.keep_bath_entry(made, Audited(UTC_MS, "Ann", "tty", kind))
        self._done()

    def plate(self, run_id: int, seconds: int, alarm: int) -> None:
        """A run, a commit a second, two readings in each."""
        put = self.writer.put
        put(opened(run_id))
        self.commit()
        for second in range(seconds):
            for at_s in (float(second), second + 0.5):
                put(sample(run_id, at_s))
            if second == seconds // 2:
                put(raised(alarm, run_id))
            if second == seconds // 2 + 3:
                put(AlarmChanged(alarm, "acknowledged", "Ann", UTC_MS, 133.0))
                put(Noted(run_id, "note", "lid opened", UTC_MS, 133.0, {"lid": True}))
            self.commit()

    def end(self, run_id: int, seconds: int) -> None:
        """The run comes to its end."""
        put = self.writer.put
        put(StageEnded(run_id, 0, "full current", 0.0, seconds, seconds / 1000, "target"))
        put(ended(run_id, seconds))
        self.commit()

    def close(self) -> None:
        """As a daemon that is told to end."""
        self.writer.close()
        self._done()


def live(folder: Path, seconds: int) -> None:
    """Two daemons after each other."""
    first = Evening(folder)
    first.begin()
    first.add("make-up", volume=12.0, copper=600.0)
    first.plate(1, seconds, 1)
    first.end(1, seconds)
    first.plate(2, seconds // 2, 2)
    first.close()
    second = Evening(folder)
    second.begin()
    second.add("dose", brightener=5.0)
    second.plate(3, seconds // 2, 3)
    second.end(3, seconds // 2)
    second.close()


def recover(folder: Path) -> None:
    """What the next daemon does after a cut, and its orderly end."""
    evening = Evening(folder)
    evening.begin()
    evening.close()


def move_often(connection: Connection) -> None:
    """Listens to each engine's begin: the log is moved into the file every `LOG_PAGES`."""
    connection.exec_driver_sql(f"PRAGMA wal_autocheckpoint={LOG_PAGES}")


if __name__ == "__main__":
    event.listen(Engine, "begin", move_often)
    if sys.argv[1] == "live":
        live(Path(sys.argv[2]), int(sys.argv[3]))
    else:
        for each in sys.argv[2:]:
            recover(Path(each))
