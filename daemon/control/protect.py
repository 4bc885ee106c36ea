"""Protection within a tick: the causes that are there raise alarms, and alarms stop the run."""

from dataclasses import replace

from daemon.control import contactor, end_names, interlocks
from daemon.control.obey import wind_to
from daemon.control.protection import alarms as life
from daemon.control.protection import causes
from daemon.control.protection.alarms import Alarm, Change, Sign
from daemon.control.protection.effects import Stop
from daemon.control.situation import AlarmAct, Happening, Inputs, Limits, Situation
from daemon.control.states import OPEN, PLATING, State

RUNS = OPEN - {State.HELD}
"""States in which a cause of ours is an alarm. At rest it only keeps a run from starting."""

CAPS = frozenset({end_names.CHARGE_CAP, end_names.DURATION_CAP})


def protect(
    situation: Situation, inputs: Inputs, limits: Limits, happenings: list[Happening]
) -> Situation:
    """Bring alarms up to date, and let those that by the table stop the run do so."""
    signs = [*inputs.signs, *_own_signs(situation, inputs, limits)]
    before = situation.alarms
    if not signs and not before.standing and inputs.alarm_act is None:
        return situation
    changes: list[Change] = []
    alarms = before
    if inputs.alarm_act is not None:
        # First: nobody has seen yet what is raised in this tick.
        alarms = _attended(alarms, inputs.alarm_act, inputs.now_s, changes)
    alarms = life.advanced(alarms, signs, limits.table, inputs.now_s, changes)
    if alarms is not before:
        situation = replace(situation, alarms=alarms)
    for alarm in life.stops(alarms, limits.table, inputs.now_s):
        situation = _stopped(situation, alarm, inputs.now_s, limits, changes)
    happenings.extend(changes)
    return situation


def refusal(alarms: life.Alarms, act: AlarmAct) -> str | None:
    """Why a person's act on alarms is not possible, in one sentence; None if it is."""
    if act.number is None:
        return None if act.what == "acknowledge" else f"{act.what}: an alarm's number is wanted"
    alarm = alarms.numbered(act.number)
    if alarm is None:
        standing = ", ".join(str(a.number) for a in alarms.standing) or "none"
        return f"alarm {act.number} does not stand; standing: {standing}"
    if act.what == "shelve":
        if alarm.cause in life.NEVER_SHELVED:
            return f"{alarm.cause!r} is never shelved: the tank may be energised at this moment"
        if not 0 < act.for_s <= life.LONGEST_SHELF_S:
            longest_h = life.LONGEST_SHELF_S / 3600
            return f"an alarm is shelved for at most {longest_h:g} h, got {act.for_s / 3600:.4g} h"
    return None


def _own_signs(situation: Situation, inputs: Inputs, limits: Limits) -> list[Sign]:
    """The causes that are told from the run's own course.

    Each is found while a run is under way, grave ones always, and stays for as long as it is there.
    """
    found: list[Sign] = []
    alarms, winding, state = situation.alarms, situation.wind_down, situation.state
    runs = state in RUNS

    def note(cause: str, seen: str | None, *, at_rest: bool = False, repeat: int = 0) -> None:
        if seen is None:
            return
        standing = alarms.of(cause)
        if runs or at_rest or (standing is not None and standing.active):
            found.append(Sign(cause, seen, repeat=repeat))

    note(causes.DEVICE_FAILED, inputs.trouble)
    for sign in interlocks.signs(situation):
        # A lid is opened to get at the part; a leak is one at any time.
        grave = limits.table.row(sign.cause).stop is Stop.ABORT
        note(sign.cause, sign.seen, at_rest=grave)
    if situation.contactor.stuck:
        seen = "its auxiliary contact is closed although it was told to open"
        note(causes.CONTACTOR_DID_NOT_OPEN, seen, at_rest=True)
    if winding is None:
        if state in PLATING:
            fault = contactor.fault(situation, inputs.now_s, limits)
            note(causes.CONTACTOR_FAULT, fault)
    else:
        if winding.ended_by in CAPS:
            note(causes.CAP_REACHED, winding.reason)
        if winding.goal is state:
            note(causes.CURRENT_WITHOUT_RUN, _flowing(situation), at_rest=True)
        if winding.alarms:
            seen = (situation.reason or "").removeprefix(f"{causes.OUTPUT_DID_NOT_STOP}: ")
            note(causes.OUTPUT_DID_NOT_STOP, seen, at_rest=True, repeat=winding.alarms)
    note(causes.READING_LOST, _lost(situation, inputs.now_s, limits))
    return found


def _lost(situation: Situation, now_s: float, limits: Limits) -> str | None:
    count, reading = situation.count, situation.reading
    if count is None:
        return None
    newest_s = count.last_s if reading is None else max(count.last_s, reading.monotonic_s)
    age_s = now_s - newest_s
    if age_s <= limits.lost_s:
        return None
    # On the way to rest the current is seen gone or "output did not stop" is raised.
    raised = situation.alarms.of(causes.READING_LOST) is not None
    if situation.state not in PLATING or situation.wind_down is not None:
        return f"the newest is {age_s:.1f} s old" if raised else None
    return f"the newest is {age_s:.1f} s old"


def _flowing(situation: Situation) -> str:
    reading = situation.reading
    if reading is None or reading.current_a is None:
        return "the output is on"
    return f"{reading.current_a:.3f} A flows while the run is {situation.state.value}"


def _attended(
    alarms: life.Alarms, act: AlarmAct, now_s: float, changes: list[Change]
) -> life.Alarms:
    """The alarms after a person's act; unchanged when `refusal` gives a reason."""
    if refusal(alarms, act) is not None:
        return alarms
    if act.what == "acknowledge":
        return life.acknowledged(alarms, act.number, act.who, changes)
    if act.number is None:
        return alarms
    if act.what == "shelve":
        return life.shelved(alarms, act.number, act.who, now_s + act.for_s, changes)
    return life.unshelved(alarms, act.number, act.who, changes)


def _stopped(
    situation: Situation, alarm: Alarm, now_s: float, limits: Limits, changes: list[Change]
) -> Situation:
    """The situation led to where the alarm's row says, if that is not where it goes anyway."""
    stop = limits.table.row(alarm.cause).stop
    goal = stop.goal
    if goal is None or not _leads_elsewhere(situation, goal):
        return situation
    situation = wind_to(situation, goal, alarm.reason, now_s)
    return replace(
        situation, alarms=life.having_stopped(situation.alarms, alarm.cause, stop, changes)
    )


def _leads_elsewhere(situation: Situation, goal: State) -> bool:
    """A held run has nothing to be taken away, and one that aborts is on its way already."""
    state = situation.state
    if goal is State.ABORTED:
        return state in OPEN and state not in (State.HELD, State.ABORTING)
    plates = state in PLATING and situation.wind_down is None
    return plates or (goal is State.STOPPED and state is State.HOLDING)
