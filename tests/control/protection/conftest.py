"""A tank whose runs are watched: `step`, the watch, and the simulated supply on a virtual clock."""

from dataclasses import dataclass, field, replace

import pytest

from daemon.chemistry.uncertainty import MeterDoubt
from daemon.control.panel import Correction, MeterFacts, Panel
from daemon.control.protection.alarms import Change
from daemon.control.protection.detectors.electrical import electrical_detectors
from daemon.control.protection.detectors.observation import Observation
from daemon.control.protection.detectors.thresholds import Thresholds
from daemon.control.protection.watch import Watch
from daemon.control.situation import OFF, Command, Inputs, Limits, Situation
from daemon.control.states import OPEN, Act, State
from daemon.control.step import step
from drivers.contracts import Mode, Reading
from drivers.simulator.inline import SimulatedSupply
from drivers.simulator.scenario import Scenario, parse_event

CC, CV = Mode.CONSTANT_CURRENT, Mode.CONSTANT_VOLTAGE


def seen(at_s, current_a=1.0, voltage_v=0.9, **more):
    """An observation of a steady cell: 1 A at 0.9 V of 4 V, 1.8 dm², on for long."""
    usual = {
        "mode": CC,
        "output_on": True,
        "set_current_a": 1.0,
        "ceiling_v": 4.0,
        "steady_s": 100.0,
        "least_a": more.get("set_current_a", 1.0),
        "before_a": more.get("set_current_a", 1.0),
        "started_s": -1000.0,
        "area_dm2": 1.8,
    }
    return Observation(at_s, current_a, voltage_v, **(usual | more))


def causes(signs):
    """The names of what was found."""
    return [sign.cause for sign in signs]


@dataclass
class Shunt:
    """A meter of its own at the cell: coarse, and with an offset. It reads no voltage."""

    step_a: float = 0.01
    offset_a: float = 0.0

    def read(self, supply, now_s):
        current_a = supply.truth().current_a + self.offset_a
        return Reading(now_s, round(current_a / self.step_a) * self.step_a, None)


@dataclass
class WatchedTank:
    """One run on the simulated tank, read once in `period_s`, and all that was found in it.

    found: moments since the start, and causes, each time one is there that was not before.
    raised: moments and causes of alarms. `supply_every`: the supply is read in one tick out of so
    many while the `shunt` counts.
    """

    plan: object
    period_s: float = 0.1
    scenario: Scenario = field(default_factory=Scenario)
    seed: int = 1
    shunt: Shunt | None = None
    supply_every: int = 1
    gone_a: float = 0.02

    def __post_init__(self):
        period_s = self.period_s
        self.limits = Limits(
            period_s=period_s,
            gap_s=max(1.0, 2.5 * period_s),
            lost_s=max(3.0, 5 * period_s),
            gone_a=self.gone_a,
        )
        self.now_s = self.start_s = 1000.0
        self.supply = SimulatedSupply(lambda: self.now_s, self.scenario, self.seed)
        self.supply.open()
        self.watch = Watch(electrical_detectors(Thresholds().of_meter(self.gone_a)))
        self.situation = Situation(State.IDLE, self.now_s)
        self.demand = OFF
        self.wake_at_s = None
        self.grid = self.ticks = 0
        self.panel = None
        if self.shunt is not None:
            facts = MeterFacts(Correction(), MeterDoubt())
            self.panel = Panel({"supply": facts, "shunt": facts}, "shunt", self.limits.gap_s)
        self.found, self.raised = [], []
        self.there = set()
        self.tick()
        self.tick(Act.START)

    @property
    def state(self):
        return self.situation.state

    @property
    def elapsed_s(self):
        return self.now_s - self.start_s

    def _reading(self):
        if self.panel is None:
            return self.supply.read()
        if self.ticks % self.supply_every == 0:
            self.panel.take("supply", self.supply.read())
        return self.panel.take("shunt", self.shunt.read(self.supply, self.now_s))

    def tick(self, act=None, reading=None):
        """One cycle, as the daemon's loop does it."""
        reading = reading or self._reading()
        signs = self.watch.look(self.situation, reading)
        now = {sign.cause for sign in signs}
        self.found += [(self.elapsed_s, sign) for sign in signs if sign.cause not in self.there]
        self.there = now
        command = None if act is None else Command(act, "Ann", 1, self.plan)
        self.situation, outputs, happenings = step(
            self.situation, Inputs(self.now_s, reading, command, signs=signs), self.limits
        )
        for happening in happenings:
            if isinstance(happening, Change) and happening.what == "raised":
                self.raised.append((self.elapsed_s, happening.alarm.cause))
        if outputs.demand != self.demand:
            before, self.demand = self.demand, outputs.demand
            if self.demand.output_on:
                self.supply.set_points(self.demand.current_a, self.demand.voltage_v)
            if self.demand.output_on != before.output_on:
                self.supply.output(self.demand.output_on)
        self.ticks += 1
        self.grid += self.now_s >= self.start_s + self.grid * self.period_s
        next_s = self.start_s + self.grid * self.period_s
        if outputs.wake_at_s is not None and self.now_s < outputs.wake_at_s < next_s:
            next_s = outputs.wake_at_s
        self.now_s = next_s

    def run_for(self, seconds):
        end_s = self.now_s + seconds
        while self.now_s < end_s and self.state in OPEN:
            self.tick()
        return self

    def hold(self):
        self.tick(Act.HOLD)
        return self.run_to(State.HELD, most_s=60.0)

    def resume(self):
        self.tick(Act.RESUME)
        return self

    def run_to(self, state, most_s=1e6):
        end_s = self.now_s + most_s
        while self.state is not state:
            assert self.now_s < end_s, f"still {self.state} after {most_s} s"
            self.tick()
        return self

    def do(self, do, **parameters):
        """Let something happen to the tank or its supply now."""
        self.supply.bench.advance_to(self.now_s)
        self.supply.bench.inject(parse_event({"do": do, **parameters}))
        return self.elapsed_s

    @property
    def causes(self):
        return [sign.cause for _, sign in self.found]


@pytest.fixture(scope="session")
def observe():
    """`seen`: an observation of a steady cell."""
    return seen


@pytest.fixture(scope="session")
def named():
    return causes


@pytest.fixture(scope="session")
def watched(plan):
    """A running `WatchedTank` on a plan of these stages."""

    def make(*stages, target_ah=1e3, area_dm2=1.8, **more):
        made = replace(plan(*stages, target_ah=target_ah), area_dm2=area_dm2)
        return WatchedTank(made, **more)

    return make


@pytest.fixture(scope="session")
def shunt():
    return Shunt
