"""Each call to the disk fails in turn, once and for ever, in the record's life of a short evening.

    .venv/bin/python tests/campaign/io_errors.py

strace counts the calls of each kind that the record's files get, and then makes the first, the
second and so on fail. After each, the next daemon opens the record on a disk that is well, and it
has to hold what was acknowledged, nothing by half, and nothing in silence.
"""

import argparse
import os
import sqlite3
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field
from itertools import groupby, product
from pathlib import Path

from disk import evening, failing
from disk.failing import Account, Fault
from power_cuts import room
from sqlalchemy.exc import DatabaseError

from daemon.record.errors import RecordError
from daemon.record.series import samples
from daemon.record.store import open_reader
from daemon.record.writer import REFUSAL_OVER, Writer

KINDS = (
    ("fsync,fdatasync", "EIO"),
    ("openat", "EIO"),
    ("openat", "ENOSPC"),
    ("ftruncate", "EIO"),
    ("ftruncate", "ENOSPC"),
    ("unlink", "EIO"),
    ("write", "ENOSPC"),
    ("pwrite64", "EIO"),
    ("pwrite64", "ENOSPC"),
    ("pread64", "EIO"),
)
"""Calls, and how they fail."""

PARTS: dict[str, Callable[[Path, Account], None]] = {"make": failing.make, "live": failing.live}
"""A record is made; evenings of one that is there."""


@dataclass
class Found:
    """What came of some trials. unreached: of these the call was not made; counts: what was told
    in how many of them; wrong: what has not to be."""

    trials: int = 0
    unreached: int = 0
    counts: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    def add(self, other: "Found") -> None:
        """Those of another one as well."""
        self.trials += other.trials
        self.unreached += other.unreached
        self.counts += other.counts
        self.wrong += other.wrong


def made_record() -> bytes:
    """A record that is made and holds nothing yet."""
    with room("made") as name:
        record = Path(name) / evening.RECORD
        Writer(record, threaded=False, busy_timeout_ms=0).close()
        return record.read_bytes()


def begin(part: str, place: Path, made: bytes) -> Path:
    """The record before a part of the evening."""
    place.mkdir()
    record = place / evening.RECORD
    if part != "make":
        record.write_bytes(made)
    return record


def count_calls(part: str, made: bytes) -> dict[str, int]:
    """How many of each kind there are while nothing fails."""
    counted = {}
    with room("dry") as name:
        for calls in dict(KINDS):
            record = begin(part, Path(name) / calls, made)
            log = Path(name) / "log"
            account = failing.attempt(PARTS[part], record, calls, None, log)
            if account.failed or any(account.ends) or account.said:
                raise RuntimeError(f"{part} with a disk that is well: {account}")
            lines = log.read_text().splitlines()
            counted[calls] = sum(" = " in line for line in lines)
    return counted


def try_one(part: str, fault: Fault, made: bytes) -> Found:
    """One evening with one fault."""
    found = Found(trials=1)
    with room("io") as name:
        record, log = begin(part, Path(name) / "record", made), Path(name) / "log"
        account = failing.attempt(PARTS[part], record, fault.calls, fault, log)
        found.unreached += "(INJECTED)" not in log.read_text()
        found.counts["an error ended a daemon"] += any(account.ends)
        found.counts["a commit was refused"] += bool(account.said)
        found.counts["an entry of the bath was refused"] += any(account.asked.values())
        found.wrong += [f"{part} {fault}: {text}" for text in differences(record, account, fault)]
    return found


def differences(record: Path, account: Account, fault: Fault) -> Iterator[str]:
    """What is not as it has to be, after a next daemon has opened the record."""
    if account.failed:
        yield f"not foreseen: {account.failed}"
        return
    if not fault.for_ever and account.ends[-1] and account.ends[-2]:
        yield f"one error ended two daemons: {account.ends}"
    for text in filter(None, account.ends):
        if "\n" in text or not (str(record) in text or "the disk refuses" in text):
            yield f"no clear error: {text!r}"
    try:
        writer = Writer(record, threaded=False, busy_timeout_ms=0)
        writer.close_unfinished("the daemon died")
        writer.close()
    except (RecordError, DatabaseError, OSError) as error:
        yield f"the next daemon does not start: {error}"
        return
    with closing(sqlite3.connect(record)) as connection:
        for pragma in ("integrity_check", "foreign_key_check"):
            if (said := connection.execute(f"PRAGMA {pragma}").fetchall()) not in ([], [("ok",)]):
                yield f"{pragma}: {said}"
    there = keys(record)
    yield from _kept(account, there)
    yield from _told(account, there, fault.for_ever)
    yield from _bath(record, account)


