"""Opens the record: one SQLite file, one process that writes, any number that read.

The writer's engine keeps a write-ahead log and has it on the disk before a commit returns
(`synchronous=FULL`): a power cut costs what was not committed, and nothing else. A reader's engine
opens the file read-only; within one transaction it sees one state of the record.
"""

import fcntl
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Any
from urllib.parse import quote

from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect
from sqlalchemy.exc import DatabaseError
from sqlalchemy.pool import NullPool

from daemon.record.copies import CopyFailedError, copy_to, free_name
from daemon.record.errors import (
    NotARecordError,
    RecordBusyError,
    RecordMissingError,
    RecordNewerError,
    RecordOlderError,
    RecordOpenError,
    RecordUnwritableError,
)
from daemon.record.steps import known_steps, newest_step, step_of, take_steps

APPLICATION_ID = 0x746B6864
"""What marks an SQLite file as a record ("tkhd"), see SQLite's `PRAGMA application_id`."""

BUSY_TIMEOUT_MS = 5000
"""How long a statement waits for another process's lock before it fails, ms."""

# A commit a second changes few bytes, and the log takes whole pages: small ones wear the card less,
# and waste less around blobs of one or two kilobytes. tests/benchmarks/record.py measures both.
_PAGE_BYTES = 512
# 4 MB of log: the journal's pages are written into the file once for many commits.
_CHECKPOINT_PAGES = 8192
_WRITER_PRAGMAS = (
    f"page_size={_PAGE_BYTES}",
    "journal_mode=WAL",
    "synchronous=FULL",
    "foreign_keys=ON",
    f"wal_autocheckpoint={_CHECKPOINT_PAGES}",
    # A long reader makes the log grow; afterwards it shrinks back to this.
    f"journal_size_limit={4 * _CHECKPOINT_PAGES * _PAGE_BYTES}",
)
_NO_TRANSACTION = "no_transaction"  # a checkpoint cannot run inside one
_READER_PRAGMAS = ("query_only=ON", "foreign_keys=ON")


class RecordLock:
    """The right to write the record at `path`, held until `release` or the process's death.

    Raises RecordBusyError, naming the process that holds it, and RecordUnwritableError.
    """

    def __init__(self, path: Path) -> None:
        self.path = path.with_name(path.name + ".lock")
        try:
            self._file = self.path.open("a+", encoding="ascii")
        except OSError as error:
            raise RecordUnwritableError(f"{self.path}: {error.strerror}") from error
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            self._file.seek(0)
            holder = self._file.read().strip() or "not known"
            self._file.close()
            raise RecordBusyError(
                f"{path}: the record is being written by another process, pid {holder}"
            ) from error
        try:
            self._file.truncate(0)
            self._file.write(f"{os.getpid()}\n")
            self._file.flush()
        except OSError as error:
            with suppress(OSError):  # what was written is tried once more
                self._file.close()
            raise RecordUnwritableError(f"{self.path}: {error.strerror}") from error

    def release(self) -> None:
        """Give the right back. The file stays: removing it would let two hold two files."""
        self._file.close()

    def __enter__(self) -> "RecordLock":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release()


def open_writer(path: Path, *, busy_timeout_ms: int = BUSY_TIMEOUT_MS) -> Engine:
    """Open the record for writing; create it, or bring its tables up to date, where needed.

    The caller holds the `RecordLock`. Raises the errors under RecordOpenError; after one, the file
    is as it was.
    """
    _roll_back(path)
    if path.exists() and path.stat().st_size:
        # Before anything can change it: is this a record, and one that this program knows?
        _keep_as_it_was(path, busy_timeout_ms)
    engine = create_engine(URL.create("sqlite", database=str(path)))
    _prepare(engine, (f"busy_timeout={busy_timeout_ms}", *_WRITER_PRAGMAS), "BEGIN IMMEDIATE")
    try:
        with engine.begin() as connection:
            if take_steps(connection):
                connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
    except DatabaseError as error:
        engine.dispose()
        raise _open_error(path, error) from error
    return engine


def _keep_as_it_was(path: Path, busy_timeout_ms: int) -> None:
    """Leave a copy of an older program's record beside it, before its tables become ours."""
    engine, step = _checked_reader(path, busy_timeout_ms)
    try:
        if step in {None, newest_step()}:
            return
        with driver_connection(engine) as source:
            copy_to(source, free_name(path.with_name(f"{path.name}.step-{step}")))
    except CopyFailedError as error:
        raise RecordUnwritableError(
            f"{path}: its tables are older than this program, and it is not changed without a "
            f"copy of it: {error}"
        ) from error
    finally:
        engine.dispose()


def _roll_back(path: Path) -> None:
    """Undo a first transaction that a power cut left half done.

    A record has such a journal only until its log is set up. With one, SQLite refuses to read the
    file to whoever may not write to it, and so the check that comes before anything is changed.
    """
    if not path.with_name(path.name + "-journal").exists():
        return
    engine = create_engine(URL.create("sqlite", database=str(path)), poolclass=NullPool)
    try:
        with engine.connect() as connection:
            inspect(connection).get_table_names()
    except DatabaseError as error:
        raise _open_error(path, error) from error


