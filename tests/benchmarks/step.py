"""What one decision costs, and a whole night on the virtual clock.

python tests/benchmarks/step.py

`step` is timed in a steady stage with a reading in every tick, against the bare trapezoid sum that
any counter of ampere-hours needs. The night is a plan of about 12 h at one tick a second, through
`step` and the simulated supply and tank, against the same tank driven by nothing but a loop.
"""

import sys
import time
from collections.abc import Callable
from typing import TypeVar

from rich.console import Console

from daemon.chemistry.electrolysis import mass_g
from daemon.chemistry.metals import metal_named
from daemon.control.plan import Plan, Stage, Until
from daemon.control.protection.watch import Watch
from daemon.control.situation import OFF, Command, Demand, Inputs, Limits, RunOver, Situation
from daemon.control.states import Act, State
from daemon.control.step import step
from daemon.service.cycle.watching import make_watch
from daemon.service.settings.thresholds import Chosen
from drivers.contracts import Reading
from drivers.simulator.inline import SimulatedSupply

TICKS = 20_000
ROUNDS, NIGHTS = 9, 3
TICK_LIMIT_US = 30.0
NIGHT_LIMIT_S = 2.0
Result = TypeVar("Result")
COPPER = metal_named("Cu(II)")

NIGHT = Plan(
    title="a night",
    metal=COPPER,
    area_dm2=1.8,
    efficiency=1.0,
    target_um=85.0,
    charge_cap_ah=13.0,
    duration_cap_s=13 * 3600.0,
    stages=(
        Stage("cover", 0.3, 4.0, ramp_s=60.0, until=Until(charge_ah=0.15)),
        Stage("plate", 1.0, 4.0, ramp_s=1200.0),
    ),
)


def steady_step_us() -> float:
    """Microseconds of `step` per tick at 10 ticks a second, the best of some rounds."""
    limits = Limits()
    plan = Plan("steady", COPPER, 1.8, 1.0, 1e6, 1e9, 1e9, (Stage("plate", 2.0, 4.0),))
    first = Reading(0.0, 0.0, 0.0)
    start = Command(Act.START, "benchmark", 1, plan)
    situation, _, _ = step(Situation(State.IDLE, 0.0), Inputs(0.0, first, start), limits)
    inputs = [Inputs(0.1 * n, Reading(0.1 * n, 2.0, 2.5)) for n in range(1, TICKS + 1)]

    def once() -> None:
        now = situation
        for item in inputs:
            now, _, _ = step(now, item, limits)

    return _best_s(once) / TICKS * 1e6


def trapezoid_us() -> float:
    """Microseconds of a bare trapezoid sum per reading."""
    readings = [Reading(0.1 * n, 2.0, 2.5) for n in range(TICKS + 1)]

    def once() -> None:
        charge_as, last = 0.0, readings[0]
        for reading in readings[1:]:
            if last.current_a is not None and reading.current_a is not None:
                interval_s = reading.monotonic_s - last.monotonic_s
                charge_as += (last.current_a + reading.current_a) / 2 * interval_s
            last = reading

    return _best_s(once) / TICKS * 1e6


def _best_s(work: Callable[[], None]) -> float:
    spent_s = []
    for _ in range(ROUNDS):
        begun = time.process_time()
        work()
        spent_s.append(time.process_time() - begun)
    return min(spent_s)


class Night:
    """The virtual clock, the simulated supply, and how `step` or a bare loop drives it."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.supply = SimulatedSupply(lambda: self.now_s, seed=1)
        self.supply.open()
        self.ticks = 0

    def apply(self, demand: Demand) -> None:
        """Have the supply do what is demanded."""
        if demand.output_on:
            self.supply.set_points(demand.current_a, demand.voltage_v)
        self.supply.output(demand.output_on)

    def by_step(self, watch: Watch | None = None) -> Situation:
        """Run the plan to its end; with a `watch` each reading goes through the detectors too."""
        limits = Limits(period_s=1.0, gap_s=2.5, lost_s=5.0)
        situation, demand, grid_s = Situation(State.IDLE, 0.0), OFF, 0.0
        command: Command | None = Command(Act.START, "benchmark", 1, NIGHT)
        while True:
            reading = self.supply.read()
            signs = () if watch is None else watch.look(situation, reading)
            inputs = Inputs(self.now_s, reading, command, signs=signs)
            situation, outputs, happenings = step(situation, inputs, limits)
            command = None
            self.ticks += 1
            if outputs.demand != demand:
                demand = outputs.demand
                self.apply(demand)
            if any(isinstance(happening, RunOver) for happening in happenings):
                return situation
            if grid_s <= self.now_s:
                grid_s += limits.period_s
            self.now_s = grid_s if outputs.wake_at_s is None else min(grid_s, outputs.wake_at_s)

    def by_bare_loop(self, ticks: int) -> None:
        """Read as often, at the current of the long stage, and decide nothing."""
        self.apply(Demand(output_on=True, current_a=1.0, voltage_v=4.0))
        for _ in range(ticks):
            self.supply.read()
            self.now_s += 1.0


def _best_of_nights(way: Callable[[Night], Result]) -> tuple[tuple[Night, Result], float]:
    """The last night and what came of it, and the processor time of the fastest, s."""
    spent_s = []
    for _ in range(NIGHTS):
        night = Night()
        begun = time.process_time()
        result = way(night)
        spent_s.append(time.process_time() - begun)
    return (night, result), min(spent_s)


def main() -> int:
    """Print all figures; returns 1 when a limit is passed."""
    say = Console(highlight=False, soft_wrap=True).print
    tick_us, floor_us = steady_step_us(), trapezoid_us()
    say(f"step, steady stage: {tick_us:.1f} µs a tick (aim: at most {TICK_LIMIT_US:.0f})")
    say(f"bare trapezoid sum: {floor_us:.2f} µs; ratio {tick_us / floor_us:.0f}")

    (night, situation), night_s = _best_of_nights(lambda night: night.by_step())
    watched = make_watch(Limits(), Chosen())
    (_, seen), watched_s = _best_of_nights(lambda night: night.by_step(watched))
    (_, _), bare_s = _best_of_nights(lambda bare: bare.by_bare_loop(night.ticks))
    count, truth = situation.count, night.supply.truth()
    if situation.state is not State.COMPLETE or count is None:
        say(f"the night ended {situation.state.value}: {situation.reason}")
        return 1
    counted_g = mass_g(COPPER, count.best_ah)
    say(
        f"night of {night.now_s / 3600:.2f} h, {night.ticks} ticks: {night_s:.2f} s"
        f" (aim: at most {NIGHT_LIMIT_S:.0f})"
    )
    say(
        f"the same night with every detector: {watched_s:.2f} s, {len(seen.alarms.standing)} alarms"
    )
    say(f"the same tank by a bare loop: {bare_s:.2f} s; ratio {night_s / bare_s:.2f}")
    off = counted_g / truth.deposited_g - 1
    say(f"counted {counted_g:.4f} g, deposited {truth.deposited_g:.4f} g, off by {off:+.3%}")
    return 0 if tick_us <= TICK_LIMIT_US and night_s <= NIGHT_LIMIT_S else 1


if __name__ == "__main__":
    sys.exit(main())
