"""Following the plan: what the supply shall do now, and what ends when."""

from dataclasses import replace

from daemon.control import end_names, ends
from daemon.control.charge import Count
from daemon.control.forecast import current_at
from daemon.control.obey import wind_to
from daemon.control.plan import Stage
from daemon.control.situation import (
    Demand,
    Event,
    Happening,
    Limits,
    Progress,
    Run,
    Situation,
    StageOver,
)
from daemon.control.states import State


def follow(
    situation: Situation, now_s: float, limits: Limits, happenings: list[Happening]
) -> tuple[Situation, float | None]:
    """One tick of a plating run: its next situation, and when the next thing ends.

    The situation must have a run, its count and its progress. When the plan's target, a cap or the
    last stage's end is reached, the situation that comes back winds down.
    """
    run, count, progress = situation.run, situation.count, situation.progress
    if run is None or count is None or progress is None:
        raise ValueError("only a run can be followed")
    progress = _later(situation, run.plan.stages[progress.stage], progress, now_s)
    while True:
        end = ends.next_end(run, progress, count, now_s, limits)
        if not end.is_due(now_s):
            break
        last = progress.stage + 1 == len(run.plan.stages)
        if last or end.name in end_names.ENDS_OF_RUN:
            # The progress is up to date; with `now_s` nothing is left for `wind_to` to count.
            situation = replace(situation, progress=progress, now_s=now_s)
            goal = State.COMPLETE if end.name == end_names.TARGET else State.STOPPED
            reason = _why(run, count, end.name, now_s)
            return wind_to(situation, goal, reason, now_s, ended_by=end.name), None
        happenings.append(_over(run, progress, count, now_s, end.name))
        progress = _next_stage(run, progress, count, now_s)
        name = run.plan.stages[progress.stage].name
        number = progress.stage + 1
        happenings.append(Event("stage begun", f"stage {number}, {name}", {"stage": number}))
    stage = run.plan.stages[progress.stage]
    before = situation.demand
    situation = _demanding(situation, stage, progress, now_s, limits, happenings)
    if situation.demand is not before:
        situation = replace(situation, count=count.demanding(situation.demand.current_a))
    return situation, end.at_s


def _later(situation: Situation, stage: Stage, progress: Progress, now_s: float) -> Progress:
    """The progress at `now_s`, with the cell's voltage judged.

    Only readings taken at the stage's full current count: during a ramp, the stage's or that after
    a hold, the voltage is low because the current is.
    """
    passed_s = now_s - situation.now_s
    elapsed_s = progress.stage_elapsed_s + passed_s
    steady_from_s = progress.steady_from_s
    if elapsed_s <= stage.ramp_s or situation.restart_from_s is not None:
        steady_from_s = now_s
    since_s, last_s = progress.below_since_s, progress.below_last_s
    reading, limit_v = situation.reading, stage.until.cell_voltage_below_v
    if limit_v is not None and reading is not None and reading.voltage_v is not None:
        if reading.voltage_v >= limit_v or reading.monotonic_s <= steady_from_s:
            since_s = last_s = None
        else:
            last_s = reading.monotonic_s
            since_s = last_s if since_s is None else since_s
    return Progress(
        progress.stage,
        progress.stage_from_a,
        progress.stage_from_ah,
        progress.stage_from_s,
        elapsed_s,
        progress.running_s + passed_s,
        steady_from_s,
        since_s,
        last_s,
    )


def _next_stage(run: Run, progress: Progress, count: Count, now_s: float) -> Progress:
    stage = run.plan.stages[progress.stage]
    return Progress(
        stage=progress.stage + 1,
        stage_from_a=current_at(stage, progress.stage_from_a, progress.stage_elapsed_s),
        stage_from_ah=count.projected_ah(now_s),
        stage_from_s=now_s,
        stage_elapsed_s=0.0,
        running_s=progress.running_s,
        steady_from_s=now_s,
    )


def _demanding(
    situation: Situation,
    stage: Stage,
    progress: Progress,
    now_s: float,
    limits: Limits,
    happenings: list[Happening],
) -> Situation:
    current_a = current_at(stage, progress.stage_from_a, progress.stage_elapsed_s)
    state, restart_from_s = situation.state, situation.restart_from_s
    if restart_from_s is not None:
        share = (now_s - restart_from_s) / limits.restart_s if limits.restart_s > 0 else 1.0
        if share < 1:
            current_a *= share
        else:
            state, restart_from_s = State.RUNNING, None
            happenings.append(Event("state", "running again"))
    demand = situation.demand
    if (
        current_a != demand.current_a
        or stage.voltage_ceiling_v != demand.voltage_v
        or not demand.output_on
    ):
        demand = Demand(output_on=True, current_a=current_a, voltage_v=stage.voltage_ceiling_v)
    return replace(
        situation,
        now_s=now_s,
        state=state,
        progress=progress,
        demand=demand,
        restart_from_s=restart_from_s,
    )


def _over(run: Run, progress: Progress, count: Count, now_s: float, ended_by: str) -> StageOver:
    return StageOver(
        progress.stage,
        run.plan.stages[progress.stage].name,
        progress.stage_from_s,
        count.projected_ah(now_s) - progress.stage_from_ah,
        ended_by,
    )


def _why(run: Run, count: Count, end: str, now_s: float) -> str:
    thickness_um = count.projected_ah(now_s) * run.um_per_ah
    what = end if end in end_names.ENDS_OF_RUN else "the last stage's end"
    return f"{what} reached at {thickness_um:.2f} of {run.plan.target_um:.2f} µm"
