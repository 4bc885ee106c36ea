"""The bath of the settings as the command line reads it: from the record, without the daemon."""

from daemon.bath import book
from daemon.bath.book import Book
from daemon.clock import to_ms
from daemon.record.store import open_reader
from daemon.service.settings import Settings


def read(settings: Settings, on_utc_ms: int | None = None) -> Book:
    """The bath now, or (`on_utc_ms`) as it was on a past day.

    Raises RecordError, and sqlalchemy.exc.DatabaseError.
    """
    now_ms = to_ms(settings.clock().utc())
    engine = open_reader(settings.record.path)
    try:
        with engine.connect() as connection:
            described = settings.bath.description()
            if on_utc_ms is None:
                return book.read(connection, described, now_ms)
            return book.read(connection, described, min(on_utc_ms, now_ms), past=True)
    finally:
        engine.dispose()
