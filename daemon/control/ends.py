"""Which end comes next: of a stage, of the whole plan, or a cap; and when, at the present current.

Ends by charge and time are predicted from the last reading, so that the loop can wake at that very
moment instead of a tick later.
"""

import math
from dataclasses import dataclass

from daemon.control.charge import SECONDS_PER_HOUR, Count
from daemon.control.situation import Progress, Run

TARGET = "target"
CHARGE_CAP = "cap on charge"
DURATION_CAP = "cap on time"
STAGE_CHARGE = "charge"
STAGE_THICKNESS = "thickness"
STAGE_DURATION = "duration"
STAGE_VOLTAGE = "cell voltage"

ENDS_OF_RUN = frozenset({TARGET, CHARGE_CAP, DURATION_CAP})


@dataclass(frozen=True, slots=True)
class End:
    """An end by name, and the monotonic time at which it is reached, s; inf when never."""

    name: str
    at_s: float


def next_end(run: Run, progress: Progress, count: Count, now_s: float, settle_s: float) -> End:
    """The first end to come. It is due when its `at_s` is not after `now_s`.

    The run's own ends win over a stage's at the same moment. The cap on charge is held against the
    greatest charge that can have passed, the target and the stages against the best estimate.
    """
    until = run.plan.stages[progress.stage].until
    best_ah = count.best_ah
    # The one conversion of all charge ends: seconds per A·h at the last reading's current.
    s_per_ah = SECONDS_PER_HOUR / count.last_a if count.last_a > 0 else math.inf
    last_s = count.last_s

    name, at_s = TARGET, _moment(run.target_ah - best_ah, s_per_ah, last_s)
    moment_s = _moment(run.plan.charge_cap_ah - count.greatest_ah, s_per_ah, last_s)
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
    if since_s is not None and seen_s is not None and seen_s - since_s >= settle_s:
        # Never foreseen, always seen: silence is no proof that the voltage stayed low.
        moment_s = since_s + settle_s
        if moment_s < at_s:
            name, at_s = STAGE_VOLTAGE, moment_s
    return End(name, at_s)


def _moment(left_ah: float, s_per_ah: float, last_s: float) -> float:
    """When `left_ah` will have passed; a charge already passed is due since the last reading."""
    if left_ah <= 0:
        return last_s
    return last_s + left_ah * s_per_ah
