"""An ideal supply on a virtual clock, to run `step` without anything else around it."""

from dataclasses import replace

import pytest

from daemon.chemistry.metals import metal_named
from daemon.control.plan import Plan, Stage, Until
from daemon.control.protection.alarms import Change
from daemon.control.protection.causes import INTERLOCK
from daemon.control.protection.effects import DEFAULTS, Effects, Stop, Table
from daemon.control.situation import Command, Event, Inputs, Limits, Situation
from daemon.control.states import Act, State
from daemon.control.step import step
from drivers.contracts import Reading

COPPER = metal_named("Cu(II)")

RESTING = frozenset({State.IDLE, State.HELD, State.STOPPED, State.ABORTED, State.COMPLETE})


def make_plan(*stages, target_ah=1.0, charge_cap_ah=1e6, duration_cap_s=1e9):
    """A plan on an area where one ampere-hour is one micrometre: 11.8566 g per 8.96 g/cm³."""
    # 3600 s/h * 63.546 g/mol / (2 * 96485.33212 C/mol) = 1.185495 g/Ah; / 8.96 g/cm³ in µm on 1 dm²
    um_per_ah_on_one_dm2 = 3600 * 63.546 / (2 * 96485.33212) / 8.96 * 100
    return Plan(
        title="test",
        metal=COPPER,
        area_dm2=um_per_ah_on_one_dm2,
        efficiency=1.0,
        target_um=target_ah,
        charge_cap_ah=charge_cap_ah,
        duration_cap_s=duration_cap_s,
        stages=stages or (make_stage(),),
    )


def make_stage(current_a=2.0, ramp_s=0.0, name="plate", ceiling_v=4.0, **until):
    """One stage; the keywords are those of `Until`."""
    return Stage(name, current_a, ceiling_v, ramp_s, Until(**until))


LOOPS = {"lid": Stop.HOLD, "level": Stop.STOP, "emergency stop": Stop.ABORT}
"""Interlocks, and what each does to a run."""

TABLE = Table({**DEFAULTS, **{INTERLOCK + loop: Effects(stop) for loop, stop in LOOPS.items()}})


