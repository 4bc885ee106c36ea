"""Close-ups: every reading around an alarm at full rate, a part at a time, never edited."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, RowMapping, exists, insert, select

from daemon.record.codec import decode_readings, encode_readings
from daemon.record.entries import CloseUpTaken, CountedBy, Part, Trace, TraceReading
from daemon.record.errors import CodecError
from daemon.record.series import samples
from daemon.record.tables import alarm, close_up, counted_by, run, trace

BEFORE_S, AFTER_S = 60.0, 30.0
"""s before and after an alarm that its close-up is about."""

_ROUNDING_S = 2e-5  # times of a run and of a close-up are rounded each by itself


@dataclass(frozen=True, slots=True)
class CloseUp:
    """All that is kept of the readings around an alarm; `at_s` of each is s from the alarm.

    What is known reaches from `from_s` to `to_s`. The counting meter's trace comes first.
    """

    number: int
    from_s: float
    to_s: float
    traces: tuple[Trace, ...]


def add(connection: Connection, taken: CloseUpTaken) -> None:
    """Keep a part of a close-up. Values that cannot be stored are taken as not read."""
    part = taken.part.value
    connection.execute(
        insert(close_up).values(
            alarm_id=taken.number, part=part, from_s=taken.from_s, to_s=taken.to_s
        )
    )
    for each in taken.traces:
        connection.execute(
            insert(trace).values(
                alarm_id=taken.number,
                part=part,
                meter=each.meter,
                counting=int(each.counting),
                readings=encode_readings(_relative(each.readings, taken.raised_s)),
            )
        )


def of_alarm(connection: Connection, number: int) -> CloseUp | None:
    """An alarm's close-up, both parts as one; None while there is none.

    Raises CorruptBlockError when a blob is damaged.
    """
    parts = connection.execute(
        select(close_up).where(close_up.c.alarm_id == number).order_by(close_up.c.from_s)
    ).all()
    if not parts:
        return None
    rows = connection.execute(
        select(trace)
        .where(trace.c.alarm_id == number)
        .order_by(trace.c.counting.desc(), trace.c.meter, trace.c.part.desc())  # before, after
    )
    found: dict[str, Trace] = {}
    for row in rows:
        earlier = found.get(row.meter, Trace(row.meter, bool(row.counting), ()))
        readings = (*earlier.readings, *decode_readings(row.readings))
        found[row.meter] = Trace(row.meter, earlier.counting, readings)
    to_s = max(part.to_s for part in parts)
    return CloseUp(number, parts[0].from_s, to_s, tuple(found.values()))


def complete(connection: Connection) -> list[int]:
    """Give each close-up that a dead daemon left without its second part what its run has of it.

    Call it when no run is open. An alarm at rest, or one of which nothing came since, gets an empty
    part: there is nothing more. Gives the alarms' numbers.
    """
    has_after = exists().where(
        close_up.c.alarm_id == alarm.c.id, close_up.c.part == Part.AFTER.value
    )
    left = connection.execute(select(alarm).where(~has_after).order_by(alarm.c.id)).mappings().all()
    for row in left:
        add(connection, _rest(connection, row))
    return [row["id"] for row in left]


def _rest(connection: Connection, row: RowMapping) -> CloseUpTaken:
    """What the run of an alarm (a row of its table) has that its close-up lacks."""
    raised_s = row["monotonic_s"]
    try:
        meter, readings = _of_run(connection, row)
    except CodecError:  # a damaged blob is told to whoever looks at the run; nothing waits for it
        meter, readings = "", ()
    times_s = [0.0, *(reading.at_s - raised_s for reading in readings)]
    traces = (Trace(meter, True, readings),) if readings else ()
    return CloseUpTaken(row["id"], Part.AFTER, raised_s, min(times_s), max(times_s), traces)


def _of_run(connection: Connection, row: RowMapping) -> tuple[str, tuple[TraceReading, ...]]:
    """The meter that counted an alarm's run, and its readings that the close-up lacks."""
    began = connection.execute(
        select(run.c.started_monotonic_s, counted_by.c.meter)
        .outerjoin(counted_by)
        .where(run.c.id == row["run_id"], run.c.boot_id == row["boot_id"])
    ).one_or_none()
    if began is None:
        return "", ()
    start_s, meter = began.started_monotonic_s, began.meter or CountedBy().meter
    alarm_s = row["monotonic_s"] - start_s
    known_s = alarm_s + _known_until_s(connection, row["id"], meter) + _ROUNDING_S
    found = samples(connection, row["run_id"], known_s, alarm_s + AFTER_S)
    return meter, tuple(
        TraceReading(start_s + s.elapsed_s, s.current_a, s.voltage_v, s.set_current_a)
        for s in found
    )


def _known_until_s(connection: Connection, number: int, meter: str) -> float:
    """How far the first part of a close-up knows a meter, s from the alarm."""
    blob = connection.execute(
        select(trace.c.readings).where(
            trace.c.alarm_id == number, trace.c.part == Part.BEFORE.value, trace.c.meter == meter
        )
    ).scalar_one_or_none()
    readings = [] if blob is None else decode_readings(blob)
    return readings[-1].at_s if readings else -BEFORE_S


def _relative(readings: Sequence[TraceReading], raised_s: float) -> list[TraceReading]:
    return [
        TraceReading(at_s - raised_s, *(v if v is None or _storable(v) else None for v in values))
        for at_s, *values in readings
        if _storable(at_s)
    ]


def _storable(value: float) -> bool:
    return math.isfinite(value) and abs(value) < 1e10
