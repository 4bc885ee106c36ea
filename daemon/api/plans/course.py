"""A plan's way from nothing to its target, as it is drawn and told."""

import math
from collections.abc import Iterator

from daemon.api.socket.plans import PlanCourse, StageCourse
from daemon.control.feasibility import Course
from daemon.control.forecast import Stretch
from daemon.control.plan import Plan


def plan_course(plan: Plan, way: Course) -> PlanCourse | None:
    """How the plan goes on this way; None where that cannot be put into figures.

    It is the forecast by which a start refuses a plan, and nothing of it is worked out here.
    """
    stretches = way.stretches()
    points = [point for stretch in stretches for point in _points(stretch)]
    ends = all(math.isfinite(stretch.lasts_s) for stretch in stretches)
    if not ends or not all(math.isfinite(value) for point in points for value in point):
        return None
    return PlanCourse(
        area_dm2=plan.area_dm2,
        target_um=plan.target_um,
        reached=way.target_ah is not None and stretches[-1].to_ah >= way.target_ah,
        stages=tuple(_stage(each, way.um_per_ah) for each in stretches),
        times_s=tuple(at_s for at_s, _, _ in points),
        current_a=tuple(current_a for _, current_a, _ in points),
        thickness_um=tuple(charge_ah * way.um_per_ah for _, _, charge_ah in points),
    )


def _points(stretch: Stretch) -> Iterator[tuple[float, float, float]]:
    """The corners of a stretch with the current that it takes over, which may jump at its start."""
    yield stretch.begins_s, stretch.from_a, stretch.from_ah
    if math.isfinite(stretch.lasts_s):
        yield from stretch.points()


def _stage(stretch: Stretch, um_per_ah: float) -> StageCourse:
    stage = stretch.stage
    return StageCourse(
        name=stage.name,
        begins_s=stretch.begins_s,
        ends_s=stretch.begins_s + stretch.lasts_s,
        from_a=stretch.from_a,
        current_a=stage.current_a,
        ramp_s=stage.ramp_s,
        charge_ah=stretch.to_ah - stretch.from_ah,
        to_um=stretch.to_ah * um_per_ah,
        ended_by=stretch.ended_by or "nothing",
        sooner_below_v=stage.until.cell_voltage_below_v,
    )
