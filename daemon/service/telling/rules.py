"""Who is told of what, and when. Pure: it says what is due, and remembers what was delivered.

What is due follows from what stands and from what has been told. So a message that did not get
through is due again, with what is true by then; nothing that is out of date waits in a queue.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta, tzinfo
from enum import Enum

from daemon.control.kept_dose import KeptDose
from daemon.control.protection.alarms import Alarm
from daemon.control.protection.causes import Priority
from daemon.control.protection.effects import Stop, Table
from daemon.service.telling.memory import Memory
from daemon.service.telling.recipients import Recipient, Rules, is_as_urgent, urgency
from daemon.service.telling.tank import Current

SETTLE_S = 5.0
"""s for which a message waits while the current is on its way down, so that it can say whether it
has gone. A supply needs less than half of that; "output did not stop" comes meanwhile."""

HOUR_S = 3600.0


class Kind(Enum):
    """What a part of a message is about."""

    RAISED = "raised"
    STOPPED = "stopped the run"
    REPEATED = "repeated"
    ACKNOWLEDGED = "acknowledged"
    NORMAL = "normal"
    DOSE_KEPT = "dose kept back"
    RUN_OVER = "run over"
    SUMMARY = "summary"
    REACHABLE = "reachable"


ALARMING = frozenset({Kind.RAISED, Kind.STOPPED, Kind.REPEATED})


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment on the daemon's clock and on the world's; zone None is the machine's."""

    now_s: float
    utc: datetime
    zone: tzinfo | None = None

    @property
    def local(self) -> datetime:
        """The time on the wall, aware."""
        return self.utc.astimezone(self.zone)

    def at(self, moment_s: float) -> datetime:
        """The time on the wall at another moment of the daemon's clock, aware."""
        there = self.utc + timedelta(seconds=moment_s - self.now_s)
        return there.astimezone(self.zone)


@dataclass(frozen=True, slots=True)
class Item:
    """A part of a message. `alarm` is there for all that is about one.

    who: a person who did something about it. waiting_s: since when it has been waiting to be
    acknowledged. escalated: it goes to somebody who would not have been told yet. kept: a dose that
    a pump is kept from.
    """

    kind: Kind
    priority: Priority
    alarm: Alarm | None = None
    who: str | None = None
    waiting_s: float = 0.0
    escalated: bool = False
    kept: KeptDose | None = None


@dataclass(frozen=True, slots=True)
class Telling:
    """What somebody was last told about an alarm, and when, s.

    It is about the time of waiting that began at `waiting_s`. stopped: what it had done to the run.
    """

    told_s: float
    waiting_s: float
    stopped: Stop
    acknowledged: bool = False
    normal: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """What one recipient was told: alarms by number, the last run's end, the last summary.

    doses: by additive, the last dose kept back. sent_s: when, for the messages of the last hour.
    """

    alarms: Mapping[int, Telling] = field(default_factory=dict)
    doses: Mapping[str, int] = field(default_factory=dict)
    run_id: int | None = None
    summary_on: date | None = None
    sent_s: tuple[float, ...] = ()


def untold(rules: Rules, moment: Moment) -> Told:
    """Nothing was told yet. Today's summary is not made up for when its time has passed."""
    local = moment.local
    passed = rules.summary is not None and local.time() >= rules.summary
    return Told(summary_on=local.date() if passed else local.date() - timedelta(days=1))


def due(
    memory: Memory,
    told: Told,
    recipient: Recipient,
    rules: Rules,
    table: Table,
    moment: Moment,
    *,
    unreachable: bool = False,
) -> tuple[Item, ...]:
    """All that a recipient is to be told now, the most urgent first; it makes one message.

    `unreachable`: the last message has not got through. Then it is tried whether one does again,
    even if nothing else is due any more.
    """
    alarming = [
        item
        for alarm in memory.standing
        if (item := _alarming(alarm, memory, told, recipient, rules, table, moment.now_s))
    ]
    if unreachable:
        alarming.append(Item(Kind.REACHABLE, Priority.LOW))
    items = [
        *alarming,
        *_notices(memory, told),
        *_doses_kept(memory, told, recipient),
        *_run_over(memory, told, recipient, alarming),
    ]
    local = moment.local
    quiet = recipient.quiet is not None and recipient.quiet.covers(local)
    loud = [item for item in items if item.priority is Priority.HIGH or not quiet]
    # It has a time of its own, and does not care for quiet.
    if recipient.runs and rules.summary is not None and _summary_is_due(rules, told, local):
        loud.append(Item(Kind.SUMMARY, Priority.LOW))
    if _sent_lately(told, moment.now_s) >= rules.most_an_hour:
        loud = [item for item in loud if _never_waits(item)]
    real = [item for item in loud if item.kind is not Kind.REACHABLE]
    return tuple(sorted(real or loud, key=_order))


