"""The cell as it is learned during a run: how its voltage goes with its current. Pure.

Around where it works a cell's voltage goes with a power of its current, V = V₀·(I/I₀)^p: p is 1 for
a bath that is all resistance, and less by what the electrodes need. So everything is judged in
logarithms, ln V - p·ln I, and a share of the voltage is a difference, whatever the tank's size.
A part that falls off a rack of eight is 1/8 of the conductance, on any supply.
"""

from math import exp, log, sqrt
from typing import NamedTuple

from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.observation import Observation

POSSIBLE = (0.3, 1.15)
"""Exponents that a cell can have. What lies outside is a cell that changes, as paint does while it
is being covered, or a current that did not follow."""

FORGET = 0.9
"""Of what is known of the exponent, what is left after each lesson."""

CURVE_U = 0.1
"""Standard uncertainty of one lesson's exponent: a jump covers a stretch of the curve."""


DIGITS = (0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001)
"""V or A. What the last digit of a meter counts in, coarsest first; finer ones matter to nobody."""

DUST = 1e-6
"""Of a digit: differences below it come from rounding."""


class Block(NamedTuple):
    """Some readings taken together, about a second of them.

    at_s, lasts_s: the end and the length, s. log_v, log_a: means of the natural logarithms of
    voltage and current, in V and A. excess: how much more than the learned curve's the voltage is,
    as a difference of logarithms. grain_v, grain_a: what one last digit of each meter is of it.
    jumped: the set-point has jumped, or did so some seconds ago. steady: it has not moved at all.
    """

    at_s: float
    lasts_s: float
    log_v: float
    log_a: float
    excess: float
    grain_v: float
    grain_a: float
    jumped: bool
    steady: bool


class Digit:
    """The last digit of a meter, V or A: the coarsest of which all its readings are multiples.

    0 as long as its reading has not moved: what stands still steps nowhere.
    """

    __slots__ = ("_first", "_index", "size")

    def __init__(self) -> None:
        self._first: float | None = None
        self._index = 0
        self.size = 0.0

    def take(self, value: float) -> None:
        """Take in one reading."""
        if self._index == len(DIGITS) - 1:
            return
        if self._first is None:
            self._first = value
        if value == self._first:
            return
        while self._index < len(DIGITS) - 1:
            digit = DIGITS[self._index]
            if _is_multiple(value, digit) and _is_multiple(self._first, digit):
                break
            self._index += 1
        self.size = DIGITS[self._index]


def _is_multiple(value: float, digit: float) -> bool:
    digits = value / digit
    return abs(digits - round(digits)) < DUST


class Cell:
    """Takes readings together, and learns the cell's curve from jumps and ramps of the set-point.

    Recursive least squares of ln V against ln I with one slope, the exponent, and forgetting
    (Åström and Wittenmark, Adaptive Control; from memory, not checked). Only what was commanded
    teaches: a current that moves by itself is what has to be judged. What voltage a jump leads to
    shifts the curve, not the excess: after it the cell is as good as it was before.
    """

    def __init__(self, thresholds: CellThresholds) -> None:
        self._t = thresholds
        self.forget()

    def forget(self) -> None:
        """Begin anew with a cell never seen."""
        self.exponent = self._t.exponent
        self.exponent_u = self._t.exponent_u
        self._digits = (Digit(), Digit())
        self._set: tuple[float, float] | None = None
        self._settled_s = 0.0
        self._before: tuple[float, float] | None = None
        self._raw = self._shift = 0.0
        self.interrupt()

    def interrupt(self) -> None:
        """No current for a moment: what comes next has to settle, and is no part of this second."""
        self._began_s: float | None = None
        self._empty()

    def _empty(self) -> None:
        self._count = 0
        self._sum_v = self._sum_a = 0.0
        self._steady = True

    def take(self, seen: Observation, log_v: float, log_a: float) -> Block | None:
        """The block that ends with this reading, None while it is not full."""
        if self._began_s is None:
            self._began_s = seen.at_s
            self._settled_s = seen.at_s + self._t.settle_s
            return None
        self._count += 1
        self._sum_v += log_v
        self._sum_a += log_a
        self._digits[0].take(seen.voltage_v or 0.0)
        self._digits[1].take(seen.current_a)
        if seen.steady_s < self._t.settle_s:
            self._steady = False
        lasts_s = seen.at_s - self._began_s
        # A reading that comes a little early still ends its second.
        if lasts_s < 0.9 * self._t.block_s:
            return None
        block = self._block(seen, lasts_s)
        self._began_s = seen.at_s
        self._empty()
        return block

    def _block(self, seen: Observation, lasts_s: float) -> Block:
        log_v, log_a = self._sum_v / self._count, self._sum_a / self._count
        if self._has_jumped(seen, lasts_s):
            self._settled_s = seen.at_s + self._t.settle_s
            self._learn(log_v, log_a)
        jumped = seen.at_s < self._settled_s
        raw = log_v - self.exponent * log_a
        if self._before is None:
            self._shift = raw
        elif jumped:
            self._shift += raw - self._raw
        self._raw, self._before = raw, (log_v, log_a)
        return Block(
            seen.at_s,
            lasts_s,
            log_v,
            log_a,
            raw - self._shift,
            self._digits[0].size * exp(-log_v),
            self._digits[1].size * exp(-log_a) * self.exponent,
            jumped,
            self._steady,
        )

    def _has_jumped(self, seen: Observation, lasts_s: float) -> bool:
        """Whether the set-points moved faster than a ramp that can be followed."""
        now = (max(seen.set_current_a, self._t.zero_a), max(seen.ceiling_v, self._t.least_v))
        before, self._set = self._set, now
        if before is None:
            return False
        most = self._t.jump_share_per_s * lasts_s
        return max(abs(log(new / old)) for new, old in zip(now, before, strict=True)) > most

    def _learn(self, log_v: float, log_a: float) -> None:
        """Learn the exponent from two blocks with a commanded move between them."""
        if self._before is None:
            return
        moved_a = log_a - self._before[1]
        moved_v = log_v - self._before[0]
        if abs(moved_a) < self._t.jump_share_per_s:
            return
        found = moved_v / moved_a
        if not POSSIBLE[0] <= found <= POSSIBLE[1]:
            return
        known = min(self._t.exponent_u**2, self.exponent_u**2 / FORGET)
        gain = known / (known + CURVE_U**2)
        self.exponent += gain * (found - self.exponent)
        self.exponent_u = max(self._t.exponent_least_u, sqrt((1.0 - gain) * known))
