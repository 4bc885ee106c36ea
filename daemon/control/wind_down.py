"""Taking the current away, and seeing it gone before anybody is told that it is."""

from dataclasses import replace

from daemon.control.protection.causes import OUTPUT_DID_NOT_STOP
from daemon.control.situation import (
    OFF,
    Demand,
    Event,
    Happening,
    Limits,
    RunOver,
    Situation,
    StageOver,
    WindDown,
)
from daemon.control.states import OPEN, State
from drivers.contracts import Reading

MOST_ALARMS = 64
"""Where the count of alarms stays: doubling an interval for weeks would pass what a float holds."""


def watch(situation: Situation, now_s: float, limits: Limits) -> Situation:
    """Watch a tank at rest: the output that is off may come on, by a fault or by a hand.

    What is seen then has to be gone within `limits.off_s`, as after any output off.
    """
    if situation.reading is None or _is_off(situation.reading, limits):
        return situation
    winding = WindDown(situation.state, situation.reason or "", now_s, off_since_s=now_s)
    return replace(situation, wind_down=winding)


def wind_down(
    situation: Situation,
    winding: WindDown,
    now_s: float,
    limits: Limits,
    happenings: list[Happening],
) -> tuple[Situation, float | None]:
    """One tick on the way from current to rest: the situation, and when to look again at latest.

    A controlled stop (category 1 in the sense of IEC 60204-1) takes the set-point to 0 A, then the
    output off; an abort switches the output off at once. The state at rest is entered only when a
    reading taken after output off shows no current, and does not say that the output is on. Until
    then, "output did not stop" is raised at growing intervals, and a run that is under way is on
    its way to aborted whatever it was heading for.
    """
    if winding.off_since_s is None:
        situation, winding = _current_down(situation, winding, now_s, limits)
    if winding.off_since_s is None:
        return replace(situation, wind_down=winding), winding.since_s + limits.down_s
    if _seen_off(situation, winding.off_since_s, limits):
        return _at_rest(situation, winding, happenings), None
    alarm_at_s = winding.alarm_at_s
    if alarm_at_s is None:
        alarm_at_s = winding.off_since_s + limits.off_s
    if now_s >= alarm_at_s:
        situation, winding = _raised(situation, winding, winding.off_since_s, now_s, happenings)
        alarm_at_s = now_s + min(limits.tell_most_s, limits.off_s * 2.0**winding.alarms)
    winding = replace(winding, alarm_at_s=alarm_at_s)
    return replace(situation, wind_down=winding), alarm_at_s


def _current_down(
    situation: Situation, winding: WindDown, now_s: float, limits: Limits
) -> tuple[Situation, WindDown]:
    at_once = winding.goal is State.ABORTED or not situation.demand.output_on
    # The same sum as the wake-up's: a difference could round to just below `down_s` for ever.
    waited = now_s >= winding.since_s + limits.down_s
    if at_once or waited or _current_gone(situation, winding.since_s, limits):
        return replace(situation, demand=OFF), replace(winding, off_since_s=now_s)
    demand = Demand(output_on=True, current_a=0.0, voltage_v=situation.demand.voltage_v)
    return replace(situation, demand=demand), winding


def _current_gone(situation: Situation, moment_s: float, limits: Limits) -> bool:
    reading = situation.reading
    return reading is not None and reading.monotonic_s > moment_s and _no_current(reading, limits)


def _seen_off(situation: Situation, moment_s: float, limits: Limits) -> bool:
    reading = situation.reading
    return reading is not None and reading.monotonic_s > moment_s and _is_off(reading, limits)


def _is_off(reading: Reading, limits: Limits) -> bool:
    """A cell without contact draws nothing from an output that is on, until it has contact."""
    return _no_current(reading, limits) and reading.output_on is not True


def _no_current(reading: Reading, limits: Limits) -> bool:
    return reading.current_a is not None and abs(reading.current_a) < limits.gone_a


def _at_rest(situation: Situation, winding: WindDown, happenings: list[Happening]) -> Situation:
    if situation.state is not winding.goal:
        happenings.append(Event("state", f"{winding.goal.value}: {winding.reason}"))
        if winding.goal is not State.HELD:
            happenings.extend(_last_stage(situation, winding))
            happenings.append(RunOver(winding.goal, winding.reason))
    elif winding.alarms:
        happenings.append(Event("state", f"{winding.goal.value}: the output is off again"))
    reason = winding.reason or None
    return replace(situation, state=winding.goal, reason=reason, wind_down=None, demand=OFF)


def _last_stage(situation: Situation, winding: WindDown) -> list[Happening]:
    run, count, progress = situation.run, situation.count, situation.progress
    if run is None or count is None or progress is None:
        return []
    name = run.plan.stages[progress.stage].name
    charge_ah = count.best_ah - progress.stage_from_ah
    ended_by = winding.ended_by or winding.goal.value
    return [StageOver(progress.stage, name, progress.stage_from_s, charge_ah, ended_by)]


def _raised(
    situation: Situation,
    winding: WindDown,
    off_since_s: float,
    now_s: float,
    happenings: list[Happening],
) -> tuple[Situation, WindDown]:
    """The alarm raised once more; the first cause of an abort stays its reason."""
    event = _did_not_stop(situation, winding.goal, off_since_s, now_s)
    happenings.append(event)
    alarms = min(winding.alarms + 1, MOST_ALARMS)
    if situation.state in OPEN:
        reason = winding.reason if winding.goal is State.ABORTED else event.text
        winding = replace(winding, goal=State.ABORTED, reason=reason)
        situation = replace(situation, state=State.ABORTING)
    return replace(situation, reason=event.text), replace(winding, alarms=alarms)


def _did_not_stop(situation: Situation, goal: State, off_since_s: float, now_s: float) -> Event:
    reading = situation.reading
    waited_s = now_s - off_since_s
    since = "it came on by itself" if situation.state is goal else "output off"
    if reading is None or reading.monotonic_s <= off_since_s:
        seen, current_a = "no reading shows the current gone", None
    elif reading.output_on:
        seen, current_a = "the supply says that it is still on", reading.current_a
    else:
        seen, current_a = f"{reading.current_a:.3f} A still flows", reading.current_a
    text = f"{OUTPUT_DID_NOT_STOP}: {seen} {waited_s:.1f} s after {since}"
    return Event(OUTPUT_DID_NOT_STOP, text, {"current_a": current_a, "waited_s": waited_s})
