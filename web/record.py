"""The record as the page sees it: opened when first needed, read only, absent until it exists."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DatabaseError

from daemon.api.plans.proof import is_proof
from daemon.api.rehearsal.after import After, read_after
from daemon.api.runs.course import RunCourse, read_course, read_series
from daemon.api.runs.report import RunReport, read_report
from daemon.api.runs.weighing import part_of
from daemon.bath import account, book
from daemon.bath.book import Book
from daemon.bath.cost import Energy, energy
from daemon.bath.description import Description
from daemon.bath.run_charge import PartCharge
from daemon.record import (
    alarms,
    audits,
    bath_entries,
    calibrations,
    close_ups,
    interruptions,
    parts,
    proofs,
    queries,
    readings,
    run_search,
)
from daemon.record.alarms import Alarm
from daemon.record.audits import AuditEntry
from daemon.record.bath_entries import BathEntry
from daemon.record.calibrations import Calibration, newest_of_all
from daemon.record.close_ups import CloseUp
from daemon.record.entries import Sample
from daemon.record.errors import RecordError
from daemon.record.interruptions import Interruption
from daemon.record.parts import Part
from daemon.record.proofs import Proof
from daemon.record.queries import Run, StageResult, one_run, runs, stages
from daemon.record.run_search import Wanted
from daemon.record.series import Series, samples
from daemon.record.store import open_reader, refusal
from daemon.record.used_plans import UsedPlan, used_plans

if TYPE_CHECKING:
    # It brings numpy along, which only the bath's page needs.
    from daemon.bath.foresight import Foresight

GREATEST_NUMBER = 2**63 - 1
"""The record's numbers end here."""

AFTER_S = 60.0
"""s beyond a run's last reading: whatever was read is taken."""

_NUMBER = re.compile("[1-9][0-9]{0,18}", re.ASCII)


def record_number(text: str) -> int | None:
    """Read a number of the record's: 1 to 2^63 - 1 in plain digits; None for any other text."""
    if not _NUMBER.fullmatch(text):
        return None
    number = int(text)
    return number if number <= GREATEST_NUMBER else None


