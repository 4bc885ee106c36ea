"""An evening at the tank while calls to the disk fail, in a process that strace is attached to.

The process is forked from one that has loaded everything, so that a trial costs a second and not
ten. What it put into the record, and what of it was acknowledged, it tells in the end.
"""

import ctypes
import json
import os
import subprocess
import sys
import traceback
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path

from sqlalchemy import Engine, event
from sqlalchemy.exc import DatabaseError

from daemon.record.entries import (
    AlarmRaised,
    Audited,
    BathEntered,
    Entry,
    Noted,
    RunEnded,
    RunOpened,
    Sample,
)
from daemon.record.errors import RecordError
from daemon.record.store import refusal
from daemon.record.writer import Writer
from disk import evening

SECONDS = 2
"""Of each run: a commit a second."""

ANY_TRACER = 0x59616D61, -1
"""prctl's PR_SET_PTRACER and PR_SET_PTRACER_ANY, linux/prctl.h: where only ancestors may trace."""

Key = tuple[str, *tuple[object, ...]]


@dataclass(frozen=True)
class Fault:
    """Calls that fail: the number-th, or from that one on all. calls: as strace names them."""

    calls: str
    error: str
    number: int
    for_ever: bool

    def __str__(self) -> str:
        more = "+" if self.for_ever else ""
        return f"{self.calls}:error={self.error}:when={self.number}{more}"


@dataclass
class Account:
    """What a process tells of its evening.

    put: of each daemon that handed something over, all of that in order. kept: how many of these
    are acknowledged. asked: for each entry of the bath, "" where it was answered as kept, or why it
    is not. said: why the disk refused, whenever it did. ends: of each daemon, the error that ended
    it, or "". failed: what should not have been possible.
    """

    put: list[list[Key]] = field(default_factory=list)
    kept: list[int] = field(default_factory=list)
    asked: dict[str, str] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)
    ends: list[str] = field(default_factory=list)
    failed: str = ""


def key(entry: Entry) -> Key:
    """What an entry is known by."""
    if isinstance(entry, Sample):
        return "sample", entry.run_id, entry.elapsed_s
    if isinstance(entry, AlarmRaised):
        return "alarm", entry.number
    if isinstance(entry, RunOpened):
        return "run", entry.run_id
    if isinstance(entry, RunEnded):
        return "end", entry.run_id
    if isinstance(entry, Noted):
        return "event", entry.kind
    raise TypeError(entry)


class Life:
    """One daemon: from its start to its end, as `daemon.service.main` has them."""

    def __init__(self, record: Path, account: Account) -> None:
        self._account = account
        self._writer = Writer(record, threaded=False, busy_timeout_ms=0)
        account.put.append([])
        account.kept.append(0)

    def live(self, substance: str) -> None:
        """A dose, a run that ends, and one that is still open when it is told to stop."""
        try:
            self._writer.close_unfinished("the daemon died")
            self._writer.ensure_bath(evening.BATH)
            number = self._writer.next_run_id()
            alarm = self._writer.next_alarm_number()
            self._dose(substance)
            self._plate(number, alarm)
            self._put(evening.ended(number, SECONDS))
            self._commit()
            self._plate(number + 1, alarm + 1)
            self._put(evening.sample(number + 1, float(SECONDS)))
        finally:
            self._writer.close()
            self._acknowledged()

    def _put(self, entry: Entry) -> None:
        self._account.put[-1].append(key(entry))
        self._writer.put(entry)

    def _acknowledged(self) -> None:
        self._account.kept[-1] = len(self._account.put[-1])

    def _commit(self) -> None:
        if self._writer.flush():
            self._acknowledged()
        else:
            self._account.said.append(str(self._writer.fault))

    def _dose(self, substance: str) -> None:
        utc_ms = evening.UTC_MS
        made = BathEntered(evening.BATH, substance, "Ann", utc_ms, utc_ms, amounts={substance: 5.0})
        try:
            self._writer.keep_bath_entry(made, Audited(utc_ms, "Ann", "tty", substance))
            self._account.asked[substance] = ""
        except DatabaseError as error:
            self._account.asked[substance] = str(error.orig)

    def _plate(self, number: int, alarm: int) -> None:
        self._put(evening.opened(number))
        for second in range(SECONDS):
            for at_s in (float(second), second + 0.5):
                self._put(evening.sample(number, at_s))
            if second == 1:
                self._put(evening.raised(alarm, number))
                self._put(Noted(number, f"note {number}", "lid opened", evening.UTC_MS, 133.0, {}))
            self._commit()


def live(record: Path, account: Account) -> None:
    """Two daemons after each other; the second starts whatever became of the first."""
    for substance in ("copper", "brightener"):
        try:
            Life(record, account).live(substance)
        except (RecordError, DatabaseError, OSError) as error:
            account.ends.append(_told(error, record))
        else:
            account.ends.append("")


def make(record: Path, account: Account) -> None:
    """A record is made, and made by the next daemon if the first could not."""
    for _ in range(2):
        try:
            Writer(record, threaded=False, busy_timeout_ms=0).close()
        except (RecordError, DatabaseError, OSError) as error:
            account.ends.append(_told(error, record))
        else:
            account.ends.append("")


def _told(error: Exception, record: Path) -> str:
    """What the daemon tells of an error that ends it."""
    return f"{record}: {refusal(error)}" if isinstance(error, DatabaseError) else str(error)


def files(record: Path) -> list[Path]:
    """Everything of a record that may be written, and the folder, which is synced."""
    ends = ("", "-wal", "-shm", "-journal", ".lock")
    return [record.parent, *(Path(f"{record}{end}") for end in ends)]


def attempt(
    do: Callable[[Path, Account], None], record: Path, calls: str, fault: Fault | None, log: Path
) -> Account:
    """Fork, attach strace, and let it happen; the calls on the record's files stand in `log`."""
    told = log.with_suffix(".json")
    held, go = os.pipe()
    process = os.fork()
    if process == 0:
        ctypes.CDLL(None).prctl(*ANY_TRACER)
        os.read(held, 1)
        _in_the_fork(do, record, told)
    os.close(held)
    try:
        words = ["-e", f"inject={fault}"] if fault else []
        paths = [word for path in files(record) for word in ("-P", str(path))]
        with subprocess.Popen(
            ["strace", "-p", str(process), "-e", f"trace={calls}", "-s", "0", "-o", log, *words,
             *paths],
            stderr=subprocess.PIPE, text=True,
        ) as strace:  # fmt: skip
            line = _attached(strace)
            os.write(go, b"g")
            os.waitpid(process, 0)
            strace.stderr.read()
        if "attached" not in line:
            raise RuntimeError(f"strace cannot attach: {line}")
    finally:
        os.close(go)
    return Account(**json.loads(told.read_text()))


def _attached(strace: subprocess.Popen[str]) -> str:
    """The line that tells of it; paths that are resolved are told before."""
    line = ""
    while line := strace.stderr.readline():
        if "Requested path" not in line:
            break
    return line


def _in_the_fork(do: Callable[[Path, Account], None], record: Path, told: Path) -> None:
    account = Account()
    event.listen(Engine, "begin", evening.move_often)
    try:
        do(record, account)
    except BaseException:
        account.failed = traceback.format_exc()
    told.write_text(json.dumps(asdict(account)))
    sys.stdout.flush()
    os._exit(0)
