"""The watch over a plating run: shows its readings to the detectors. Pure."""

from collections import deque
from collections.abc import Sequence

from daemon.control.protection.alarms import Sign
from daemon.control.protection.detectors.observation import Detector, Observation
from daemon.control.situation import OFF, Demand, Situation
from daemon.control.states import PLATING
from drivers.contracts import Reading

LAG_S = 1.0
"""s that a set-point may take from the loop to the cell: a slow line, a period in between."""


class Watch:
    """Looks at every reading that counts, beside what was asked for, while a run plates.

    `detectors` are shown each reading that was taken after the output had gone on. Each time it
    goes on they begin anew. What they have found stands until the next reading says otherwise, and
    ends with the plating.
    """

    def __init__(self, detectors: Sequence[Detector]) -> None:
        self._detectors = tuple(detectors)
        self._signs: tuple[Sign, ...] = ()
        self._started_s: float | None = None
        self._demand = OFF
        self._since_s = 0.0
        # The currents that were asked for, A, and until when, s.
        self._past: deque[tuple[float, float]] = deque()
        self._last_s = self._last_but_one_s = 0.0

    def look(self, situation: Situation, reading: Reading | None) -> tuple[Sign, ...]:
        """The causes that are there, before a cycle is decided.

        `situation` is that of the last cycle, `reading` what the counting meter has read since.
        It is looked at in every cycle, or a change of what is demanded would be seen too late.
        """
        demand = situation.demand
        if (
            not demand.output_on
            or situation.wind_down is not None
            or situation.state not in PLATING
        ):
            if self._started_s is not None:
                self._forget()
            return ()
        if demand is not self._demand:
            self._note(demand, situation.now_s)
        if reading is None or reading.current_a is None or reading.monotonic_s <= self._last_s:
            return self._signs
        run = situation.run
        area_dm2 = None if run is None else run.plan.area_dm2
        seen = self._observation(reading, reading.current_a, area_dm2)
        self._last_but_one_s, self._last_s = self._last_s, seen.at_s
        signs: tuple[Sign, ...] = ()
        for detector in self._detectors:
            found = detector.look(seen)
            if found:
                signs += found
        self._signs = signs
        return signs

    def _forget(self) -> None:
        self._started_s, self._demand, self._signs = None, OFF, ()
        self._past.clear()
        for detector in self._detectors:
            detector.forget()

    def _note(self, demand: Demand, at_s: float) -> None:
        """Remember the demand that is made since `at_s`."""
        before, self._demand = self._demand, demand
        if self._started_s is None:
            self._started_s = self._since_s = self._last_s = self._last_but_one_s = at_s
            self._past.append((0.0, at_s))
            return
        if demand == before:
            return
        self._since_s = at_s
        self._past.append((before.current_a, at_s))

    def _observation(
        self, reading: Reading, current_a: float, area_dm2: float | None
    ) -> Observation:
        at_s, demand, started_s = reading.monotonic_s, self._demand, self._started_s
        asked = self._asked_a(min(at_s - LAG_S, self._last_but_one_s))
        return Observation(
            at_s,
            current_a,
            reading.voltage_v,
            reading.mode,
            reading.output_on,
            demand.current_a,
            demand.voltage_v,
            max(0.0, at_s - self._since_s),
            min(asked),
            max(asked),
            at_s if started_s is None else started_s,
            area_dm2,
        )

    def _asked_a(self, from_s: float) -> tuple[float, ...]:
        """The currents that were asked for since `from_s`, A."""
        past = self._past
        while past and past[0][1] < from_s:
            past.popleft()
        return (*(current_a for current_a, _ in past), self._demand.current_a)
