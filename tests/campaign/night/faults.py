"""The catalogue of what can go wrong, one thing at a time; a night draws from it, also in pairs.

A fault is begun in the world and gives what ends it again: somebody has mended it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import reduce

from drivers.errors import (
    CommandRefusedError,
    GarbledReplyError,
    NoReplyError,
    PortUnavailableError,
    WrongDeviceError,
)
from drivers.simulator.scenario import parse_event
from night.devices import frozen_at

SHORT_S, LONG_S = 2.0, 1800.0


@dataclass(frozen=True)
class Fault:
    """A kind of fault: how it begins, and in which nights it can.

    begin: called with the world and its random course; gives what ends it, or None. least_s and
    most_s: how long it lasts, s. blinds: a meter lies, or nobody can look. disobeys: the supply or
    the contactor does not do what it is told. within_s: how long current may go on after it began,
    if nothing else is wrong: s, or a function of the limits; None where nothing has to stop.
    """

    name: str
    group: str
    begin: Callable[..., object]
    least_s: float = SHORT_S
    most_s: float = LONG_S
    fits: Callable[..., bool] = lambda _: True
    blinds: bool = False
    disobeys: bool = False
    within_s: object = None


def _event(**described):
    """A fault of the simulated tank, which mends it by itself when the incident is over."""

    def begin(world, draw):
        bench = world.supply.bench
        bench.advance_to(world.clock.now_s)
        values = {
            key: value(world, draw) if callable(value) else value
            for key, value in described.items()
        }
        bench.inject(parse_event({**values, "lasts_s": world.lasts_s}))

    return begin


def _cell_ohm(world):
    current_a = world.night.full_a
    return max(world.night.full_v, 0.2) / current_a


def _attribute(path, value, usual):
    """A fault that is one attribute of one of the world's things."""
    *where, name = path.split(".")

    def begin(world, draw):
        owner = reduce(getattr, where, world)
        setattr(owner, name, value(world, draw) if callable(value) else value)
        return lambda: setattr(owner, name, usual)

    return begin


def _line(**what):
    def begin(world, draw):
        return world.supply.line.ail(**{
            name: value(draw) if callable(value) and name != "lost_error" else value
            for name, value in what.items()
        })  # fmt: skip

    return begin


def _lies(make):
    """The counting meter shows something else: `make` gives what it shows of an honest current."""

    def begin(world, draw):
        head = world.counting_head
        head.lie = make(world, draw)

        def end():
            head.lie = head.frozen = None

        return end

    return begin


def _frozen(world, draw):
    daemon = world.daemon
    reading = None if daemon is None else daemon.panel.raw.get(world.night.counting)
    head = world.counting_head
    if reading is None or reading.current_a is None:
        return None
    frozen_at(reading, head)

    def end():
        head.lie = head.frozen = None

    return end


def _biased(world, draw):
    factor = draw.choice((0.5, 0.8, 0.9, 0.95, 1.05, 1.2, 2.0))
    return lambda honest_a, _: honest_a * factor


def _drifting(world, draw):
    since_s = world.clock.monotonic_s()
    rate = draw.uniform(-0.5, 0.5) * world.night.full_a / 3600.0
    return lambda honest_a, now_s: honest_a + rate * max(0.0, now_s - since_s)


def _spiking(world, draw):
    height_a = draw.choice((-1.0, 1.0, 5.0)) * world.night.full_a
    share = draw.choice((0.01, 0.2))
    return lambda honest_a, _: honest_a + (height_a if draw.random() < share else 0.0)


def _stuck(world, draw):
    at_a = draw.choice((0.0, world.night.full_a, 9.999))
    return lambda *_: at_a


def _blank(world, draw):
    share = draw.choice((0.3, 1.0))
    return lambda honest_a, _: None if draw.random() < share else honest_a


def _restarts(on_again):
    """The supply's mains blink: silent while it boots, set-points forgotten, or all as before."""

    def begin(world, draw):
        supply, bench = world.supply, world.supply.bench
        bench.advance_to(world.clock.now_s)
        was_on = bench.supply.output_on
        bench.supply.switch(False)
        if not on_again:
            bench.supply.program_current(0.0)
            bench.supply.program_voltage(0.0)
        answers_again = supply.line.ail(error=NoReplyError("no answer to *IDN?"))

        def booted():
            answers_again()
            if on_again and was_on:
                bench.advance_to(world.clock.now_s)
                bench.supply.switch(True)

        world.at(world.clock.now_s + draw.uniform(1.0, 8.0), booted)

    return begin


