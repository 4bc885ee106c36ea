"""A plan's course as it stands in its file: which current when, and how much charge by then.

What nobody can foresee is left out: a stage whose end is the cell's voltage goes on until its other
end comes. Times are s of plating from the start, without holds.
"""

from dataclasses import dataclass

from daemon.control.forecast import stretches
from daemon.control.plan import Plan


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
    return tuple(
        Leg(each.stage.name, each.begins_s, each.begins_s + each.lasts_s, each.points())
        for each in stretches(plan.stages, um_per_ah, plan.target_um / um_per_ah)
        if each.ended_by is not None
    )
