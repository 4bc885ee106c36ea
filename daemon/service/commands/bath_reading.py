"""The bath of the settings as the command line reads it: from the record, without the daemon."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sqlalchemy import Connection

from daemon.bath import book
from daemon.bath.book import Book
from daemon.clock import to_ms
from daemon.record.store import open_reader
from daemon.service.settings.file import Settings

if TYPE_CHECKING:
    from daemon.bath.foresight import Foresight


def read(settings: Settings, on_utc_ms: int | None = None) -> Book:
    """The bath now, or (`on_utc_ms`) as it was on a past day.

    Raises RecordError, and sqlalchemy.exc.DatabaseError.
    """
    with _opened(settings, on_utc_ms) as (_, found):
        return found


def read_expected(settings: Settings, on_utc_ms: int | None = None) -> Foresight:
    """The same with what is expected. Raises as `read` does."""
    from daemon.bath.foresight import foresight

    with _opened(settings, on_utc_ms) as (connection, found):
        return foresight(connection, found)


@contextmanager
def _opened(settings: Settings, on_utc_ms: int | None) -> Iterator[tuple[Connection, Book]]:
    now_ms = to_ms(settings.clock().utc())
    engine = open_reader(settings.record.path)
    try:
        with engine.connect() as connection:
            described = settings.bath.description()
            if on_utc_ms is None:
                yield connection, book.read(connection, described, now_ms)
            else:
                moment = min(on_utc_ms, now_ms)
                yield connection, book.read(connection, described, moment, past=True)
    finally:
        engine.dispose()
