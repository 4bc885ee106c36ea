"""Whether a plan can work at all, told before anything is energised."""

from dataclasses import dataclass

from daemon.chemistry.electrolysis import um_per_ah
from daemon.chemistry.uncertainty import NO_DOUBT, MeterDoubt
from daemon.control.doubt import sure_target_ah
from daemon.control.forecast import Foreseen, Stretch, stretches, walk
from daemon.control.plan import Plan, Stage
from daemon.control.situation import NOTHING_CARRIED, Carried
from drivers.contracts import Rating

RELATIVE_SLACK = 1e-9
"""Figures that people write to three places must not fail on the last bit of a float."""


@dataclass(frozen=True, slots=True)
class Course:
    """A plan's way from what is on the part already to its target.

    target_ah: the charge on the part at the target, as sure as the plan wants it; None if nothing
    makes it that sure. best_ah: the same by the best estimate. done_ah: what is there already,
    stage_done_ah: of the first stage's own.
    """

    stages: tuple[Stage, ...]
    um_per_ah: float
    best_ah: float
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

    def stretches(self) -> tuple[Stretch, ...]:
        """The way to the target stage by stage, or to the last stage's end.

        Where nothing makes a target as sure as the plan wants it, to what is best known to be it.
        """
        target_ah = self.best_ah if self.target_ah is None else self.target_ah
        return stretches(
            self.stages,
            self.um_per_ah,
            target_ah,
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
        plan.target_um / growth,
        sure_target_ah(plan, plan.target_um / growth, doubt),
        done_ah,
        done_ah - carried.stage_from_ah,
    )


@dataclass(frozen=True, slots=True)
class Misfit:
    """A reason why a plan cannot work, in words, and the key of the plan that it is about."""

    key: str
    said: str


def problems(
    plan: Plan,
    rating: Rating,
    doubt: MeterDoubt = NO_DOUBT,
    carried: Carried = NOTHING_CARRIED,
) -> list[str]:
    """Every reason why `plan` cannot work, in words; none if it can. See `misfits`."""
    return [each.said for each in misfits(plan, rating, doubt, carried)]


def misfits(
    plan: Plan,
    rating: Rating,
    doubt: MeterDoubt = NO_DOUBT,
    carried: Carried = NOTHING_CARRIED,
) -> list[Misfit]:
    """Every reason why `plan` cannot work; none if it can.

    `rating` is the supply's, narrowed by what the meters can take; `doubt` is that of the meter
    that counts; `carried` is what is on the part already.
    """
    found: list[Misfit] = []
    if carried.stage >= len(plan.stages):
        return [Misfit("stage", f"all {len(plan.stages)} stages are done on this part")]
    for number, stage in enumerate(plan.stages, start=1):
        where, key = f"stage {number}, {stage.name!r}", f"stage[{number}]"
        if stage.current_a > rating.current_a * (1 + RELATIVE_SLACK):
            said = (
                f"{where}: asks for {stage.current_a:.6g} A, at most "
                f"{rating.current_a:.6g} A can be given and measured"
            )
            found.append(Misfit(f"{key}.current", said))
        if stage.current_a < rating.current_step_a:
            said = (
                f"{where}: asks for {stage.current_a:.6g} A, less than the supply's smallest "
                f"step of {rating.current_step_a:.6g} A"
            )
            found.append(Misfit(f"{key}.current", said))
        if stage.voltage_ceiling_v > rating.voltage_v * (1 + RELATIVE_SLACK):
            said = (
                f"{where}: voltage ceiling {stage.voltage_ceiling_v:.6g} V, the supply gives at "
                f"most {rating.voltage_v:.6g} V"
            )
            found.append(Misfit(f"{key}.voltage_ceiling", said))
        if stage.voltage_ceiling_v < rating.voltage_step_v:
            said = (
                f"{where}: voltage ceiling {stage.voltage_ceiling_v:.6g} V, less than the "
                f"supply's smallest step of {rating.voltage_step_v:.6g} V"
            )
            found.append(Misfit(f"{key}.voltage_ceiling", said))
    return found or _out_of_reach(plan, doubt, carried)


def _out_of_reach(plan: Plan, doubt: MeterDoubt, carried: Carried) -> list[Misfit]:
    way = course(plan, doubt, carried)
    if way.target_ah is None:
        said = (
            f"target {plan.target_um:.6g} µm cannot be reached with {plan.confidence:.4g} "
            "confidence: area, efficiency and meter are known too little for that"
        )
        return [Misfit("confidence", said)]
    growth = way.um_per_ah
    if way.done_ah >= way.target_ah:
        done_um = way.done_ah * growth
        said = f"{done_um:.6g} µm are on the part, the target is {plan.target_um:.6g} µm"
        return [Misfit("target", said)]
    foreseen = way.to(way.target_ah - way.done_ah)
    if not foreseen.reached:
        said = (
            f"target {plan.target_um:.6g} µm is out of reach: the stages end at "
            f"{foreseen.charge_ah * growth:.6g} µm"
        )
        return [Misfit("target", said)]
    found: list[Misfit] = []
    if way.target_ah > plan.charge_cap_ah * (1 + RELATIVE_SLACK):
        said = (
            f"target {plan.target_um:.6g} µm needs {way.target_ah:.6g} Ah, the cap on charge is "
            f"{plan.charge_cap_ah:.6g} Ah"
        )
        found.append(Misfit("caps.charge", said))
    if foreseen.duration_s > plan.duration_cap_s * (1 + RELATIVE_SLACK):
        said = (
            f"target {plan.target_um:.6g} µm needs {foreseen.duration_s / 3600:.6g} h at the "
            f"stages' currents, the cap on time is {plan.duration_cap_s / 3600:.6g} h"
        )
        found.append(Misfit("caps.duration", said))
    return found