class Runs:
    """One record's runs, and what else it keeps. Safe to share between threads.

    Every method raises `RecordError`: there is no record yet, or the disk does not give it.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._engine: Engine | None = None

    def series(self, run_id: int, points: int, from_s: float, to_s: float) -> Series:
        """Give what was read of a run between two times since its start, s.

        Raises `RecordError` for a run that does not exist, too.
        """
        with self._reading() as connection:
            return read_series(connection, one_run(connection, run_id), points, from_s, to_s)

    def course(
        self, run_id: int, points: int, from_s: float = 0.0, to_s: float = float("inf")
    ) -> RunCourse:
        """Give a run between two times since its start, s, in at most `points` points.

        Raises `RecordError` for a run that does not exist, too.
        """
        with self._reading() as connection:
            return read_course(connection, run_id, points, from_s, to_s)

    def newest(self) -> Run | None:
        """Give the newest run; None where there is none."""
        with self._reading() as connection:
            return next(iter(runs(connection, limit=1)), None)

    def bath_names(self) -> list[str]:
        """Give the names of all baths."""
        with self._reading() as connection:
            return queries.bath_names(connection)

    def search(
        self, wanted: Wanted, limit: int, before: int | None
    ) -> tuple[list[Run], dict[int, dict[str, int]]]:
        """Give the runs that are wanted, newest first, those before the run `before`.

        With them, by run, how many alarms of each priority they had.
        """
        with self._reading() as connection:
            found = run_search.find(connection, wanted, limit=limit, before_id=before)
            return queries.numbered(connection, found), alarms.counts(connection, found)

    def report(self, run_id: int) -> RunReport:
        """Give all that there is to tell of a run. Raises `NoSuchRunError`."""
        with self._reading() as connection:
            return read_report(connection, run_id)

    def newest_runs(self, limit: int) -> list[Run]:
        """Give the newest runs, newest first, without proof tests."""
        with self._reading() as connection:
            return [each for each in runs(connection, limit=limit) if not is_proof(each.plan)]

    def page(self, limit: int, before: int | None) -> list[Run]:
        """Give runs, newest first, proof tests too; those before the number `before`."""
        with self._reading() as connection:
            return runs(connection, limit=limit, before_id=before)

    def with_stages(self, run_id: int) -> tuple[Run, list[StageResult]]:
        """Give a run and its stages that are over. Raises `NoSuchRunError`."""
        with self._reading() as connection:
            return one_run(connection, run_id), stages(connection, run_id)

    def plan(self, run_id: int) -> str:
        """Give a run's plan as it was written. Raises `NoSuchRunError`."""
        with self._reading() as connection:
            return one_run(connection, run_id).plan

    def rehearsal_after(self, run_id: int) -> After:
        """Give a run and what was foretold of it. Raises `NoSuchRunError`, `NotForetoldError`."""
        with self._reading() as connection:
            return read_after(connection, run_id)

    def interrupted(self) -> tuple[int | None, list[tuple[Run, Interruption]]]:
        """Give the newest run's number, and the interruptions that concern anybody still.

        They are those that wait for a person's word, and the newest run's; each with its run,
        newest first.
        """
        with self._reading() as connection:
            newest = next(iter(runs(connection, limit=1)), None)
            found = {cut.run_id: cut for cut in interruptions.unsettled(connection)}
            if newest is not None and (cut := interruptions.of_run(connection, newest.id)):
                found[newest.id] = cut
            ordered = sorted(found.items(), reverse=True)
            return (
                None if newest is None else newest.id,
                [(one_run(connection, run_id), cut) for run_id, cut in ordered],
            )

    def proofs(self, limit: int, before: int | None) -> list[Proof]:
        """Give the proof tests, newest first; those before the number `before`."""
        with self._reading() as connection:
            return proofs.page(connection, limit=limit, before_id=before)

    def calibrations(self) -> dict[str, Calibration]:
        """Give the newest calibration of each meter that has one."""
        with self._reading() as connection:
            return newest_of_all(connection)

    def title(self, run_id: int) -> str:
        """Give a run's title. Raises `NoSuchRunError`."""
        with self._reading() as connection:
            return one_run(connection, run_id).title

    def alarms(self, since_utc_ms: int, limit: int, before: int | None) -> list[Alarm]:
        """Give the alarms raised since a moment, newest first; those before the number `before`."""
        with self._reading() as connection:
            return alarms.since(connection, since_utc_ms, limit=limit, before_number=before)

    def alarm(self, number: int) -> Alarm:
        """Give one alarm. Raises `NoSuchAlarmError`."""
        with self._reading() as connection:
            return alarms.one(connection, number)

    def close_up(self, number: int) -> CloseUp | None:
        """Give an alarm's close-up; None while there is none. Raises `CorruptBlockError`."""
        with self._reading() as connection:
            return close_ups.of_alarm(connection, number)

    def bath_entries(self, bath: str) -> tuple[BathEntry, ...]:
        """Give the entries of a bath in the order in which they were made."""
        with self._reading() as connection:
            return bath_entries.all_of(connection, bath)

    def book(self, bath: str, utc_ms: int, *, past: bool = False) -> Book:
        """Give a bath as its account has it, described as it was last.

        `past`: as it was known at `utc_ms`, ms since 1970 UTC, and described then.
        """
        with self._reading() as connection:
            entries = bath_entries.all_of(connection, bath)
            described = account.description_on(entries) or Description(bath)
            return book.read(connection, described, utc_ms, past=past)

    def foresight(self, bath: str, utc_ms: int, *, past: bool = False) -> Foresight:
        """Give the same with what is expected in it and left of its anodes."""
        from daemon.bath.foresight import foresight

        with self._reading() as connection:
            entries = bath_entries.all_of(connection, bath)
            described = account.description_on(entries) or Description(bath)
            return foresight(connection, book.read(connection, described, utc_ms, past=past))

    def with_energy(self, run_id: int) -> tuple[Run, Energy]:
        """Give a run, and what its cell took. Raises `NoSuchRunError`."""
        with self._reading() as connection:
            found = one_run(connection, run_id)
            read = samples(connection, run_id, 0.0, found.elapsed_s + AFTER_S)
            return found, energy(read)

    def part_charge(self, run_id: int, bath: str) -> PartCharge:
        """Give the charge of a run's part. Raises `NoSuchRunError`, and InputError as `part_of`."""
        with self._reading() as connection:
            return part_of(connection, run_id, bath)

    def parts(self) -> list[Part]:
        """Give the parts that are kept, by name, the newest of each."""
        with self._reading() as connection:
            return parts.holding(connection)

    def pictured(self) -> frozenset[int]:
        """Give the numbers of the parts that have a picture."""
        with self._reading() as connection:
            return parts.pictured(connection)

    def part_picture(self, number: int) -> bytes | None:
        """Give a part's picture, a PNG file; None where it has none. Raises `NoSuchPartError`."""
        with self._reading() as connection:
            return parts.picture(connection, number)

    def used_plans(self) -> dict[str, UsedPlan]:
        """Give the newest run of each title, by title."""
        with self._reading() as connection:
            return used_plans(connection)

    def audit(self, limit: int, before: int | None) -> list[AuditEntry]:
        """Give who asked for what, newest first; what is before the entry `before`."""
        with self._reading() as connection:
            return audits.page(connection, limit=limit, before_id=before)

    def counted(self, run_id: int) -> tuple[Run, Calibration | None]:
        """Give a run, and the calibration that it was counted by. Raises `NoSuchRunError`."""
        with self._reading() as connection:
            run = one_run(connection, run_id)
            number = run.counted_by.calibration_id
            return run, None if number is None else calibrations.one(connection, number)

    def readings(self, run_id: int, until_s: float) -> Iterator[list[Sample]]:
        """Give a run's readings before `until_s`, a piece at a time."""
        return readings.pieces(self._reading, run_id, until_s)

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        try:
            with self._opened().connect() as connection:
                yield connection
        except DatabaseError as error:
            raise RecordError(f"{self._path}: {refusal(error)}") from error

    def _opened(self) -> Engine:
        with self._lock:
            if self._engine is None:
                self._engine = open_reader(self._path)
            return self._engine
