"""How the record compares with what one would write first. Run by hand, prints ratios:

    python tests/benchmarks/record.py            # a 30-day run, some 5 minutes and 2 GB of scratch
    python tests/benchmarks/record.py --days 3   # quicker, for a look

The readings are made up, with what real ones have: a meter that shows whole mA and mV, noise of
sigma 8 mA and 3 mV around slow drifts, and a loop whose ticks are late by 150 µs (sigma). Each row
of the table is measured in the same run as its baseline; only the ratios mean anything elsewhere.

- At rest: the record's file when closed (never vacuumed) against a CSV file of the same columns
  to the resolution that the record keeps.
- Charts: 1000 points of least, mean and greatest current and voltage; the median of several runs
  on a warm cache; the baseline is GROUP BY over one row a sample, whole numbers, time as its key.
- Read cold: what the process asks the kernel to read (`rchar` in /proc/self/io) for one chart on a
  fresh connection, with nothing in SQLite's own cache. The kernel may read ahead beyond that.
- To the disk: what the process makes the kernel write (`write_bytes` there), an hour's commits run
  one after the other; the baseline is a table of floats with an index on time. The file system's
  own journal comes on top for both.
- CPU: process time for `put` alone, and for putting and writing together.
"""

import argparse
import math
import random
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from sqlalchemy import (
    URL,
    Column,
    Connection,
    Engine,
    Float,
    Integer,
    MetaData,
    Table,
    create_engine,
    event,
    insert,
)

from daemon.record.entries import RunEnded, RunOpened, Sample
from daemon.record.series import series
from daemon.record.store import open_reader
from daemon.record.writer import COMMIT_EVERY_S, Writer

RATE_HZ = 10
HOUR_S, DAY_S = 3600, 86_400
POINTS = 1000
MEGABYTE = 1e6

Row = tuple[str, str, str, str, str]


def readings(seconds: float, seed: int = 1) -> Iterator[Sample]:
    """A run's samples at 10 Hz, charge by trapezoids over the readings as shown."""
    rng = random.Random(seed)
    charge_ah = before_s = before_a = 0.0
    for tick in range(round(seconds * RATE_HZ)):
        time_s = tick / RATE_HZ + abs(rng.gauss(0, 150e-6))
        current_a = round(5000 + 200 * math.sin(tick / 30_000) + rng.gauss(0, 8)) / 1000
        voltage_v = round(2100 + 80 * math.sin(tick / 50_000) + rng.gauss(0, 3)) / 1000
        if tick:
            charge_ah += (before_a + current_a) / 2 * (time_s - before_s) / 3600
        before_s, before_a = time_s, current_a
        yield Sample(1, time_s, current_a, voltage_v, 5.0, charge_ah)


def in_batches(samples: Iterator[Sample], size: int) -> Iterator[list[Sample]]:
    batch: list[Sample] = []
    for sample in samples:
        batch.append(sample)
        if len(batch) == size:
            yield batch
            batch = []
    if batch:
        yield batch


def opened() -> RunOpened:
    return RunOpened(1, "bath A", "benchmark", "", "Cu(II)", 1.0, 25.0, "me", 0, 0.0, "boot", True)


def ended(last: Sample) -> RunEnded:
    elapsed_s, charge_ah = last.elapsed_s, last.charge_ah
    return RunEnded(1, "complete", "", 0, elapsed_s, elapsed_s, charge_ah, 0.0, 0.0, 1.0, 25.0)


def write_record(path: Path, batches: Iterator[list[Sample]]) -> None:
    """A whole run as a record, a batch a commit."""
    writer = Writer(path, threaded=False, capacity=2 * HOUR_S * RATE_HZ)
    writer.put(opened())
    for batch in batches:
        for sample in batch:
            writer.put(sample)
        if not writer.flush():
            sys.exit(f"the disk refuses: {writer.fault}")
    writer.put(ended(batch[-1]))
    writer.close()


def repeated(hour: list[Sample], hours: int) -> Iterator[list[Sample]]:
    """A long run: one hour's readings over and over, time and charge going on."""
    charge_ah = hour[-1].charge_ah
    for k in range(hours):
        yield [
            s._replace(elapsed_s=s.elapsed_s + k * HOUR_S, charge_ah=s.charge_ah + k * charge_ah)
            for s in hour
        ]


