"""Which end comes next: of a stage, of the whole plan, or a cap; and when, at the present current.

Ends by charge and time are predicted from the last reading, so that the loop can wake at that very
moment instead of a tick later.
"""

import math
from dataclasses import dataclass

from daemon.control.charge import SECONDS_PER_HOUR, Count
from daemon.control.doubt import wanted_ah
from daemon.control.end_names import (
    CHARGE_CAP,
    DURATION_CAP,
    STAGE_CHARGE,
    STAGE_DURATION,
    STAGE_THICKNESS,
    STAGE_VOLTAGE,
    TARGET,
)
from daemon.control.situation import Limits, Progress, Run

ROUNDING_S = 1e-6
"""Sums of times round. Without room for that, an end that the loop woke up for may be found to be
due a moment later, again and again. In a microsecond no supply deposits anything to speak of."""


@dataclass(frozen=True, slots=True)
class End:
    """An end by name, and the monotonic time at which it is reached, s; inf when never."""

    name: str
    at_s: float

    def is_due(self, now_s: float) -> bool:
        """Whether it is reached."""
        return self.at_s <= now_s + ROUNDING_S


def next_end(run: Run, progress: Progress, count: Count, now_s: float, limits: Limits) -> End:
    """The first end to come.

    At the same moment the first of these wins: target, cap on charge, cap on time, and the stage's
    charge, thickness, duration and voltage. The cap on charge is held against the greatest charge
    that can have passed, the target and the stages against the best estimate.
    """
    until = run.plan.stages[progress.stage].until
    best_ah = count.best_ah
    s_per_ah = _s_per_ah(count.last_a)
    last_s = count.last_s

    name, at_s = TARGET, _moment(wanted_ah(run, count) - best_ah, s_per_ah, last_s)
    moment_s = _cap_moment(run.plan.charge_cap_ah, count, now_s, limits.gap_s)
    if moment_s < at_s:
        name, at_s = CHARGE_CAP, moment_s
    moment_s = now_s + run.plan.duration_cap_s - progress.running_s
    if moment_s < at_s:
        name, at_s = DURATION_CAP, moment_s
    if until.charge_ah is not None:
        left_ah = until.charge_ah - (best_ah - progress.stage_from_ah)
        moment_s = _moment(left_ah, s_per_ah, last_s)
        if moment_s < at_s:
            name, at_s = STAGE_CHARGE, moment_s
    if until.thickness_um is not None:
        moment_s = _moment(until.thickness_um / run.um_per_ah - best_ah, s_per_ah, last_s)
        if moment_s < at_s:
            name, at_s = STAGE_THICKNESS, moment_s
    if until.duration_s is not None:
        moment_s = now_s + until.duration_s - progress.stage_elapsed_s
        if moment_s < at_s:
            name, at_s = STAGE_DURATION, moment_s
    since_s, seen_s = progress.below_since_s, progress.below_last_s
    if since_s is not None and seen_s is not None and seen_s - since_s >= limits.settle_s:
        # Never foreseen, always seen: silence is no proof that the voltage stayed low.
        moment_s = since_s + limits.settle_s
        if moment_s < at_s:
            name, at_s = STAGE_VOLTAGE, moment_s
    return End(name, at_s)


def _s_per_ah(current_a: float) -> float:
    return SECONDS_PER_HOUR / current_a if current_a > 0 else math.inf


def _cap_moment(cap_ah: float, count: Count, now_s: float, gap_s: float) -> float:
    """When the greatest possible charge reaches the cap: in a gap, it is the set-point's."""
    current_a = count.last_a if now_s - count.last_s <= gap_s else count.greatest_a
    return _moment(cap_ah - count.greatest_ah, _s_per_ah(current_a), count.last_s)


def _moment(left_ah: float, s_per_ah: float, last_s: float) -> float:
    """When `left_ah` will have passed; a charge already passed is due since the last reading."""
    if left_ah <= 0:
        return last_s
    return last_s + left_ah * s_per_ah
