"""A bath with what is expected in it and what is left of its anodes, as one look gives it.

It brings numpy along: whoever only counts leaves it alone.
"""

from dataclasses import dataclass

from sqlalchemy import Connection

from daemon.bath import expected
from daemon.bath.anodes import AnodesLeft, anodes_left
from daemon.bath.book import Book
from daemon.bath.expected import Expected
from daemon.record.charge_at import ChargeHistory


@dataclass(frozen=True, slots=True)
class Foresight:
    """A bath with what is expected in it, None where nothing tells, and with its anodes."""

    book: Book
    expected: Expected | None
    anodes: AnodesLeft


def foresight(connection: Connection, book: Book) -> Foresight:
    """What is expected at the book's moment."""
    passed = ChargeHistory(connection, book.description.name).passed(book.utc_ms)
    return Foresight(
        book,
        expected.expected(book.holding, passed, book.description, book.utc_ms),
        anodes_left(book.holding, passed, book.description),
    )
