"""The record as the page sees it: opened when first needed, read only, absent until it exists."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DatabaseError

from daemon.record.calibrations import Calibration, newest_of_all
from daemon.record.errors import RecordError
from daemon.record.queries import Run, one_run, runs
from daemon.record.series import Series, series
from daemon.record.store import open_reader, refusal


class Runs:
    """The runs in one record. Safe to share between threads."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._engine: Engine | None = None

    def series(
        self, run_id: int, points: int, from_s: float = 0.0, to_s: float = float("inf")
    ) -> Series:
        """Give a run between two times since its start, s, in at most `points` points.

        Raises `RecordError`: there is no record yet, no such run, or the disk does not give it.
        """
        with self._reading() as connection:
            end_s = one_run(connection, run_id).elapsed_s
            # The end itself is past the last sample, which belongs to the series too.
            to_s = min(to_s, end_s + 1.0)
            return series(connection, run_id, min(from_s, end_s), to_s, points)

    def newest(self) -> Run | None:
        """Give the newest run; None where there is none. Raises `RecordError` as above."""
        with self._reading() as connection:
            return next(iter(runs(connection, limit=1)), None)

    def calibrations(self) -> dict[str, Calibration]:
        """Give the newest calibration of each meter that has one. Raises `RecordError` as above."""
        with self._reading() as connection:
            return newest_of_all(connection)

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        try:
            with self._opened().connect() as connection:
                yield connection
        except DatabaseError as error:
            raise RecordError(f"{self._path}: {refusal(error)}") from error

    def _opened(self) -> Engine:
        with self._lock:
            if self._engine is None:
                self._engine = open_reader(self._path)
            return self._engine
