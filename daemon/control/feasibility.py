"""Whether a plan can work at all, told before anything is energised."""

from daemon.chemistry.electrolysis import um_per_ah
from daemon.chemistry.uncertainty import NO_DOUBT, MeterDoubt
from daemon.control.doubt import sure_target_ah
from daemon.control.forecast import walk
from daemon.control.plan import Plan
from daemon.control.situation import NOTHING_CARRIED, Carried
from drivers.contracts import Rating

RELATIVE_SLACK = 1e-9
"""Figures that people write to three places must not fail on the last bit of a float."""


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
    growth = um_per_ah(plan.metal, plan.area_dm2, plan.efficiency)
    target_ah = sure_target_ah(plan, plan.target_um / growth, doubt)
    if target_ah is None:
        return [
            f"target {plan.target_um:.6g} µm cannot be reached with {plan.confidence:.4g} "
            "confidence: area, efficiency and meter are known too little for that"
        ]
    done_ah = carried.charge_ah + (carried.gap_least_ah + carried.gap_greatest_ah) / 2
    if done_ah >= target_ah:
        return [f"{done_ah * growth:.6g} µm are on the part, the target is {plan.target_um:.6g} µm"]
    foreseen = walk(
        plan.stages[carried.stage :],
        growth,
        target_ah,
        done_ah=done_ah,
        stage_done_ah=done_ah - carried.stage_from_ah,
    )
    if not foreseen.reached:
        return [
            f"target {plan.target_um:.6g} µm is out of reach: the stages end at "
            f"{foreseen.charge_ah * growth:.6g} µm"
        ]
    found: list[str] = []
    if target_ah > plan.charge_cap_ah * (1 + RELATIVE_SLACK):
        found.append(
            f"target {plan.target_um:.6g} µm needs {target_ah:.6g} Ah, the cap on charge is "
            f"{plan.charge_cap_ah:.6g} Ah"
        )
    if foreseen.duration_s > plan.duration_cap_s * (1 + RELATIVE_SLACK):
        found.append(
            f"target {plan.target_um:.6g} µm needs {foreseen.duration_s / 3600:.6g} h at the "
            f"stages' currents, the cap on time is {plan.duration_cap_s / 3600:.6g} h"
        )
    return found
