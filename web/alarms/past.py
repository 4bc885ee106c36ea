"""Alarms of the record in words: what was seen, and what became of each. Pure."""

from dataclasses import dataclass

from daemon.api.sentence import duration
from daemon.control.protection.alarms import ACKNOWLEDGED, AGAIN, SHELVED, STOPPED, UNSHELVED
from daemon.control.protection.causes import cause_named
from daemon.control.protection.effects import Stop
from daemon.record.alarms import CLEARED, DAEMON_ENDED, Alarm
from daemon.record.entries import AlarmChanged
from web.language import gettext as _
from web.language import marked, spoken
from web.times import stamp
from web.typography import capital
from web.units import in_units

_DID = {
    Stop.NOTHING: "",
    Stop.HOLD: marked("held"),
    Stop.STOP: marked("ended"),
    Stop.ABORT: marked("aborted"),
}
_DID_THE_RUN = {
    Stop.NOTHING: "",
    Stop.HOLD: marked("held the run"),
    Stop.STOP: marked("ended the run"),
    Stop.ABORT: marked("aborted the run"),
}


@dataclass(frozen=True, slots=True)
class Past:
    """An alarm of the record, in words.

    `stands` says that it is not over, `waits` that nobody has acknowledged it. `course` is what
    became of it, in one line.
    """

    number: int
    cause: str
    priority: str
    raised: str
    seen: str
    course: str
    stands: bool
    waits: bool


@dataclass(frozen=True, slots=True)
class Step:
    """Something that happened to an alarm: when, how long after it was raised, what, by whom."""

    at: str
    after: str
    what: str
    who: str
    text: str


def past(alarm: Alarm) -> Past:
    """Put an alarm of the record into words."""
    raised, heard = alarm.raised, _heard_by(alarm)
    return Past(
        number=raised.number,
        cause=capital(raised.cause),
        priority=raised.priority,
        raised=stamp(raised.utc_ms),
        seen=in_units(capital(raised.seen)),
        course=capital(", ".join(part for part in _course(alarm, heard) if part)),
        stands=not alarm.is_over,
        waits=heard is None,
    )


def steps(alarm: Alarm) -> list[Step]:
    """What happened to an alarm since it was raised, oldest first."""
    return [
        Step(
            at=stamp(change.utc_ms),
            after=_after(_after_s(alarm, change)),
            what=capital(change.what),
            who=change.who or "",
            text=in_units(_told(change)),
        )
        for change in alarm.changes
    ]


def stop_of(alarm: Alarm) -> Stop:
    """What an alarm has done to its run."""
    stopped = [change.text for change in alarm.changes if change.what == STOPPED]
    return Stop(stopped[-1]) if stopped else Stop.NOTHING


def _told(change: AlarmChanged) -> str:
    if change.what != STOPPED:
        return change.text
    first = _(", the first cause") if change.data.get("first_out") else ""
    return spoken(_DID[Stop(change.text)]) + first


def _course(alarm: Alarm, heard: str | None) -> list[str]:
    times = 1 + sum(change.what == AGAIN for change in alarm.changes)
    over = next((c for c in alarm.changes if c.what in (CLEARED, DAEMON_ENDED)), None)
    if over is None:
        end = _("not over")
    elif over.what == DAEMON_ENDED:
        end = _("closed when the daemon had ended")
    else:
        end = _("over after %(time)s", time=_length(_after_s(alarm, over)))
    return [
        spoken(_DID_THE_RUN[stop_of(alarm)]),
        _("came %(times)s times", times=times) if times > 1 else "",
        _("acknowledged by %(who)s", who=heard) if heard else _("not acknowledged"),
        end,
    ]


def _heard_by(alarm: Alarm) -> str | None:
    """Who has acknowledged an alarm since it last came."""
    heard = None
    for change in alarm.changes:
        if change.what in (ACKNOWLEDGED, SHELVED):
            heard = change.who
        elif change.what in (AGAIN, UNSHELVED):
            heard = None
    return heard


def _after_s(alarm: Alarm, change: AlarmChanged) -> float:
    """How long after the alarm something happened, s; by the wall clock where nothing else is."""
    if change.monotonic_s is None:
        return (change.utc_ms - alarm.raised.utc_ms) / 1000
    return change.monotonic_s - alarm.raised.monotonic_s


def _after(seconds: float) -> str:
    return _("at once") if seconds < 0.05 else _("after %(time)s", time=_length(seconds))


def _length(seconds: float) -> str:
    return f"{seconds:z.1f} s" if seconds < 10 else duration(seconds)


def advice(cause: str) -> tuple[str, str]:
    """What to check and what is needed; nothing for a cause that this program does not know."""
    try:
        found = cause_named(cause)
    except KeyError:
        return "", ""
    return capital(found.check) + ".", found.need