def _hand_on(world, draw):
    """Somebody switches the output on at the front panel."""
    bench = world.supply.bench
    bench.advance_to(world.clock.now_s)
    bench.supply.program_voltage(world.night.full_v + 1.0)
    bench.supply.program_current(draw.uniform(0.2, 1.0) * world.night.full_a)
    bench.supply.switch(True)


def _ignoring(*what):
    def begin(world, draw):
        supply = world.supply
        supply.ignores, supply.says_so = frozenset(what), draw.random() < 0.5

        def end():
            supply.ignores, supply.says_so = frozenset(), True

        return end

    return begin


def _clips(world, draw):
    supply = world.supply
    supply.clip_a, supply.says_so = draw.uniform(0.2, 0.9) * world.night.full_a, draw.random() < 0.5

    def end():
        supply.clip_a, supply.says_so = float("inf"), True

    return end


def _open_load(world, draw):
    world.load_off = True
    world.circuit()

    def end():
        world.load_off = False
        world.circuit()

    return end


def _shunt_lost(world, draw):
    world.shunt.error = PortUnavailableError("/sys: in1_input is missing")

    def end():
        world.shunt.error = None

    return end


def _thermometer_lost(world, draw):
    world.thermometer.error = PortUnavailableError("/sys: temp1_input is missing")

    def end():
        world.thermometer.error = None

    return end


def _loop(name, **what):
    def begin(world, draw):
        contact = world.loops[name]
        for key, value in what.items():
            setattr(contact, key, value)

        def end():
            contact.is_closed, contact.chatters, contact.broken = True, 0.0, False

        return end

    return begin


def _coil_dead(world, draw):
    world.contactor.dead = True
    world.see_contactor()

    def end():
        world.contactor.dead = False

    return end


def _stepped(least_s, most_s):
    def begin(world, draw):
        sign = draw.choice((-1.0, 1.0))
        world.clock.wall_offset_s += sign * draw.uniform(least_s, most_s)

    return begin


def _killed(how):
    return lambda world, _: world.kill(how)


def _contactor(night):
    return night.has_contactor


def _loops(night):
    return night.has_loops


def _signals(night):
    return night.has_signals


def _keeps(night):
    return night.keeps


def _silent_within(limits):
    return limits.lost_s + limits.off_s


def _stop_within(limits):
    return limits.down_s + limits.off_s


def _off_within(limits):
    return limits.off_s


DAY_S = 86400.0

