"""Writes batches of entries, each in one transaction; knows of no thread and no queue.

What is kept in memory between batches is the unfinished minute of the open run. It changes only
when a transaction has been committed, so a batch that failed can be written again as it was.
"""

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict, replace
from itertools import groupby

from sqlalchemy import Connection, Engine, insert, update
from sqlalchemy.exc import DataError, IntegrityError, InterfaceError, ProgrammingError

from daemon.clock import Clock, to_ms
from daemon.record import alarms, audits, bath_entries, calibrations, close_ups, ledger, tables
from daemon.record.codec import encode
from daemon.record.entries import (
    AlarmChanged,
    AlarmRaised,
    Audited,
    BathEntered,
    CloseUpTaken,
    Entry,
    Noted,
    RunEnded,
    RunOpened,
    Sample,
    StageEnded,
)
from daemon.record.errors import NoSuchRunError, UnencodableSampleError
from daemon.record.spans import OpenRun, minute_of, seal
from daemon.record.summary import nah

REFUSED = "record_refused"
"""The kind of event that stands for entries which cannot be recorded as they are."""

# What the database or the driver says about the entry itself, not about the disk.
_ENTRY_AT_FAULT = (
    IntegrityError, DataError, InterfaceError, ProgrammingError, ValueError, TypeError,
    OverflowError,
)  # fmt: skip


class Recorder:
    """The writing side of the record on an engine of `daemon.record.store.open_writer`."""

    def __init__(self, engine: Engine, clock: Clock) -> None:
        self._engine = engine
        self._clock = clock
        self._runs: dict[int, OpenRun] = {}
        self.refused = 0

    def write(self, batch: Sequence[Entry]) -> None:
        """Write the entries in their order, all or none.

        An entry that cannot be recorded for its content is set aside: an event tells of it, and
        `refused` counts samples. Raises sqlalchemy.exc.DatabaseError when the disk refuses; then
        nothing of the batch is in the record, and it can be written again.
        """
        try:
            self._write(batch)
        except UnencodableSampleError as error:
            sound = [s for s in map(_sound, batch) if s is not None]
            self._write([*sound, self._note(f"samples with values beyond all bounds: {error}")])
            self.refused += len(batch) - len(sound)

    def _write(self, batch: Sequence[Entry]) -> None:
        runs = {run_id: run.copy() for run_id, run in self._runs.items()}
        refused = 0
        with self._engine.begin() as connection:
            for is_sample, group in groupby(batch, lambda entry: type(entry) is Sample):
                if is_sample:
                    refused += self._take_samples(connection, runs, group)  # type: ignore[arg-type]
                    continue
                for entry in group:
                    self._take_entry(connection, runs, entry)
            for run in runs.values():
                _journal(connection, run)
        self._runs = runs
        self.refused += refused

    def _take_samples(
        self, connection: Connection, runs: dict[int, OpenRun], samples: Iterable[Sample]
    ) -> int:
        """Add samples to their run's minute, sealing those that are over; how many had no run."""
        refused = 0
        for (run_id, number), group in groupby(samples, lambda s: (s.run_id, minute_of(s))):
            run = runs.get(run_id)
            taken = list(group)
            if run is None:
                refused += len(taken)
                continue
            if number > run.minute:
                seal(connection, run, number, self._utc_ms())
            run.samples += taken
            run.fresh += len(taken)
        return refused

    def _take_entry(self, connection: Connection, runs: dict[int, OpenRun], entry: Entry) -> None:
        try:
            with connection.begin_nested():
                if isinstance(entry, RunOpened):
                    runs[entry.run_id] = _open_run(connection, entry)
                elif isinstance(entry, RunEnded):
                    self._end_run(connection, runs, entry)
                else:
                    _add(connection, entry)
        except UnencodableSampleError:
            raise
        except _ENTRY_AT_FAULT as error:
            reason = getattr(error, "orig", None) or error
            _add_event(connection, self._note(f"{entry!a}: {str(reason)!a}"))

    def _end_run(self, connection: Connection, runs: dict[int, OpenRun], entry: RunEnded) -> None:
        if entry.run_id not in runs:
            raise ValueError(f"run {entry.run_id} is not open")
        run = runs[entry.run_id].copy()  # should the entry be refused, the run is as it was
        gap_nah = nah(entry.gap_least_ah), nah(entry.gap_greatest_ah)
        charge_nah = nah(entry.charge_ah)
        seal(connection, run, None, entry.utc_ms)
        ledger.post(
            connection, run.bath_id, run.run_id, entry.utc_ms, ledger.RUN_ENDED,
            charge_nah - run.posted_nah, f"run {run.run_id} {entry.state}: {entry.reason}", gap_nah,
        )  # fmt: skip
        connection.execute(
            update(tables.run)
            .where(tables.run.c.id == entry.run_id)
            .values(
                state=entry.state,
                reason=entry.reason,
                ended_utc_ms=entry.utc_ms,
                elapsed_s=entry.elapsed_s,
                running_s=entry.running_s,
                charge_nah=charge_nah,
                gap_least_nah=gap_nah[0],
                gap_greatest_nah=gap_nah[1],
                mass_g=entry.mass_g,
                thickness_um=entry.thickness_um,
            )
        )
        del runs[entry.run_id]

    def _utc_ms(self) -> int:
        return to_ms(self._clock.utc())

    def _note(self, text: str) -> Noted:
        return Noted(
            None, REFUSED, f"not recorded: {text}", self._utc_ms(), self._clock.monotonic_s(), {}
        )


