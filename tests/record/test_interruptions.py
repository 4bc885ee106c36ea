"""What happened while a daemon was dead: bounded at the next start, settled by a person."""

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from daemon.control.step import GAP
from daemon.record import interruptions, ledger, queries
from daemon.record.entries import Noted, Settled
from daemon.record.errors import NotSettledError
from daemon.record.interruptions import Restart
from daemon.record.store import open_writer
from daemon.record.writer import Writer

Make = Callable[..., Any]


def restart(**changes: Any) -> Restart:
    """The output is seen off 500 s after the run's start, 100.5 s after its last reading."""
    at_start = Restart(600.0, 1_700_000_500_000, "boot", None, lambda *_: 6.0)
    return replace(at_start, **changes)


@pytest.fixture
def dead(path: Path, opened: Make, steady: Make) -> Path:
    """A record of a run of 400 s at 3.6 A whose daemon died; the run started at 100 s."""
    writer = Writer(path, threaded=False)
    for entry in (opened(), *steady(400)):
        writer.put(entry)
    writer.close()
    return path


@pytest.fixture
def settling(dead: Path) -> Iterator[Writer]:
    writer = Writer(dead, threaded=False)
    writer.close_unfinished("the daemon stopped", restart())
    yield writer
    writer.close()


def word(charge_ah: float, who: str = "anna", run_id: int = 1) -> Settled:
    return Settled(run_id, charge_ah, who, "the fuse had blown", 1_700_000_900_000)


def test_an_interruption_is_bounded_by_the_time_until_the_output_was_seen_off(
    dead: Path, look: Make
) -> None:
    # A, the most that the run's plan can ask for on its area.
    asked_of = {("title = 'four knobs'", 1.2): 6.0}
    writer = Writer(dead, threaded=False)
    (left,) = writer.close_unfinished(
        "the daemon stopped", restart(greatest_a=lambda *asked: asked_of[asked])
    )
    writer.close()

    assert (left.lasted_s, left.greatest_ah) == (100.5, 0.1675)  # 6 A for 100.5 s
    found = look(interruptions.of_run, 1)
    assert (found.lasted_s, found.least_ah, found.greatest_ah) == (100.5, 0.0, 0.1675)
    assert (found.settlements, found.charge_ah) == ((), None)
    assert look(interruptions.unsettled) == [found]
    entry = look(queries.ledger_entries, 1, limit=1)[0]
    assert (entry.kind, entry.gap_least_ah, entry.gap_greatest_ah) == ("run ended", 0.0, 0.1675)


def test_gaps_of_the_run_before_it_count_too(path: Path, look: Make, opened: Make) -> None:
    writer = Writer(path, threaded=False)
    writer.put(opened())
    for greatest_ah in (0.002, 0.003):
        gap = {"gap_s": 3.0, "least_ah": 0.0, "greatest_ah": greatest_ah}
        writer.put(Noted(1, GAP, "3.0 s without a reading", 0, 0.0, {**gap}))
    writer.close()
    writer = Writer(path, threaded=False)
    writer.close_unfinished("the daemon stopped", restart())
    writer.close()

    # Not one reading is there: all of the 500 s are open, at up to 6 A.
    run = look(queries.one_run, 1)
    assert (run.gap_least_ah, run.gap_greatest_ah) == (0.0, 0.005)
    entry = look(queries.ledger_entries, 1, limit=1)[0]
    assert entry.gap_greatest_ah == pytest.approx(0.005 + 6 * 500 / 3600, abs=1e-9)


@pytest.mark.parametrize(
    ("run", "start", "lasted_s"),
    [
        # Over a boot the wall clock tells: 500 s since the run's start.
        ({}, {"boot_id": "next", "monotonic_s": 20.0}, 100.5),
        ({"clock_synchronised": True}, {"boot_id": "next", "clock_synchronised": True}, 100.5),
        # A wall clock that was not set, at either end, tells nothing.
        ({}, {"boot_id": "next", "clock_synchronised": False}, None),
        ({"clock_synchronised": False}, {"boot_id": "next"}, None),
        # Nor does one that went back, as on a machine without a clock of its own.
        ({}, {"boot_id": "next", "utc_ms": 1_700_000_300_000}, None),
        # Two boots that have no name may be two.
        ({"boot_id": "unknown"}, {"boot_id": "unknown", "clock_synchronised": False}, None),
        # Within a boot it does not matter what the wall clock shows.
        ({"clock_synchronised": False}, {"clock_synchronised": False, "utc_ms": 0}, 100.5),
    ],
)
def test_how_long_it_lasted_is_told_by_the_clock_that_went_on(
    path: Path, look: Make, opened: Make, steady: Make,
    run: dict[str, Any], start: dict[str, Any], lasted_s: float | None,
) -> None:  # fmt: skip
    writer = Writer(path, threaded=False)
    for entry in (replace(opened(), **run), *steady(400)):
        writer.put(entry)
    writer.close()
    writer = Writer(path, threaded=False)
    (left,) = writer.close_unfinished("the daemon stopped", restart(**start))
    writer.close()

    assert left.lasted_s == (None if lasted_s is None else pytest.approx(lasted_s))
    assert (left.greatest_ah is None) == (lasted_s is None)
    found = look(interruptions.of_run, 1)
    assert (found.lasted_s is None, found.greatest_ah is None) == (lasted_s is None,) * 2


