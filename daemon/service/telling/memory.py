"""What has been seen of alarms and runs so far, as far as messages go. Pure.

It follows from whole pictures of what stands, so that nothing goes wrong for good when one of them
is lost; the changes in between only add who did something.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from daemon.control.protection.alarms import Alarm, Change
from daemon.control.states import OPEN
from daemon.service.telling.tank import Tank

MOST_RECENT = 200
"""Alarms that are remembered for the summary after they are over; the oldest are let go."""


@dataclass(frozen=True, slots=True)
class Recent:
    """An alarm as it was last seen; `over_s` is when it was over, None while it stands.

    `by` is the person who was the last to do something about it.
    """

    alarm: Alarm
    over_s: float | None = None
    by: str | None = None


@dataclass(frozen=True, slots=True)
class Ended:
    """A run that is over: how the tank was then, when, and which alarm, if any, ended it."""

    tank: Tank
    at_s: float
    by_alarm: int | None


@dataclass(frozen=True, slots=True)
class Memory:
    """All of it. `waiting_s`: since when each alarm has been waiting to be acknowledged.

    Times are s on the daemon's clock; alarms go by their numbers.
    """

    tank: Tank
    standing: tuple[Alarm, ...] = ()
    waiting_s: Mapping[int, float] = field(default_factory=dict)
    recent: Mapping[int, Recent] = field(default_factory=dict)
    ended: Ended | None = None


def remembered(
    memory: Memory,
    changes: Sequence[Change],
    standing: tuple[Alarm, ...],
    tank: Tank,
    now_s: float,
) -> Memory:
    """The memory after one more picture, taken at `now_s`."""
    after = replace(
        memory, standing=standing, tank=tank, ended=_ended(memory, standing, tank, now_s)
    )
    if not changes and standing == memory.standing:
        return after
    waiting_s = {
        alarm.number: memory.waiting_s.get(alarm.number, _since_s(memory, alarm, now_s))
        for alarm in standing
        if alarm.acknowledged_by is None
    }
    return replace(
        after, waiting_s=waiting_s, recent=_recent(memory.recent, changes, standing, now_s)
    )


def _since_s(memory: Memory, alarm: Alarm, now_s: float) -> float:
    """Since when an alarm waits that did not before: its beginning, or now if it waits anew."""
    return now_s if alarm.number in memory.recent else alarm.raised_s


def _recent(
    recent: Mapping[int, Recent],
    changes: Sequence[Change],
    standing: tuple[Alarm, ...],
    now_s: float,
) -> dict[int, Recent]:
    kept = dict(recent)
    for change in changes:
        number = change.alarm.number
        before = kept.get(number)
        by = change.who or (None if before is None else before.by)
        kept[number] = Recent(change.alarm, by=by)
    for alarm in standing:
        before = kept.get(alarm.number)
        kept[alarm.number] = Recent(alarm, by=None if before is None else before.by)
    numbers = {alarm.number for alarm in standing}
    for number, each in kept.items():
        if number not in numbers and each.over_s is None:
            kept[number] = replace(each, over_s=now_s)
    over = [number for number in kept if number not in numbers]
    for number in over[: max(0, len(over) - MOST_RECENT)]:
        del kept[number]
    return kept


def _ended(memory: Memory, standing: tuple[Alarm, ...], tank: Tank, now_s: float) -> Ended | None:
    if memory.tank.state not in OPEN or tank.state in OPEN:
        return memory.ended
    by_alarm = next((alarm.number for alarm in standing if alarm.first_out), None)
    return Ended(tank, now_s, by_alarm)
