"""Runs that somebody looks for: found, and nothing else."""

import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from daemon.record.entries import BathEntered, RunEnded, RunOpened, Settled
from daemon.record.interruptions import Restart
from daemon.record.queries import bath_names, numbered
from daemon.record.run_search import Wanted, find
from daemon.record.writer import Writer

Make = Callable[..., Any]
Ask = Callable[..., Any]

DAY_MS = 86_400_000


@pytest.fixture
def some(writer: Writer, opened: Make, ended: Make) -> None:
    """Six runs, a day apart: of two baths, with three ends, one under way; the last cut short."""
    told: list[tuple[str, str, str, str | None]] = [
        ("bath A", "four knobs", 'part = "door knob"', "complete"),
        ("bath A", "Öse 100 %_ rein", "area = 1", "stopped"),
        ("bath B", "<b>bold</b>", "area = 2", "complete"),
        ("bath A", "Proof test", 'title = "Proof test"\nname = "proof"\n', "stopped"),
        ("bath A", "lamp FOOT", "area = 3", "aborted"),
        ("bath A", "cut short", "area = 4", None),
    ]
    for number, (bath, title, plan, state) in enumerate(told, start=1):
        begun: RunOpened = opened(number, bath)
        began_ms = 1_700_000_000_000 + number * DAY_MS
        writer.put(replace(begun, title=title, plan=plan, utc_ms=began_ms))
        if state is not None:
            over: RunEnded = ended(number)
            writer.put(replace(over, state=state, utc_ms=began_ms + 900_000))
    writer.flush()


@pytest.mark.usefixtures("some")
@pytest.mark.parametrize(
    ("wanted", "numbers"),
    [
        (Wanted(), [6, 5, 4, 3, 2, 1]),
        (Wanted(words=("KNOB",)), [1]),
        (Wanted(words=("lamp", "foot")), [5]),
        (Wanted(words=("lamp", "knob")), []),
        (Wanted(words=("öse",)), [2]),
        (Wanted(words=("%_",)), [2]),
        (Wanted(words=("_",)), [2]),
        (Wanted(words=("'; DROP TABLE run; --",)), []),
        (Wanted(bath="bath B"), [3]),
        (Wanted(bath="bath C"), []),
        (Wanted(states=("complete",)), [3, 1]),
        (Wanted(states=("running",)), [6]),
        (Wanted(from_utc_ms=1_700_000_000_000 + 5 * DAY_MS), [6, 5]),
        (Wanted(until_utc_ms=1_700_000_000_000 + 2 * DAY_MS), [2, 1]),
        (Wanted(left_out=('title = "Proof test"', 'name = "proof"')), [6, 5, 3, 2, 1]),
        (Wanted(bath="bath A", states=("stopped",), left_out=("proof",)), [2]),
    ],
)
def test_what_is_wanted_is_found(ask: Ask, wanted: Wanted, numbers: list[int]) -> None:
    assert ask(find, wanted, limit=10) == numbers


@pytest.mark.usefixtures("some")
def test_pages_follow_each_other(ask: Ask) -> None:
    assert ask(find, Wanted(), limit=4) == [6, 5, 4, 3]
    assert ask(find, Wanted(), limit=4, before_id=3) == [2, 1]
    assert [each.title for each in ask(numbered, [1, 5, 99])] == ["lamp FOOT", "four knobs"]


@pytest.mark.usefixtures("some")
def test_notes_are_looked_through(writer: Writer, ask: Ask) -> None:
    at_ms = 1_700_000_000_000
    entry = BathEntered("bath A", "dose", "anna", at_ms, at_ms, note="Pitted at the edge", run_id=3)
    writer.keep_bath_entry(entry)
    restart = Restart(5_000.0, at_ms + 7 * DAY_MS, "boot", None, lambda *_: 2.0)
    writer.close_unfinished("the daemon died", restart)
    writer.settle(Settled(6, 0.1, "anna", "the fuse had blown", at_ms))
    assert ask(find, Wanted(words=("pitted",)), limit=10) == [3]
    assert ask(find, Wanted(words=("fuse",)), limit=10) == [6]


@pytest.mark.usefixtures("some")
def test_baths_are_named(ask: Ask) -> None:
    assert ask(bath_names) == ["bath A", "bath B"]


@pytest.mark.usefixtures("some")
@pytest.mark.parametrize(
    ("condition", "index"),
    [
        ("started_utc_ms BETWEEN 1 AND 2", "ix_run_started_utc_ms"),
        ("state IN ('aborted')", "ix_run_state"),
        ("bath_id IN (SELECT id FROM bath WHERE name = 'bath B')", "ix_run_bath_id"),
        ("EXISTS (SELECT 1 FROM bath_entry WHERE run_id = run.id)", "ix_bath_entry_run_id"),
    ],
)
def test_an_index_serves_each_search(path: Path, condition: str, index: str) -> None:
    connection = sqlite3.connect(path)
    asked = f"EXPLAIN QUERY PLAN SELECT id FROM run WHERE {condition}"
    assert index in " ".join(str(row) for row in connection.execute(asked))
    connection.close()
