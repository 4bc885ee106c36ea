"""Whether a plan can work at all, told before anything is energised."""

from dataclasses import dataclass

from daemon.chemistry.electrolysis import um_per_ah
from daemon.chemistry.uncertainty import NO_DOUBT, MeterDoubt
from daemon.control.doubt import sure_target_ah
from daemon.control.forecast import Foreseen, walk
from daemon.control.plan import Plan, Stage
from daemon.control.situation import NOTHING_CARRIED, Carried
from drivers.contracts import Rating

RELATIVE_SLACK = 1e-9
"""Figures that people write to three places must not fail on the last bit of a float."""


@dataclass(frozen=True, slots=True)
class Course:
    """A plan's way from what is on the part already to its target.

    target_ah: the charge on the part at the target, as sure as the plan wants it; None if nothing
    makes it that sure. done_ah: what is there already, stage_done_ah: of the first stage's own.
    """

    stages: tuple[Stage, ...]
    um_per_ah: float
    target_ah: float | None
    done_ah: float
    stage_done_ah: float

    def to(self, added_ah: float) -> Foreseen:
        """The way until `added_ah` more are on the part, or the last stage's end."""
        return walk(
            self.stages,
            self.um_per_ah,
            self.done_ah + added_ah,
            done_ah=self.done_ah,
            stage_done_ah=self.stage_done_ah,
        )


def course(plan: Plan, doubt: MeterDoubt = NO_DOUBT, carried: Carried = NOTHING_CARRIED) -> Course:
    """The way of a plan that begins or goes on with what is `carried`."""
    growth = um_per_ah(plan.metal, plan.area_dm2, plan.efficiency)
    done_ah = carried.charge_ah + (carried.gap_least_ah + carried.gap_greatest_ah) / 2
    return Course(
        plan.stages[carried.stage :],
        growth,
        sure_target_ah(plan, plan.target_um / growth, doubt),
        done_ah,
        done_ah - carried.stage_from_ah,
    )


def problems(
    plan: Plan,
    rating: Rating,
    doubt: MeterDoubt = NO_DOUBT,
    carried: Carried = NOTHING_CARRIED,
) -> list[str]:
    """Every reason why `plan` cannot work, in words; none if it can.

    `rating` is the supply's, narrowed by what the meters can take; `doubt` is that of the meter
    that counts; `carried` is what is on the part already.
    """
    found: list[str] = []
    if carried.stage >= len(plan.stages):
        return [f"all {len(plan.stages)} stages are done on this part"]
    for number, stage in enumerate(plan.stages, start=1):
        where = f"stage {number}, {stage.name!r}"
        if stage.current_a > rating.current_a * (1 + RELATIVE_SLACK):
            found.append(
                f"{where}: asks for {stage.current_a:.6g} A, at most "
                f"{rating.current_a:.6g} A can be given and measured"
            )
        if stage.current_a < rating.current_step_a:
            found.append(
                f"{where}: asks for {stage.current_a:.6g} A, less than the supply's smallest "
                f"step of {rating.current_step_a:.6g} A"
            )
        if stage.voltage_ceiling_v > rating.voltage_v * (1 + RELATIVE_SLACK):
            found.append(
                f"{where}: voltage ceiling {stage.voltage_ceiling_v:.6g} V, the supply gives at "
                f"most {rating.voltage_v:.6g} V"
            )
        if stage.voltage_ceiling_v < rating.voltage_step_v:
            found.append(
                f"{where}: voltage ceiling {stage.voltage_ceiling_v:.6g} V, less than the "
                f"supply's smallest step of {rating.voltage_step_v:.6g} V"
            )
    return found or _out_of_reach(plan, doubt, carried)


def _out_of_reach(plan: Plan, doubt: MeterDoubt, carried: Carried) -> list[str]:
    way = course(plan, doubt, carried)
    if way.target_ah is None:
        return [
            f"target {plan.target_um:.6g} µm cannot be reached with {plan.confidence:.4g} "
            "confidence: area, efficiency and meter are known too little for that"
        ]
    growth = way.um_per_ah
    if way.done_ah >= way.target_ah:
        done_um = way.done_ah * growth
        return [f"{done_um:.6g} µm are on the part, the target is {plan.target_um:.6g} µm"]
    foreseen = way.to(way.target_ah - way.done_ah)
    if not foreseen.reached:
        return [
            f"target {plan.target_um:.6g} µm is out of reach: the stages end at "
            f"{foreseen.charge_ah * growth:.6g} µm"
        ]
    found: list[str] = []
    if way.target_ah > plan.charge_cap_ah * (1 + RELATIVE_SLACK):
        found.append(
            f"target {plan.target_um:.6g} µm needs {way.target_ah:.6g} Ah, the cap on charge is "
            f"{plan.charge_cap_ah:.6g} Ah"
        )
    if foreseen.duration_s > plan.duration_cap_s * (1 + RELATIVE_SLACK):
        found.append(
            f"target {plan.target_um:.6g} µm needs {foreseen.duration_s / 3600:.6g} h at the "
            f"stages' currents, the cap on time is {plan.duration_cap_s / 3600:.6g} h"
        )
    return found