def write_rows(path: Path, hour: list[Sample], hours: int) -> None:
    """The same run as plain rows, made inside the database."""
    engine = create_engine(URL.create("sqlite", database=str(path)))
    with engine.begin() as connection:
        raw_table().create(connection)
        connection.exec_driver_sql(
            "INSERT INTO reading VALUES (?, ?, ?, ?, ?)", [as_integers(s) for s in hour]
        )
        charge = as_integers(hour[-1])[-1]
        connection.exec_driver_sql(
            "WITH RECURSIVE later(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM later WHERE k < ?) "
            "INSERT INTO reading SELECT t_us + k * 3600000000, current, voltage, set_current, "
            "charge + k * ? FROM later CROSS JOIN reading WHERE t_us < 3600000000",
            (hours - 1, charge),
        )
    engine.dispose()


def raw_table() -> Table:
    channels = [Column(name, Integer) for name in ("current", "voltage", "set_current", "charge")]
    return Table("reading", MetaData(), Column("t_us", Integer, primary_key=True), *channels)


def as_integers(sample: Sample) -> tuple[int, ...]:
    return (
        round(sample.elapsed_s * 1e6),
        round((sample.current_a or 0) * 1e3),
        round((sample.voltage_v or 0) * 1e3),
        round(sample.set_current_a * 1e3),
        round(sample.charge_ah * 1e7),
    )


def group_by(connection: Connection, seconds: float) -> int:
    bucket_us = round(seconds * 1e6 / POINTS)
    rows = connection.exec_driver_sql(
        "SELECT t_us / ?, min(current), avg(current), max(current), "
        "min(voltage), avg(voltage), max(voltage), max(charge) "
        "FROM reading WHERE t_us < ? GROUP BY 1",
        (bucket_us, round(seconds * 1e6)),
    ).all()
    return len(rows)


def median_s(act: Callable[[], object], times: int) -> float:
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        act()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


def io_count(name: str) -> int:
    lines = Path("/proc/self/io").read_text(encoding="ascii").splitlines()
    return int(dict(line.split(": ") for line in lines)[name])


def at_rest(folder: Path) -> Row:
    path, csv = folder / "day.db", folder / "day.csv"
    write_record(path, in_batches(readings(DAY_S), HOUR_S * RATE_HZ))
    with csv.open("w", encoding="ascii") as text:
        text.writelines(map(csv_line, readings(DAY_S)))
    ours, theirs = path.stat().st_size, csv.stat().st_size
    return (
        "24 h at 10 Hz, at rest, against CSV", f"{ours / MEGABYTE:.2f} MB",
        f"{theirs / MEGABYTE:.1f} MB", f"{theirs / ours:.1f} x smaller", ">= 12",
    )  # fmt: skip


def csv_line(s: Sample) -> str:
    return (
        f"{s.elapsed_s:.5f},{s.current_a:.3f},{s.voltage_v:.3f},"
        f"{s.set_current_a:.3f},{s.charge_ah:.7f}\n"
    )


def charts(path: Path, raw: Path, days: float) -> Iterator[Row]:
    seconds = days * DAY_S
    engine = create_engine(URL.create("sqlite", database=str(raw)))
    with engine.connect() as connection:
        raw_s = median_s(lambda: group_by(connection, seconds), 2)
    engine.dispose()
    engine = open_reader(path)
    with engine.connect() as connection:
        long_s, day_s = (
            median_s(lambda span=span: series(connection, 1, 0, span, POINTS), 15)  # type: ignore[misc]
            for span in (seconds, min(DAY_S, seconds))
        )
    engine.dispose()
    yield (
        f"{days:g}-day chart against GROUP BY", f"{long_s * 1e3:.1f} ms", f"{raw_s * 1e3:.0f} ms",
        f"{raw_s / long_s:.0f} x faster", ">= 1000",
    )  # fmt: skip
    yield (
        f"{days:g}-day chart against the 24-h chart", f"{long_s * 1e3:.1f} ms",
        f"{day_s * 1e3:.1f} ms", f"{long_s / day_s:.2f} x the time", "<= 2",
    )  # fmt: skip


def chart_on_cold_cache(engine: Engine, from_s: float, to_s: float) -> tuple[str, int, float]:
    before, began = io_count("rchar"), time.perf_counter()
    with engine.connect() as connection:
        found = series(connection, 1, from_s, to_s, POINTS)
    engine.dispose()
    return found.level, io_count("rchar") - before, time.perf_counter() - began


def read_cold(path: Path, days: float) -> Iterator[Row]:
    """Charts of every length from a minute up, at the run's start and end."""
    engine = open_reader(path)
    worst: dict[str, tuple[int, float, float]] = {}
    span_s, end_s = 60.0, days * DAY_S
    while span_s < 1.35 * end_s:
        span_s = min(span_s, end_s)
        for from_s in (0.0, end_s - span_s):
            level, read, took_s = chart_on_cold_cache(engine, from_s, from_s + span_s)
            slowest_s = max(took_s, worst.get(level, (0, 0.0, 0.0))[2])
            most, span_of_most, _ = max((read, span_s, 0.0), worst.get(level, (0, 0.0, 0.0)))
            worst[level] = (most, span_of_most, slowest_s)
        span_s *= 1.35
    for level, (read, span_of_most, slowest_s) in worst.items():
        yield (
            f"most read cold, level {level}", f"{read / MEGABYTE:.2f} MB",
            f"{span_of_most / HOUR_S:.1f} h shown", f"slowest {slowest_s * 1e3:.0f} ms", "<= 1 MB",
        )  # fmt: skip


