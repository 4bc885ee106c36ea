import sqlite3
from collections.abc import Callable
from pathlib import Path
from subprocess import Popen

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import inspect
from sqlalchemy.exc import OperationalError

from daemon.record import queries, store
from daemon.record.errors import (
    NotARecordError,
    RecordBusyError,
    RecordError,
    RecordMissingError,
    RecordNewerError,
    RecordOlderError,
    RecordOpenError,
    RecordUnwritableError,
)
from daemon.record.store import open_reader, open_writer
from daemon.record.tables import metadata
from daemon.record.writer import Writer


def test_migrations_make_the_tables_this_program_knows(path: Path) -> None:
    engine = open_writer(path)
    with engine.connect() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), metadata)
        names = set(inspect(connection).get_table_names())
    engine.dispose()

    assert differences == []
    assert names == {*metadata.tables, "alembic_version"}


def test_a_making_that_was_cut_short_is_undone_and_begun_anew(
    path: Path, child: Callable[..., Popen[str]]
) -> None:
    """The file has its first pages, and the journal that takes them back."""
    child(
        """
        import os, sqlite3, sys
        connection = sqlite3.connect(sys.argv[1], isolation_level=None)
        for said in ("PRAGMA cache_size=1", "BEGIN", "CREATE TABLE half (made BLOB)"):
            connection.execute(said)
        connection.execute("INSERT INTO half VALUES (zeroblob(100000))")
        os._exit(0)
        """,
        path,
    ).wait()
    assert path.stat().st_size
    assert path.with_name(path.name + "-journal").stat().st_size

    engine = open_writer(path)
    with engine.connect() as connection:
        names = set(inspect(connection).get_table_names())
    engine.dispose()
    assert names == {*metadata.tables, "alembic_version"}


def test_tables_are_strict_in_both_places(path: Path) -> None:
    engine = open_writer(path)
    with engine.connect() as connection:
        strict = connection.exec_driver_sql(
            "SELECT name FROM pragma_table_list WHERE strict AND schema = 'main'"
        )
        assert set(strict.scalars()) == set(metadata.tables)
        with pytest.raises(Exception, match="cannot store TEXT value in INTEGER"):
            connection.exec_driver_sql("INSERT INTO bath VALUES (1, 'bath A', 'today')")
    engine.dispose()


def test_a_commit_is_on_the_disk_before_it_returns(path: Path) -> None:
    engine = open_writer(path)
    with engine.connect() as connection:
        pragmas = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        }
    engine.dispose()

    full = 2  # SQLite's number for it
    assert pragmas == {
        "journal_mode": "wal",
        "synchronous": full,
        "foreign_keys": 1,
        "busy_timeout": 5000,
    }


def test_opening_again_keeps_what_is_there(path: Path) -> None:
    Writer(path, threaded=False).close()
    first = path.read_bytes()
    Writer(path, threaded=False).close()

    assert path.read_bytes() == first


def test_a_file_left_empty_by_a_power_cut_becomes_a_record(path: Path) -> None:
    path.touch()
    Writer(path, threaded=False).close()

    open_reader(path).dispose()


def test_a_reader_needs_a_record(path: Path) -> None:
    with pytest.raises(RecordMissingError, match=r"record\.db: there is no record"):
        open_reader(path)
    path.touch()
    with pytest.raises(NotARecordError, match="empty"):
        open_reader(path)


@pytest.mark.parametrize("opens", [open_writer, open_reader])
def test_garbage_is_refused_and_left_alone(path: Path, opens: object) -> None:
    garbage = b"no database at all\n" * 100
    path.write_bytes(garbage)

    with pytest.raises(NotARecordError, match=r"record\.db: not a record, or damaged"):
        opens(path)  # type: ignore[operator]
    assert path.read_bytes() == garbage


@pytest.mark.parametrize("opens", [open_writer, open_reader])
def test_another_programs_database_is_refused_and_left_alone(path: Path, opens: object) -> None:
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE recipes (name)")
    other.commit()
    other.close()
    before = path.read_bytes()

    with pytest.raises(NotARecordError, match="not a record of this program"):
        opens(path)  # type: ignore[operator]
    assert path.read_bytes() == before


def set_revision(path: Path, statement: str) -> None:
    connection = sqlite3.connect(path)
    connection.execute(statement)
    connection.commit()
    connection.close()


