"""Power cuts at any moment of the record's life, with seven kinds of damage, and again in recovery.

    .venv/bin/python tests/campaign/power_cuts.py --cuts 100000 --second 10000 --seed 1

What the record asks of the disk is recorded once, by strace, of the writer that ships; each cut is
a replay of it. After each, SQLite's own check has to find nothing, and the record has to say what
it said when it last acknowledged something, or what it was just about to. `--no-flush` is the
control: a disk that keeps nothing when it is told to; it has to fail.
"""

import argparse
import hashlib
import os
import shutil
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from random import Random

from disk import evening
from disk.damage import DAMAGES, Disk, Files
from disk.tracing import Op, read_ops, trace
from sqlalchemy.exc import DatabaseError

from daemon.record.errors import RecordOpenError

SHARED_MEMORY = Path("/dev/shm")
SLICE = 2_500
"""Cuts that one process does at once."""

SECONDS = 180
"""Of the first run; the two others are half as long."""


@dataclass
class Tale:
    """What a program asked of the disk, and the files there were before.

    first: the first moment of which there is a record. allowed: what the record may say after a cut
    before each op: what it said at one of the syncs from the last acknowledgement to the next.
    """

    ops: list[Op]
    before: Files
    first: int
    allowed: list[frozenset[str]]


@dataclass
class Found:
    """What came of some cuts."""

    cuts: int = 0
    corrupt: int = 0
    lost: int = 0
    examples: list[str] = field(default_factory=list)
    damages: Counter[str] = field(default_factory=Counter)

    def add(self, other: "Found") -> None:
        """Those of another slice as well."""
        self.cuts += other.cuts
        self.corrupt += other.corrupt
        self.lost += other.lost
        self.examples += other.examples
        self.damages += other.damages


def room(name: str) -> tempfile.TemporaryDirectory[str]:
    """A folder in memory, where there is one: nothing here is about the real disk."""
    place = SHARED_MEMORY if SHARED_MEMORY.is_dir() else None
    return tempfile.TemporaryDirectory(prefix=f"tankhand-{name}-", dir=place)


def put(folder: Path, files: Files) -> None:
    """The files of a record, and nothing else of it."""
    for each in folder.iterdir():
        each.unlink()
    for name, content in files.items():
        (folder / name).write_bytes(content)