def written_by_record(folder: Path, per_commit: int) -> int:
    writer = Writer(folder / f"wear-{per_commit}.db", threaded=False)
    writer.put(opened())
    writer.flush()
    before = io_count("write_bytes")
    for batch in in_batches(readings(HOUR_S), per_commit):
        for sample in batch:
            writer.put(sample)
        writer.flush()
    writer.close()
    return io_count("write_bytes") - before


def written_by_floats(folder: Path, per_commit: int) -> int:
    engine = create_engine(URL.create("sqlite", database=str(folder / f"floats-{per_commit}.db")))

    @event.listens_for(engine, "connect")
    def _durable(connection: object, _: object) -> None:
        connection.execute("PRAGMA journal_mode=WAL")  # type: ignore[attr-defined]
        connection.execute("PRAGMA synchronous=FULL")  # type: ignore[attr-defined]

    columns = ("elapsed_s", "current_a", "voltage_v", "set_current_a", "charge_ah")
    table = Table(
        "reading", MetaData(), Column("id", Integer, primary_key=True),
        Column("elapsed_s", Float, index=True), *(Column(name, Float) for name in columns[1:]),
    )  # fmt: skip
    table.metadata.create_all(engine)
    before = io_count("write_bytes")
    for batch in in_batches(readings(HOUR_S), per_commit):
        with engine.begin() as connection:
            connection.execute(
                insert(table), [{name: getattr(s, name) for name in columns} for s in batch]
            )
    engine.dispose()
    return io_count("write_bytes") - before


def to_the_disk(folder: Path) -> Iterator[Row]:
    naive = written_by_floats(folder, RATE_HZ)
    for seconds, aim in ((COMMIT_EVERY_S, "<= 0.5"), (5.0, "<= 0.2")):
        ours = written_by_record(folder, round(seconds * RATE_HZ))
        yield (
            f"to the disk in 1 h, a commit each {seconds:g} s", f"{ours / MEGABYTE:.1f} MB",
            f"{naive / MEGABYTE:.1f} MB", f"{ours / naive:.2f} x", aim,
        )  # fmt: skip


def cpu(folder: Path, per_s: int) -> Row:
    """Samples `per_s` a second, a commit a second, for two minutes of the run."""
    samples = [
        s._replace(elapsed_s=s.elapsed_s * RATE_HZ / per_s) for s in readings(120 * per_s / RATE_HZ)
    ]
    writer = Writer(folder / f"cpu-{per_s}.db", threaded=False)
    writer.put(opened())
    put_s = 0.0
    began = time.process_time()
    for batch in in_batches(iter(samples), per_s):
        before_put = time.process_time()
        for sample in batch:
            writer.put(sample)
        put_s += time.process_time() - before_put
        writer.flush()
    all_s = time.process_time() - began
    writer.close()
    return (
        f"CPU a sample at {per_s} a second", f"put {put_s / len(samples) * 1e6:.2f} µs", "-",
        f"all {all_s / len(samples) * 1e6:.1f} µs", "put <= 1 µs",
    )  # fmt: skip


def show(row: Row) -> None:
    what, ours, baseline, ratio, aim = row
    sys.stdout.write(f"{what:<44} {ours:>14} {baseline:>14} {ratio:>18}   {aim}\n")
    sys.stdout.flush()


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure the record against what is obvious.")
    parser.add_argument("--days", type=float, default=30, help="length of the long run (30)")
    parser.add_argument("--folder", type=Path, help="where to work; on the disk to be measured")
    arguments = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="record-", dir=arguments.folder))
    try:
        show(("what", "record", "baseline", "ratio", "aim"))
        for per_s in (10, 4000):
            show(cpu(folder, per_s))
        for row in to_the_disk(folder):
            show(row)
        show(at_rest(folder))
        path, raw = folder / "long.db", folder / "long-raw.db"
        hour, hours = list(readings(HOUR_S)), round(arguments.days * 24)
        write_record(path, repeated(hour, hours))
        write_rows(raw, hour, hours)
        for row in charts(path, raw, arguments.days):
            show(row)
        for row in read_cold(path, arguments.days):
            show(row)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