class Tank:
    """A supply that does at once what is demanded, its clock, and all that `step` has said.

    `flowing_a` and `cell_v` turn the demand into the cell's current and voltage, so that a test
    may bend them. `silent` keeps readings back. `true_as` is the charge that really passed, A·s.
    """

    def __init__(self, limits=None, start_s=1000.0):
        self.limits = limits or Limits(table=TABLE)
        self.start_s = self.now_s = self.read_s = start_s
        self.situation = Situation(State.IDLE, start_s)
        self.wake_at_s = None
        self.silent = False
        self.flowing_a = lambda demand: demand.current_a if demand.output_on else 0.0
        self.cell_v = lambda demand: 1.0 if demand.output_on else 0.0
        self.tells_output = False
        self.open_loops = ()
        self.signs = ()
        self.alarm_act = self.outputs = None
        self.auxiliary = None
        self.true_as = 0.0
        self.log = []
        self.trail = []
        self.ticks = 0
        self.grid = 0

    @property
    def state(self):
        return self.situation.state

    @property
    def demand(self):
        return self.situation.demand

    def reading(self):
        """What a meter shows now."""
        demand = self.situation.demand
        on = demand.output_on if self.tells_output else None
        return Reading(self.now_s, self.flowing_a(demand), self.cell_v(demand), output_on=on)

    def tick(self, act=None, *, plan=None, trouble=None, at_s=None, reading=None, who="Ann"):
        """One step, at the next tick or when it asked to be woken, whichever comes first."""
        if at_s is None:
            at_s = self.next_s()
        self.true_as += self.flowing_a(self.demand) * (at_s - self.now_s)
        self.now_s = at_s
        while self.start_s + self.grid * self.limits.period_s <= at_s:
            self.grid += 1
        if reading is None and not self.silent:
            reading = self.reading()
        command = Command(act, who, 1, plan) if act is not None else None
        self.situation, outputs, happenings = step(
            self.situation,
            Inputs(
                at_s,
                reading,
                command,
                trouble,
                self.open_loops,
                self.auxiliary,
                self.signs,
                self.alarm_act,
            ),
            self.limits,
        )
        self.outputs = outputs
        self.wake_at_s = outputs.wake_at_s
        self.ticks += 1
        self.log.extend((at_s, happening) for happening in happenings)
        self.trail.append((at_s, self.state, outputs.demand))
        assert outputs.demand == self.situation.demand
        assert outputs.contactor_closed == self.situation.contactor.closed
        if self.wake_at_s is not None:
            assert at_s < self.wake_at_s < at_s + self.limits.period_s
        return happenings

    def next_s(self):
        tick_s = self.start_s + self.grid * self.limits.period_s
        return tick_s if self.wake_at_s is None else min(tick_s, self.wake_at_s)

    def start(self, plan):
        """Give the supply a first reading, then start the plan."""
        self.tick()
        self.tick(Act.START, plan=plan)
        assert self.state is State.RUNNING
        return self

    def run_for(self, seconds):
        end_s = self.now_s + seconds
        while self.next_s() < end_s:
            self.tick()
        self.tick(at_s=end_s)
        return self

    def run_to(self, *states, most_s=1e6):
        """Tick until one of the states is reached."""
        end_s = self.now_s + most_s
        while self.state not in states:
            assert self.now_s < end_s, f"still {self.state} after {most_s} s"
            self.tick()
        return self

    def run_to_rest(self, most_s=1e6):
        return self.run_to(*RESTING, most_s=most_s)

    def bring_to(self, state):
        """A fresh run brought into this state by the shortest way; idle is where it begins."""
        if state is State.IDLE:
            self.tick()
            return self
        target_ah = 0.01 if state is State.COMPLETE else 1.0
        self.start(make_plan(make_stage(2.0), target_ah=target_ah)).run_for(5.0)
        if state is State.COMPLETE:
            return self.run_to(state)
        for act in {
            State.RUNNING: (),
            State.HOLDING: (Act.HOLD,),
            State.HELD: (Act.HOLD,),
            State.RESTARTING: (Act.HOLD, Act.RESUME),
            State.STOPPING: (Act.STOP,),
            State.STOPPED: (Act.STOP,),
            State.ABORTING: (Act.ABORT,),
            State.ABORTED: (Act.ABORT,),
        }[state]:
            if act is Act.RESUME:
                self.run_to(State.HELD)
            self.tick(act)
        return self.run_to(state)

    def stick_at(self, current_a):
        """From now on this current flows, whatever is demanded."""
        self.flowing_a = lambda _: current_a

    def said(self, kind):
        """Moments and happenings: of a class, or events of a kind."""
        if isinstance(kind, str):
            return [(s, h) for s, h in self.log if isinstance(h, Event) and h.kind == kind]
        return [(s, h) for s, h in self.log if isinstance(h, kind)]

    def raised(self):
        """The causes that have raised an alarm, in order."""
        return [c.alarm.cause for _, c in self.said(Change) if c.what == "raised"]

    def with_limits(self, **changes):
        self.limits = replace(self.limits, **changes)
        return self


def pytest_collection_modifyitems(config, items):
    """Campaigns run when they are asked for by `-m long`."""
    if "long" not in config.option.markexpr:
        for item in items:
            if item.get_closest_marker("long"):
                item.add_marker(pytest.mark.skip(reason="a campaign: ask for it with -m long"))


@pytest.fixture(scope="session")
def new_tank():
    return Tank


@pytest.fixture
def tank():
    return Tank()


@pytest.fixture(scope="session")
def plan():
    """`make_plan`: a plan on an area where one ampere-hour is one micrometre."""
    return make_plan


@pytest.fixture(scope="session")
def stage():
    return make_stage
