"""Readings a piece at a time: all of them, once, in order."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine

from daemon.record.entries import Sample
from daemon.record.readings import PIECE_S, pieces
from daemon.record.writer import Writer

Make = Callable[..., Any]


def test_every_reading_comes_once_and_no_connection_stays_open(
    writer: Writer, reader: Engine, opened: Make, steady: Make
) -> None:
    writer.put(opened())
    written: list[Sample] = [*steady(1500.0), *steady(100.0, from_s=2400.0)]
    for sample in written:
        writer.put(sample)
    writer.flush()
    still_open = 0

    @contextmanager
    def counted() -> Iterator[Connection]:
        nonlocal still_open
        with reader.connect() as connection:
            still_open += 1
            yield connection
            still_open -= 1

    found = []
    for piece in pieces(counted, 1, 2560.0):
        assert still_open == 0
        assert piece
        assert piece[-1].elapsed_s - piece[0].elapsed_s < PIECE_S
        found += piece
    assert found == written
