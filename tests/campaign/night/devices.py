"""The ends of the daemon's wires: clock, supply, meters, contacts and contactor, all of which fail.

Each does what its contract in `drivers.contracts` says until a fault tells it otherwise.
"""

from collections import deque
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from math import inf

from drivers.contracts import Reading, Temperature
from drivers.errors import (
    CommandRefusedError,
    NoReplyError,
    PinError,
    PortUnavailableError,
    SetPointRefusedError,
)
from drivers.simulator.bench import Bench

START_S = 1000.0
EXCHANGE_S = 0.01
"""s that an exchange takes on a line that is well."""
MIDNIGHT = datetime(2026, 11, 25, tzinfo=UTC)


class Clock:
    """Stands still until it is moved. `now_s` is the world's; the daemon's begins at each boot."""

    rate = 1.0

    def __init__(self):
        self.now_s = START_S
        self.boot_s = 0.0
        self.wall_offset_s = 0.0

    def monotonic_s(self):
        return self.now_s - self.boot_s

    def utc(self):
        return MIDNIGHT + timedelta(seconds=self.now_s + self.wall_offset_s)

    def world_s(self, monotonic_s):
        """A moment of the daemon's clock on the world's, and never a rounding too soon."""
        return monotonic_s + self.boot_s + (1e-9 if self.boot_s else 0.0)

    def real_seconds_until(self, _):
        """Nobody ever waits: the world moves time."""
        return 0.0


def fail(error):
    """Raise what a device fails with, if it is anything.

    It is one and the same all the while: without the traceback of the last time, or a night's
    frames would hang on it.
    """
    if error is not None:
        raise error.with_traceback(None)


@dataclass
class Line:
    """What becomes of an exchange on the wire. Shares are probabilities of each exchange.

    `error` is what every exchange meets with; `pulled` says that nothing gets through at all. What
    ails it may overlap: of two alike the later one counts, and the earlier once that is mended.
    """

    draw: object
    error: object = None
    pulled: bool = False
    lost: float = 0.0
    lost_error: type = NoReplyError
    takes_s: float = EXCHANGE_S
    hung: bool = False
    ailments: list = field(default_factory=list)

    def ail(self, **what):
        """Have these of the above from now on, until what is given back is called."""
        self.ailments.append(what)
        self._settle(what)

        def mend():
            self.ailments.remove(what)
            self._settle(what)

        return mend

    def _settle(self, names):
        for name in names:
            ails = [each[name] for each in self.ailments if name in each]
            setattr(self, name, ails[-1] if ails else getattr(type(self), name))

    @property
    def is_well(self):
        return self.error is None and not (self.pulled or self.lost or self.hung)

    def meets(self):
        """The error that this exchange meets with, if any, and whether the device has heard it."""
        if self.pulled:
            return PortUnavailableError("/dev/supply: the port was lost"), False
        if self.error is not None:
            return self.error, False
        if self.lost and self.draw.random() < self.lost:
            return self.lost_error("no answer to MEAS?"), self.draw.random() < 0.5
        return None, True


class Head:
    """What an ammeter shows. Gain and offset are its own, within what its maker promises.

    `lie` turns an honest current into what a broken meter shows; `lied_as` adds up what that can
    have brought into a count of its readings, A·s.
    """

    def __init__(self, gain, offset_a, step_a):
        self.gain, self.offset_a, self.step_a = gain, offset_a, step_a
        self.lie = None
        self.lied_as = 0.0
        self.frozen = None
        self._last_s = None
        self._off_a = 0.0

    def show(self, now_s, current_a):
        honest_a = self._stepped(current_a * self.gain + self.offset_a)
        shown_a = honest_a if self.lie is None else self.lie(honest_a, now_s)
        off_a = 0.0 if shown_a is None else abs(shown_a - honest_a)
        if self._last_s is not None:
            self.lied_as += (off_a + self._off_a) * (now_s - self._last_s)
        self._last_s, self._off_a = now_s, off_a
        return shown_a if shown_a is None or self.lie is None else self._stepped(shown_a)

    def _stepped(self, value):
        return round(round(value / self.step_a) * self.step_a, 9)


