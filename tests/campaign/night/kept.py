"""The record as it lies on the disk, held against what had been committed to it."""

from collections import Counter
from contextlib import contextmanager

from daemon.record import alarms, close_ups, queries
from daemon.record.entries import (
    AlarmRaised,
    Audited,
    CloseUpTaken,
    Noted,
    RunEnded,
    RunOpened,
    Sample,
    StageEnded,
)
from daemon.record.series import samples
from daemon.record.spans import from_row, read_summaries
from daemon.record.store import open_reader
from daemon.record.tables import audit, minute, run
from night.again import minutes_of, span_differences

HALF = {"elapsed_s": 0.5e-5, "current_a": 0.5e-5, "charge_ah": 0.5e-7}
"""Half of the codec's steps."""

STEP = 1e-5
"""The codec's step of a time, current or voltage; a minute that a death cut short is closed from
what was encoded."""


@contextmanager
def _asking(path):
    engine = open_reader(path)
    try:
        with engine.connect() as connection:
            yield connection
    finally:
        engine.dispose()


def gaps_ah(path, run_id):
    """The least and greatest charge of a run's gaps, A·h."""
    with _asking(path) as connection:
        found = queries.one_run(connection, run_id)
        return found.gap_least_ah or 0.0, found.gap_greatest_ah or 0.0


def differences(path, entries, settled_ah):
    """What was committed and is not there: the invariant's number, and words."""
    with _asking(path) as connection:
        found = [*_runs(connection, entries), *_told(connection, entries)]
        found += _alarms(connection, entries)
        found += _account(connection, settled_ah)
        fine = connection.exec_driver_sql("PRAGMA integrity_check").scalar_one()
        if fine != "ok":
            found.append((3, f"integrity_check: {fine}"))
    return found


def _runs(connection, entries):
    for entry in entries:
        if not isinstance(entry, RunOpened):
            continue
        own = [s for s in entries if isinstance(s, Sample) and s.run_id == entry.run_id]
        there = list(samples(connection, entry.run_id, 0.0, 1e9))
        if len(there) != len(own):
            yield 3, f"run {entry.run_id}: {len(there)} of {len(own)} readings are there"
            continue
        for name, half in HALF.items():
            pairs = ((getattr(a, name), getattr(b, name)) for a, b in zip(there, own, strict=True))
            if any((a is None) is not (b is None) or (a is not None and abs(a - b) > half * 1.001)
                   for a, b in pairs):  # fmt: skip
                yield 3, f"run {entry.run_id}: {name} is not what was read"
        yield from _minutes(connection, entry.run_id, own)
    for entry in entries:
        if isinstance(entry, RunEnded):
            one = queries.one_run(connection, entry.run_id)
            if one.state != entry.state or abs(one.charge_ah - entry.charge_ah) > 1e-9:
                yield 3, f"run {entry.run_id}: ended as {one.state} with {one.charge_ah} Ah"
        elif isinstance(entry, StageEnded):
            stages = queries.stages(connection, entry.run_id)
            if not any(s.number == entry.index and s.ended_by == entry.ended_by for s in stages):
                yield 3, f"run {entry.run_id}: stage {entry.index} is missing"


def _minutes(connection, run_id, own):
    """The minutes that are closed, as they lie on the disk, against exact sums of what was read."""
    rows = read_summaries(connection, minute, run_id, 0, 1_000_000)
    kept = {row[0]: from_row(row) for row in rows}
    for number, before, samples_ in minutes_of(own):
        if number in kept:
            for text in span_differences(kept[number], before, samples_, STEP):
                yield 8, f"run {run_id}, minute {number} in the record: {text}"


def _told(connection, entries):
    there = Counter((e.kind, e.text) for e in queries.events(connection, limit=100_000))
    put = Counter((e.kind, e.text) for e in entries if isinstance(e, Noted))
    if put - there:
        yield 3, f"events are missing: {list((put - there).elements())[:3]}"
    refused = [text for kind, text in there if kind == "record_refused"]
    if refused:
        yield 3, f"refused by the record: {refused[0][:300]}"
    asked = sum(isinstance(entry, Audited) for entry in entries)
    kept = len(connection.execute(audit.select()).all())
    if kept < asked:
        yield 3, f"{kept} of {asked} audits are there"


def _alarms(connection, entries):
    kept = {alarm.number: alarm for alarm in alarms.since(connection, -(10**15), limit=100_000)}
    for entry in entries:
        if isinstance(entry, AlarmRaised):
            one = kept.get(entry.number)
            if one is None or one.raised.cause != entry.cause:
                yield 3, f"alarm {entry.number}, {entry.cause}, is not there"
            elif close_ups.of_alarm(connection, entry.number) is None:
                yield 4, f"alarm {entry.number}, {entry.cause}, has no close-up"
        elif isinstance(entry, CloseUpTaken) and entry.number not in kept:
            yield 3, f"the close-up of alarm {entry.number} is of none"


def _account(connection, settled_ah):
    ended = connection.execute(run.select().where(run.c.charge_nah.is_not(None))).mappings()
    of_runs_nah = sum(row["charge_nah"] for row in ended)
    posted_ah = sum(bath.posted_ah for bath in queries.baths(connection))
    # Of a run that is open, whole minutes are posted: none is while the night's record is judged.
    open_runs = connection.execute(run.select().where(run.c.charge_nah.is_(None))).all()
    wanted_ah = of_runs_nah / 1e9 + settled_ah
    if not open_runs and abs(posted_ah - wanted_ah) > 1e-8:
        yield 2, f"the bath's account has {posted_ah} Ah, its runs {wanted_ah} Ah"
