"""Taking the current away, and seeing it gone before anybody is told that it is."""

from dataclasses import replace

from daemon.control.situation import (
    OFF,
    Demand,
    Event,
    Happening,
    Limits,
    RunOver,
    Situation,
    WindDown,
)
from daemon.control.states import State

OUTPUT_DID_NOT_STOP = "output did not stop"


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
    then, "output did not stop" is raised at growing intervals, and the run is on its way to aborted
    whatever it was heading for.
    """
    if winding.off_since_s is None:
        situation, winding = _current_down(situation, winding, now_s, limits)
    if winding.off_since_s is None:
        return replace(situation, wind_down=winding), winding.since_s + limits.down_s
    if _gone_since(situation, winding.off_since_s, limits) and not _says_on(situation):
        return _at_rest(situation, winding, happenings), None
    alarm_at_s = winding.alarm_at_s
    if alarm_at_s is None:
        alarm_at_s = winding.off_since_s + limits.off_s
    if now_s >= alarm_at_s:
        happenings.append(_did_not_stop(situation, winding.off_since_s, now_s))
        interval_s = min(limits.tell_most_s, limits.off_s * 2 ** (winding.alarms + 1))
        alarm_at_s = now_s + interval_s
        winding = replace(winding, goal=State.ABORTED, alarms=winding.alarms + 1)
        situation = replace(situation, state=State.ABORTING, reason=OUTPUT_DID_NOT_STOP)
    winding = replace(winding, alarm_at_s=alarm_at_s)
    return replace(situation, wind_down=winding), alarm_at_s


def _current_down(
    situation: Situation, winding: WindDown, now_s: float, limits: Limits
) -> tuple[Situation, WindDown]:
    at_once = winding.goal is State.ABORTED or not situation.demand.output_on
    # The same sum as the wake-up's: a difference could round to just below `down_s` for ever.
    waited = now_s >= winding.since_s + limits.down_s
    if at_once or waited or _gone_since(situation, winding.since_s, limits):
        return replace(situation, demand=OFF), replace(winding, off_since_s=now_s)
    demand = Demand(output_on=True, current_a=0.0, voltage_v=situation.demand.voltage_v)
    return replace(situation, demand=demand), winding


def _gone_since(situation: Situation, moment_s: float, limits: Limits) -> bool:
    reading = situation.reading
    return (
        reading is not None
        and reading.current_a is not None
        and reading.monotonic_s > moment_s
        and abs(reading.current_a) < limits.gone_a
    )


def _says_on(situation: Situation) -> bool:
    """A cell without contact draws nothing from an output that is on, until it has contact."""
    return situation.reading is not None and situation.reading.output_on is True


def _at_rest(situation: Situation, winding: WindDown, happenings: list[Happening]) -> Situation:
    happenings.append(Event("state", f"{winding.goal.value}: {winding.reason}"))
    if winding.goal is not State.HELD:
        happenings.append(RunOver(winding.goal, winding.reason))
    return replace(situation, state=winding.goal, reason=winding.reason, wind_down=None, demand=OFF)


def _did_not_stop(situation: Situation, off_since_s: float, now_s: float) -> Event:
    reading = situation.reading
    waited_s = now_s - off_since_s
    if reading is None or reading.current_a is None or reading.monotonic_s <= off_since_s:
        seen, current_a = "no reading shows the current gone", None
    elif reading.output_on:
        seen, current_a = "the supply says that it is still on", reading.current_a
    else:
        seen, current_a = f"{reading.current_a:.3f} A still flows", reading.current_a
    text = f"{OUTPUT_DID_NOT_STOP}: {seen} {waited_s:.1f} s after output off"
    return Event(OUTPUT_DID_NOT_STOP, text, {"current_a": current_a, "waited_s": waited_s})