class Supply:
    """The bench with the tank, a meter of its own and a line. `heard` is told of each command.

    `ignores` holds "current", "on" or "off"; `says_so`, whether its answers tell. Above `clip_a` it
    sets no current. `truths` are moments on the daemon's clock, the charge that had passed the
    terminals by then, A·h, and what the meter had lied by then, A·h.
    """

    def __init__(self, clock, scenario, seed, head, line, heard):
        self.bench = Bench(scenario, clock.now_s, seed)
        self.head, self.line = head, line
        self._clock, self._heard = clock, heard
        self.ignores = frozenset()
        self.says_so = True
        self.clip_a = inf
        self.tells_output = True
        self.truths = deque(maxlen=64)
        self._open = False

    def true_ah(self):
        """What has passed the terminals, A·h."""
        self.bench.advance_to(self._clock.now_s)
        tank = self.bench.tank
        return (tank.charge_c + tank.shunted_c) / 3600.0

    def true_a(self):
        """What flows now, A."""
        self.bench.advance_to(self._clock.now_s)
        return self.bench.supply.current_a

    def open(self):
        self._open = False
        self._exchange(lambda: self._switch(on=False))
        self._open = True

    def close(self):
        self._open = False

    def read(self):
        self._must_be_open()
        self._pass(self.line.takes_s / 2)
        error, _ = self.line.meets()
        fail(error)
        self.bench.advance_to(self._clock.now_s)
        supply = self.bench.supply
        current_a, voltage_v, mode = supply.measure()
        at_s = self._clock.monotonic_s()
        frozen = self.head.frozen
        if frozen is not None:
            current_a, voltage_v, mode = supply.current_a, frozen.voltage_v, frozen.mode
        shown_a = self.head.show(at_s, current_a)
        self.truths.append((at_s, self.true_ah(), self.head.lied_as / 3600.0))
        self._pass(self.line.takes_s / 2)
        on = supply.output_on if self.tells_output else None
        return Reading(at_s, shown_a, voltage_v, mode, on)

    def set_points(self, current_a, voltage_v):
        self._must_be_open()
        self._heard(current_a=current_a, voltage_v=voltage_v)
        self._pass(self.line.takes_s)
        self._exchange(lambda: self._set(current_a, voltage_v))

    def output(self, on):
        self._must_be_open()
        if on:
            self._heard(on=True)
        self._pass(self.line.takes_s)
        self._exchange(lambda: self._switch(on=on))

    def switch_off_past_the_loop(self):
        """The guard's way: it writes only. Whether it got there nobody learns."""
        if self.line.pulled or self.line.error is not None or "off" in self.ignores:
            return
        self.bench.advance_to(self._clock.now_s)
        self.bench.supply.switch(False)

    def _must_be_open(self):
        if not self._open:
            raise PortUnavailableError("/dev/supply: not open")

    def _pass(self, seconds):
        self._clock.now_s += seconds

    def _exchange(self, do):
        error, heard = self.line.meets()
        if heard:
            self.bench.advance_to(self._clock.now_s)
            do()
        fail(error)

    def _set(self, current_a, voltage_v):
        supply = self.bench.supply
        supply.program_voltage(voltage_v)
        if "current" in self.ignores:
            if self.says_so:
                raise SetPointRefusedError(f"set {current_a:g} A, reads back something else")
            return
        supply.program_current(min(current_a, self.clip_a))
        if current_a > self.clip_a and self.says_so:
            raise SetPointRefusedError(f"set {current_a:g} A, reads back {self.clip_a:g} A")

    def _switch(self, *, on):
        if ("on" if on else "off") in self.ignores:
            if self.says_so:
                raise CommandRefusedError("the output is not as it was told to be")
            return
        self.bench.supply.switch(on)


