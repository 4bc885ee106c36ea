"""The readings of the last minute at full rate, at rest too, for the close-up of each alarm. Pure.

A close-up comes in two parts. What was there is handed over when the alarm is raised, so that a
power cut just after a short costs nothing of what led to it; what came since follows when its time
is over, or at the daemon's orderly end.
"""

import math
from collections import deque
from dataclasses import dataclass

from daemon.record.close_ups import AFTER_S, BEFORE_S
from daemon.record.entries import CloseUpTaken, Part, Trace, TraceReading
from drivers.contracts import Reading

MOST_READINGS = 3000
"""Readings of one meter that are remembered at most: a minute at 50 a second, some 600 kB. Of a
faster meter the oldest are let go."""


@dataclass(frozen=True, slots=True)
class _Pending:
    """An alarm whose second part is to come: its moment, and how far each meter was known then."""

    number: int
    raised_s: float
    known_s: dict[str, float]


class CloseUps:
    """Remembers readings, and gives each alarm its close-up. Time comes in with the readings.

    `counting` is the name of the meter that counts. All moments are s on the monotonic clock.
    """

    def __init__(self, counting: str) -> None:
        self._counting = counting
        self._rings: dict[str, deque[TraceReading]] = {}
        self._pending: list[_Pending] = []

    def take(self, meter: str, reading: Reading, set_current_a: float | None) -> None:
        """Remember a meter's reading; one that is not newer than its last adds nothing.

        `set_current_a` is what was asked of the supply when it was taken, None for other meters.
        """
        ring = self._rings.setdefault(meter, deque(maxlen=MOST_READINGS))
        at_s = reading.monotonic_s
        if ring and at_s <= ring[-1].at_s:
            return
        ring.append(TraceReading(at_s, reading.current_a, reading.voltage_v, set_current_a))
        while ring[0].at_s < at_s - BEFORE_S:
            ring.popleft()

    def raised(self, number: int, raised_s: float) -> CloseUpTaken:
        """An alarm was raised: the first part of its close-up. The second will be due."""
        known_s = {meter: ring[-1].at_s for meter, ring in self._rings.items()}
        self._pending.append(_Pending(number, raised_s, known_s))
        traces = self._traces({}, raised_s - BEFORE_S)
        first_s = min((trace.readings[0].at_s for trace in traces), default=raised_s)
        return CloseUpTaken(number, Part.BEFORE, raised_s, first_s - raised_s, 0.0, traces)

    def due(self, now_s: float) -> list[CloseUpTaken]:
        """The second part of each close-up whose time is over."""
        return self._seconds(now_s - AFTER_S, now_s)

    def finish(self, now_s: float) -> list[CloseUpTaken]:
        """The second part of every close-up, as far as it goes: the daemon ends."""
        return self._seconds(now_s, now_s)

    def _seconds(self, raised_until_s: float, now_s: float) -> list[CloseUpTaken]:
        over = [each for each in self._pending if each.raised_s <= raised_until_s]
        if not over:
            return []
        self._pending = [each for each in self._pending if each.raised_s > raised_until_s]
        return [
            CloseUpTaken(
                each.number,
                Part.AFTER,
                each.raised_s,
                0.0,
                now_s - each.raised_s,
                self._traces(each.known_s, -math.inf),
            )
            for each in over
        ]

    def _traces(self, known_s: dict[str, float], from_s: float) -> tuple[Trace, ...]:
        """What each meter has read since `from_s`, later than it is known already."""
        traces = []
        for meter, ring in self._rings.items():
            known = known_s.get(meter, -math.inf)
            readings = tuple(r for r in ring if r.at_s > known and r.at_s >= from_s)
            if readings:
                traces.append(Trace(meter, meter == self._counting, readings))
        return tuple(traces)
