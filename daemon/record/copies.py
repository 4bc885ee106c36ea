"""Whole copies of an SQLite file, made while others write it, and looked through before they count.

A copy comes to its name only when all of it is on the disk and has been found sound. Until then it
is beside it, as NAME.part; a power cut leaves no half of a copy under a name that somebody trusts.
"""

import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from daemon.on_disk import take_place


class CopyFailedError(Exception):
    """No copy was made, in one line; what had been copied is gone again."""


def copy_to(source: sqlite3.Connection, to: Path) -> None:
    """Copy all that `source` holds at this moment to `to`, which must not be there yet.

    Whoever writes the source goes on: a write-ahead log lets them. The copy keeps no log of its
    own, so that one file is all of it, and is readable on a medium that is not writable. Raises
    CopyFailedError.
    """
    if to.exists():
        raise CopyFailedError(f"{to}: is there already, and no copy is written over anything")
    if not to.parent.is_dir():
        raise CopyFailedError(f"{to}: there is no folder {to.parent}")
    part = to.with_name(to.name + ".part")
    try:
        part.unlink(missing_ok=True)
        with closing(sqlite3.connect(part)) as copy:
            # In one step: in several, each write to the source would begin it anew.
            source.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")
            why_not = unsound(copy)
        if why_not is not None:
            raise CopyFailedError(f"{to}: the copy is not sound: {why_not}")
        take_place(part, to)
    except (OSError, sqlite3.Error) as error:
        raise CopyFailedError(f"{to}: {_said(error)}") from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def unsound(connection: sqlite3.Connection) -> str | None:
    """The first thing that SQLite finds wrong with its pages, indices or references; else None.

    It reads all of the file. Raises sqlite3.DatabaseError where there is no making sense of it.
    """
    (found,) = connection.execute("PRAGMA integrity_check(1)").fetchone()
    if found != "ok":
        return str(found)
    astray = connection.execute("PRAGMA foreign_key_check").fetchone()
    return None if astray is None else f"a row of {astray[0]} refers to none in {astray[2]}"


def free_name(wanted: Path) -> Path:
    """`wanted`, or that with the first number after it that no file has."""
    name, number = wanted, 2
    while name.exists():
        name, number = wanted.with_name(f"{wanted.name}-{number}"), number + 1
    return name


def _said(error: OSError | sqlite3.Error) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)
