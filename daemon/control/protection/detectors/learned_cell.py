"""The detectors that learn the cell during the run, and what they share. Pure."""

from math import log

from daemon.control.protection.alarms import Sign
from daemon.control.protection.detectors.cell import Cell
from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.contact import BadContact, Restless
from daemon.control.protection.detectors.drift import VoltageDrift
from daemon.control.protection.detectors.observation import Observation
from daemon.control.protection.detectors.parts import PartsAndWhiskers


class LearnedCell:
    """Lost parts, whiskers, bad contacts and drift: what the learned cell does not explain.

    It needs no tuning: the cell's curve and its noise are learned from the run's own readings,
    anew each time the output goes on.
    """

    def __init__(self, thresholds: CellThresholds) -> None:
        self._t = thresholds
        self._cell = Cell(thresholds)
        self._restless = Restless(thresholds)
        self._contact = BadContact(thresholds)
        self._parts = PartsAndWhiskers(thresholds)
        self._drift = VoltageDrift(thresholds)
        self._grain = 0.0

    def forget(self) -> None:
        """Begin anew: another part may hang in the tank by the next time."""
        for part in (self._cell, self._restless, self._contact, self._parts, self._drift):
            part.forget()

    def look(self, seen: Observation) -> tuple[Sign, ...]:
        """What of all that is there, as of this reading."""
        voltage_v, current_a = seen.voltage_v, seen.current_a
        if voltage_v is None:
            return self._signs()
        if voltage_v < self._t.least_v or current_a < 2.0 * self._t.zero_a:
            self._cell.interrupt()
            self._restless.interrupt()
            self._parts.clear()
            return self._signs()
        log_v, log_a = log(voltage_v), log(current_a)
        value = log_v - self._cell.exponent * log_a
        self._restless.take(seen.at_s, value, voltage_v, self._grain, self._parts.slope_per_s)
        self._contact.look(seen, self._restless)
        block = self._cell.take(seen, log_v, log_a)
        if block is None:
            return self._signs()
        self._grain = block.grain_v + block.grain_a
        if block.jumped:
            self._restless.interrupt()
            self._parts.clear()
        elif self._contact.signs:
            # A contact's jumps are no steps, and its end is none.
            self._parts.clear()
        else:
            self._parts.look(block, self._cell.exponent_u, self._restless)
            if not self._restless.has_grown:
                self._drift.look(block, block.excess - self._parts.shift)
        return self._signs()

    def _signs(self) -> tuple[Sign, ...]:
        return self._parts.signs + self._contact.signs + self._drift.signs
