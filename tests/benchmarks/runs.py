"""How quickly runs are found, drawn and told. Run by hand, prints ratios:

    python tests/benchmarks/runs.py            # a 30-day run, 5,000 short ones, 15 min
    python tests/benchmarks/runs.py --days 3   # quicker, for a look

The readings are those of record.py, at ten a second; of the long run one in 4 s is written, since
what is drawn of it are its hours, however many readings they had. Each row is measured in the same
run as its baseline, the median of several on a warm cache; only the ratios mean anything
elsewhere.

- Charts: what the page's script asks for (800 points) and what stands in the page without one
  (160), of the long run against a run of an hour.
- Report: everything that a report reads and draws, of the long run against the run of an hour.
- Search: a page of 51 runs out of 5,000 with plans of a kilobyte, against the newest 51 alone.
- Download: CSV of an hour at ten a second; the most memory that it takes at a time.
"""

import argparse
import shutil
import sys
import tempfile
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

from record import DAY_S, HOUR_S, Row, median_s, readings, repeated, show, write_record
from sqlalchemy import Engine, insert

from daemon.api.runs.readings import about, csv_chunks
from daemon.api.runs.report import read_report
from daemon.record import queries
from daemon.record.readings import pieces
from daemon.record.run_search import Wanted, find
from daemon.record.series import series
from daemon.record.store import RecordLock, open_reader, open_writer
from daemon.record.tables import bath, run
from web.drawings.run_chart import of_run
from web.now.pages import PLAIN_POINTS

SCRIPT_POINTS = 800
FEWER = 40
MANY = 5000
TIMES = 15


def chart_s(engine: Engine, points: int) -> float:
    with engine.connect() as connection:
        end_s = queries.one_run(connection, 1).elapsed_s + 1.0
        return median_s(lambda: series(connection, 1, 0.0, end_s, points), TIMES)


def report_s(engine: Engine) -> float:
    with engine.connect() as connection:
        return median_s(lambda: of_run(read_report(connection, 1)), TIMES)


def drawn(long: Engine, short: Engine, days: float) -> Iterator[Row]:
    for what, points in (("script", SCRIPT_POINTS), ("plain", PLAIN_POINTS)):
        long_s = chart_s(long, points)
        short_s = chart_s(short, points)
        yield (
            f"{days:g}-day chart, {what}, against an hour's", f"{long_s * 1e3:.1f} ms",
            f"{short_s * 1e3:.1f} ms", f"{long_s / short_s:.2f} x the time", "<= 1.5",
        )  # fmt: skip
    long_s, short_s = report_s(long), report_s(short)
    yield (
        f"{days:g}-day report against an hour's", f"{long_s * 1e3:.1f} ms",
        f"{short_s * 1e3:.1f} ms", f"{long_s / short_s:.2f} x the time", "<= 1.5",
    )  # fmt: skip


def write_many(path: Path) -> None:
    """Runs without readings, two a day, and a plan of a kilobyte for each."""
    plan = 'title = "Part"\n' + "# what was thought of it\n" * 40
    begun_ms, half_day_ms = 1_600_000_000_000, DAY_S * 500
    with RecordLock(path):
        engine = open_writer(path)
        with engine.begin() as connection:
            connection.execute(insert(bath), [{"id": 1, "name": "bath A", "opened_utc_ms": 0}])
            connection.execute(
                insert(run),
                [
                    {
                        "id": n, "bath_id": 1, "title": f"Part {n % 97}", "plan": f"{plan}{n}",
                        "metal": "Cu", "area_dm2": 1.0, "target_um": 25.0, "who": "me",
                        "started_utc_ms": begun_ms + n * half_day_ms, "started_monotonic_s": 0.0,
                        "boot_id": "b", "state": ("complete", "stopped", "aborted")[n % 3],
                        "ended_utc_ms": begun_ms + (n + 1) * half_day_ms, "elapsed_s": 40_000.0,
                        "charge_nah": 10**10, "thickness_um": 25.0,
                    }
                    for n in range(1, MANY + 1)
                ],
            )  # fmt: skip
        engine.dispose()


def searched(engine: Engine) -> Iterator[Row]:
    newest_ms = 1_600_000_000_000 + MANY * DAY_S * 500
    wanted = {
        "by days": Wanted(from_utc_ms=newest_ms // 2 + 800_000_000_000, until_utc_ms=newest_ms),
        "by end": Wanted(states=("aborted",)),
        "by a word that each has": Wanted(words=("thought",)),
        "by a word that none has": Wanted(words=("zebra",)),
    }
    with engine.connect() as connection:

        def page(what: Wanted) -> int:
            return len(queries.numbered(connection, find(connection, what, limit=51)))

        newest_s = median_s(lambda: page(Wanted()), TIMES)
        for name, what in wanted.items():
            took_s = median_s(lambda what=what: page(what), TIMES)  # type: ignore[misc]
            yield (
                f"{MANY} runs, {name}", f"{took_s * 1e3:.1f} ms", f"{newest_s * 1e3:.1f} ms",
                f"{took_s / newest_s:.1f} x the time", "-",
            )  # fmt: skip


def downloaded(engine: Engine) -> Row:
    with engine.connect() as connection:
        found = queries.one_run(connection, 1)
    tracemalloc.start()
    size = sum(
        len(chunk)
        for chunk in csv_chunks(found, about(found, None), pieces(engine.connect, 1, HOUR_S + 1.0))
    )
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return (
        "CSV of an hour, most memory at a time", f"{peak / 1e6:.1f} MB", f"{size / 1e6:.1f} MB",
        f"{peak / size:.2f} x the file", "-",
    )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure finding, drawing and telling runs.")
    parser.add_argument("--days", type=float, default=30, help="length of the long run (30)")
    parser.add_argument("--folder", type=Path, help="where to work; on the disk to be measured")
    arguments = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="runs-", dir=arguments.folder))
    try:
        show(("what", "it", "baseline", "ratio", "aim"))
        write_many(folder / "many.db")
        hour = list(readings(HOUR_S))
        write_record(folder / "short.db", iter([hour]))
        many, short = open_reader(folder / "many.db"), open_reader(folder / "short.db")
        for row in searched(many):
            show(row)
        show(downloaded(short))
        write_record(folder / "long.db", repeated(hour[::FEWER], round(arguments.days * 24)))
        long = open_reader(folder / "long.db")
        for row in drawn(long, short, arguments.days):
            show(row)
    finally:
        shutil.rmtree(folder)
    sys.stdout.flush()


if __name__ == "__main__":
    main()
