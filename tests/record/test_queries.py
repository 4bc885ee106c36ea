from collections.abc import Callable
from typing import Any

import pytest

from daemon.record import queries
from daemon.record.errors import NoSuchRunError
from daemon.record.writer import Writer

Make = Callable[..., Any]


def test_an_empty_record_answers(writer: Writer, ask: Make) -> None:
    assert ask(queries.next_run_id) == 1
    assert (ask(queries.baths), ask(queries.runs), ask(queries.events)) == ([], [], [])
    with pytest.raises(NoSuchRunError, match="no run 3"):
        ask(queries.one_run, 3)


def test_runs_come_newest_first_page_by_page(
    writer: Writer, ask: Make, opened: Make, ended: Make
) -> None:
    for run_id in (1, 2, 5):
        writer.put(opened(run_id))
        writer.put(ended(run_id))
    writer.flush()

    assert [run.id for run in ask(queries.runs)] == [5, 2, 1]
    assert [run.id for run in ask(queries.runs, limit=2)] == [5, 2]
    assert [run.id for run in ask(queries.runs, limit=2, before_id=2)] == [1]
    assert ask(queries.next_run_id) == writer.next_run_id() == 6


def test_a_run_under_way_is_shown_as_last_committed(
    writer: Writer, ask: Make, opened: Make, steady: Make
) -> None:
    writer.put(opened())
    writer.flush()
    run = ask(queries.one_run, 1)
    assert (run.state, run.elapsed_s, run.charge_ah) == ("running", 0.0, 0.0)

    for sample in steady(100):
        writer.put(sample)
    writer.flush()
    (run,) = ask(queries.runs)
    assert (run.elapsed_s, run.charge_ah) == (99.5, pytest.approx(0.0995))
    assert (run.ended_utc_ms, run.mass_g, run.reason) == (None, None, None)


def test_a_held_run_has_no_charge_beyond_what_is_posted(
    writer: Writer, ask: Make, opened: Make, steady: Make
) -> None:
    for entry in (opened(), *steady(61)):
        writer.put(entry)
    writer.flush()
    (bath,) = ask(queries.baths)

    assert bath.posted_ah == pytest.approx(0.0595)
    assert bath.live_ah == pytest.approx(0.0010)
    assert bath.charge_ah == pytest.approx(0.0605)


def test_events_of_a_run_or_all_come_newest_first(
    writer: Writer, ask: Make, opened: Make, noted: Make
) -> None:
    writer.put(opened())
    for number in range(5):
        writer.put(noted(1 if number % 2 else None, f"event {number}"))
    writer.flush()

    everything = ask(queries.events)
    assert [e.text for e in everything] == [f"event {n}" for n in (4, 3, 2, 1, 0)]
    assert [e.text for e in ask(queries.events, 1)] == ["event 3", "event 1"]
    assert ask(queries.events, limit=2, before_id=everything[1].id) == everything[2:4]
