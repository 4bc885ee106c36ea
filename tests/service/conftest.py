"""A virtual clock, a supply that follows a script, and a daemon without threads around them."""

from collections import deque
from datetime import UTC, datetime, timedelta
from pathlib import Path
from queue import SimpleQueue
from types import SimpleNamespace

import pytest

from daemon.chemistry.uncertainty import NO_DOUBT
from daemon.control.panel import Correction, MeterFacts, Panel
from daemon.control.protection.detectors.electrical import electrical_detectors
from daemon.control.protection.detectors.thresholds import Thresholds
from daemon.control.protection.surroundings import Surroundings
from daemon.control.protection.watch import Watch
from daemon.control.situation import Limits
from daemon.control.states import OPEN
from daemon.record.entries import AlarmRaised
from daemon.service.assembly import Link
from daemon.service.cycle.lookout import Lookout
from daemon.service.cycle.loop import Loop
from daemon.service.cycle.runner import Order, Quit, Runner
from daemon.service.cycle.scribe import Origin, Scribe
from daemon.service.devices.meter_worker import MeterWorker
from daemon.service.devices.pins import CYCLE_S
from daemon.service.devices.supply_worker import SupplyWorker
from drivers.contracts import Rating, Reading
from drivers.simulator.inline import SimulatedSupply

RATING = Rating(current_a=5.0, voltage_v=30.0, current_step_a=0.001, voltage_step_v=0.01)
START_S = 1000.0


class VirtualClock:
    """Stands still until it is moved. Nobody waits; `asked_s` is until when somebody would have.

    `wall_offset_s` sets the wall clock against the monotonic one.
    """

    rate = 1.0

    def __init__(self):
        self.now_s = START_S
        self.asked_s = START_S
        self.wall_offset_s = 0.0

    def monotonic_s(self):
        return self.now_s

    def utc(self):
        midnight = datetime(2026, 11, 25, tzinfo=UTC)
        return midnight + timedelta(seconds=self.now_s - START_S + self.wall_offset_s)

    def real_seconds_until(self, monotonic_s):
        self.asked_s = monotonic_s
        return 0.0

    def advance_to(self, monotonic_s):
        self.now_s = max(self.now_s, monotonic_s)


class ScriptedSupply:
    """Holds what it is told, and fails as it is told: `faults[name]` are errors to come, in order.

    An entry None in a script is a call that goes well. `takes_s` is how long each exchange lasts.
    """

    def __init__(self, clock):
        self._clock = clock
        self.on = False
        self.current_a = 0.0
        self.voltage_v = 0.0
        self.open_ = False
        self.calls = []
        self.faults = {
            name: deque() for name in ("open", "read", "set_points", "output_on", "output_off")
        }
        self.always = {}
        self.takes_s = 0.0

    def _call(self, name, *arguments):
        self.calls.append((name, *arguments))
        self._clock.now_s += self.takes_s
        script = self.faults[name]
        fault = script.popleft() if script else self.always.get(name)
        if fault is not None:
            raise fault

    def said(self, *names):
        """The calls of these names so far, in order."""
        return [call for call in self.calls if call[0] in names]

    def open(self):
        self._call("open")
        self.open_ = True
        self.on = False

    def close(self):
        self.calls.append(("close",))
        self.open_ = False

    def read(self):
        asked_s = self._clock.now_s
        self._call("read")
        current_a = self.current_a if self.on else 0.0
        return Reading((asked_s + self._clock.now_s) / 2, current_a, 1.0, None, self.on)

    def set_points(self, current_a, voltage_v):
        self._call("set_points", current_a, voltage_v)
        self.current_a, self.voltage_v = current_a, voltage_v

    def output(self, on):
        self._call("output_on" if on else "output_off")
        self.on = on