def open_reader(path: Path, *, busy_timeout_ms: int = BUSY_TIMEOUT_MS) -> Engine:
    """Open the record for reading only. Each `with engine.connect()` sees one state of the record.

    Raises RecordMissingError, NotARecordError, RecordNewerError, RecordOlderError.
    """
    engine, step = _known_reader(path, busy_timeout_ms)
    if step == newest_step():
        return engine
    engine.dispose()
    raise RecordOlderError(
        f"{path}: the record's tables are older than this program; "
        "the daemon brings them up to date when it starts"
    )


def known_reader(path: Path, *, busy_timeout_ms: int = BUSY_TIMEOUT_MS) -> Engine:
    """As `open_reader`, for what is the same in every step of the tables; an older one will do.

    Raises RecordMissingError, NotARecordError, RecordNewerError.
    """
    return _known_reader(path, busy_timeout_ms)[0]


@contextmanager
def driver_connection(engine: Engine) -> Iterator[sqlite3.Connection]:
    """SQLite's own connection, for what only that can do. Closed at the end."""
    with closing(engine.raw_connection()) as connection:
        driver = connection.driver_connection
        if not isinstance(driver, sqlite3.Connection):
            raise TypeError(f"SQLite's driver gave {type(driver)}")
        yield driver


def checkpoint(engine: Engine) -> None:
    """Move the write-ahead log into the file and empty it, as far as readers allow."""
    with engine.connect().execution_options(**{_NO_TRANSACTION: True}) as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")


def refusal(error: DatabaseError) -> str:
    """What the disk or the database said, as one line without SQL."""
    return str(error.orig)


def _prepare(engine: Engine, pragmas: tuple[str, ...], begin: str) -> None:
    """Set the pragmas on each connection, and begin transactions with our own word.

    The driver's own transaction handling is off, since it begins too late for a reader's snapshot
    and too weakly for a writer (SQLAlchemy's notes on SQLite transactions say the same).
    """

    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _: Any) -> None:
        connection.isolation_level = None
        cursor = connection.cursor()
        for pragma in pragmas:
            cursor.execute(f"PRAGMA {pragma}")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        if not connection.get_execution_options().get(_NO_TRANSACTION):
            connection.exec_driver_sql(begin)


def _known_reader(path: Path, busy_timeout_ms: int) -> tuple[Engine, str]:
    """A read-only engine on a record that this program knows, and the step of its tables."""
    if not path.is_file():
        raise RecordMissingError(f"{path}: there is no record")
    engine, step = _checked_reader(path, busy_timeout_ms)
    if step is None:
        engine.dispose()
        raise NotARecordError(f"{path}: the file is empty, no record")
    return engine, step


def _checked_reader(path: Path, busy_timeout_ms: int) -> tuple[Engine, str | None]:
    """The same for a file that may be empty as well: it has no step then."""
    url = URL.create(
        "sqlite", database=f"file:{quote(str(path))}", query={"mode": "ro", "uri": "true"}
    )
    # No pool: a reader asks now and then, from whatever thread, and holds nothing open in between.
    engine = create_engine(url, poolclass=NullPool)
    _prepare(engine, (f"busy_timeout={busy_timeout_ms}", *_READER_PRAGMAS), "BEGIN")
    try:
        with engine.connect() as connection:
            return engine, _checked(connection, path)
    except RecordOpenError:
        engine.dispose()
        raise
    except DatabaseError as error:
        engine.dispose()
        raise _open_error(path, error) from error


def _checked(connection: Connection, path: Path) -> str | None:
    """The step of the tables, None without any. Raises RecordOpenError."""
    mark = connection.exec_driver_sql("PRAGMA application_id").scalar_one()
    if mark != APPLICATION_ID:
        if inspect(connection).get_table_names():
            raise NotARecordError(f"{path}: an SQLite file, but not a record of this program")
        return None
    step = step_of(connection)
    if step not in known_steps():
        raise RecordNewerError(
            f"{path}: the record's tables are at step {step}, "
            f"this program knows steps up to {newest_step()}: a newer program wrote it"
        )
    return step


def _open_error(path: Path, error: DatabaseError) -> RecordOpenError:
    """The record's own error for what SQLite reported while opening."""
    name = getattr(error.orig, "sqlite_errorname", "")
    if name in {"SQLITE_NOTADB", "SQLITE_CORRUPT"}:
        return NotARecordError(f"{path}: not a record, or damaged: {refusal(error)}")
    if name.startswith("SQLITE_BUSY"):
        return RecordBusyError(f"{path}: another process holds the record: {refusal(error)}")
    return RecordUnwritableError(f"{path}: the record cannot be opened: {refusal(error)}")
