"""Steps of a cell's conductance: found between what was before and what is after. Pure.

A change-point test on a sliding window (Basseville and Nikiforov, Detection of Abrupt Changes; from
memory, not checked): the mean of some blocks after a moment against that of as many before. The
noise is learned from how each block departs from the middle of its neighbours, which neither a
slope nor a slow curve does. That is done with blocks of about 1, 3 and 9 s: the short ones are
quick, the long ones see through noise.
"""

from collections import deque
from math import sqrt
from typing import NamedTuple

from daemon.control.protection.cell import Block
from daemon.control.protection.cell_thresholds import CellThresholds

SIGMA_OF_BEND = 0.5117
"""Standard deviation over mean |a - 2b + c| of a normal law: √(π/2)/√6."""

BEND_MOST = 4.0
"""Times its mean: what a bend counts for at the most, so that a step teaches no noise."""

SLOPE_MEMORY = 20
"""Blocks over which the slope is averaged."""

FIRST_BENDS = 5
"""Bends before anything is judged."""


class Level(NamedTuple):
    """Where the cell was on one side of a step: see `Block`."""

    excess: float
    log_v: float
    log_a: float


class Step(NamedTuple):
    """A step of the cell's resistance: up is positive, as a difference of logarithms."""

    at_s: float
    size: float
    before: Level
    after: Level


class StepFinder:
    """Looks for steps with blocks of its own: `blocks` of the cell's make one."""

    def __init__(self, blocks: int, thresholds: CellThresholds) -> None:
        self._t = thresholds
        self._blocks = blocks
        self._side = thresholds.step_side
        self.forget()

    def forget(self) -> None:
        """Begin anew, with noise never seen."""
        self._bends = 0
        self._noise = 0.0
        self._slope = 0.0
        self.clear()

    def clear(self) -> None:
        """Compare nothing after this moment with anything before it. The noise stays known."""
        self._window: deque[Level] = deque(maxlen=2 * self._side + 1)
        self._ends: deque[float] = deque(maxlen=self._side + 1)
        self._count = 0
        self._excess = self._log_v = self._log_a = 0.0

    def add(self, block: Block, exponent_u: float) -> Step | None:
        """A step that stands in the middle of the window, now that this block has come in."""
        self._count += 1
        self._excess += block.excess
        self._log_v += block.log_v
        self._log_a += block.log_a
        n = self._count
        if n < self._blocks:
            return None
        window = self._window
        window.append(Level(self._excess / n, self._log_v / n, self._log_a / n))
        self._ends.append(block.at_s)
        self._count = 0
        self._excess = self._log_v = self._log_a = 0.0
        self._learn()
        if len(window) < 2 * self._side + 1 or self._bends < FIRST_BENDS:
            return None
        return self._judged(exponent_u, block.grain)

    def _learn(self) -> None:
        if len(self._window) < 3:
            return
        first, middle, last = (self._window[i].excess for i in (-3, -2, -1))
        bend = abs(first - 2.0 * middle + last)
        rise = last - middle
        if self._bends >= FIRST_BENDS:
            most = BEND_MOST * max(self._noise, 1e-4)
            bend = min(bend, most)
            rise = min(max(rise, self._slope - most), self._slope + most)
        self._bends += 1
        self._noise += (bend - self._noise) / min(self._bends, self._t.step_learn)
        self._slope += (rise - self._slope) / min(self._bends, SLOPE_MEMORY)

    def _judged(self, exponent_u: float, grain: float) -> Step | None:
        side, window = self._side, list(self._window)
        older, newer = window[:side], window[side + 1 :]
        old, new = [level.excess for level in older], [level.excess for level in newer]
        seen = (sum(new) - sum(old)) / side
        beyond_slope = seen - (side + 1) * self._slope
        if seen * beyond_slope <= 0.0:
            return None
        size = min(seen, beyond_slope, key=abs)
        moved_a = (sum(level.log_a for level in newer) - sum(level.log_a for level in older)) / side
        if abs(size) <= max(grain, self._least(size, moved_a, exponent_u)):
            return None
        apart = min(new) - max(old) if size > 0.0 else min(old) - max(new)
        # Two slopes lie between the last block before and the first after.
        sloped = max(0.0, 2.0 * self._slope if size > 0.0 else -2.0 * self._slope)
        if apart - sloped < self._t.step_apart * max(abs(seen), abs(beyond_slope)):
            return None
        return Step(self._ends[0], size, _mean(older), _mean(newer))

    def _least(self, size: float, moved_a: float, exponent_u: float) -> float:
        """What a step has to be greater than, by its sign, noise, and the doubt of the curve."""
        t = self._t
        sigma = SIGMA_OF_BEND * self._noise * sqrt(2.0 / self._side)
        # Noise that was learned from few bends may be greater than it seems.
        noise = t.step_sigmas * sigma * (1.0 + 4.0 / self._bends)
        least = t.part_least if size > 0.0 else t.whisker_least
        return max(least, noise) + 2.0 * exponent_u * abs(moved_a)


def _mean(levels: list[Level]) -> Level:
    n = len(levels)
    return Level(
        sum(level.excess for level in levels) / n,
        sum(level.log_v for level in levels) / n,
        sum(level.log_a for level in levels) / n,
    )