def keys(record: Path) -> Counter[failing.Key]:
    """What there is in the record, by what the evening knows it by."""
    there: Counter[failing.Key] = Counter()
    with closing(sqlite3.connect(record)) as connection:
        ask = connection.execute
        runs = ask("SELECT id, state FROM run ORDER BY id").fetchall()
        there.update(("run", number) for number, _ in runs)
        there.update(("end", number) for number, state in runs if state == "complete")
        there.update(("alarm", number) for (number,) in ask("SELECT id FROM alarm"))
        there.update(("event", kind) for (kind,) in ask("SELECT kind FROM event"))
    engine = open_reader(record)
    with engine.connect() as asked:
        for number, _ in runs:
            own = samples(asked, number, 0.0, 1e9)
            there.update(("sample", number, each.elapsed_s) for each in own)
    engine.dispose()
    return there


def _kept(account: Account, there: Counter[failing.Key]) -> Iterator[str]:
    """What was acknowledged is there once; of the rest whole commits, the first ones."""
    for put, kept in zip(_put(account), account.kept, strict=True):
        lost = [each for each in put[:kept] if there[each] != 1]
        if lost:
            yield f"{len(lost)} acknowledged entries are not there once: {lost[:3]}"
        got = [each in there for each in put]
        if got != sorted(got, reverse=True):
            yield f"half a commit: {[each for each in put if each not in there][:3]}"
    known = {each for put in _put(account) for each in put}
    own = [each for each in there if each in known or each[0] != "event"]
    strange = [each for each in own if each not in known or there[each] > 1]
    if strange:
        yield f"nobody put this there, or not twice: {strange[:3]}"


def _told(account: Account, there: Counter[failing.Key], for_ever: bool) -> Iterator[str]:
    """Nothing is missing in silence, or for a single error; who was behind says so."""
    missing = [each for put in _put(account) for each in put if each not in there]
    if missing and not (for_ever and any(account.ends)):
        yield f"{len(missing)} entries are missing, told was {account.ends}: {missing[:3]}"
    if account.said and not any(account.ends) and not there["event", REFUSAL_OVER]:
        yield f"nothing says that the record was behind: {account.said}"


def _put(account: Account) -> list[list[failing.Key]]:
    return [[tuple(each) for each in put] for put in account.put]


def _bath(record: Path, account: Account) -> Iterator[str]:
    """An entry of the bath and who asked for it, both or neither; and the account of its runs."""
    with closing(sqlite3.connect(record)) as connection:
        ask = connection.execute
        entries = Counter(kind for (kind,) in ask("SELECT kind FROM bath_entry"))
        audits = Counter(kind for (kind,) in ask("SELECT what FROM audit"))
        posted = ask("SELECT total(charge_nah) FROM ledger").fetchone()
        of_runs = ask("SELECT total(charge_nah) FROM run").fetchone()
    if entries != audits:
        yield f"entries {entries}, asked for {audits}"
    for kind, refused in account.asked.items():
        if entries[kind] != 1 and not refused:
            yield f"{kind} was answered as kept, and is there {entries[kind]} times"
    if posted != of_runs:
        yield f"the account has {posted} nAh, its runs {of_runs} nAh"


def trials(
    counted: dict[str, dict[str, int]], each: int, kinds: Sequence[tuple[str, str]] = KINDS
) -> Iterator[tuple[str, Fault]]:
    """Every call of these kinds, or with `each` above 1 every so manieth."""
    for (kind, error), for_ever in product(kinds, (False, True)):
        for part, calls in counted.items():
            for number in range(1, calls[kind] + 1, each):
                yield part, Fault(kind, error, number, for_ever)


def campaign(
    jobs: Sequence[tuple[str, Fault]], made: bytes, processes: int
) -> Iterator[tuple[str, Found]]:
    """Try them all; what came of each kind, once it is through."""
    with ProcessPoolExecutor(processes) as pool:
        pending = [(fault, pool.submit(try_one, part, fault, made)) for part, fault in jobs]
        for name, of_kind in groupby(pending, lambda each: _kind(each[0])):
            found = Found()
            for _, job in of_kind:
                found.add(job.result())
            yield name, found


def _kind(fault: Fault) -> str:
    return f"{fault.calls} {fault.error}, {'for ever' if fault.for_ever else 'once'}"


def main() -> int:
    """Run the campaign; the exit code says whether anything was wrong."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--each", type=int, default=1, help="only each so manieth call")
    parser.add_argument("--kind", choices=[" ".join(kind) for kind in KINDS], help="only this one")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    made = made_record()
    counted = {part: count_calls(part, made) for part in PARTS}
    sys.stdout.write(f"calls while nothing fails: {counted}\n")
    began_s, whole = time.monotonic(), Found()
    kinds = [kind for kind in KINDS if options.kind in (None, " ".join(kind))]
    jobs = list(trials(counted, options.each, kinds))
    for name, found in campaign(jobs, made, options.processes):
        whole.add(found)
        sys.stdout.write(
            f"{name}: {found.trials} trials, {found.unreached} without the call, "
            f"{len(found.wrong)} wrong; {dict(found.counts)}\n"
        )
        sys.stdout.writelines(f"  {text}\n" for text in found.wrong[:10])
        sys.stdout.flush()
    rate = whole.trials / (time.monotonic() - began_s)
    sys.stdout.write(f"{whole.trials} trials, {len(whole.wrong)} wrong; {rate:.1f} trials/s\n")
    return 1 if whole.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
