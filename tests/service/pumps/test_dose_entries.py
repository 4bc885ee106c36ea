"""Doses of a pump through the writer's queue, and what a daemon that died in one leaves behind."""

from contextlib import ExitStack

import pytest

from daemon.api.bath import bath_words
from daemon.api.socket.messages import BathEntryRequest
from daemon.bath import account
from daemon.bath.description import Additive, Description
from daemon.bath.dosing import DoseKept
from daemon.clock import to_ms
from daemon.record import pump_doses, queries
from daemon.record.entries import Noted, RunOpened
from daemon.record.store import open_reader
from daemon.record.writer import Writer
from daemon.service.keeping.bath import BathKeeper, book_by
from daemon.service.pumps.dose_entries import enter_unfinished, entry_of

BATH = Description("bath A", volume_l=15.0, additives=(Additive("brightener", 150.0, 5.0),))


@pytest.fixture
def writer(tmp_path, clock):
    writer = Writer(tmp_path / "record.sqlite", threaded=False, clock=clock)
    yield writer
    writer.close()


def told(kind, begun_ms, volume_ml=3.0, additive="brightener", bath="bath A", run_id=None):
    figures = pump_doses.figures(bath, additive, volume_ml, begun_ms)
    return Noted(run_id, kind, "words", begun_ms, 0.0, figures)


def dose(begun_ms, volume_ml=3.0, cut_short=None, run_id=None, ended_ms=None):
    ended_ms = begun_ms + 6000 if ended_ms is None else ended_ms
    given = DoseKept("brightener", ended_ms, volume_ml, begun_ms, cut_short)
    return entry_of("bath A", given, ended_ms, run_id)


def put(writer, *entries):
    for entry in entries:
        writer.put(entry)
    assert writer.flush()


def test_a_dose_passes_through_the_queue_into_the_account(writer):
    put(writer, told(pump_doses.BEGUN, 1000), dose(1000, 1.3, "the level is low"))
    (entry,) = writer.bath_entries("bath A")
    made = entry.made
    assert (made.kind, made.who, made.at_utc_ms) == ("dose", "the pump of brightener", 7000)
    assert made.amounts == {"brightener": 1.3, "volume": 0.0013}
    assert made.facts == {"origin": "pump", "begun_utc_ms": 1000, "cut_short": "the level is low"}


def test_what_the_account_says_of_it(writer):
    put(writer, dose(1000, 1.3, "the level is low"))
    (standing,) = account.standing(writer.bath_entries("bath A"))
    assert bath_words.entry(standing, ("brightener",)) == (
        "dose: brightener 1.3 mL, by the pump, cut short: the level is low"
    )


def test_a_dose_of_a_run_that_the_record_refused_is_kept_without_it(writer):
    put(writer, dose(1000, run_id=99))
    (entry,) = writer.bath_entries("bath A")
    assert entry.made.run_id is None
    assert writer.fault is None


def test_the_word_is_promised_and_kept_without_anybody_waiting(writer):
    writer.put(told(pump_doses.BEGUN, 1000))
    kept = writer.promise()
    assert not kept()
    assert writer.flush()
    assert kept()
    assert not writer.promise()()


@pytest.mark.parametrize(
    ("entries", "left"),
    [
        ((), []),
        ((told("pump dose begun", 1000),), [1000]),
        # What was given is entered before its end is told: either is enough.
        ((told("pump dose begun", 1000), dose(1000)), []),
        ((told("pump dose begun", 1000), told("pump dose over", 1000, 0.0)), []),
        (
            (
                told("pump dose begun", 1000), dose(1000), told("pump dose over", 1000),
                told("pump dose begun", 9000),
            ),
            [9000],
        ),
        ((told("pump dose begun", 1000, bath="bath B"),), []),
        ((told("pump dose begun", 1000, additive="carrier"), dose(1000)), [1000]),
    ],
)  # fmt: skip
def test_what_began_and_of_whose_end_nothing_is_known(writer, entries, left):
    put(writer, *entries)
    assert [each.utc_ms for each in writer.doses_begun("bath A")] == left


def test_a_dose_that_a_daemon_died_in_is_entered_once_and_as_a_whole(writer, tmp_path, clock):
    run = RunOpened(
        1, "bath A", "t", "", "Cu", 1.0, 1.0, "Ann", 500, 0.0, "boot", None
    )  # fmt: skip
    put(writer, run, told(pump_doses.BEGUN, 1000, 5.0, run_id=1))
    (event,) = enter_unfinished(writer, "bath A", clock)
    (entry,) = writer.bath_entries("bath A")
    assert entry.made.amounts == {"brightener": 5.0, "volume": 0.005}
    assert (entry.made.at_utc_ms, entry.made.run_id) == (1000, 1)
    assert entry.made.utc_ms == to_ms(clock.utc())
    assert entry.made.facts["cut_short"] == (
        "the daemon ended meanwhile: between 0 and 5 mL were given, and the whole is counted"
    )
    assert event.text.startswith("a pump was giving 5 mL of brightener: the daemon ended")
    assert enter_unfinished(writer, "bath A", clock) == ()
    with ExitStack() as stack:
        book = book_by(tmp_path / "record.sqlite", BATH, clock, stack)
        keeper = BathKeeper(BATH, writer, clock, book)
        keeper.describe()
        assert [(each.volume_ml, each.begun_utc_ms) for each in keeper.dues.doses] == [(5.0, 1000)]


def test_what_a_person_corrects_of_a_pumps_dose_stays_the_pumps(writer, tmp_path, clock):
    """The bottle was empty: 0.5 mL and not 3 came, and then nothing at all."""
    begun_ms = to_ms(clock.utc()) - 60_000
    with ExitStack() as stack:
        book = book_by(tmp_path / "record.sqlite", BATH, clock, stack)
        keeper = BathKeeper(BATH, writer, clock, book)
        keeper.describe()
        clock.now_s += 60.0
        put(writer, dose(begun_ms + 60_000))
        clock.now_s += 60.0

        def correct(**fields):
            request = BathEntryRequest(kind="correction", corrects=2, who="Ann", **fields)
            keeper.enter(request)
            (kept,) = keeper.dues.doses
            assert kept.begun_utc_ms == begun_ms + 60_000
            return kept.volume_ml, keeper.dues.tally("brightener").open_ml

        amounts = {"brightener": 0.5, "volume": 0.0005}
        assert correct(amounts=amounts) == (0.5, pytest.approx(-0.5))
        assert correct(facts=None) == (0.0, pytest.approx(0.0))
        assert writer.doses_begun("bath A") == ()


def test_what_the_queue_has_taken_stands_in_the_events(writer, tmp_path):
    put(writer, told(pump_doses.BEGUN, 1000), told(pump_doses.OVER, 1000))
    engine = open_reader(tmp_path / "record.sqlite")
    with engine.connect() as connection:
        kinds = [event.kind for event in queries.events(connection)]
    engine.dispose()
    assert kinds == ["pump dose over", "pump dose begun"]
