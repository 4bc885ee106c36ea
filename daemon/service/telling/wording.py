"""Messages in words. The first line says what happened and whether the current is off. Pure."""

from collections.abc import Sequence
from datetime import datetime

from daemon.api.effects import done
from daemon.api.rounding import fixed
from daemon.api.sentence import clock, duration
from daemon.control.kept_dose import KeptDose
from daemon.control.protection.alarms import Alarm
from daemon.control.protection.causes import cause_named
from daemon.control.protection.effects import Stop
from daemon.control.states import OPEN, State
from daemon.service.telling.memory import Ended, Memory, Recent
from daemon.service.telling.recipients import Letter
from daemon.service.telling.rules import ALARMING, Item, Kind, Moment
from daemon.service.telling.tank import Current, Tank

MOST_BLOCKS = 4
"""Items of which a message tells all; of any more it gives the name."""

MOST_LISTED = 10
"""Alarms that a summary lists."""

SUMMED_S = 24 * 3600.0
"""s that a morning summary looks back."""

CURRENT = {
    Current.ON: "The current is on.",
    Current.FALLING: "The current is being taken away.",
    Current.OFF: "The current is off.",
    Current.NOT_OFF: "THE CURRENT IS NOT OFF.",
    Current.UNKNOWN: "Whether current flows is not known.",
}

_RUN = {State.COMPLETE: "Done", State.STOPPED: "Stopped", State.ABORTED: "Aborted"}

_NEXT = {
    State.COMPLETE: "The part can come out.",
    State.STOPPED: "The part can come out.",
    State.ABORTED: "Look at the tank, find the cause, then reset.",
    State.HELD: "It waits for you: resume or stop.",
}


def letter(items: Sequence[Item], memory: Memory, moment: Moment, name: str) -> Letter:
    """One message of all these items, at least one; `name` is what the tank is called."""
    first = items[0]
    more = "" if len(items) == 1 else f" And {len(items) - 1} more."
    current = CURRENT[memory.tank.current]
    title = f"{name}: {_headline(first, memory, moment)} {current}{more}"
    blocks = [_block(item, memory, moment) for item in items[:MOST_BLOCKS]]
    if len(items) > 1:
        told = zip(items, blocks, strict=False)
        blocks = [f"{_headline(item, memory, moment)}\n{text}" for item, text in told]
    if len(items) > MOST_BLOCKS:
        blocks.append("\n".join(_headline(each, memory, moment) for each in items[MOST_BLOCKS:]))
    if first.kind in ALARMING:
        blocks.append("Acknowledge on the page, or with: tankhand acknowledge")
    urgent = first.priority if first.kind in ALARMING else None
    return Letter(title, "\n\n".join(blocks), urgent)


def trial(name: str, who: str, moment: Moment) -> Letter:
    """A message that tries whether messages arrive."""
    title = f"{name}: only a test, nothing has happened."
    when = f"{moment.local:%H:%M}"
    body = (
        f"{who} has asked for it at {when}. Does it ring loud enough to wake somebody?\n"
        "A message is no safety function: it may come late, twice, or not at all."
    )
    return Letter(title, body)


def _headline(item: Item, memory: Memory, moment: Moment) -> str:
    """What has happened, in one line."""
    if item.alarm is not None:
        return _alarm_headline(item, item.alarm, moment)
    if item.kept is not None:
        return f"{_capital(item.kept.additive)} is not dosed: {item.kept.words}."
    match item.kind:
        case Kind.RUN_OVER if memory.ended is not None:
            return _run(memory.ended.tank)
        case Kind.SUMMARY:
            return f"Summary. {_run(memory.tank)}"
    return "Messages get through again."


def _alarm_headline(item: Item, alarm: Alarm, moment: Moment) -> str:
    cause, waited = _capital(alarm.cause), duration(moment.now_s - item.waiting_s)
    match item.kind:
        case Kind.RAISED if item.escalated:
            return f"{cause}: nobody has acknowledged it for {waited}."
        case Kind.RAISED:
            return f"{cause}."
        case Kind.STOPPED if alarm.stopped is Stop.HOLD:
            return f"{cause}: the run is now held."
        case Kind.STOPPED:
            return f"{cause}: it has now ended the run."
        case Kind.REPEATED:
            return f"{cause}: still not acknowledged after {waited}."
        case Kind.ACKNOWLEDGED if alarm.shelved_until_s is not None:
            until = _clock(moment.at(alarm.shelved_until_s), moment)
            return f"{cause}: shelved by {item.who} until {until}."
        case Kind.ACKNOWLEDGED:
            return f"{cause}: acknowledged by {item.who}."
    return f"{cause}: returned to normal."


