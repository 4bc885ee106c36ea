"""What a person's act does to a run, and why it may be refused."""

from dataclasses import replace

from daemon.chemistry.electrolysis import um_per_ah
from daemon.control import contactor, interlocks
from daemon.control.charge import Count
from daemon.control.protection import alarms
from daemon.control.situation import (
    Command,
    Event,
    Happening,
    Limits,
    Progress,
    Run,
    Situation,
    WindDown,
)
from daemon.control.states import ALLOWED, PASSING, PLATING, Act, State


def refusal(situation: Situation, act: Act, now_s: float, limits: Limits) -> str | None:
    """Why `act` is not possible now, in one sentence for the person; None if it is."""
    return next(iter(refusals(situation, act, now_s, limits)), None)


def refusals(situation: Situation, act: Act, now_s: float, limits: Limits) -> tuple[str, ...]:
    """Each reason why `act` is not possible now, the first the one that is told; none if it is."""
    state = situation.state
    if state not in ALLOWED[act]:
        if act is Act.START and state is State.ABORTED:
            return ("the last run was aborted: look at the tank, then reset, then start",)
        where = ", ".join(s.value for s in State if s in ALLOWED[act])
        return (f"cannot {act.value} a run that is {state.value}: possible when {where}",)
    reasons: tuple[str | None, ...] = ()
    if act in (Act.START, Act.RESUME):
        reasons = (
            interlocks.why_not(situation, limits.table),
            alarms.why_not(situation.alarms, limits.table),
            contactor.why_not(situation, limits),
            _no_current_yet(situation, now_s, limits),
        )
    elif act in (Act.HOLD, Act.STOP):
        reasons = (_completing(situation),)
    return tuple(reason for reason in reasons if reason is not None)


def _completing(situation: Situation) -> str | None:
    winding = situation.wind_down
    if winding is None or winding.goal is not State.COMPLETE:
        return None
    return "the run has reached its target: its current is going down already"


def _no_current_yet(situation: Situation, now_s: float, limits: Limits) -> str | None:
    reading = situation.reading
    if reading is None or reading.current_a is None:
        return "no reading from the supply yet"
    age_s = now_s - reading.monotonic_s
    if age_s > limits.lost_s:
        return f"the newest reading is {age_s:.1f} s old, at most {limits.lost_s:.1f} s is allowed"
    if reading.output_on:
        return "the supply says that its output is on although it was switched off"
    if abs(reading.current_a) >= limits.gone_a:
        return (
            f"{reading.current_a:.3f} A flows although the output is off; "
            f"less than {limits.gone_a:.3f} A is expected"
        )
    return None


def obey(
    situation: Situation,
    command: Command,
    now_s: float,
    limits: Limits,
    happenings: list[Happening],
) -> Situation:
    """The situation after a person's act; unchanged when `refusal` gives a reason."""
    if refusal(situation, command.act, now_s, limits) is not None:
        return situation
    happenings.append(Event("act", f"{command.act.value} by {command.who}", {"who": command.who}))
    if command.act in (Act.START, Act.RESUME, Act.RESET) and situation.alarms.standing:
        changes: list[alarms.Change] = []
        looked_at = alarms.reset(situation.alarms, command.who, changes)
        situation = replace(situation, alarms=looked_at)
        happenings.extend(changes)
    match command.act:
        case Act.START:
            return _started(situation, command, now_s, happenings)
        case Act.HOLD:
            return wind_to(situation, State.HELD, f"hold by {command.who}", now_s)
        case Act.STOP:
            return wind_to(situation, State.STOPPED, f"stopped by {command.who}", now_s)
        case Act.ABORT:
            return wind_to(situation, State.ABORTED, f"aborted by {command.who}", now_s)
        case Act.RESUME:
            return replace(
                situation, state=State.RESTARTING, reason=None, restart_from_s=now_s, now_s=now_s
            )
        case Act.RESET:
            return _reset(situation)


def _reset(situation: Situation) -> Situation:
    """Idle; a current that came on by itself and is being waited for stays that."""
    winding = situation.wind_down
    if winding is None:
        return replace(situation, state=State.IDLE, reason=None)
    return replace(
        situation,
        state=State.IDLE,
        reason=situation.reason if winding.alarms else None,
        wind_down=replace(winding, goal=State.IDLE, reason=""),
    )


def wind_to(
    situation: Situation, goal: State, reason: str, now_s: float, ended_by: str | None = None
) -> Situation:
    """Begin to take the current away, on the way to `goal`; the passing state says so.

    `ended_by` names the end that the stage under way has reached, if it is that.

    If that is under way already, only the goal changes: what was waited for goes on from where it
    was, so that no act puts "output did not stop" off.
    """
    winding, progress = situation.wind_down, situation.progress
    if winding is None:
        winding = WindDown(goal, reason, now_s, ended_by=ended_by)
        # A run that still waits for its contactor has spent none of its time.
        if situation.demand.output_on and situation.state in PLATING and progress is not None:
            passed_s = now_s - situation.now_s
            progress = replace(
                progress,
                stage_elapsed_s=progress.stage_elapsed_s + passed_s,
                running_s=progress.running_s + passed_s,
                below_since_s=None,
                below_last_s=None,
            )
    return replace(
        situation,
        state=PASSING[goal],
        now_s=now_s,
        reason=reason,
        progress=progress,
        wind_down=replace(winding, goal=goal, reason=reason),
        restart_from_s=None,
    )


def _started(
    situation: Situation, command: Command, now_s: float, happenings: list[Happening]
) -> Situation:
    plan, reading = command.plan, situation.reading
    if plan is None or reading is None or reading.current_a is None:
        raise ValueError("a start needs a plan and a reading")
    growth = um_per_ah(plan.metal, plan.area_dm2, plan.efficiency)
    carried = command.carried
    number, target_ah = carried.stage + 1, plan.target_um / growth
    text = f"stage {number}, {plan.stages[carried.stage].name}"
    happenings.append(Event("stage begun", text, {"stage": number}))
    count = Count.from_reading(now_s, reading.current_a).going_on_from(
        carried.charge_ah, carried.gap_least_ah, carried.gap_greatest_ah, carried.covered_s
    )
    return Situation(
        state=State.RUNNING,
        now_s=now_s,
        reading=reading,
        run=Run(command.run_id, plan, now_s, growth, target_ah, command.doubt, carried),
        count=count,
        progress=Progress(carried.stage, 0.0, carried.stage_from_ah, now_s, 0.0, 0.0, now_s),
        contactor=situation.contactor,
        alarms=situation.alarms,
    )
