"""A run's readings from the first to the last, a short piece at a time.

Each piece is read on a connection of its own: whoever takes the readings may be slow, and a
connection that stays open keeps the write-ahead log from being emptied. Readings are only added to
a run, so the pieces together are what one look would have given.
"""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager

from sqlalchemy import Connection

from daemon.record.entries import Sample
from daemon.record.series import samples

PIECE_S = 600.0
"""s of a run in a piece: 6,000 readings at ten a second."""

Opened = Callable[[], AbstractContextManager[Connection]]
"""Opens a connection of a reader's, and closes it."""


def pieces(opened: Opened, run_id: int, until_s: float) -> Iterator[list[Sample]]:
    """Every sample with elapsed_s < until_s, in order; no piece is empty."""
    number = 0
    while (from_s := number * PIECE_S) < until_s:
        with opened() as connection:
            to_s = min(until_s, from_s + PIECE_S)
            found = list(samples(connection, run_id, from_s, to_s))
        if found:
            yield found
        number += 1
