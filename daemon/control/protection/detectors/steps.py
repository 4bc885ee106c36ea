"""Steps of a cell's conductance: found between what was before and what is after. Pure.

A change-point test on a sliding window (Basseville and Nikiforov, Detection of Abrupt Changes; from
memory, not checked): the mean of some blocks after a moment against that of as many before. The
noise is learned, in V, from how each block departs from the middle of its neighbours, which neither
a slope nor a slow curve does. That is done with blocks of about 1, 3 and 9 s: the short ones are
quick, the long ones see through noise.
"""

from collections import deque
from math import exp, sqrt
from typing import NamedTuple

from daemon.control.protection.detectors.cell import Block
from daemon.control.protection.detectors.cell_thresholds import CellThresholds

SIGMA_OF_BEND = 0.5117
"""Standard deviation over mean |a - 2b + c| of a normal law: √(π/2)/√6."""

BEND_MOST = 4.0
"""Times its mean: what a bend counts for at the most, so that a step teaches no noise."""

SLOPE_MEMORY = 20
"""Blocks over which the slope is averaged."""

DUST_V = 1e-4
"""V of noise that may be there where none was seen."""

DOUBTS, DOUBTS_ON_RAMP = 3.0, 6.0
"""Standard uncertainties of the curve that a step over a change of the current has to pass; on a
ramp, where the step may be one of the ramp's own, as at its ends."""

DUST_SLOPE = 1e-9
"""A block: no slope at all."""

DIGITS = 1.5
"""Times the last digit: a value that crosses from one to the next steps by one."""

NO_STEP = (0.0, 1.0, 0.0)

FIRST_BENDS = 5
"""Bends before anything is judged."""


class Level(NamedTuple):
    """Where the cell was on one side of a step: see `Block`."""

    excess: float
    log_v: float
    log_a: float


class Step(NamedTuple):
    """A step of the cell's resistance: up is positive, as a difference of logarithms.

    slope_per_s: how the resistance was changing besides, 1/s.
    """

    at_s: float
    size: float
    slope_per_s: float
    before: Level
    after: Level


