"""Backups: one state of the record, however busy it is; sound, or not there; and put back."""

import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from daemon.record import queries
from daemon.record.backup import back_up, restore
from daemon.record.entries import Sample
from daemon.record.errors import (
    NotARecordError,
    RecordBackupError,
    RecordBusyError,
    RecordMissingError,
    RecordThereError,
)
from daemon.record.series import samples
from daemon.record.store import open_reader
from daemon.record.writer import Writer
from tests.record.first_record import write_first_record

Make = Callable[..., Any]


def names(folder: Path) -> set[str]:
    """What lies there, but for the lock, which is never taken away, and the logs of readers."""
    beside = (".lock", "-wal", "-shm")
    return {each.name for each in folder.iterdir() if not each.name.endswith(beside)}


def titles(path: Path) -> list[str]:
    engine = open_reader(path)
    with engine.connect() as connection:
        found = [run.title for run in queries.runs(connection)]
    engine.dispose()
    return found


@pytest.fixture
def to(tmp_path: Path) -> Path:
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder / "backup.db"


@pytest.fixture
def plated(path: Path, opened: Make, steady: Make) -> Path:
    """A record with a run that is still under way."""
    writer = Writer(path, threaded=False)
    for entry in (opened(1), *steady(70)):
        writer.put(entry)
    writer.close()
    return path


def test_all_that_is_committed_is_in_it_while_the_writer_goes_on(
    path: Path, to: Path, opened: Make, steady: Make
) -> None:
    writer = Writer(path, threaded=False)
    for entry in (opened(1), *steady(70)):
        writer.put(entry)
    writer.flush()
    copied = back_up(path, to)
    for entry in steady(75)[140:]:
        writer.put(entry)
    writer.flush()
    writer.close()

    assert (copied.to, copied.runs, copied.size_bytes) == (to, 1, to.stat().st_size)
    assert names(to.parent) == {"backup.db"}
    found = {}
    for each in (path, to):
        engine = open_reader(each)
        with engine.connect() as connection:
            found[each] = len(list(samples(connection, 1, 0.0, 1e9)))
        engine.dispose()
    assert found[path] > found[to] > 100


def test_a_busy_writer_neither_waits_nor_spoils_it(
    path: Path, to: Path, opened: Make, steady: Make
) -> None:
    """Backups one after the other while a thread commits: each is one state, with no half runs."""
    writer = Writer(path, threaded=False)
    done = threading.Event()

    def work() -> None:
        for run in range(1, 400):
            writer.put(opened(run))
            writer.put(Sample(run, 0.0, 1.0, 1.0, 1.0, 0.0))
            writer.flush()
            if done.is_set():
                break

    busy = threading.Thread(target=work)
    busy.start()
    try:
        counts = [back_up(path, to.with_name(f"{i}.db")).runs for i in range(4)]
    finally:
        done.set()
        busy.join()
        writer.close()
    assert counts == sorted(counts)
    assert writer.fault is None


def test_it_is_put_back_into_an_empty_folder(plated: Path, to: Path, tmp_path: Path) -> None:
    back_up(plated, to)
    fresh = tmp_path / "new card" / "record.db"
    fresh.parent.mkdir()
    copied = restore(to, fresh, replace=False)

    assert (copied.to, copied.runs, copied.aside) == (fresh, 1, None)
    assert names(fresh.parent) == {"record.db"}
    writer = Writer(fresh, threaded=False)
    (left,) = writer.close_unfinished("interrupted")
    writer.close()
    assert left.run_id == 1


def test_a_backup_is_never_written_over(plated: Path, to: Path) -> None:
    to.write_text("last month's", encoding="utf-8")
    with pytest.raises(RecordBackupError, match="is there already"):
        back_up(plated, to)
    assert to.read_text(encoding="utf-8") == "last month's"


def test_a_record_in_its_place_is_put_aside_whole(
    plated: Path, to: Path, opened: Make, steady: Make
) -> None:
    back_up(plated, to)
    writer = Writer(plated, threaded=False)
    writer.close_unfinished("it ended")
    for entry in (opened(2), *steady(3, run_id=2)):
        writer.put(entry)
    writer.close()
    with pytest.raises(RecordThereError):
        restore(to, plated, replace=False)
    assert len(titles(plated)) == 2

    copied = restore(to, plated, replace=True)
    assert copied.aside is not None
    assert (len(titles(plated)), len(titles(copied.aside))) == (1, 2)
    again = restore(to, plated, replace=True)
    assert again.aside not in {None, copied.aside}