def said(folder: Path) -> str:
    """Everything the record says, as a digest; "" where it is not a sound record.

    SQLite itself looks through the file, and for rows that point at nothing.
    """
    try:
        with closing(sqlite3.connect(folder / evening.RECORD, isolation_level=None)) as connection:
            ask = connection.execute
            if ask("PRAGMA integrity_check").fetchall() != [("ok",)]:
                return ""
            if ask("PRAGMA foreign_key_check").fetchall():
                return ""
            tables = ask("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
            digest = hashlib.blake2b(digest_size=16)
            for (name,) in tables.fetchall():
                digest.update(name.encode())
                for row in ask(f'SELECT * FROM "{name}" ORDER BY rowid'):
                    digest.update(repr(row).encode())
            return digest.hexdigest()
    except sqlite3.DatabaseError:
        return ""


def read_tale(ops: Sequence[Op], before: Files | None = None) -> Tale:
    """What may be said after a cut is worked out from the files as the program saw them."""
    marks = [number for number, op in enumerate(ops) if op.what == "mark"]
    allowed: list[frozenset[str]] = []
    disk = Disk(before)
    with room("whole") as name:
        folder = Path(name)

        def says() -> str:
            put(folder, disk.whole())
            return said(folder)

        newest = says()
        for start, end in pairwise([-1, *marks, len(ops)]):
            stretch = {newest}
            for op in ops[start + 1 : end + 1]:
                disk.take(op)
                if op.what == "sync":
                    stretch.add(newest := says())
            allowed += [frozenset(stretch)] * (min(end + 1, len(ops)) - start - 1)
        allowed.append(frozenset({newest}))
    return Tale(list(ops), before or {}, marks[0] + 1, allowed)


def cut_slice(tale: Tale, cuts: Sequence[int], seed: int, flushes: bool) -> Found:
    """Cut the power before each of these ops, in order; each with a kind of damage by turns."""
    found = Found()
    with room("cut") as name:
        folder = Path(name)
        disk, at = Disk(tale.before, flushes=flushes), 0
        for number, cut in enumerate(cuts):
            for op in tale.ops[at:cut]:
                disk.take(op)
            at = cut
            kind = list(DAMAGES)[number % len(DAMAGES)]
            put(folder, disk.cut(DAMAGES[kind], Random(f"{seed} {number}")))
            says = said(folder)
            found.cuts += 1
            found.damages[kind] += 1
            if not says:
                found.corrupt += 1
            elif says not in tale.allowed[cut]:
                found.lost += 1
            else:
                continue
            if len(found.examples) < 3:
                found.examples.append(f"cut {cut}, {kind}, seed {seed}, number {number}")
    return found


def slices(tale: Tale, cuts: int, seed: int) -> Iterator[tuple[list[int], int]]:
    """Moments of cuts, drawn at random, in order within each slice; and a seed for each slice."""
    for start in range(0, cuts, SLICE):
        random = Random(f"{seed} {start}")
        last = len(tale.ops)
        moments = [random.randint(tale.first, last) for _ in range(min(SLICE, cuts - start))]
        yield sorted(moments), random.randrange(2**32)


def record_evening(folder: Path, seconds: int) -> Tale:
    """Let the writer live through an evening, and take down what it asks of the disk."""
    place, log = folder / "evening", folder / "evening.log"
    place.mkdir()
    done = trace(Path(evening.__file__), ["live", place, seconds], log)
    if done.returncode != 0:
        raise RuntimeError(done.stderr)
    return read_tale(list(read_ops(log, place)))


def record_recoveries(folder: Path, tale: Tale, number: int, seed: int) -> list[Tale]:
    """Cut the power so many times, and take down what the next daemon asks of the disk."""
    places, befores = [], []
    for each in range(number):
        random = Random(f"{seed} recovery {each}")
        disk = Disk()
        for op in tale.ops[: random.randint(tale.first, len(tale.ops))]:
            disk.take(op)
        place = folder / f"recovery-{each}"
        place.mkdir()
        files = disk.cut(random.choice(list(DAMAGES.values())), random)
        put(place, files)
        places.append(place)
        befores.append(files)
    log = folder / "recoveries.log"
    done = trace(Path(evening.__file__), ["recover", *places], log)
    if done.returncode != 0:
        raise RuntimeError(done.stderr)
    ops = list(read_ops(log, folder))
    tales = []
    for place, before in zip(places, befores, strict=True):
        mine = [_within(op, place.name) for op in ops if op.name.split("/")[0] == place.name]
        # What was there before the recovery was acknowledged by the evening.
        tales.append(read_tale([Op("mark", "marks", data=b"evening"), *mine], before))
        shutil.rmtree(place)
    return tales


def _within(op: Op, place: str) -> Op:
    name = op.name.removeprefix(place).lstrip("/") or "."
    return Op(op.what, name, op.offset, op.data)


def campaign(
    tales: Sequence[Tale], cuts: int, seed: int, processes: int, *, flushes: bool = True
) -> Found:
    """Cut the power so many times, the same number in each tale."""
    found = Found()
    share = -(-cuts // len(tales))
    with ProcessPoolExecutor(processes) as pool:
        jobs = [
            pool.submit(cut_slice, tale, moments, own, flushes)
            for number, tale in enumerate(tales)
            for moments, own in slices(tale, share, seed + number)
        ]
        for job in jobs:
            found.add(job.result())
    return found


def cut_in_making(tale: Tale, cuts: int, seed: int) -> Found:
    """Cut the power before the first acknowledgement, and have the next daemon make a record."""
    found, random = Found(), Random(f"{seed} making")
    with room("making") as name:
        folder = Path(name)
        for moment in sorted(random.randrange(tale.first) for _ in range(cuts)):
            disk = Disk()
            for op in tale.ops[:moment]:
                disk.take(op)
            kind = random.choice(list(DAMAGES))
            put(folder, disk.cut(DAMAGES[kind], random))
            try:
                evening.recover(folder)
            except (RecordOpenError, DatabaseError) as error:
                found.corrupt += 1
                found.examples.append(f"cut {moment}, {kind}, in making: {error}")
            found.cuts += 1
    return found


def tell(what: str, found: Found, took_s: float) -> None:
    """One line."""
    sys.stdout.write(
        f"{what}: {found.cuts} cuts, {found.corrupt} corrupt, {found.lost} with acknowledged rows "
        f"lost or rows of half a transaction; {found.cuts / took_s:.0f} cuts/s\n"
    )
    for example in found.examples[:5]:
        sys.stdout.write(f"  {example}\n")
    sys.stdout.flush()


def main() -> int:
    """Run the campaign; the exit code says whether it found what it has to."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cuts", type=int, default=100_000)
    parser.add_argument("--second", type=int, default=10_000, help="cuts during recovery")
    parser.add_argument("--recoveries", type=int, default=200, help="that these are drawn from")
    parser.add_argument("--making", type=int, default=500, help="cuts while a record is made")
    parser.add_argument("--control", type=int, default=2_000, help="cuts of a disk without syncs")
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--seconds", type=int, default=SECONDS, help="of the first run")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    sys.stdout.write(f"seed {options.seed}\n")
    with room("tales") as name:
        folder = Path(name)
        tale = record_evening(folder, options.seconds)
        syncs = sum(op.what == "sync" for op in tale.ops)
        sys.stdout.write(f"an evening: {len(tale.ops)} operations, {syncs} syncs\n")
        recoveries = record_recoveries(folder, tale, options.recoveries, options.seed)
    began_s = time.monotonic()
    making = cut_in_making(tale, options.making, options.seed)
    tell("cuts while the record is made", making, time.monotonic() - began_s)
    sound = not making.corrupt
    for what, tales, cuts, flushes in (
        ("first cuts", [tale], options.cuts, True),
        ("second cuts, in recovery", recoveries, options.second, True),
        ("control, a disk without syncs", [tale], options.control, False),
    ):
        if not cuts:
            continue
        began_s = time.monotonic()
        found = campaign(tales, cuts, options.seed, options.processes, flushes=flushes)
        tell(what, found, time.monotonic() - began_s)
        wrong = found.corrupt + found.lost > 0
        sound = sound and wrong is not flushes
    return 0 if sound else 1


if __name__ == "__main__":
    sys.exit(main())
