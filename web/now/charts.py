"""Charts' columns, worked out by one asker at a time and given to all who ask the same just after.

A chart takes tens of milliseconds of the one core that a process of Python has: without this a room
full of open pages would hold up each other's figures, and a press of Stop.
"""

import threading
import time
from typing import NamedTuple

from flask import json
from werkzeug.http import generate_etag

from daemon.api.trade_units import UnitSystem
from web.drawings.chart import course_columns
from web.record import Runs

KEEP_S = 2.0
"""How long a chart is given to others too; the script asks every 2 s at the soonest."""

MOST_KEPT = 16
"""Each has 200 kB at most."""


class Asked(NamedTuple):
    """What is asked of a chart: a run's number, points, and from when to when, s from its start.

    units: those of who asks.
    """

    run_id: int
    points: int
    from_s: float
    to_s: float
    units: UnitSystem = "metric"


class Drawn(NamedTuple):
    """A chart's columns as a JSON object, its tag, and when they were read (monotonic, s)."""

    body: bytes
    tag: str
    read_s: float


class Charts:
    """One record's charts. Safe to share between threads."""

    def __init__(self, runs: Runs) -> None:
        self._runs = runs
        self._lock = threading.Lock()
        self._kept: dict[Asked, Drawn] = {}

    def give(self, asked: Asked) -> Drawn:
        """Give a chart that is `KEEP_S` old at most. Raises `RecordError`."""
        with self._lock:
            found = self._kept.pop(asked, None)
            if found is None or time.monotonic() - found.read_s > KEEP_S:
                found = self._read(asked)
            # The newest last.
            self._kept[asked] = found
            while len(self._kept) > MOST_KEPT:
                del self._kept[next(iter(self._kept))]
            return found

    def _read(self, asked: Asked) -> Drawn:
        read_s = time.monotonic()
        course = self._runs.course(asked.run_id, asked.points, asked.from_s, asked.to_s)
        body = json.dumps(course_columns(course)).encode()
        return Drawn(body, generate_etag(body), read_s)