def _open_run(connection: Connection, entry: RunOpened) -> OpenRun:
    bath_id = ledger.ensure_bath(connection, entry.bath, entry.utc_ms)
    synchronised = entry.clock_synchronised
    connection.execute(
        insert(tables.run).values(
            id=entry.run_id,
            bath_id=bath_id,
            title=entry.title,
            plan=entry.plan,
            metal=entry.metal,
            area_dm2=entry.area_dm2,
            target_um=entry.target_um,
            who=entry.who,
            started_utc_ms=entry.utc_ms,
            started_monotonic_s=entry.monotonic_s,
            boot_id=entry.boot_id,
            clock_synchronised=None if synchronised is None else int(synchronised),
            state="running",
            goes_on_from_id=entry.goes_on_from,
        )
    )
    calibrations.add_counted_by(connection, entry.run_id, entry.counted_by)
    if entry.reckoning is not None:
        row = asdict(entry.reckoning)
        connection.execute(insert(tables.reckoned_with).values(run_id=entry.run_id, **row))
    return OpenRun(entry.run_id, bath_id)


def _add(connection: Connection, entry: Entry) -> None:
    """Add what changes nothing but its own table."""
    match entry:
        case Noted():
            _add_event(connection, entry)
        case StageEnded():
            _add_stage(connection, entry)
        case AlarmRaised():
            alarms.add(connection, entry)
        case AlarmChanged():
            alarms.add_change(connection, entry)
        case CloseUpTaken():
            close_ups.add(connection, entry)
        case Audited():
            audits.add(connection, entry)
        case BathEntered():
            _add_to_bath(connection, entry)


def _add_to_bath(connection: Connection, entry: BathEntered) -> None:
    """Add what was done to the bath, whatever has become of the run that it is about."""
    try:
        bath_entries.add(connection, entry)
    except NoSuchRunError:
        bath_entries.add(connection, replace(entry, run_id=None))


def _add_stage(connection: Connection, entry: StageEnded) -> None:
    connection.execute(
        insert(tables.stage).values(
            run_id=entry.run_id,
            number=entry.index,
            name=entry.name,
            started_s=entry.started_s,
            ended_s=entry.ended_s,
            charge_nah=nah(entry.charge_ah),
            ended_by=entry.ended_by,
        )
    )


def _add_event(connection: Connection, entry: Noted) -> None:
    connection.execute(
        insert(tables.event).values(
            run_id=entry.run_id,
            utc_ms=entry.utc_ms,
            monotonic_s=entry.monotonic_s,
            kind=entry.kind,
            text=entry.text,
            data=json.dumps(entry.data),
        )
    )


def _journal(connection: Connection, run: OpenRun) -> None:
    """Keep what this transaction added to the unfinished minute as one row."""
    if not run.fresh:
        return
    fresh = run.samples[-run.fresh :]
    connection.execute(
        insert(tables.journal).values(
            run_id=run.run_id, samples=encode(fresh), charge_nah=nah(fresh[-1].charge_ah)
        )
    )
    run.fresh = 0


def _sound(entry: Entry) -> Entry | None:
    """The entry with readings that cannot be stored taken as not read; None when more is wrong."""
    if not isinstance(entry, Sample):
        return entry
    if not all(map(_storable, (entry.elapsed_s, entry.set_current_a, entry.charge_ah))):
        return None
    current, voltage = (
        v if v is None or _storable(v) else None for v in (entry.current_a, entry.voltage_v)
    )
    return entry._replace(current_a=current, voltage_v=voltage)


def _storable(value: float) -> bool:
    return math.isfinite(value) and abs(value) < 1e10
