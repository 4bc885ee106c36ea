"""The life of alarms after IEC 62682: raised, acknowledged, returned, latched, shelved. Pure.

A cause has one alarm at a time, from when it is first seen until it is gone and somebody has
acknowledged it. One that has stopped a run is latched as well: it stays, even when it is gone and
acknowledged, until a person's reset, resume or start says that the tank has been looked at.
Shelving keeps beacon, siren and messages quiet for a while; what an alarm does to a run it never
changes.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

from daemon.control.protection.causes import (
    CONTACTOR_DID_NOT_OPEN,
    INTERLOCK,
    STILL_ON,
    Priority,
    cause_named,
)
from daemon.control.protection.effects import Stop, Table

Figures = dict[str, float | int | str | bool | None]

BUTTON = "the button at the tank"
"""Who acknowledges by it, in the record."""

LONGEST_SHELF_S = 12 * 3600.0
"""s. An alarm is shelved for a night at most: a longer one is a thing to be repaired."""

NEVER_SHELVED = STILL_ON | {CONTACTOR_DID_NOT_OPEN}
"""Causes that energise a tank at this moment: nobody makes them quiet but by ending them."""


@dataclass(frozen=True, slots=True)
class Sign:
    """A cause as it is there now. `seen` says what was seen, with figures and their units.

    One with a greater `repeat` than the last wants to be acknowledged anew.
    """

    cause: str
    seen: str
    figures: Figures = field(default_factory=dict)
    repeat: int = 0


class Life(Enum):
    """Where in its life an alarm is; IEC 62682's states, but for normal, which is no alarm."""

    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned, unacknowledged"
    LATCHED = "latched"
    SHELVED = "shelved"


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm. `number` is the record's; times are s on the monotonic clock.

    priority: by the table, when it was raised. active: its cause is there. latched: it has stopped
    a run and waits for a person's reset. first_out: it was the first of those that stopped the run.
    stopped: what it did to the run. times: how often the cause has come since it was raised.
    """

    number: int
    cause: str
    priority: Priority
    seen: str
    figures: Figures
    raised_s: float
    since_s: float
    active: bool = True
    acknowledged_by: str | None = None
    stopped: Stop = Stop.NOTHING
    latched: bool = False
    first_out: bool = False
    shelved_until_s: float | None = None
    shelved_by: str | None = None
    times: int = 1
    repeat: int = 0

    @property
    def reason(self) -> str:
        """Why a run that it stops is stopped."""
        if self.cause.startswith(INTERLOCK):
            return f"interlock open: {self.cause.removeprefix(INTERLOCK)}"
        return f"{self.cause}: {self.seen}"

    @property
    def life(self) -> Life:
        """Where in its life it is."""
        if self.shelved_until_s is not None:
            return Life.SHELVED
        if self.active:
            return Life.UNACKNOWLEDGED if self.acknowledged_by is None else Life.ACKNOWLEDGED
        return Life.RETURNED if self.acknowledged_by is None else Life.LATCHED


@dataclass(frozen=True, slots=True)
class Change:
    """What happened to an alarm: `alarm` as it is afterwards, `what` in a word, and by whom."""

    what: str
    alarm: Alarm
    who: str | None = None


RAISED, AGAIN, RETURNED, ACKNOWLEDGED = "raised", "raised again", "returned", "acknowledged"
STOPPED, CLEARED, SHELVED, UNSHELVED = "stopped the run", "cleared", "shelved", "unshelved"


@dataclass(frozen=True, slots=True)
class Alarms:
    """All alarms that are not over, oldest first, and the number of the next."""

    standing: tuple[Alarm, ...] = ()
    next_number: int = 1

    def of(self, cause: str) -> Alarm | None:
        """The alarm of this cause, None while it is normal."""
        return next((alarm for alarm in self.standing if alarm.cause == cause), None)

    def numbered(self, number: int) -> Alarm | None:
        """The alarm with this number, None when it is over."""
        return next((alarm for alarm in self.standing if alarm.number == number), None)


NO_ALARMS = Alarms()
"""All is normal."""


def advanced(
    alarms: Alarms, signs: Sequence[Sign], table: Table, now_s: float, changes: list[Change]
) -> Alarms:
    """The alarms with the causes that are there now: new ones raised, gone ones returned.

    A cause that another one explains raises nothing while that one is there.
    """
    if not signs and not alarms.standing:
        return alarms
    seen = _unexplained(signs, alarms.standing)
    standing = []
    for alarm in alarms.standing:
        kept = _lived(alarm, seen.pop(alarm.cause, None), now_s, changes)
        if kept is not None:
            standing.append(kept)
    number = alarms.next_number
    for sign in seen.values():
        alarm = Alarm(
            number, sign.cause, table.priority(sign.cause), sign.seen, sign.figures, now_s, now_s,
            repeat=sign.repeat,
        )  # fmt: skip
        changes.append(Change(RAISED, alarm))
        standing.append(alarm)
        number += 1
    after = tuple(standing)
    return alarms if after == alarms.standing else Alarms(after, number)


def acknowledged(alarms: Alarms, number: int | None, who: str, changes: list[Change]) -> Alarms:
    """The alarms after a person has acknowledged one, or all with `number` None."""

    def acknowledge(alarm: Alarm) -> Alarm | None:
        if number not in (None, alarm.number) or alarm.acknowledged_by is not None:
            return alarm
        after = replace(alarm, acknowledged_by=who)
        changes.append(Change(ACKNOWLEDGED, after, who))
        return _unless_over(after, changes)

    return _changed(alarms, acknowledge)


def shelved(alarms: Alarms, number: int, who: str, until_s: float, changes: list[Change]) -> Alarms:
    """The alarms after one was shelved until `until_s`; it counts as acknowledged."""

    def shelve(alarm: Alarm) -> Alarm:
        by = alarm.acknowledged_by or who
        after = replace(alarm, shelved_until_s=until_s, shelved_by=who, acknowledged_by=by)
        changes.append(Change(SHELVED, after, who))
        return after

    return _changed(alarms, _one(number, shelve))


def unshelved(alarms: Alarms, number: int, who: str, changes: list[Change]) -> Alarms:
    """The alarms after one was taken off the shelf: it wants to be acknowledged anew."""

    def take_off(alarm: Alarm) -> Alarm:
        if alarm.shelved_until_s is None:
            return alarm
        after = replace(alarm, shelved_until_s=None, shelved_by=None, acknowledged_by=None)
        changes.append(Change(UNSHELVED, after, who))
        return after

    return _changed(alarms, _one(number, take_off))


def having_stopped(alarms: Alarms, cause: str, stop: Stop, changes: list[Change]) -> Alarms:
    """The alarms after that of `cause` has stopped the run; the first that did is first-out."""
    first = not any(alarm.latched for alarm in alarms.standing)

    def latch(alarm: Alarm) -> Alarm:
        out = alarm.first_out or first
        after = replace(alarm, stopped=stop, latched=True, first_out=out)
        changes.append(Change(STOPPED, after))
        return after

    alarm = alarms.of(cause)
    return alarms if alarm is None else _changed(alarms, _one(alarm.number, latch))


def reset(alarms: Alarms, who: str, changes: list[Change]) -> Alarms:
    """The alarms after a person has looked at the tank: nothing is latched any more.

    What is still there stays, acknowledged by that person.
    """

    def unlatch(alarm: Alarm) -> Alarm | None:
        if not alarm.latched:
            return alarm
        by = alarm.acknowledged_by or who
        after = replace(alarm, latched=False, first_out=False, acknowledged_by=by)
        return _unless_over(after, changes, who)

    return _changed(alarms, unlatch)


def stops(alarms: Alarms, table: Table, now_s: float) -> list[Alarm]:
    """The alarms whose cause is there and by the table stops a run now, the gravest first."""
    found = []
    for alarm in alarms.standing:
        row = table.row(alarm.cause)
        if alarm.active and row.stop is not Stop.NOTHING and now_s >= alarm.since_s + row.after_s:
            found.append(alarm)
    return sorted(found, key=lambda alarm: _GRAVITY[table.row(alarm.cause).stop])


def why_not(alarms: Alarms, table: Table) -> str | None:
    """Why nothing can be energised: an alarm that would stop it again; None if there is none."""
    for alarm in alarms.standing:
        if alarm.active and table.row(alarm.cause).stop is not Stop.NOTHING:
            return alarm.reason
    return None


_GRAVITY = {Stop.ABORT: 0, Stop.STOP: 1, Stop.HOLD: 2}


def next_due_s(alarms: Alarms, table: Table, now_s: float) -> float | None:
    """The next moment at which a delay of the table or a shelf's time runs out, s; None if none."""
    moments = []
    for alarm in alarms.standing:
        row = table.row(alarm.cause)
        if alarm.active and row.stop is not Stop.NOTHING:
            moments.append(alarm.since_s + row.after_s)
        if alarm.shelved_until_s is not None:
            moments.append(alarm.shelved_until_s)
    return min((moment for moment in moments if moment > now_s), default=None)


