"""A cell that suddenly conducts many times as much: a short that a few ohms leave alive. Pure.

Bounds that need no model of the cell: its voltage rises with the current from 0 V at 0 A, less and
less steeply. So at a voltage that is no higher than it was, a cell that is as it was has a
conductance, current over voltage, that is no greater than it was. By how many times it is, is the
least by which its current at this voltage has grown.
"""

from daemon.control.protection.detectors.limits import plan_floor_a
from daemon.control.protection.detectors.observation import Observation
from daemon.control.protection.detectors.thresholds import Thresholds

SPAN_S = 3.0
"""s that each span lasts: longer than voltage and current may be read apart, shorter than paint
takes to be covered. The last two spans are remembered."""

FALLEN = 0.8
"""Of the least voltage before: lower is none that is only read later than its current."""


class _Span:
    """Some seconds of a sound cell: its best reading, and what conductance it had all the time."""

    __slots__ = ("began_s", "best", "best_siemens", "least_siemens")

    def __init__(self, began_s: float) -> None:
        self.began_s = began_s
        self.best: Observation | None = None
        self.best_siemens = 0.0
        self.least_siemens = float("inf")

    def add(self, seen: Observation, siemens: float) -> None:
        self.least_siemens = min(self.least_siemens, siemens)
        if siemens > self.best_siemens:
            self.best, self.best_siemens = seen, siemens


class Conductance:
    """What a cell has conducted: in the last seconds, and at its best since the output went on.

    A contact that closes makes the cell no better than it had been before the contact went bad.
    """

    def __init__(self, thresholds: Thresholds) -> None:
        self._t = thresholds
        self.forget()

    def forget(self) -> None:
        """Begin anew with a cell never seen."""
        self._first_s: float | None = None
        self._older: _Span | None = None
        self._newer: _Span | None = None
        self._best_siemens = 0.0

    def add(self, seen: Observation, voltage_v: float) -> None:
        """Remember a reading of a cell that is sound.

        A current that hardly shows is taken for twice the least that does.
        """
        if voltage_v < self._t.short_least_v:
            return
        if self._first_s is None:
            self._first_s = seen.at_s
        if self._newer is None or seen.at_s - self._newer.began_s >= SPAN_S:
            self._end_span(seen.at_s)
        if self._newer is not None:
            self._newer.add(seen, max(seen.current_a, 2.0 * self._t.zero_a) / voltage_v)

    def _end_span(self, at_s: float) -> None:
        self._older, self._newer = self._newer, _Span(at_s)
        if self._older is not None:
            self._best_siemens = max(self._best_siemens, self._older.least_siemens)

    def leap(
        self, seen: Observation, current_a: float, voltage_v: float, bound_v: float | None
    ) -> Observation | None:
        """The cell's best reading of the last seconds, where this one is far beyond it; else None.

        `current_a`: what of the reading's current was asked for, A. `bound_v`: the least voltage
        that the cell can have at it by all of these seconds, V, if something is known of that.
        """
        t = self._t
        if self._first_s is None or seen.at_s - self._first_s < t.short_known_s:
            return None
        spans = [span for span in (self._older, self._newer) if span is not None and span.best]
        if not spans:
            return None
        best = max(spans, key=lambda span: span.best_siemens)
        past = best.best
        least_siemens = max(
            t.short_times * best.best_siemens, t.short_best_times * self._best_siemens
        )
        if past is None or current_a < least_siemens * voltage_v:
            return None
        past_v = past.voltage_v or 0.0
        if voltage_v < FALLEN * min(past_v, past_v if bound_v is None else bound_v):
            return past
        return past if self._was_held(past, past_v) and seen.ceiling_v <= past.ceiling_v else None

    def _was_held(self, past: Observation, past_v: float) -> bool:
        """Whether the ceiling held the current down: then nobody who asks for more gets more."""
        t = self._t
        least_v = past.ceiling_v * (1.0 - t.ceiling_share) - t.ceiling_least_v
        return past_v >= least_v and past.current_a < plan_floor_a(past.set_current_a, t)