def test_without_a_restart_nothing_is_known_of_it(dead: Path, look: Make) -> None:
    writer = Writer(dead, threaded=False)
    writer.close_unfinished("the daemon stopped")
    assert writer.settle(word(500.0)) == (500.0, pytest.approx(500.3995))
    writer.close()

    assert look(interruptions.of_run, 1).greatest_ah is None


def test_a_word_settles_it_in_the_account(settling: Writer, look: Make) -> None:
    added_ah, bath_ah = settling.settle(word(0.05))

    assert (added_ah, bath_ah) == (0.05, pytest.approx(0.3995 + 0.05))
    assert settling.bath_charge_ah("bath A") == bath_ah
    found = look(interruptions.of_run, 1)
    assert found.charge_ah == 0.05
    assert [kept.settled for kept in found.settlements] == [word(0.05)]
    assert look(interruptions.unsettled) == []
    settled, ended, *_ = look(queries.ledger_entries, 1)
    assert (settled.kind, settled.charge_ah, settled.corrects_id) == ("settled", 0.05, ended.id)
    assert settled.text == "run 1, charge in its interruption as settled by anna"
    # The run itself stays as it was counted.
    assert look(queries.one_run, 1).charge_ah == pytest.approx(0.3995)


def test_a_later_word_takes_the_place_of_an_earlier_one(settling: Writer, look: Make) -> None:
    settling.settle(word(0.05))
    assert settling.settle(word(0.02, "ben")) == (pytest.approx(-0.03), pytest.approx(0.4195))
    assert settling.settle(word(0.02, "ben")) == (0.0, pytest.approx(0.4195))

    found = look(interruptions.of_run, 1)
    assert [kept.settled.who for kept in found.settlements] == ["anna", "ben", "ben"]
    assert found.charge_ah == 0.02
    last, first, *_ = look(queries.ledger_entries, 1)
    assert (last.charge_ah, last.corrects_id) == (pytest.approx(-0.03), first.id)


def test_that_nothing_passed_is_a_word_too(settling: Writer, look: Make) -> None:
    assert settling.settle(word(0.0))[0] == 0.0
    assert look(interruptions.of_run, 1).charge_ah == 0.0
    assert look(interruptions.unsettled) == []
    assert look(queries.ledger_entries, 1)[0].kind == "run ended"


@pytest.mark.parametrize("charge_ah", [-0.001, 0.1676, float("nan"), float("inf")])
def test_a_word_out_of_bounds_is_refused(settling: Writer, look: Make, charge_ah: float) -> None:
    with pytest.raises(NotSettledError, match=r"at least 0\.000000 Ah, at most 0\.167500 Ah"):
        settling.settle(word(charge_ah))

    assert look(interruptions.of_run, 1).settlements == ()
    assert settling.bath_charge_ah("bath A") == pytest.approx(0.3995)


def test_the_bound_is_taken_as_it_was_shown(dead: Path) -> None:
    writer = Writer(dead, threaded=False)
    writer.close_unfinished("the daemon stopped", restart(greatest_a=lambda *_: 4.0))
    # 4 A for 100.5 s are 0.1116666... Ah, which a page shows as 0.111667.
    assert writer.settle(word(0.111667))[0] == 0.111667
    writer.close()


def test_only_what_was_interrupted_is_settled(settling: Writer) -> None:
    with pytest.raises(NotSettledError, match="run 7: no interruption of it is known"):
        settling.settle(word(0.0, run_id=7))


def test_counting_a_run_again_and_settling_it_do_not_undo_each_other(dead: Path) -> None:
    writer = Writer(dead, threaded=False)
    writer.close_unfinished("the daemon stopped", restart())
    writer.settle(word(0.05))
    writer.close()
    engine = open_writer(dead)
    with engine.begin() as connection:
        again = ledger.correct_run(connection, 1, 409_500_000, 0, "counted again")
        ends = connection.exec_driver_sql("SELECT id FROM ledger WHERE kind = 'run ended'")
        corrected = connection.exec_driver_sql(
            "SELECT corrects_id FROM ledger WHERE kind = 'corrected'"
        ).scalar_one()
        assert corrected == ends.scalar_one()
        assert again == (10_000_000, 459_500_000)
        later = ledger.settle_run(connection, 1, 60_000_000, 0, "another word")
        assert later == (10_000_000, 469_500_000)
    engine.dispose()


def test_a_disk_that_refuses_keeps_no_half_a_word(dead: Path, settling: Writer, look: Make) -> None:
    other = sqlite3.connect(dead, isolation_level=None)
    other.execute("CREATE TRIGGER full BEFORE INSERT ON ledger BEGIN SELECT RAISE(ABORT, 'x'); END")
    other.close()
    with pytest.raises(Exception, match="x"):
        settling.settle(word(0.05))

    assert look(interruptions.of_run, 1).settlements == ()