class StepFinder:
    """Looks for steps with blocks of its own: as many of the cell's as make `span_s`, s.

    after_blocks: how many of the cell's lie after the last one that was before a step. slope: how
    the excess changes in a block, steps left out.
    """

    def __init__(self, span_s: float, thresholds: CellThresholds) -> None:
        self._t = thresholds
        self._span_s = span_s
        self._side = thresholds.step_side
        self.forget()

    def forget(self) -> None:
        """Begin anew, with noise never seen."""
        self.after_blocks = 0
        self._bends = self._rises = 0
        self._noise_v = 0.0
        self.slope = 0.0
        self._was_steady = True
        self.clear()

    def clear(self) -> None:
        """Compare nothing after this moment with anything before it. The noise stays known."""
        self._window: deque[Level] = deque(maxlen=2 * self._side + 1)
        self._ends: deque[float] = deque(maxlen=self._side + 1)
        self._slopes: deque[float] = deque(maxlen=self._side + 2)
        self._moved = 0
        self._empty()

    def _empty(self) -> None:
        self._count = 0
        self._lasts_s = self._excess = self._log_v = self._log_a = 0.0

    @property
    def sigma_v(self) -> float:
        """Standard deviation of a block, V, as far as it is known; 0 while it is not."""
        if self._bends < FIRST_BENDS:
            return 0.0
        return SIGMA_OF_BEND * self._noise_v

    def add(self, block: Block, exponent_u: float, wander_v: float) -> Step | None:
        """A step that stands in the middle of the window, now that this block has come in.

        wander_v: standard deviation of longer blocks, V. What wanders for some seconds, as over a
        stirred bath, shows less from block to block than it is.
        """
        self._count += 1
        self._excess += block.excess
        self._log_v += block.log_v
        self._log_a += block.log_a
        self._lasts_s += block.lasts_s
        if not block.steady:
            self._moved = 2 * self._side + 2
        if block.steady is not self._was_steady:
            # On a ramp the slope is the curve's error, and at rest it is how the cell changes.
            self._was_steady = block.steady
            self._rises = 0
        if self._lasts_s < 0.9 * self._span_s:
            return None
        n = self._count
        self._moved = max(0, self._moved - 1)
        self.after_blocks = (self._side + 1) * n
        window = self._window
        window.append(Level(self._excess / n, self._log_v / n, self._log_a / n))
        self._ends.append(block.at_s)
        self._empty()
        self._learn()
        self._slopes.append(self.slope)
        if len(window) < 2 * self._side + 1 or self._bends < FIRST_BENDS:
            return None
        return self._judged(block, exponent_u, wander_v)

    def _learn(self) -> None:
        if len(self._window) < 3:
            return
        first, middle, last = (self._window[i].excess for i in (-3, -2, -1))
        bend_v = abs(first - 2.0 * middle + last) * exp(self._window[-1].log_v)
        rise = last - middle
        if self._bends >= FIRST_BENDS:
            bend_v = min(bend_v, BEND_MOST * self._noise_v + DUST_V)
            most = BEND_MOST * (self._noise_v + DUST_V) * exp(-self._window[-1].log_v)
            rise = min(max(rise, self.slope - most), self.slope + most)
        self._bends += 1
        self._rises += 1
        self._noise_v += (bend_v - self._noise_v) / min(self._bends, self._t.step_learn)
        self.slope += (rise - self.slope) / min(self._rises, SLOPE_MEMORY)

    def _judged(self, block: Block, exponent_u: float, wander_v: float) -> Step | None:
        side, window = self._side, list(self._window)
        older, newer = window[:side], window[side + 1 :]
        old, new = [level.excess for level in older], [level.excess for level in newer]
        moved_a = (sum(level.log_a for level in newer) - sum(level.log_a for level in older)) / side
        per_v = self._t.step_sigmas * exp(-newer[0].log_v)
        # Noise that was learned from few bends may be greater than it seems.
        noise = per_v * self.sigma_v * (1.0 + 4.0 / self._bends)
        wander = per_v * sqrt(2.0) * wander_v
        doubts = DOUBTS if self._moved == 0 else DOUBTS_ON_RAMP
        doubt = doubts * exponent_u * abs(moved_a)
        # A current that stands still steps by no digit.
        grain = block.grain_v + (block.grain_a if abs(moved_a) > 0.25 * block.grain_a else 0.0)
        for size, noisier, slope in (self._plain(old, new), self._against_slope(old, new)):
            least = self._t.part_least if size > 0.0 else self._t.whisker_least
            # A whisker stops nothing: rather one too many is told than one overlooked.
            wandering = wander if size > 0.0 else 0.0
            if abs(size) > max(DIGITS * grain, least, noise * noisier, wandering) + doubt:
                slope_per_s = slope * side / (self._ends[-1] - self._ends[0])
                return Step(self._ends[0], size, slope_per_s, _mean(older), _mean(newer))
        return None

    def _plain(self, old: list[float], new: list[float]) -> tuple[float, float, float]:
        """The step, 0 if it is none, that is plain to see; its noise for a block's of 1; the slope.

        That is the one learned before the step, a block.
        """
        side, before = self._side, self._slopes[0]
        seen = (sum(new) - sum(old)) / side
        # The slope now may hold something of the step, and the one before is that of some time ago.
        slope = max(before, self.slope) if seen > 0.0 else min(before, self.slope)
        beyond_slope = seen - (side + 1) * slope
        if seen * beyond_slope <= 0.0:
            return NO_STEP
        # Two slopes lie between the last block before and the first after.
        sloped = max(0.0, 2.0 * slope if seen > 0.0 else -2.0 * slope)
        most = max(seen, beyond_slope, key=abs)
        if _apart(old, new, seen) - sloped < self._t.step_apart * abs(most):
            return NO_STEP
        return min(seen, beyond_slope, key=abs), sqrt(2.0 / side), before

    def _against_slope(self, old: list[float], new: list[float]) -> tuple[float, float, float]:
        """The same for a step that a slope hides, the slope being that of both sides.

        Whatever is symmetric about the middle, as a bend is, makes no step of it. The slope has to
        be one that was there before.
        """
        side = self._side
        centre = 0.5 * (side - 1)
        squares = 2.0 * sum((i - centre) ** 2 for i in range(side))
        slope = sum((i - centre) * (a + b) for i, (a, b) in enumerate(zip(old, new, strict=True)))
        slope /= squares
        if not 0.0 < slope / (self._slopes[0] or DUST_SLOPE) < 2.0:
            return NO_STEP
        old = [value - slope * (i - side) for i, value in enumerate(old)]
        new = [value - slope * (i + 1) for i, value in enumerate(new)]
        size = (sum(new) - sum(old)) / side
        if _apart(old, new, size) < self._t.step_apart * abs(size):
            return NO_STEP
        return size, sqrt(2.0 / side + (side + 1) ** 2 / squares), slope


def _apart(old: list[float], new: list[float], size: float) -> float:
    """What lies between all of one side and all of the other, in the direction of `size`."""
    return min(new) - max(old) if size > 0.0 else min(old) - max(new)


def _mean(levels: list[Level]) -> Level:
    n = len(levels)
    return Level(
        sum(level.excess for level in levels) / n,
        sum(level.log_v for level in levels) / n,
        sum(level.log_a for level in levels) / n,
    )