class Rig:
    """A worker, a loop and a runner on one virtual clock, in one thread.

    `run` gives the runner its turns; between two of them the worker has as many as it can, and then
    time moves on to what is due next. `at` puts mail into the mailbox at a moment, s from the
    start; the run ends when `until` is true, or else after `most_s`. `meters` are meters and
    thermometers by name, each with a worker of its own; the first of them counts, or the supply.
    `pins` make the loop cycle as often as `serve` does with them; `world` is called whenever time
    has passed or a cycle has, to do what hangs on them. `doser` makes the dosing pumps, given what
    puts their entries into the record.
    """

    def __init__(
        self, supply, clock, rating=RATING, limits=None, period_s=0.1, meters=None, doubt=NO_DOUBT,
        pins=None, world=None, doser=None,
    ):  # fmt: skip
        meters = meters or {}
        self.pins = pins
        self._world = world or (lambda: None)
        self.clock = clock
        self.supply = supply
        self.limits = limits or Limits(period_s=period_s)
        self.mailbox = SimpleQueue()
        self.entries = []
        self.news = []
        self.beats = 0
        self.worker = SupplyWorker(supply, rating, clock, period_s, self._tell)
        self.worker.open()
        origin = Origin("bath", "boot", lambda: True)
        self.meters = [
            MeterWorker(name, meter, clock, period_s, self._tell) for name, meter in meters.items()
        ]
        for meter in self.meters:
            meter.open()
        names, counting = ("supply", *meters), next(iter(meters), "supply")
        facts = dict.fromkeys(names, MeterFacts(Correction(), doubt))
        self.panel = Panel(facts, counting, self.limits.gap_s)
        link = self.worker
        if self.meters:
            link = Link(self.worker.demand, self.meters[0].read_at)
        thresholds = Thresholds().of_meter(self.limits.gone_a)
        self.disk = SimpleNamespace(lag_s=0.0, fault=None)
        self.loop = Loop(
            clock,
            link,
            self.panel,
            Scribe(self.entries.append, origin, self.panel),
            self.limits,
            10.0,
            Watch(electrical_detectors(thresholds)),
            Lookout(Surroundings([], thresholds, clock.now_s), self.panel, self.disk, Path("/")),
            pins,
            doser=None if doser is None else doser(self.entries.append),
        )
        self.runner = Runner(self.loop, clock, period_s, self.mailbox, self._between, 7)
        self._agenda = []
        self._until = None
        self._end_s = 0.0
        self.lost_worker = False
        self._asked_s = []

    @property
    def situation(self):
        return self.loop.situation

    def _tell(self, news):
        self.news.append(news)
        self.mailbox.put(news)

    def at(self, from_start_s, mail):
        """Deliver mail at this moment; a callable is called instead."""
        self._agenda.append((START_S + from_start_s, mail))
        self._agenda.sort(key=lambda item: item[0])

    def order(self, act, from_start_s=0.2, **more):
        """Hand in a person's act at this moment; the order, to see its answer."""
        order = Order(act, "Ann", **more)
        self.at(from_start_s, order)
        return order

    def run(self, until=None, most_s=100_000.0):
        """Run until `until(self)`, or for `most_s` from now; what `Runner.run` gives at the end.

        The end is brought about by a `Quit`.
        """
        self._until, self._end_s = until, self.clock.now_s + most_s
        self._quit = False
        return self.runner.run()

    def _between(self):
        """What happens between two turns of the runner: its beat."""
        self.beats += 1
        self._world()
        if not self._quit and self._is_over():
            self._quit = True
            self.mailbox.put(Quit("SIGTERM"))
        if not self.mailbox.empty():
            return
        self._turn_worker()
        if not self.mailbox.empty():
            return
        self._turn_worker()
        if not self.mailbox.empty():
            return
        # Nobody has anything to do: time passes until the first who has.
        next_s = self.clock.now_s + 1.5 * self.limits.period_s
        next_s = min([next_s, *self._asked_s])
        if self.pins is not None:
            next_s = min(next_s, self.clock.now_s + CYCLE_S)
        if self.loop.wake_at_s is not None:
            next_s = min(next_s, self.loop.wake_at_s)
        if self._agenda and self._agenda[0][0] <= next_s:
            moment_s, mail = self._agenda.pop(0)
            self.clock.advance_to(moment_s)
            self._world()
            if callable(mail):
                mail()
            else:
                self.mailbox.put(mail)
            return
        self.clock.advance_to(next_s)
        self._world()
        self._turn_worker()

    def _turn_worker(self):
        """A turn for each worker; what they wait for afterwards."""
        self._asked_s = []
        for worker in [*([] if self.lost_worker else [self.worker]), *self.meters]:
            worker.turn()
            self._asked_s.append(self.clock.asked_s)

    def _is_over(self):
        if self.clock.now_s >= self._end_s:
            return True
        return self._until is not None and self._until(self)

    def recorded(self, kind):
        """The entries of a class, or the texts of the events of a kind."""
        if isinstance(kind, str):
            return [e.text for e in self.entries if getattr(e, "kind", None) == kind]
        return [entry for entry in self.entries if isinstance(entry, kind)]

    def raised(self):
        """The causes that have raised an alarm, in order."""
        return [entry.cause for entry in self.recorded(AlarmRaised)]


def at_rest(rig):
    """Whether a run was there and is over."""
    return rig.situation.run is not None and rig.situation.state not in OPEN


@pytest.fixture
def clock():
    return VirtualClock()


@pytest.fixture
def supply(clock):
    return ScriptedSupply(clock)


@pytest.fixture
def rig(supply, clock):
    """The daemon's inside on a scripted supply."""
    return Rig(supply, clock)


@pytest.fixture
def tank_rig(clock):
    """The daemon's inside on a simulated tank."""
    tank = SimulatedSupply(clock.monotonic_s)
    return Rig(tank, clock, tank.rating)


@pytest.fixture
def new_rig(clock):
    """Make one of one's own: a supply, and keywords of `Rig`."""

    def make(supply, **more):
        return Rig(supply, clock, **more)

    return make


@pytest.fixture(scope="session")
def over():
    """For `Rig.run(until=...)`: a run was there and is over."""
    return at_rest