def delivered(told: Told, items: tuple[Item, ...], memory: Memory, moment: Moment) -> Told:
    """What was told once a message of these items has got through."""
    alarms = dict(told.alarms)
    after = told
    for item in items:
        if item.alarm is not None:
            number = item.alarm.number
            alarms[number] = _telling(item, item.alarm, alarms.get(number), moment.now_s)
        elif item.kept is not None:
            after = replace(after, doses={**after.doses, item.kept.additive: item.kept.number})
        elif item.kind is Kind.RUN_OVER and memory.ended is not None:
            after = replace(after, run_id=memory.ended.tank.run_id)
        elif item.kind is Kind.SUMMARY:
            after = replace(after, summary_on=moment.local.date())
    standing = {alarm.number for alarm in memory.standing}
    ended_by = None if memory.ended is None else memory.ended.by_alarm
    kept = {
        number: telling
        for number, telling in alarms.items()
        if number in standing or number == ended_by or not telling.normal
    }
    lately = tuple(s for s in told.sent_s if s > moment.now_s - HOUR_S)
    return replace(after, alarms=kept, sent_s=(*lately, moment.now_s))


def _alarming(
    alarm: Alarm,
    memory: Memory,
    told: Told,
    recipient: Recipient,
    rules: Rules,
    table: Table,
    now_s: float,
) -> Item | None:
    """What is due about an alarm that nobody has acknowledged."""
    waiting_s = memory.waiting_s.get(alarm.number)
    if waiting_s is None or not is_as_urgent(alarm.priority, recipient.least):
        return None
    waited_s = now_s - waiting_s
    if memory.tank.current is Current.FALLING and waited_s < SETTLE_S:
        return None
    telling = told.alarms.get(alarm.number)
    kind = _kind(alarm, telling, waiting_s, now_s, rules)
    if kind is None or not table.row(alarm.cause).tell:
        return None
    escalated = recipient.after_s > 0
    if escalated and (waited_s < recipient.after_s or not _presses(alarm)):
        return None
    return Item(kind, alarm.priority, alarm, None, waiting_s, escalated and kind is Kind.RAISED)


def _kind(
    alarm: Alarm, telling: Telling | None, waiting_s: float, now_s: float, rules: Rules
) -> Kind | None:
    if telling is None or telling.waiting_s != waiting_s:
        return Kind.RAISED
    if alarm.stopped is not telling.stopped:
        return Kind.STOPPED
    # One that is gone and has stopped nothing is not repeated: that it is gone has been told.
    if _presses(alarm) and now_s - telling.told_s >= rules.repeat_s:
        return Kind.REPEATED
    return None


def _presses(alarm: Alarm) -> bool:
    """Whether it is there, or has stopped a run that waits for somebody to look."""
    return alarm.active or alarm.latched


def _notices(memory: Memory, told: Told) -> Iterator[Item]:
    """What is due about alarms that were told: somebody is on it, it is gone."""
    standing = {alarm.number: alarm for alarm in memory.standing}
    for number, telling in told.alarms.items():
        recent = memory.recent.get(number)
        if telling.normal or recent is None:
            continue
        alarm = standing.get(number, recent.alarm)
        if number not in standing or not _presses(alarm):
            yield Item(Kind.NORMAL, alarm.priority, alarm, recent.by)
        elif alarm.acknowledged_by is not None and not telling.acknowledged:
            yield Item(Kind.ACKNOWLEDGED, alarm.priority, alarm, alarm.acknowledged_by)


def _doses_kept(memory: Memory, told: Told, recipient: Recipient) -> Iterator[Item]:
    """The doses that pumps are kept from and that were not told yet; nobody acknowledges them."""
    if recipient.after_s > 0 or not is_as_urgent(Priority.LOW, recipient.least):
        return
    for kept in memory.tank.kept:
        if kept.number > told.doses.get(kept.additive, 0):
            yield Item(Kind.DOSE_KEPT, Priority.LOW, kept=kept)


def _run_over(
    memory: Memory, told: Told, recipient: Recipient, alarming: list[Item]
) -> Iterator[Item]:
    """The end of a run, unless it is what an alarm says that this recipient hears of anyway."""
    ended = memory.ended
    if ended is None or not recipient.runs or ended.tank.run_id == told.run_id:
        return
    heard = {*told.alarms, *(item.alarm.number for item in alarming if item.alarm is not None)}
    if ended.by_alarm not in heard:
        yield Item(Kind.RUN_OVER, Priority.LOW)


def _summary_is_due(rules: Rules, told: Told, local: datetime) -> bool:
    if rules.summary is None or told.summary_on is None:
        return False
    return local.date() > told.summary_on and local.time() >= rules.summary


def _sent_lately(told: Told, now_s: float) -> int:
    return sum(1 for sent_s in told.sent_s if sent_s > now_s - HOUR_S)


def _never_waits(item: Item) -> bool:
    """A new alarm of high priority. There are no more of them than causes, and persons' acts."""
    return item.priority is Priority.HIGH and item.kind in (Kind.RAISED, Kind.STOPPED)


def _telling(item: Item, alarm: Alarm, before: Telling | None, now_s: float) -> Telling:
    if item.kind in ALARMING or before is None:
        return Telling(now_s, item.waiting_s, alarm.stopped, normal=not _presses(alarm))
    if item.kind is Kind.ACKNOWLEDGED:
        return replace(before, acknowledged=True)
    return replace(before, normal=True)


def _order(item: Item) -> tuple[bool, int, int]:
    number = 0 if item.alarm is None else item.alarm.number
    return item.kind not in ALARMING, urgency(item.priority), number
