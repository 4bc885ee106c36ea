"""The cell's circuit: joined where it should not be, broken, or held at the voltage ceiling. Pure.

A short's measure is a bound that needs no model of the cell: its voltage rises with the current
from 0 V at 0 A, less and less steeply. So at a greater current than before it is at least what it
was, and at a smaller one at least the same share of it as the current is.
"""

from daemon.control.protection.alarms import Sign
from daemon.control.protection.causes import (
    OPEN_CIRCUIT,
    OUTPUT_DROPPED,
    SHORT,
    VOLTAGE_CEILING,
)
from daemon.control.protection.detectors.conductance import SPAN_S, Conductance
from daemon.control.protection.detectors.lasting import Lasting
from daemon.control.protection.detectors.limits import at_ceiling, figures_of, plan_floor_a
from daemon.control.protection.detectors.observation import Observation
from daemon.control.protection.detectors.thresholds import Thresholds

MEAN_S, MEAN_MOST = 5.0, 0.2
"""s over which a small current is averaged, five readings where they are further apart: a third of
their noise is left."""


class _Lowest:
    """The reading of the last 3 to 6 s that puts the lowest bound on the cell's voltage."""

    __slots__ = ("_began_s", "_newer", "_older")

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Nothing was seen."""
        self._began_s = float("-inf")
        self._newer: Observation | None = None
        self._older: Observation | None = None

    def add(self, seen: Observation, voltage_v: float) -> None:
        """Remember a reading of a cell that is sound."""
        if seen.at_s - self._began_s >= SPAN_S:
            self._older, self._newer, self._began_s = self._newer, None, seen.at_s
        if self._newer is None or voltage_v <= _bound_v(self._newer, seen.current_a):
            self._newer = seen

    def bound(self, current_a: float) -> tuple[float, Observation] | None:
        """The least voltage that the cell can have at this current, V, and what says so."""
        newer, older = self._newer, self._older
        if newer is None:
            return None if older is None else (_bound_v(older, current_a), older)
        bound_v = _bound_v(newer, current_a)
        if older is not None:
            older_v = _bound_v(older, current_a)
            if older_v < bound_v:
                return older_v, older
        return bound_v, newer


def _bound_v(past: Observation, current_a: float) -> float:
    voltage_v = past.voltage_v or 0.0
    return voltage_v if current_a >= past.current_a else voltage_v * current_a / past.current_a


class Short:
    """Anode and cathode joined: the voltage is gone and the current is not.

    Either the voltage has fallen far below the least that it can be and to what may be a drop on
    leads, or the cell conducts many times what it did without having been asked to, or the voltage
    is so low that no cell of this area has it, whatever was seen before.
    """

    def __init__(self, thresholds: Thresholds) -> None:
        self._t = thresholds
        self._lasting = Lasting(thresholds.short_on_s, thresholds.short_off_s)
        self._lowest = _Lowest()
        self._conductance = Conductance(thresholds)
        self._sign: tuple[Sign, ...] = ()

    def forget(self) -> None:
        """Begin anew."""
        self._lasting.forget()
        self._lowest.forget()
        self._conductance.forget()
        self._sign = ()

    def look(self, seen: Observation) -> tuple[Sign, ...]:
        """A short, as of this reading."""
        t, voltage_v = self._t, seen.voltage_v
        if voltage_v is None or seen.current_a < t.zero_a:
            return self._sign
        if seen.current_a < 2.0 * t.zero_a:
            if not self._sign:
                self._conductance.add(seen, voltage_v)
            return self._sign
        # The set-point falls before the current is read that has fallen with the voltage.
        current_a = min(seen.current_a, max(seen.set_current_a, t.zero_a))
        bound = self._lowest.bound(current_a)
        past = self._fallen_from(bound, current_a, voltage_v)
        if past is None:
            bound_v = None if bound is None else bound[0]
            past = self._conductance.leap(seen, current_a, voltage_v, bound_v)
        there = past is not None or self._is_below_any_cell(seen, current_a, voltage_v)
        if self._lasting.seen(there, seen.at_s):
            if not self._sign:
                self._sign = (_short(seen, voltage_v, past),)
            return self._sign
        self._sign = ()
        if not there:
            self._lowest.add(seen, voltage_v)
            self._conductance.add(seen, voltage_v)
        return ()

    def _fallen_from(
        self, bound: tuple[float, Observation] | None, current_a: float, voltage_v: float
    ) -> Observation | None:
        """What says that the voltage has fallen to what leads have; None if it has not."""
        t = self._t
        if bound is None or bound[0] < t.short_least_v or voltage_v >= t.short_share * bound[0]:
            return None
        return bound[1] if voltage_v < t.short_v + t.short_leads_ohm * current_a else None

    def _is_below_any_cell(self, seen: Observation, current_a: float, voltage_v: float) -> bool:
        t = self._t
        ohm = t.lead_ohm
        if seen.area_dm2 is not None:
            ohm = min(ohm, t.cell_ohm_dm2 / seen.area_dm2)
        drop_v = current_a * ohm
        if drop_v < t.lead_drop_least_v or voltage_v >= drop_v:
            return False
        return seen.at_s - seen.started_s >= t.short_start_s


def _short(seen: Observation, voltage_v: float, past: Observation | None) -> Sign:
    text = f"{voltage_v:.2f} V at {seen.current_a:.2f} A"
    if past is not None and past.voltage_v is not None:
        ago_s = seen.at_s - past.at_s
        text += f"; {past.voltage_v:.2f} V at {past.current_a:.2f} A {ago_s:.1f} s before"
    return Sign(SHORT, text, figures_of(seen))


class NoCurrent:
    """No current though it is asked for: the circuit is open, or the output has dropped.

    Told apart by the voltage: an output that is on holds an open circuit at the voltage ceiling.
    Anything in between says neither, and is left to whoever weighs the current against the plan.
    """

    def __init__(self, thresholds: Thresholds) -> None:
        t = self._t = thresholds
        self._open = Lasting(t.open_on_s, t.open_off_s)
        self._open_from_start = Lasting(t.open_start_s, t.open_off_s)
        self._dropped = Lasting(t.dropped_on_s, t.open_off_s)
        self._said_off = Lasting(t.dropped_start_s, t.open_off_s)
        self.forget()

    def forget(self) -> None:
        """Begin anew."""
        for lasting in (self._open, self._open_from_start, self._dropped, self._said_off):
            lasting.forget()
        self._closed = False
        self._mean_a = 0.0
        self._last_s = float("inf")
        self._signs: tuple[Sign, ...] = ()

    def look(self, seen: Observation) -> tuple[Sign, ...]:
        """Open circuit or dropped output, as of this reading."""
        t, at_s = self._t, seen.at_s
        self._closed = self._closed or self._is_closed(seen)
        none = abs(seen.current_a) < t.zero_a
        enough = seen.set_current_a >= 2.0 * t.zero_a
        # Behind a ramp, and before it has come on, an output shows no more voltage than a dead one.
        was_enough = seen.least_a >= 2.0 * t.zero_a
        missing = none and enough
        off = seen.output_on is False
        gone = off or (seen.voltage_v is not None and seen.voltage_v < t.dropped_v)
        started = at_s - seen.started_s >= t.dropped_start_s
        broken = missing and not gone and at_ceiling(seen, t) is not False
        dropped = self._dropped.seen(none and was_enough and gone and started, at_s)
        said_off = self._said_off.seen(off and not enough and none, at_s)
        open_ = self._open.seen(broken and self._closed, at_s)
        never = self._open_from_start.seen(broken, at_s)
        if not (dropped or said_off or open_ or never):
            self._signs = ()
        elif not self._signs:
            cause = OUTPUT_DROPPED if dropped or said_off else OPEN_CIRCUIT
            self._signs = (Sign(cause, _nothing_flows(seen), figures_of(seen)),)
        return self._signs

    def _is_closed(self, seen: Observation) -> bool:
        """Whether a current shows: in one reading, or a smaller one in the mean of some seconds."""
        weight = min(MEAN_MOST, max(0.0, seen.at_s - self._last_s) / MEAN_S)
        self._last_s = seen.at_s
        self._mean_a += weight * (seen.current_a - self._mean_a)
        return seen.current_a >= 2.0 * self._t.zero_a or self._mean_a >= 1.5 * self._t.zero_a


def _nothing_flows(seen: Observation) -> str:
    text = f"{seen.current_a:.3f} A"
    if seen.voltage_v is not None:
        text += f" at {seen.voltage_v:.2f} V"
    text += f" where {seen.set_current_a:.3f} A is asked for, up to {seen.ceiling_v:.2f} V"
    return text + "; the supply says that its output is off" if seen.output_on is False else text


class VoltageCeiling:
    """The voltage ceiling holds the current below the plan's, and it does not grow."""

    def __init__(self, thresholds: Thresholds) -> None:
        self._t = thresholds
        self._lasting = Lasting(thresholds.ceiling_on_s, thresholds.ceiling_off_s)
        self.forget()

    def forget(self) -> None:
        """Begin anew."""
        self._lasting.forget()
        self._from_a = 0.0
        self._from_s: float | None = None
        self._sign: tuple[Sign, ...] = ()

    def look(self, seen: Observation) -> tuple[Sign, ...]:
        """The voltage ceiling, as of this reading."""
        t, current_a = self._t, seen.current_a
        held = current_a < plan_floor_a(seen.set_current_a, t) and at_ceiling(seen, t) is True
        if not held:
            self._from_s = None
        elif self._from_s is None or self._has_grown(current_a):
            self._from_a, self._from_s = current_a, seen.at_s
            if not self._lasting.believed:
                self._lasting.forget()
        if not self._lasting.seen(held, seen.at_s):
            self._sign = ()
        elif not self._sign:
            since_s = 0.0 if self._from_s is None else seen.at_s - self._from_s
            text = (
                f"{current_a:.3f} A where {seen.set_current_a:.3f} A is asked for: "
                f"{seen.ceiling_v:.2f} V allow no more, and it grew by less than "
                f"{t.ceiling_growth_share:.0%} in {since_s / 60.0:.0f} min"
            )
            self._sign = (Sign(VOLTAGE_CEILING, text, figures_of(seen)),)
        return self._sign

    def _has_grown(self, current_a: float) -> bool:
        t = self._t
        return current_a >= self._from_a * (1.0 + t.ceiling_growth_share) + t.zero_a / 2.0
