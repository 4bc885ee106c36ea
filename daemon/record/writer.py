"""The hand-over to the disk: a bounded queue and one thread. The loop never waits for either.

What does not fit in the queue is counted, and told in the record when there is room again. While
the disk refuses, entries wait in the queue, `fault` says why, and the thread goes on trying.
"""

import math
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from sqlalchemy.exc import DatabaseError

from daemon.clock import Clock, SystemClock, to_ms
from daemon.record import (
    alarms,
    audits,
    bath_entries,
    calibrations,
    interruptions,
    ledger,
    parts,
    proofs,
    pump_doses,
    queries,
)
from daemon.record.entries import (
    Audited,
    BathEntered,
    CalibrationMade,
    Entry,
    Noted,
    PartKept,
    ProofMade,
    Sample,
    Settled,
)
from daemon.record.errors import RecordIncompleteError
from daemon.record.flushes import Flushes
from daemon.record.gap import Gap
from daemon.record.interruptions import Restart
from daemon.record.recorder import Recorder
from daemon.record.recovery import Unfinished, close_unfinished
from daemon.record.store import (
    BUSY_TIMEOUT_MS,
    RecordLock,
    checkpoint,
    open_writer,
    refusal,
)

CAPACITY = 50_000
"""Entries that wait at most: over an hour at 10 samples a second, about 10 MB."""

COMMIT_EVERY_S = 0.8
"""s from one commit of samples to the next: with a period of 0.1 s before the first sample that is
lost, and what a commit takes, a power cut then costs less than a second."""

LONGEST_RETRY_S = 30.0
"""While the disk refuses, the pause between attempts doubles up to this, s."""

LAST_ATTEMPTS = 2
"""How often a disk may refuse what waits when the record is closed."""

GAP, REFUSAL_OVER = "record_gap", "record_fault_over"
"""Kinds of events: samples that found no room; a disk that takes entries again."""


