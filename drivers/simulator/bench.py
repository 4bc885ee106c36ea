"""Tank, supply and events on one time line."""

import heapq
from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from random import Random

from drivers.errors import DescriptionError
from drivers.simulator.events import Event
from drivers.simulator.power import LONGEST_STEP_S, BenchSupply
from drivers.simulator.scenario import Scenario, check_fits
from drivers.simulator.tank import Tank


def _noise(what: str, seed: int) -> Random:
    return Random(f"{what} {seed}")  # noqa: S311  repeatable noise, no secret


@dataclass(frozen=True, slots=True)
class Truth:
    """What really happened so far, against which a count is judged.

    Charges in A·h: through the parts, and past them through shorts. Copper in g, on all parts and
    on each. Temperature in °C, the present terminal current in A, the moment in s.
    """

    charge_ah: float
    shunted_ah: float
    deposited_g: float
    parts_g: tuple[float, ...]
    temperature_c: float
    current_a: float
    monotonic_s: float


class Bench:
    """The simulated workshop.

    Time moves by `advance_to` only; the same seed and the same calls give the same values.
    `longest_step_s` is how far the tank goes in one step, s: who advances it by longer steps, each
    chosen so that little changes in it, may allow more.
    """

    def __init__(
        self,
        scenario: Scenario,
        start_s: float,
        seed: int = 0,
        longest_step_s: float = LONGEST_STEP_S,
    ) -> None:
        self.tank = Tank(scenario.bath, scenario.parts)
        noise = _noise("meter", seed)
        self.supply = BenchSupply(scenario.supply, self.tank, noise, longest_step_s)
        self.now_s = start_s
        self._restless = _noise("events", seed)
        self._order = count()
        self._agenda: list[tuple[float, int, Callable[[Event], None], Event]] = []
        self._active: list[Event] = []
        for event in scenario.events:
            self._schedule(event)

    def _schedule(self, event: Event) -> None:
        self._push(self.now_s + event.at_s, self._begin, event)

    def _push(self, at_s: float, do: Callable[[Event], None], event: Event) -> None:
        heapq.heappush(self._agenda, (at_s, next(self._order), do, event))

    def _begin(self, event: Event) -> None:
        event.begin(self)
        self.supply.tank_changed()
        self._active.append(event)
        if event.lasts_s is not None:
            self._push(self.now_s + event.lasts_s, self._end, event)

    def _end(self, event: Event) -> None:
        # A fault that was mended meanwhile has nothing left to end.
        if any(event is active for active in self._active):
            self._active = [active for active in self._active if active is not event]
            event.end(self)
            self.supply.tank_changed()

    def advance_to(self, t_s: float) -> None:
        """Let time pass up to `t_s`, events at their moments; the past changes nothing."""
        if t_s <= self.now_s:
            return
        while self._agenda and self._agenda[0][0] <= t_s:
            at_s, _, do, event = heapq.heappop(self._agenda)
            self._pass(at_s)
            do(event)
        self._pass(t_s)
        for event in self._active:
            event.flutter(self, self._restless)

    def _pass(self, t_s: float) -> None:
        self.supply.advance(t_s - self.now_s)
        self.now_s = t_s

    def inject(self, event: Event) -> None:
        """Let an event begin `at_s` from now; raises `DescriptionError` if it does not fit."""
        try:
            check_fits(event, len(self.tank.parts))
        except ValueError as error:
            raise DescriptionError(str(error)) from error
        if event.at_s == 0.0:
            self._begin(event)
        else:
            self._schedule(event)

    def mend(self) -> None:
        """End every fault that is active now."""
        for event in tuple(self._active):
            self._end(event)

    def truth(self) -> Truth:
        """What really happened up to now."""
        tank = self.tank
        return Truth(
            charge_ah=tank.charge_c / 3600.0,
            shunted_ah=tank.shunted_c / 3600.0,
            deposited_g=tank.deposited_g,
            parts_g=tuple(part.deposited_g for part in tank.parts),
            temperature_c=tank.temperature_c,
            current_a=self.supply.current_a,
            monotonic_s=self.now_s,
        )
