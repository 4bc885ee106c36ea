"""Alarms in the record: raised once, and what happened to each since; nothing of it is edited."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Select, exists, func, insert, select

from daemon.record.entries import AlarmChanged, AlarmRaised
from daemon.record.errors import NoSuchAlarmError
from daemon.record.tables import alarm, alarm_change

CLEARED, DAEMON_ENDED = "cleared", "daemon ended"
"""The changes after which an alarm is over: it is gone and acknowledged; its daemon is gone."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """An alarm as the record keeps it: as it was raised, and its changes, oldest first."""

    raised: AlarmRaised
    changes: tuple[AlarmChanged, ...]

    @property
    def number(self) -> int:
        """The alarm's number."""
        return self.raised.number

    @property
    def is_over(self) -> bool:
        """Whether it does not stand any more."""
        return any(change.what in (CLEARED, DAEMON_ENDED) for change in self.changes)


def add(connection: Connection, raised: AlarmRaised) -> None:
    """Keep an alarm that was raised."""
    connection.execute(
        insert(alarm).values(
            id=raised.number,
            run_id=raised.run_id,
            cause=raised.cause,
            priority=raised.priority,
            seen=raised.seen,
            figures=json.dumps(raised.figures),
            utc_ms=raised.utc_ms,
            monotonic_s=raised.monotonic_s,
            boot_id=raised.boot_id,
        )
    )


def add_change(connection: Connection, change: AlarmChanged) -> None:
    """Keep what happened to an alarm."""
    connection.execute(
        insert(alarm_change).values(
            alarm_id=change.number,
            what=change.what,
            who=change.who,
            utc_ms=change.utc_ms,
            monotonic_s=change.monotonic_s,
            text=change.text,
            data=json.dumps(change.data),
        )
    )


def next_number(connection: Connection) -> int:
    """The number after the greatest that an alarm has."""
    return (connection.execute(select(func.max(alarm.c.id))).scalar_one() or 0) + 1


def end_standing(connection: Connection, text: str, utc_ms: int) -> list[int]:
    """Close every alarm that stands, since the daemon that raised it is gone; their numbers."""
    ended = exists().where(
        alarm_change.c.alarm_id == alarm.c.id, alarm_change.c.what.in_((CLEARED, DAEMON_ENDED))
    )
    standing = connection.execute(select(alarm.c.id).where(~ended).order_by(alarm.c.id))
    numbers = list(standing.scalars())
    for number in numbers:
        add_change(connection, AlarmChanged(number, DAEMON_ENDED, None, utc_ms, None, text))
    return numbers


def of_run(connection: Connection, run_id: int, *, limit: int | None = None) -> list[Alarm]:
    """The alarms of a run, oldest first; the first `limit` of them, or (None) all."""
    wanted = select(alarm).where(alarm.c.run_id == run_id).order_by(alarm.c.id).limit(limit)
    return _alarms(connection, wanted)


def counts(connection: Connection, run_ids: Sequence[int]) -> dict[int, dict[str, int]]:
    """By run how many alarms of each priority it had; runs without any are left out."""
    rows = connection.execute(
        select(alarm.c.run_id, alarm.c.priority, func.count())
        .where(alarm.c.run_id.in_(run_ids))
        .group_by(alarm.c.run_id, alarm.c.priority)
    )
    found: dict[int, dict[str, int]] = {}
    for run_id, priority, number in rows:
        found.setdefault(run_id, {})[priority] = number
    return found


def since(
    connection: Connection, utc_ms: int, *, limit: int = 200, before_number: int | None = None
) -> list[Alarm]:
    """Alarms raised since a moment, newest first, at most `limit`; those before `before_number`."""
    wanted = select(alarm).where(alarm.c.utc_ms >= utc_ms)
    if before_number is not None:
        wanted = wanted.where(alarm.c.id < before_number)
    return _alarms(connection, wanted.order_by(alarm.c.id.desc()).limit(limit))


def one(connection: Connection, number: int) -> Alarm:
    """The alarm with this number. Raises NoSuchAlarmError."""
    found = _alarms(connection, select(alarm).where(alarm.c.id == number))
    if not found:
        raise NoSuchAlarmError(f"there is no alarm {number} in the record")
    return found[0]


def _alarms(connection: Connection, wanted: Select[Any]) -> list[Alarm]:
    raised = [_raised(row) for row in connection.execute(wanted).mappings()]
    changes: dict[int, list[AlarmChanged]] = {each.number: [] for each in raised}
    rows = connection.execute(
        select(alarm_change)
        .where(alarm_change.c.alarm_id.in_(list(changes)))
        .order_by(alarm_change.c.id)
    ).mappings()
    for row in rows:
        changes[row["alarm_id"]].append(_change(row))
    return [Alarm(each, tuple(changes[each.number])) for each in raised]


def _raised(row: Mapping[Any, Any]) -> AlarmRaised:
    return AlarmRaised(
        number=row["id"],
        run_id=row["run_id"],
        cause=row["cause"],
        priority=row["priority"],
        seen=row["seen"],
        figures=json.loads(row["figures"]),
        utc_ms=row["utc_ms"],
        monotonic_s=row["monotonic_s"],
        boot_id=row["boot_id"],
    )


def _change(row: Mapping[Any, Any]) -> AlarmChanged:
    return AlarmChanged(
        number=row["alarm_id"],
        what=row["what"],
        who=row["who"],
        utc_ms=row["utc_ms"],
        monotonic_s=row["monotonic_s"],
        text=row["text"],
        data=json.loads(row["data"]),
    )