def beacon(alarms: Alarms, table: Table) -> bool:
    """Whether the beacon is on: as long as an alarm that wants it is not over."""
    return any(table.row(a.cause).beacon for a in alarms.standing if a.shelved_until_s is None)


def siren(alarms: Alarms, table: Table) -> bool:
    """Whether the siren sounds: until each alarm that wants it is acknowledged."""
    return any(
        alarm.acknowledged_by is None and table.row(alarm.cause).siren for alarm in alarms.standing
    )


def _unexplained(signs: Iterable[Sign], standing: Iterable[Alarm]) -> dict[str, Sign]:
    """The signs by cause, without those that another one explains and that are not raised yet."""
    seen = {sign.cause: sign for sign in signs}
    raised = {alarm.cause for alarm in standing}
    explained: set[str] = set()
    for name in seen:
        explained |= cause_named(name).explains
    return {name: sign for name, sign in seen.items() if name in raised or name not in explained}


def _lived(alarm: Alarm, sign: Sign | None, now_s: float, changes: list[Change]) -> Alarm | None:
    """The alarm one tick later; None when it is over. `sign` is its cause's, if it is there."""
    if alarm.shelved_until_s is not None and now_s >= alarm.shelved_until_s:
        alarm = replace(alarm, shelved_until_s=None, shelved_by=None, acknowledged_by=None)
        changes.append(Change(UNSHELVED, alarm))
    if sign is None:
        if alarm.active:
            alarm = replace(alarm, active=False, since_s=now_s)
            changes.append(Change(RETURNED, alarm))
    elif not alarm.active or sign.repeat > alarm.repeat:
        alarm = _again(alarm, sign, now_s)
        changes.append(Change(AGAIN, alarm))
    return _unless_over(alarm, changes)


