"""The record's backup: taken while the daemon writes, looked through, and put back."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import URL, create_engine
from sqlalchemy.exc import DatabaseError
from sqlalchemy.pool import NullPool

from daemon.on_disk import take_place
from daemon.record.copies import CopyFailedError, copy_to, free_name, unsound
from daemon.record.errors import RecordBackupError, RecordThereError
from daemon.record.store import (
    RecordLock,
    checkpoint,
    driver_connection,
    known_reader,
    refusal,
)


@dataclass(frozen=True, slots=True)
class Copied:
    """A copy that was made and found sound.

    to: where it is. size_bytes: its size. runs: how many it holds. newest_ms: when its newest run
    started, ms since 1970 UTC; None without a run. aside: where the record is whose place it took.
    """

    to: Path
    size_bytes: int
    runs: int
    newest_ms: int | None
    aside: Path | None = None


def back_up(record: Path, to: Path) -> Copied:
    """Copy the record as it is at this moment to `to`; the daemon may write it meanwhile.

    Raises the errors under RecordOpenError for the record, and RecordBackupError for the copy,
    which is then not there.
    """
    with _reading(record) as source:
        try:
            copy_to(source, to)
        except CopyFailedError as error:
            raise RecordBackupError(str(error)) from error
    return _told(to)


def restore(backup: Path, record: Path, *, replace: bool) -> Copied:
    """Make `backup` the record; with `replace` also where there is one, which is put aside.

    The backup may be of an older program: the daemon brings its tables up to date when it starts.
    Raises the errors under RecordOpenError (RecordBusyError while a daemon runs),
    RecordThereError, RecordBackupError. After any of them the record is as it was.
    """
    fresh = record.with_name(record.name + ".restored")
    with _reading(backup) as source, RecordLock(record):
        if record.exists() and not replace:
            raise RecordThereError(f"{record}: there is a record already")
        try:
            why_not = unsound(source)
            if why_not is not None:
                raise RecordBackupError(f"{backup}: it is not sound: {why_not}")
            fresh.unlink(missing_ok=True)
            copy_to(source, fresh)
            aside = _put_aside(record) if record.exists() else None
            take_place(fresh, record)
        except CopyFailedError as error:
            raise RecordBackupError(str(error)) from error
        except OSError as error:
            raise RecordBackupError(f"{record}: {error.strerror}") from error
        finally:
            fresh.unlink(missing_ok=True)
    return _told(record, aside)


def _put_aside(record: Path) -> Path:
    """Give the record a second name, its log with it; under its own it loses the log."""
    aside = free_name(record.with_name(record.name + ".replaced"))
    _checkpoint(record)
    log, shared = (record.with_name(record.name + end) for end in ("-wal", "-shm"))
    os.link(record, aside)
    if log.exists():
        os.link(log, aside.with_name(aside.name + "-wal"))
        # The next record would take it for its own.
        log.unlink()
    shared.unlink(missing_ok=True)
    return aside


def _checkpoint(record: Path) -> None:
    """Move the log into the file, if the file can still be made sense of."""
    engine = create_engine(URL.create("sqlite", database=str(record)), poolclass=NullPool)
    # Where it is damaged it is put aside with its log.
    with suppress(DatabaseError):
        checkpoint(engine)


@contextmanager
def _reading(path: Path) -> Iterator[sqlite3.Connection]:
    """SQLite's own connection to the record at `path`, which this program or an older one wrote."""
    engine = known_reader(path)
    try:
        with driver_connection(engine) as source:
            yield source
    except sqlite3.Error as error:
        raise RecordBackupError(f"{path}: {error}") from error
    finally:
        engine.dispose()


def _told(copy: Path, aside: Path | None = None) -> Copied:
    engine = known_reader(copy)
    try:
        with engine.connect() as connection:
            found = connection.exec_driver_sql("SELECT count(*), max(started_utc_ms) FROM run")
            runs, newest_ms = found.one()
    except DatabaseError as error:
        raise RecordBackupError(f"{copy}: {refusal(error)}") from error
    finally:
        engine.dispose()
    return Copied(copy, copy.stat().st_size, runs, newest_ms, aside)