@pytest.mark.parametrize("opens", [open_writer, open_reader])
def test_a_record_of_a_newer_program_is_refused(path: Path, opens: object) -> None:
    Writer(path, threaded=False).close()
    set_revision(path, "UPDATE alembic_version SET version_num = '9999'")

    with pytest.raises(RecordNewerError, match=r"step 9999, this program knows steps up to \d{4}"):
        opens(path)  # type: ignore[operator]


def test_a_reader_does_not_migrate(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Writer(path, threaded=False).close()
    # As seen by a program that has one step more.
    monkeypatch.setattr(store, "newest_step", lambda: "one step more")

    with pytest.raises(RecordOlderError, match="the daemon brings them up to date"):
        open_reader(path)


def test_a_reader_cannot_write(path: Path, writer: Writer) -> None:
    engine = open_reader(path)
    with engine.connect() as connection, pytest.raises(OperationalError, match="readonly"):
        connection.exec_driver_sql("INSERT INTO bath VALUES (1, 'bath A', 0)")
    engine.dispose()


def test_a_reader_sees_one_state_of_the_record(path: Path, writer: Writer) -> None:
    engine = open_reader(path)
    with engine.connect() as connection:
        assert queries.baths(connection) == []
        writer.ensure_bath("bath A")
        assert queries.baths(connection) == []
    with engine.connect() as connection:
        assert [b.name for b in queries.baths(connection)] == ["bath A"]
    engine.dispose()


def test_a_reader_works_while_no_daemon_runs(path: Path) -> None:
    writer = Writer(path, threaded=False)
    writer.ensure_bath("bath A")
    writer.close()
    engine = open_reader(path)
    with engine.connect() as connection:
        assert [b.name for b in queries.baths(connection)] == ["bath A"]
    engine.dispose()


def test_a_second_daemon_is_told_who_writes_the_record(
    path: Path, child: Callable[..., Popen[str]]
) -> None:
    other = child(
        """
        import sys
        from pathlib import Path
        from daemon.record.store import RecordLock
        with RecordLock(Path(sys.argv[1])):
            print("held", flush=True)
            sys.stdin.read()
        """,
        path,
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"

    with pytest.raises(RecordBusyError, match=f"another process, pid {other.pid}"):
        Writer(path, threaded=False)
    assert not path.exists()

    other.kill()  # the right to write does not outlive its holder
    other.wait()
    Writer(path, threaded=False).close()


def test_two_writers_in_one_process_are_refused_as_well(path: Path, writer: Writer) -> None:
    with pytest.raises(RecordBusyError, match="pid"):
        Writer(path, threaded=False)


def test_a_record_locked_while_opening_says_so(path: Path) -> None:
    Writer(path, threaded=False).close()
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(RecordBusyError, match="locked"):
        open_writer(path, busy_timeout_ms=0)
    other.close()


def test_a_missing_directory_is_one_clear_error(tmp_path: Path) -> None:
    with pytest.raises(RecordUnwritableError, match=r"nowhere.*No such file or directory"):
        Writer(tmp_path / "nowhere" / "record.db", threaded=False)


def test_a_directory_that_takes_no_files_is_one_clear_error() -> None:
    # The kernel's own tree: nobody can make a file there, not even root.
    with pytest.raises(RecordUnwritableError, match=r"record\.db\.lock: "):
        Writer(Path("/proc/self/record.db"), threaded=False)


def test_a_lock_that_cannot_be_written_is_one_clear_error(path: Path) -> None:
    path.with_name("record.db.lock").symlink_to("/dev/full")
    with pytest.raises(RecordUnwritableError, match=r"record\.db\.lock: "):
        Writer(path, threaded=False)
    assert not path.exists()


def test_a_path_that_is_a_directory_is_one_clear_error(path: Path) -> None:
    path.mkdir()
    with pytest.raises(RecordUnwritableError, match="cannot be opened"):
        Writer(path, threaded=False)
    path.rmdir()
    Writer(path, threaded=False).close()


def test_all_errors_have_one_root() -> None:
    for kind in (RecordMissingError, NotARecordError, RecordNewerError, RecordBusyError):
        assert issubclass(kind, RecordOpenError)
        assert issubclass(kind, RecordError)
