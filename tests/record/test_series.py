"""Charts and exports against sums over the very samples that were put, in exact fractions."""

import random
import shutil
import sqlite3
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection

from daemon.record.entries import RunEnded, RunOpened, Sample
from daemon.record.series import Series, samples, series
from daemon.record.store import open_reader
from daemon.record.writer import Writer

Make = Callable[..., Any]


def uneven(seconds: int) -> list[Sample]:
    """A run with uneven steps, readings that fail, and a hole; values as they can be stored."""
    rng = random.Random(5)
    found: list[Sample] = []
    time, charge = 0, 0
    while time < seconds * 100_000:
        if not 5000 <= time / 100_000 < 5130:
            current = None if rng.random() < 0.03 else rng.randrange(300_000, 500_000) / 1e5
            voltage = None if rng.random() < 0.03 else rng.randrange(100_000, 250_000) / 1e5
            celsius = None if rng.random() < 0.1 else rng.randrange(2200, 2600) / 1e2
            found.append(Sample(1, time / 1e5, current, voltage, 4.0, charge / 1e7, celsius))
        time += rng.choice([50_000, 100_000, 210_000])
        charge += rng.randrange(20_000)
    return found


@dataclass
class Shown:
    connection: Connection
    run: list[Sample]


@pytest.fixture(scope="module", params=[False, True], ids=["under way", "ended"])
def shown(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Shown]:
    path: Path = tmp_path_factory.mktemp("series") / "record.db"
    writer = Writer(path, threaded=False)
    writer.put(RunOpened(1, "bath A", "", "", "Cu", 1.0, 25.0, "me", 0, 0.0, "b", True))
    run = uneven(3 * 3600 + 1234)
    for begin in range(0, len(run), 150):
        for sample in run[begin : begin + 150]:
            writer.put(sample)
        writer.flush()
    if request.param:
        charge_ah = run[-1].charge_ah
        writer.put(RunEnded(1, "complete", "", 0, 9e3, 9e3, charge_ah, 0, 0, 1.0, 25.0))
    writer.flush()
    engine = open_reader(path)
    with engine.connect() as connection:
        yield Shown(connection, run)
    engine.dispose()
    writer.close()


def between(run: list[Sample], first_s: float, last_s: float) -> list[Sample]:
    """The samples from first_s to last_s, both included."""
    begin = bisect_left(run, first_s, key=lambda s: s.elapsed_s)
    return run[begin : bisect_right(run, last_s, key=lambda s: s.elapsed_s)]


def check_point(run: list[Sample], found: Series, k: int) -> None:
    """Compare a point with the samples it says it stands for."""
    inside = between(run, found.first_s[k], found.last_s[k])
    assert found.charge_ah[k] == pytest.approx(inside[-1].charge_ah, abs=1e-9)
    for field, bands in (
        ("current_a", found.current_a),
        ("voltage_v", found.voltage_v),
        ("temperature_c", found.temperature_c),
    ):
        present = [getattr(s, field) for s in inside if getattr(s, field) is not None]
        if not present:
            assert (bands.least[k], bands.mean[k], bands.greatest[k]) == (None, None, None)
            continue
        assert (bands.least[k], bands.greatest[k]) == (min(present), max(present))
        assert bands.mean[k] == pytest.approx(exact_mean(run, inside, field), rel=1e-9)


def exact_mean(run: list[Sample], inside: list[Sample], field: str) -> float:
    """The trapezoids' mean, intervals belonging to their later sample, none longer than 5 s."""
    begin = bisect_left(run, inside[0].elapsed_s, key=lambda s: s.elapsed_s)
    points = run[max(0, begin - 1) : begin + len(inside)]
    integral = covered = Fraction(0)
    for a, b in pairwise(points):
        x0, x1, step = getattr(a, field), getattr(b, field), b.elapsed_s - a.elapsed_s
        if x0 is not None and x1 is not None and step <= 5:
            integral += (Fraction(x0) + Fraction(x1)) / 2 * Fraction(step)
            covered += Fraction(step)
    if covered:
        return float(integral / covered)
    present = [getattr(s, field) for s in inside if getattr(s, field) is not None]
    return sum(present) / len(present)


@pytest.mark.parametrize(
    ("from_s", "to_s", "points", "level"),
    [
        (0, 12_034, 8, "hour"),
        (0, 12_034, 60, "ten_minutes"),
        (3000, 9000, 25, "ten_minutes"),
        (0, 12_034, 200, "minute"),
        (0, 12_034, 600, "minute"),
        (4000, 6000, 100, "minute"),
        (4990, 5140, 30, "sample"),
        (60, 180, 1000, "sample"),
        (11_900, 20_000, 2000, "sample"),
        (0, 6_000, 2500, "sample"),
    ],
)
def test_every_point_is_the_sum_of_its_samples(
    shown: Shown, from_s: float, to_s: float, points: int, level: str
) -> None:
    found = series(shown.connection, 1, from_s, to_s, points)

    assert found.level == level
    assert 0 < len(found.first_s) <= points
    for k in range(len(found.first_s)):
        check_point(shown.run, found, k)
    # No sample is in two points, and none of the time asked for is in none.
    counted = [
        s for first, last in zip(found.first_s, found.last_s, strict=True)
        for s in between(shown.run, first, last)
    ]  # fmt: skip
    assert len(counted) == len(set(counted))
    assert {s for s in shown.run if from_s <= s.elapsed_s < to_s} <= set(counted)