class Writer:
    """Writes the record at `path`, of which it is the only writer until `close`.

    `capacity` bounds the samples that wait, at least 1; `commit_every_s` is the real time from the
    beginning of one commit of samples to that of the next, above 0 s: what a power cut costs,
    besides the commit itself. `clock` gives the labels of the writer's own events. `real_s` and
    `wake` are the time and the waiting of the thread. `threaded=False` leaves it to the caller to
    call `flush`. `put` is called by one thread. Raises the errors under RecordOpenError.
    """

    def __init__(
        self,
        path: Path,
        *,
        capacity: int = CAPACITY,
        commit_every_s: float = COMMIT_EVERY_S,
        clock: Clock | None = None,
        threaded: bool = True,
        busy_timeout_ms: int = BUSY_TIMEOUT_MS,
        real_s: Callable[[], float] = time.monotonic,
        wake: threading.Event | None = None,
    ) -> None:
        self._lock = RecordLock(path)
        try:
            self._engine = open_writer(path, busy_timeout_ms=busy_timeout_ms)
        except BaseException:
            self._lock.release()
            raise
        self._clock = clock or SystemClock()
        self._recorder = Recorder(self._engine, self._clock)
        self._queue: deque[Entry] = deque()
        self._taken: list[Entry] = []
        self._capacity = capacity
        self._dropped = 0
        self._gap: Gap | None = None
        self._fault: str | None = None
        self._commit_every_s = self._pause_s = commit_every_s
        self._real_s = real_s
        self._caught_up_s = real_s()
        self._wake = wake or threading.Event()
        self._flushes = Flushes()
        self._closing = self._closed = False
        self._thread = threading.Thread(target=self._work, name="record writer", daemon=True)
        if threaded:
            self._thread.start()

    @property
    def unrecorded(self) -> int:
        """Samples that are not in the record and never will be."""
        return self._dropped + self._recorder.refused

    @property
    def fault(self) -> str | None:
        """Why the disk refuses, None while it does not."""
        return self._fault

    @property
    def lag_s(self) -> float:
        """For how long, in real seconds, what waits has been waiting at most; 0 if nothing does."""
        return max(0.0, self._real_s() - self._caught_up_s) if self._waiting() else 0.0

    def put(self, entry: Entry) -> None:
        """Hand an entry over; never waits and never raises. Only samples can find no room."""
        if type(entry) is Sample:
            if self._waiting() >= self._capacity:
                self._drop(entry)
                return
            if self._gap is None:
                self._queue.append(entry)
                return
        self._note_gap()
        self._queue.append(entry)
        if type(entry) is not Sample:
            self._wake.set()

    def wait_until_kept(self, limit_s: float) -> bool:
        """Wait until everything that was put before is on the disk; False if it is not by then.

        For any thread but the one that puts; `limit_s` are real seconds. The disk is asked at once,
        also when it has refused before; `fault` then says why.
        """
        number = self._flushes.next_number
        self._wake.set()
        return self._flushes.wait_for(number, limit_s)

    def promise(self) -> Callable[[], bool]:
        """What says, without waiting, whether all that was put by now is on the disk already."""
        number = self._flushes.next_number
        return lambda: self._flushes.has_succeeded(number)

    def flush(self) -> bool:
        """Try once to bring everything that waits to the disk; False when the disk refused."""
        number = self._flushes.begin()
        started_s = self._real_s()
        while self._queue:
            self._taken.append(self._queue.popleft())
        if self._taken:
            try:
                self._recorder.write(self._taken)
            except DatabaseError as error:
                self._refused(refusal(error))
                return False
            except Exception as error:  # the loop must learn of it, whatever it is
                self._refused(f"{type(error).__name__}: {error}")
                return False
            self._taken = []
        self._caught_up_s = started_s
        self._flushes.succeed(number)
        if self._fault is not None:
            self._accepted()
        return True

    def close(self, timeout_s: float = 10.0) -> None:
        """Bring everything to the disk, empty the log into the file, and let the record go.

        Raises RecordIncompleteError, with the number of entries that are lost, when the disk
        refuses or takes longer than `timeout_s`; in the latter case it can be called again.
        """
        if self._closed:
            return
        self._note_gap()
        self._closing = True
        self._wake.set()
        if self._thread.ident is None:
            self._drain()
        else:
            self._thread.join(timeout_s)
        if self._thread.is_alive():
            raise RecordIncompleteError(
                f"the disk did not take {self._waiting()} entries within {timeout_s:g} s"
            )
        lost = self._waiting()
        self._closed = True
        with suppress(DatabaseError):  # the log holds everything as well; the next opening moves it
            checkpoint(self._engine)
        self._engine.dispose()
        self._lock.release()
        if lost:
            raise RecordIncompleteError(f"the disk refuses: {self._fault}; {lost} entries are lost")

    def ensure_bath(self, name: str) -> int:
        """The id of the bath with this name, which is opened where there is none.

        Waits for the disk. Raises sqlalchemy.exc.DatabaseError.
        """
        with self._engine.begin() as connection:
            return ledger.ensure_bath(connection, name, self._utc_ms())

    def next_run_id(self) -> int:
        """The number for the next run. Raises sqlalchemy.exc.DatabaseError."""
        with self._engine.connect() as connection:
            return queries.next_run_id(connection)

    def bath_charge_ah(self, name: str) -> float:
        """The charge posted to a bath so far, A·h; 0 for one that is not opened yet.

        Raises sqlalchemy.exc.DatabaseError.
        """
        with self._engine.connect() as connection:
            found = [bath.charge_ah for bath in queries.baths(connection) if bath.name == name]
        return sum(found)

    def keep_calibration(self, made: CalibrationMade) -> int:
        """Keep a calibration and give its id, once it is on the disk.

        Waits for the disk. Raises sqlalchemy.exc.DatabaseError.
        """
        with self._engine.begin() as connection:
            return calibrations.add(connection, made)

    def calibrations(self) -> dict[str, calibrations.Calibration]:
        """The newest calibration of each meter that has one, by the meter's name.

        Raises sqlalchemy.exc.DatabaseError.
        """
        with self._engine.connect() as connection:
            return calibrations.newest_of_all(connection)

    def next_alarm_number(self) -> int:
        """The number for the next alarm. Raises sqlalchemy.exc.DatabaseError."""
        with self._engine.connect() as connection:
            return alarms.next_number(connection)

    def keep_proof(self, made: ProofMade) -> int:
        """Keep a proof test and give its id, once it is on the disk.

        Waits for the disk. Raises sqlalchemy.exc.DatabaseError.
        """
        with self._engine.begin() as connection:
            return proofs.add(connection, made)

    def newest_proof(self, *, passed: bool | None = None) -> proofs.Proof | None:
        """The last proof test, or the last that passed, or failed; None where there is none.

        Raises sqlalchemy.exc.DatabaseError.
        """
        with self._engine.connect() as connection:
            return proofs.newest(connection, passed=passed)

    def unsettled(self) -> tuple[int, ...]:
        """The runs whose interruption waits for a person's word, oldest first.

        Raises sqlalchemy.exc.DatabaseError.
        """
        with self._engine.connect() as connection:
            return tuple(cut.run_id for cut in interruptions.unsettled(connection))

    def settle(self, word: Settled) -> tuple[float, float]:
        """Keep a person's word on an interruption, and bring its bath's account to it.

        Gives what was added to the account and the bath's charge then, A·h, once they are on the
        disk. Waits for it. Raises NotSettledError, and sqlalchemy.exc.DatabaseError.
        """
        with self._engine.begin() as connection:
            added_nah, balance_nah = interruptions.settle(connection, word)
        return added_nah / 1e9, balance_nah / 1e9

    def keep_bath_entry(self, made: BathEntered, asked: Audited | None = None) -> int:
        """Keep an entry of a bath, with who asked for it, and give its number, once it is there.

        Waits for the disk. Raises NoSuchRunError and sqlalchemy.exc.DatabaseError; then neither is
        in the record.
        """
        with self._engine.begin() as connection:
            number = bath_entries.add(connection, made)
            if asked is not None:
                audits.add(connection, asked)
            return number

    def keep_part(self, made: PartKept, asked: Audited) -> parts.Part:
        """Keep a part, with who asked for it, and give it once it is on the disk.

        Waits for the disk. Raises sqlalchemy.exc.DatabaseError.
        """
        with self._engine.begin() as connection:
            audits.add(connection, asked)
            return parts.add(connection, made)

    def keep_audit(self, asked: Audited) -> None:
        """Keep what somebody asked for, past the queue.

        Waits for the disk. Raises sqlalchemy.exc.DatabaseError.
        """
        with self._engine.begin() as connection:
            audits.add(connection, asked)

    def bath_entries(self, name: str) -> tuple[bath_entries.BathEntry, ...]:
        """All entries of a bath. Raises sqlalchemy.exc.DatabaseError."""
        with self._engine.connect() as connection:
            return bath_entries.all_of(connection, name)

    def doses_begun(self, name: str) -> tuple[pump_doses.Begun, ...]:
        """The doses that pumps began to give a bath, and of which nothing more is known.

        Raises sqlalchemy.exc.DatabaseError.
        """
        with self._engine.connect() as connection:
            return pump_doses.begun(connection, name)

    def close_unfinished(self, reason: str, restart: Restart | None = None) -> list[Unfinished]:
        """Close the runs and alarms that a dead daemon left open, see `daemon.record.recovery`.

        Call it before the first `put`. Raises sqlalchemy.exc.DatabaseError.
        """
        return close_unfinished(self._engine, reason=reason, utc_ms=self._utc_ms(), restart=restart)

    def _waiting(self) -> int:
        return len(self._queue) + len(self._taken)

    def _work(self) -> None:
        due_s = self._real_s() + self._commit_every_s
        while not self._closing:
            self._wake.wait(max(0.0, due_s - self._real_s()))
            self._wake.clear()
            began_s = self._real_s()
            self.flush()
            if self._fault is not None:
                due_s = began_s + self._pause_s
            else:
                # On a grid, so that what a commit takes is not added to the time between two.
                periods = math.floor((began_s - due_s) / self._commit_every_s) + 1
                due_s += periods * self._commit_every_s
        self._drain()

    def _drain(self) -> None:
        """Flush until nothing waits, since a flush may leave a word of its own.

        At the end there is no next second: a disk that refuses is asked once more.
        """
        refusals = 0
        while refusals < LAST_ATTEMPTS:
            if not self.flush():
                refusals += 1
            elif not self._queue:
                return

    def _drop(self, sample: Sample) -> None:
        self._dropped += 1
        if self._gap is None:
            self._gap = Gap(sample)
        self._gap.add(sample)

    def _note_gap(self) -> None:
        gap, self._gap = self._gap, None
        if gap is not None:
            self._queue.append(self._noted(gap.run_id, GAP, gap.text(), gap.data()))

    def _refused(self, fault: str) -> None:
        self._fault = fault
        self._pause_s = min(2 * self._pause_s, max(LONGEST_RETRY_S, self._commit_every_s))

    def _accepted(self) -> None:
        text = f"the disk takes entries again; it had refused: {self._fault}"
        self._queue.append(self._noted(None, REFUSAL_OVER, text, {}))
        self._fault = None
        self._pause_s = self._commit_every_s

    def _noted(
        self, run_id: int | None, kind: str, text: str, data: dict[str, float | int]
    ) -> Noted:
        return Noted(run_id, kind, text, self._utc_ms(), self._clock.monotonic_s(), {**data})

    def _utc_ms(self) -> int:
        return to_ms(self._clock.utc())
