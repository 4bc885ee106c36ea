"""Alarms as others are told of them: in words, the most urgent first."""

from datetime import datetime, timedelta

from daemon.api.effects import done
from daemon.api.socket.messages import AlarmStatus
from daemon.control.protection.alarms import Alarm, Alarms
from daemon.control.protection.causes import STILL_ON, Priority, cause_named

_URGENCY = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


def alarm_statuses(alarms: Alarms, now_s: float, utc: datetime) -> tuple[AlarmStatus, ...]:
    """All alarms that are not over; `now_s` and `utc` are the same moment on both clocks."""
    return tuple(_status(alarm, now_s, utc) for alarm in sorted(alarms.standing, key=_order))


def _order(alarm: Alarm) -> tuple[bool, bool, bool, int, int]:
    quiet, urgency = alarm.acknowledged_by is not None, _URGENCY[alarm.priority]
    return alarm.cause not in STILL_ON, quiet, not alarm.first_out, urgency, alarm.number


def _status(alarm: Alarm, now_s: float, utc: datetime) -> AlarmStatus:
    cause = cause_named(alarm.cause)

    def at(moment_s: float) -> str:
        return (utc + timedelta(seconds=moment_s - now_s)).isoformat()

    until_s = alarm.shelved_until_s
    return AlarmStatus(
        number=alarm.number,
        cause=alarm.cause,
        priority=alarm.priority.value,
        life=alarm.life.value,
        seen=alarm.seen,
        did=done(alarm.cause, alarm.stopped),
        check=cause.check,
        need=cause.need,
        raised_utc=at(alarm.raised_s),
        acknowledged_by=alarm.acknowledged_by,
        first_out=alarm.first_out,
        shelved_until_utc=None if until_s is None else at(until_s),
        times=alarm.times,
    )