_EVERY = (
    Fault("short", "tank", _event(do="short", resistance_ohm=lambda w, d:
          _cell_ohm(w) * d.uniform(0.005, 0.03)), within_s=lambda limits: 20.0 + limits.off_s),
    Fault("whisker", "tank", _event(do="whisker", resistance_ohm=lambda w, d:
          _cell_ohm(w) * d.uniform(2.0, 15.0))),
    Fault("part lost", "tank", _event(do="lose_part", part=1)),
    Fault("bad contact", "tank", _event(do="bad_contact", resistance_ohm=lambda w, d:
          _cell_ohm(w) * d.uniform(0.05, 0.8))),
    Fault("anode polarised", "tank", _event(do="drift", rate_v_per_h=lambda w, d:
          w.night.full_v * d.uniform(0.5, 4.0), limit_v=lambda w, _: 3.0 * w.night.full_v),
          600.0, 7200.0),
    Fault("open load", "tank", _open_load),
    Fault("supply drops its output", "supply", _event(do="output_drop")),
    Fault("supply surges", "supply", _event(do="surge", current_a=lambda w, d:
          0.6 + w.night.full_a * d.uniform(0.9, 3.0)), disobeys=True,
          within_s=lambda limits: 20.0 + limits.off_s),
    Fault("supply folds back", "supply", _event(do="fold_back", current_a=lambda w, d:
          w.night.full_a * d.uniform(0.0, 0.8))),
    Fault("supply clips", "supply", _clips),
    Fault("supply restarts", "supply", _restarts(False)),
    Fault("supply restarts and is on again", "supply", _restarts(True), disobeys=True),
    Fault("supply ignores off", "supply", _ignoring("off"), disobeys=True),
    Fault("supply ignores all", "supply", _ignoring("off", "on", "current"), disobeys=True),
    Fault("supply ignores set-points", "supply", _ignoring("current"), disobeys=True),
    Fault("supply switched on by hand", "supply", _hand_on, disobeys=True),
    Fault("plug pulled", "wire", _line(pulled=True), within_s=_off_within),
    Fault("wire silent", "wire", _line(error=NoReplyError("no answer to MEAS?")),
          within_s=_silent_within),
    Fault("wire loses replies", "wire", _line(lost=lambda d: d.choice((0.02, 0.2, 0.6)))),
    Fault("wire garbles", "wire", _line(lost=lambda d: d.choice((0.02, 0.2, 0.6)),
          lost_error=GarbledReplyError)),
    Fault("wire slow", "wire", _line(takes_s=lambda d: d.choice((0.05, 0.2, 0.6)))),
    Fault("another device answers", "wire",
          _line(error=WrongDeviceError("answers as something else")), within_s=_off_within),
    Fault("device refuses", "wire", _line(error=CommandRefusedError("-222,Data out of range")),
          within_s=_off_within),
    Fault("supply's thread hangs", "wire", lambda w, _: w.hang(), 1.0, 15.0,
          within_s=_silent_within),
    Fault("supply's thread hangs for long", "wire", lambda w, _: w.hang(), 21.0, 120.0,
          fits=_keeps, within_s=_silent_within),
    Fault("meter frozen", "meter", _frozen, blinds=True),
    Fault("meter stuck", "meter", _lies(_stuck), blinds=True),
    Fault("meter biased", "meter", _lies(_biased), blinds=True),
    Fault("meter drifts", "meter", _lies(_drifting), 600.0, 7200.0, blinds=True),
    Fault("meter spikes", "meter", _lies(_spiking), blinds=True),
    Fault("meter blank", "meter", _lies(_blank), blinds=True),
    Fault("shunt lost", "meter", _shunt_lost, fits=lambda night: night.has_shunt, blinds=True),
    Fault("thermometer lost", "meter", _thermometer_lost, 30.0,
          fits=lambda night: night.has_thermometer),
    Fault("bath reads hot", "meter", _attribute("thermometer.off_k", 30.0, 0.0), 120.0,
          fits=lambda night: night.has_thermometer),
    Fault("contactor welds", "pins", _attribute("contactor.welded", True, False),
          fits=_contactor, disobeys=True),
    Fault("contactor's coil dead", "pins", _coil_dead, fits=_contactor),
    Fault("heartbeat's pin fails", "pins", _attribute("contactor.mute", True, False),
          fits=_contactor),
    Fault("auxiliary stuck open", "pins", _attribute("auxiliary.stuck", False, None),
          fits=lambda night: night.has_auxiliary),
    Fault("auxiliary stuck closed", "pins", _attribute("auxiliary.stuck", True, None),
          fits=lambda night: night.has_auxiliary),
    Fault("lid opened", "pins", _loop("lid", is_closed=False), fits=_loops, within_s=_stop_within),
    Fault("level low", "pins", _loop("level", is_closed=False), fits=_loops, within_s=_stop_within),
    Fault("emergency stop", "pins", _loop("emergency stop", is_closed=False), fits=_loops,
          within_s=_off_within),
    Fault("lid chatters", "pins", _loop("lid", chatters=0.5), fits=_loops),
    Fault("lid's pin unreadable", "pins", _loop("lid", broken=True), fits=_loops,
          within_s=_stop_within),
    Fault("button stuck", "pins", _attribute("button.is_closed", True, False), fits=_signals),
    Fault("siren's pin fails", "pins", _attribute("siren.broken", True, False), fits=_signals),
    Fault("disk full", "disk", lambda w, _: w.disk("full")),
    Fault("disk read-only", "disk", lambda w, _: w.disk("read-only")),
    Fault("disk slow", "disk", lambda w, _: w.disk("slow")),
    Fault("clock steps by minutes", "clock", _stepped(1.0, 600.0)),
    Fault("clock steps by years", "clock", _stepped(30.0 * DAY_S, 3650.0 * DAY_S)),
    Fault("network down", "network", _attribute("network_down", True, False),
          fits=lambda night: night.is_told),
    Fault("loop killed", "process", _killed("loop"), fits=_keeps),
    Fault("loop hangs", "process", _killed("hung"), fits=_keeps),
    Fault("all killed", "process", _killed("all"), fits=_keeps),
    Fault("machine loses power", "process", _killed("reboot"), fits=_keeps),
)  # fmt: skip

ALL = {fault.name: fault for fault in _EVERY}
