"""The voltage's slow rise at the same current: an anode that polarises. Pure."""

from math import exp

from daemon.control.protection.alarms import Figures, Sign
from daemon.control.protection.causes import VOLTAGE_DRIFT
from daemon.control.protection.detectors.cell import Block
from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.lasting import Lasting

SECONDS_PER_HOUR = 3600.0


class VoltageDrift:
    """A cell that conducts less and less, beyond what the bath's temperature may do to it.

    The level that it is held against falls with the voltage at once, as at the start on paint, and
    rises with it no faster than a bath cools, and no further.
    """

    def __init__(self, thresholds: CellThresholds) -> None:
        self._t = thresholds
        self._lasting = Lasting(thresholds.drift_on_s, thresholds.drift_off_s)
        self.forget()

    def forget(self) -> None:
        """Begin anew."""
        self._lasting.forget()
        self._last: float | None = None
        self._smooth = self._lowest = self._allowed = 0.0
        self._since_s = 0.0
        self.signs: tuple[Sign, ...] = ()

    def look(self, block: Block, excess: float) -> None:
        """Bring `signs` up to date with one more block, whose `excess` no step explains.

        While the set-point moves the curve is not known well enough: the level goes along.
        """
        last, self._last = self._last, excess
        if last is None:
            self._smooth = self._lowest = self._allowed = excess
            self._since_s = block.at_s
            return
        if not block.steady:
            moved = excess - last
            self._smooth += moved
            self._lowest += moved
            self._allowed += moved
            return
        t = self._t
        self._smooth += min(1.0, block.lasts_s / t.drift_s) * (excess - self._smooth)
        allowed = self._allowed + t.drift_bath_per_h / SECONDS_PER_HOUR * block.lasts_s
        self._allowed = min(self._smooth, allowed, self._lowest + t.drift_bath_most)
        if self._smooth < self._lowest:
            self._lowest, self._since_s = self._smooth, block.at_s
        beyond = self._smooth - self._allowed
        there = beyond > (t.drift_back if self.signs else t.drift_rise)
        if not self._lasting.seen(there, block.at_s):
            self.signs = ()
        elif not self.signs:
            self.signs = (self._sign(block),)

    def _sign(self, block: Block) -> Sign:
        rise = exp(self._smooth - self._lowest) - 1.0
        minutes = (block.at_s - self._since_s) / 60.0
        voltage_v, current_a = exp(block.log_v), exp(block.log_a)
        text = (
            f"{voltage_v:.2f} V at {current_a:.2f} A: {rise:.0%} more than at the least, "
            f"{minutes:.0f} min before"
        )
        figures: Figures = {
            "voltage_v": round(voltage_v, 4),
            "current_a": round(current_a, 4),
            "rise_percent": round(100.0 * rise, 1),
        }
        return Sign(VOLTAGE_DRIFT, text, figures)
