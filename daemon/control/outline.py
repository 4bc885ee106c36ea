"""A plan's course as it stands in its file: which current when, and how much charge by then.

What nobody can foresee is left out: a stage whose end is the cell's voltage goes on until its other
end comes. Times are s of plating from the start, without holds.
"""

import math
from dataclasses import dataclass

from daemon.control.forecast import charge_over, current_at, duration_for, stage_span
from daemon.control.plan import Plan

RAMP_POINTS = 8
"""Points of a ramp, over which the charge is a parabola."""


@dataclass(frozen=True, slots=True)
class Leg:
    """A stage as planned: when it begins and ends, s, and what it asks for meanwhile.

    points: its corners, each s from the run's start, A, and the run's charge by then, A·h.
    """

    name: str
    begins_s: float
    ends_s: float
    points: tuple[tuple[float, float, float], ...]


def outline(plan: Plan, um_per_ah: float) -> tuple[Leg, ...]:
    """The stages of a plan that begins with a bare part, until its target.

    um_per_ah turns charge into thickness. A stage that asks for no current for ever ends them.
    """
    target_ah = plan.target_um / um_per_ah
    legs: list[Leg] = []
    at_s = charge_ah = from_a = 0.0
    for stage in plan.stages:
        to_target_s = duration_for(stage, from_a, 0.0, target_ah - charge_ah)
        span_s = min(to_target_s, stage_span(stage, um_per_ah, charge_ah, 0.0, from_a, 0.0))
        if math.isinf(span_s):
            break
        ramp_s = min(stage.ramp_s, span_s)
        inner = [k / RAMP_POINTS * ramp_s for k in range(RAMP_POINTS)] if ramp_s else []
        points = tuple(
            (
                at_s + t,
                current_at(stage, from_a, t),
                charge_ah + charge_over(stage, from_a, 0.0, t),
            )
            for t in (*inner, ramp_s, span_s)
        )
        legs.append(Leg(stage.name, at_s, at_s + span_s, points))
        at_s, from_a, charge_ah = at_s + span_s, points[-1][1], points[-1][2]
        if to_target_s <= span_s:
            break
    return tuple(legs)