def test_few_samples_are_shown_one_by_one(shown: Shown) -> None:
    found = series(shown.connection, 1, 100, 160, 1000)
    inside = [s for s in shown.run if 100 <= s.elapsed_s < 160]

    assert found.first_s == found.last_s == tuple(s.elapsed_s for s in inside)
    assert found.current_a.least == found.current_a.greatest == tuple(s.current_a for s in inside)


def test_a_time_without_samples_has_no_point(shown: Shown) -> None:
    assert series(shown.connection, 1, 5010, 5100, 100).first_s == ()
    assert series(shown.connection, 1, 1e6, 2e6, 100).first_s == ()
    assert series(shown.connection, 77, 0, 1000, 100).first_s == ()


@pytest.mark.parametrize(("from_s", "to_s"), [(0, 1e9), (59.5, 60.5), (4000, 5200), (12_000, 1e9)])
def test_an_export_has_every_sample_once(shown: Shown, from_s: float, to_s: float) -> None:
    found = list(samples(shown.connection, 1, from_s, to_s))

    assert found == [s for s in shown.run if from_s <= s.elapsed_s < to_s]


def test_a_sample_whose_time_rounds_into_the_next_minute_is_exported(
    writer: Writer, ask: Make, opened: Make
) -> None:
    for entry in (
        opened(),
        Sample(1, 59.999_998, 1.0, 1.0, 1.0, 0.1),
        Sample(1, 61.0, 1.0, 1.0, 1.0, 0.1),
    ):
        writer.put(entry)
    writer.flush()

    found = ask(lambda c: [s.elapsed_s for s in samples(c, 1, 60.0, 70.0)])
    assert found == [60.0, 61.0]


@pytest.mark.parametrize(
    ("from_s", "to_s", "points", "said"),
    [
        (-1, 10, 5, "from_s must be at least 0"),
        (10, 10, 5, "below to_s, got 10 and 10"),
        (0, float("nan"), 5, "below to_s"),
        (0, 10, 0, "points must be at least 1, got 0"),
    ],
)
def test_a_question_without_sense_is_refused(
    shown: Shown, from_s: float, to_s: float, points: int, said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        series(shown.connection, 1, from_s, to_s, points)


def slow(seconds: int) -> list[Sample]:
    """A reading each 4 s, but for a hole; now and then one fails."""
    rng = random.Random(8)
    return [
        Sample(
            1, float(t), None if rng.random() < 0.03 else rng.randrange(300, 500) / 1e2,
            rng.randrange(100, 250) / 1e2, 4.0, t / 1e4, 21.0 + t // 1000 / 100,
        )
        for t in range(0, seconds, 4) if not 30_000 <= t < 33_000
    ]  # fmt: skip


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Sample]]:
    """A record of two runs alike, of 18 h; the second is under way."""
    path: Path = tmp_path_factory.mktemp("day") / "record.db"
    writer = Writer(path, threaded=False)
    run = slow(18 * 3600 + 100)
    for number in (1, 2):
        opened = RunOpened(number, "bath A", "", "", "Cu", 1.0, 25.0, "me", 0, 0.0, "b", True)
        writer.put(opened)
        for begin in range(0, len(run), 1000):
            for sample in run[begin : begin + 1000]:
                writer.put(sample._replace(run_id=number))
            writer.flush()
        if number == 1:
            writer.put(RunEnded(1, "complete", "", 0, 6e4, 6e4, run[-1].charge_ah, 0, 0, 1.0, 25.0))
    writer.close()
    return path, run


def of_eight_hours(path: Path, number: int) -> Series:
    engine = open_reader(path)
    with engine.connect() as connection:
        found = series(connection, number, 0, 18 * 3600 + 100, 13)
    engine.dispose()
    return found


@pytest.mark.parametrize("number", [1, 2], ids=["ended", "under way"])
def test_a_long_run_is_drawn_from_spans_of_eight_hours(
    day: tuple[Path, list[Sample]], number: int
) -> None:
    path, run = day
    found = of_eight_hours(path, number)

    assert found.level == "eight_hours"
    assert found.first_s == (0.0, 28_800.0, 57_600.0)
    assert found.last_s == (28_796.0, 57_596.0, 64_896.0)
    for k in range(3):
        check_point(run, found, k)


def test_an_older_record_has_its_spans_of_eight_hours_from_its_hours(
    day: tuple[Path, list[Sample]], tmp_path: Path
) -> None:
    path, run = day
    older = tmp_path / "record.db"
    shutil.copy(path, older)
    with closing(sqlite3.connect(older)) as connection:
        connection.executescript(
            "DROP TABLE eight_hours; UPDATE alembic_version SET version_num = '0007'; "
            # The power went just as a span had closed.
            "DELETE FROM journal WHERE run_id = 2; DELETE FROM minute WHERE run_id = 2 AND "
            "number >= 960; DELETE FROM ten_minutes WHERE run_id = 2 AND number >= 96; "
            "DELETE FROM hour WHERE run_id = 2 AND number >= 16"
        )
    writer = Writer(older, threaded=False)
    (left,) = writer.close_unfinished("power cut")
    writer.close()

    assert left.run_id == 2
    with closing(sqlite3.connect(older)) as connection:
        kept = connection.execute("SELECT run_id, number FROM eight_hours ORDER BY 1, 2").fetchall()
    # What the first run had of its third span is made of its hours.
    assert kept == [(1, 0), (1, 1), (2, 0), (2, 1)]
    for number, spans in ((1, 3), (2, 2)):
        found = of_eight_hours(older, number)
        assert len(found.first_s) == spans
        for k in range(spans):
            check_point(run, found, k)