def _again(alarm: Alarm, sign: Sign, now_s: float) -> Alarm:
    """The alarm whose cause has come back, or is told anew. On the shelf it stays quiet."""
    return replace(
        alarm,
        seen=sign.seen,
        figures=sign.figures,
        repeat=sign.repeat,
        since_s=alarm.since_s if alarm.active else now_s,
        active=True,
        acknowledged_by=None if alarm.shelved_until_s is None else alarm.acknowledged_by,
        times=alarm.times + 1,
    )


def _unless_over(alarm: Alarm, changes: list[Change], who: str | None = None) -> Alarm | None:
    """The alarm; None when it is gone, seen to, and over, which is told."""
    there = alarm.active or alarm.latched or alarm.shelved_until_s is not None
    if there or alarm.acknowledged_by is None:
        return alarm
    changes.append(Change(CLEARED, alarm, who))
    return None


def _one(number: int, change: Callable[[Alarm], Alarm]) -> Callable[[Alarm], Alarm]:
    """The change for the alarm with this number alone."""
    return lambda alarm: change(alarm) if alarm.number == number else alarm


def _changed(alarms: Alarms, change: Callable[[Alarm], Alarm | None]) -> Alarms:
    """The alarms with each one changed; without those of which nothing is left."""
    after = (change(alarm) for alarm in alarms.standing)
    return replace(alarms, standing=tuple(alarm for alarm in after if alarm is not None))