def test_a_record_whose_log_is_not_in_the_file_yet_is_put_aside_with_it(
    plated: Path, to: Path, child: Make
) -> None:
    """A daemon that was killed leaves a log; it must not become the next record's."""
    back_up(plated, to)
    child(
        """
        import os, sqlite3, sys
        connection = sqlite3.connect(sys.argv[1])
        connection.execute("INSERT INTO bath VALUES (99, 'another', 0)")
        connection.commit()
        os._exit(0)
        """,
        plated,
    ).wait()
    assert plated.with_name(plated.name + "-wal").stat().st_size
    copied = restore(to, plated, replace=True)

    def baths(path: Path) -> list[str]:
        found = sqlite3.connect(path).execute("SELECT name FROM bath ORDER BY id").fetchall()
        return [name for (name,) in found]

    assert copied.aside is not None
    assert baths(copied.aside)[-1] == "another"
    assert "another" not in baths(plated)


def test_a_record_that_is_spoilt_is_put_aside_too(plated: Path, to: Path) -> None:
    back_up(plated, to)
    plated.write_bytes(b"spoilt" * 1000)
    copied = restore(to, plated, replace=True)
    assert len(titles(plated)) == 1
    assert copied.aside is not None
    assert copied.aside.read_bytes().startswith(b"spoilt")


def test_nothing_is_put_back_while_the_daemon_writes(plated: Path, to: Path) -> None:
    back_up(plated, to)
    writer = Writer(plated, threaded=False)
    with pytest.raises(RecordBusyError, match="written by another process"):
        restore(to, plated, replace=True)
    writer.close()
    assert names(plated.parent) == {"record.db", "stick"}


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda path: path.write_bytes(b""), "no record"),
        (lambda path: path.write_bytes(b"a letter" * 100), "not a record"),
        (lambda path: path.unlink(), "there is no record"),
    ],
    ids=["empty", "no database", "missing"],
)
def test_what_is_no_backup_is_not_put_back(
    plated: Path, to: Path, spoil: Callable[[Path], object], said: str
) -> None:
    back_up(plated, to)
    spoil(to)
    with pytest.raises((NotARecordError, RecordMissingError), match=said):
        restore(to, plated, replace=True)
    assert len(titles(plated)) == 1


@pytest.mark.parametrize("share", [0.5, 0.99])
def test_a_backup_with_a_spoilt_page_is_found_out(plated: Path, to: Path, share: float) -> None:
    back_up(plated, to)
    with to.open("r+b") as file:
        file.seek(int(to.stat().st_size * share) // 512 * 512)
        file.write(b"\xff" * 512)
    with pytest.raises((NotARecordError, RecordBackupError), match=r"damaged|not sound"):
        restore(to, plated, replace=True)
    assert len(titles(plated)) == 1
    assert names(plated.parent) == {"record.db", "stick"}


def test_a_disk_that_takes_no_more_leaves_nothing_behind(
    plated: Path, to: Path, child: Make
) -> None:
    """The kernel's own limit on a file's size, in the middle of the copy."""
    process = child(
        """
        import resource, signal, sys
        from pathlib import Path
        from daemon.record.backup import back_up
        from daemon.record.errors import RecordBackupError
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (40000, 40000))
        try:
            back_up(Path(sys.argv[1]), Path(sys.argv[2]))
        except RecordBackupError as error:
            print(error)
        """,
        plated,
        to,
    )
    said, _ = process.communicate()
    assert said.startswith(f"{to}: ")
    assert "is there already" not in said
    assert names(to.parent) == set()
    assert len(titles(plated)) == 1


def test_an_older_program_s_record_stays_beside_the_new_one(path: Path) -> None:
    write_first_record(path)
    with closing(sqlite3.connect(path)) as connection:
        before = list(connection.iterdump())
    Writer(path, threaded=False).close()
    Writer(path, threaded=False).close()

    kept = path.with_name(path.name + ".step-0001")
    assert names(path.parent) == {path.name, kept.name}
    assert list(sqlite3.connect(kept).iterdump()) == before


def test_without_a_copy_an_older_record_is_not_touched(path: Path, mocker: Any) -> None:
    write_first_record(path)
    before = path.read_bytes()
    mocker.patch("daemon.on_disk.os.fsync", side_effect=OSError(28, "No space left"))
    with pytest.raises(Exception, match=r"not changed without a copy of it: .*No space left"):
        Writer(path, threaded=False)
    assert path.read_bytes() == before
    assert names(path.parent) == {path.name}