def _block(item: Item, memory: Memory, moment: Moment) -> str:
    """The rest about an item."""
    if item.alarm is not None:
        return _alarm_block(item, item.alarm, moment)
    if item.kept is not None:
        return _kept_block(item.kept, moment)
    match item.kind:
        case Kind.RUN_OVER if memory.ended is not None:
            return _run_block(memory.ended, moment)
        case Kind.SUMMARY:
            return _summary(memory, moment)
    return "The last ones to this address did not; the page has what happened meanwhile."


def _alarm_block(item: Item, alarm: Alarm, moment: Moment) -> str:
    raised = _clock(moment.at(alarm.raised_s), moment)
    if item.kind is Kind.NORMAL:
        if item.who is None or alarm.acknowledged_by is None:
            return f"It came at {raised}. It is still to be acknowledged."
        return f"It came at {raised}. {item.who} has seen to it."
    if item.kind is Kind.ACKNOWLEDGED:
        return f"It came at {raised}: {alarm.seen}."
    cause = cause_named(alarm.cause)
    lines = [
        f"Seen at {raised}: {alarm.seen}.",
        f"Done: {done(alarm.cause, alarm.stopped)}",
        f"Check: {cause.check}.",
        f"Needed: {cause.need}",
        f"Alarm {alarm.number}, {alarm.priority.value} priority.",
    ]
    if not alarm.active:
        lines.insert(1, "It is not there any more.")
    return "\n".join(lines)


def _kept_block(kept: KeptDose, moment: Moment) -> str:
    since = _clock(moment.at(kept.since_s), moment)
    return (
        f"So since {since}; {kept.owed_ml:.3g} mL are owed.\n"
        "Needed: see to what keeps the pump, or give the dose by hand and enter it."
    )


def _run(tank: Tank) -> str:
    """The run and how far it is, in a sentence."""
    if tank.run_id is None or tank.thickness_um is None or tank.target_um is None:
        return "No run yet."
    far = f"{fixed(tank.thickness_um, 1, below=tank.target_um)} of {tank.target_um:g} µm"
    word = _RUN.get(tank.state) or (
        "Run over" if tank.state not in OPEN else _capital(tank.state.value)
    )
    return f"{word}: {tank.title}, {far}."


def _run_block(ended: Ended, moment: Moment) -> str:
    when = f"At {_clock(moment.at(ended.at_s), moment)}."
    reason = f"{_capital(ended.tank.reason)}." if ended.tank.reason else ""
    return " ".join(part for part in (when, reason, _NEXT.get(ended.tank.state, "")) if part)


def _summary(memory: Memory, moment: Moment) -> str:
    """The night: the run's result, its alarms, and what waits for somebody."""
    ended, lines = memory.ended, []
    if ended is not None and moment.now_s - ended.at_s < SUMMED_S:
        lines.append(f"{_run(ended.tank)} {_run_block(ended, moment)}")
    late = [r for r in memory.recent.values() if moment.now_s - r.alarm.raised_s < SUMMED_S]
    lines.append("Alarms of the last 24 h:" if late else "No alarms in the last 24 h.")
    lines += [_listed(recent, moment) for recent in late[-MOST_LISTED:]]
    if len(late) > MOST_LISTED:
        lines.append(f"and {len(late) - MOST_LISTED} earlier ones, in the record")
    lines.append(f"Waits for you: {_waits(memory)}")
    return "\n".join(lines)


def _listed(recent: Recent, moment: Moment) -> str:
    alarm = recent.alarm
    priority = alarm.priority.value
    if recent.over_s is not None:
        state = f"over since {_clock(moment.at(recent.over_s), moment)}"
    else:
        state = alarm.life.value
    by = f", {recent.by}" if recent.by is not None else ""
    return f"{_clock(moment.at(alarm.raised_s), moment)} {alarm.cause} ({priority}): {state}{by}"


def _waits(memory: Memory) -> str:
    found = []
    unseen = len(memory.waiting_s)
    if unseen:
        found.append(f"{unseen} alarm{'s' if unseen > 1 else ''} to acknowledge.")
    if memory.tank.state in _NEXT:
        found.append(_NEXT[memory.tank.state])
    found += [f"{_capital(kept.additive)} is not dosed." for kept in memory.tank.kept]
    return " ".join(found) or "nothing."


def _clock(moment: datetime, now: Moment) -> str:
    return clock(moment, now.local, now.zone)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:].rstrip(".")