class Shunt:
    """An ammeter of its own in the cell's circuit; it reads no voltage. See `Supply` for truths."""

    def __init__(self, clock, supply, head, noise):
        self.head = head
        self.error = None
        self.truths = deque(maxlen=64)
        self._clock, self._supply, self._noise = clock, supply, noise

    def open(self):
        fail(self.error)

    def close(self):
        pass

    def read(self):
        fail(self.error)
        at_s = self._clock.monotonic_s()
        current_a = self._supply.true_a() + self._noise.gauss(0.0, 5e-4)
        shown_a = self.head.show(at_s, current_a)
        self.truths.append((at_s, self._supply.true_ah(), self.head.lied_as / 3600.0))
        return Reading(at_s, shown_a, None)


class Thermometer:
    """In the bath. `error` is why it cannot be read; `off_k` how wrong it is."""

    def __init__(self, clock, supply):
        self.error = None
        self.off_k = 0.0
        self._clock, self._supply = clock, supply

    def open(self):
        pass

    def close(self):
        pass

    def read(self):
        fail(self.error)
        self._supply.true_a()
        celsius = round(self._supply.bench.tank.temperature_c + self.off_k, 1)
        return Temperature(self._clock.monotonic_s(), celsius)


class Contact:
    """A contact that is read: it may chatter, or be past reading."""

    def __init__(self, draw, closed=True):
        self.is_closed = closed
        self.chatters = 0.0
        self.broken = False
        self._draw = draw

    def closed(self):
        if self.broken:
            raise PinError("GPIO22: the kernel refuses")
        if self.chatters and self._draw.random() < self.chatters:
            return not self.is_closed
        return self.is_closed

    def close(self):
        pass


class Signal:
    """A beacon or siren."""

    def __init__(self):
        self.on = False
        self.broken = False

    def show(self, on):
        if self.broken:
            raise PinError("GPIO16: was found moved")
        self.on = on

    def close(self):
        self.on = False


class Contactor:
    """Closes with the heartbeat, opens when it is told to or hears no edge for `let_go_s`.

    welded: it does not open. dead: its coil gets nothing. `beaten` is told of each edge.
    """

    PULLS_IN_S, DROPS_S, LETS_GO_S = 0.15, 0.05, 0.8

    def __init__(self, clock, beaten):
        self._clock, self._beaten = clock, beaten
        self.closed = False
        self.welded = self.dead = self.mute = False
        self.let_go_s = self.LETS_GO_S
        self.edge_s = -inf
        self.moves_s = inf
        self._told = False

    @property
    def due_s(self):
        """When it moves next if nothing else happens, s."""
        if self.closed and not self.welded:
            return min(self.moves_s, self.edge_s + self.let_go_s)
        return self.moves_s

    def beat(self):
        if self.mute:
            raise PinError("GPIO17: the kernel refuses")
        self._beaten()
        self.edge_s = self._clock.now_s
        self._told = True
        if not self.closed and self.moves_s == inf and not self.dead:
            self.moves_s = self.edge_s + self.PULLS_IN_S

    def rest(self):
        self._told = False
        if self.closed and not self.welded:
            self.moves_s = min(self.moves_s, self._clock.now_s + self.DROPS_S)
        elif not self.closed:
            self.moves_s = inf

    def close(self):
        self.rest()

    def moved(self):
        """Let it move if it is time to; whether it did."""
        now_s = self._clock.now_s
        before = self.closed
        starved = now_s >= self.edge_s + self.let_go_s
        if self.closed and self.welded:
            self.moves_s = inf
        elif self.closed:
            ends = starved or self.dead or now_s >= self.moves_s
            if ends:
                self.closed, self.moves_s = False, inf
        elif now_s >= self.moves_s:
            self.moves_s = inf
            self.closed = self._told and not (self.dead or starved)
        return self.closed is not before


class Auxiliary:
    """The contactor's auxiliary contact. `stuck` is what it shows whatever the contactor does."""

    def __init__(self, contactor):
        self._contactor = contactor
        self.stuck = None

    def closed(self):
        return self._contactor.closed if self.stuck is None else self.stuck

    def close(self):
        pass


def frozen_at(reading, head):
    """Let a meter repeat what it shows."""
    head.frozen = replace(reading)
    head.lie = lambda *_: reading.current_a
