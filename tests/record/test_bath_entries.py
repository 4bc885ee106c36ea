"""What was done to a bath, as the record keeps it."""

import sqlite3

import pytest
from sqlalchemy import create_engine
from sqlalchemy.exc import DatabaseError

from daemon.record import audits, bath_entries, migrations, queries
from daemon.record.charge_at import ChargeHistory
from daemon.record.entries import Audited, BathEntered, Sample, Settled
from daemon.record.errors import NoSuchRunError
from daemon.record.interruptions import Restart
from daemon.record.store import APPLICATION_ID
from daemon.record.tables import metadata
from daemon.record.writer import Writer

START_MS = 1_700_000_000_000
"""When the runs of the fixture `opened` begin."""


def dose(utc_ms=0, at_utc_ms=0, **more):
    return BathEntered("bath A", "dose", "anna", utc_ms, at_utc_ms, **more)


def test_an_entry_comes_back_as_it_was_made(writer, opened, ask):
    writer.put(opened())
    writer.flush()
    made = dose(
        20, 10, amounts={"brightener": 5.25, "volume": 0.00525},
        facts={"looks": ["dull"], "a": None}, note="by hand", run_id=1,
    )  # fmt: skip
    first = writer.keep_bath_entry(made)
    correction = dose(30, 10, amounts={"brightener": -5.25}, facts=None, corrects_id=first)
    second = writer.keep_bath_entry(correction)

    kept = ask(bath_entries.all_of, "bath A")
    assert [(each.id, each.made) for each in kept] == [(first, made), (second, correction)]
    assert writer.bath_entries("bath A") == kept
    assert ask(bath_entries.all_of, "bath B") == ()


def test_a_past_day_knows_what_had_been_entered_by_then(writer, ask):
    for utc_ms in (10, 20, 30):
        writer.keep_bath_entry(dose(utc_ms, 5, amounts={"brightener": utc_ms / 10}))
    known = ask(bath_entries.all_of, "bath A", known_utc_ms=20)
    assert [each.made.utc_ms for each in known] == [10, 20]
    assert [each.made.amounts for each in known] == [{"brightener": 1.0}, {"brightener": 2.0}]


def test_an_entry_opens_a_bath_that_is_new(writer, ask):
    writer.keep_bath_entry(dose())
    assert [bath.name for bath in ask(queries.baths)] == ["bath A"]


def test_who_asked_is_kept_with_it_or_not_at_all(writer, ask):
    asked = Audited(0, "anna", "command line", "enter", "dose")
    writer.keep_bath_entry(dose(), asked)
    with pytest.raises(NoSuchRunError, match="no run 9"):
        writer.keep_bath_entry(dose(run_id=9), asked)
    assert [entry.act for entry in ask(audits.page)] == [asked]
    assert len(ask(bath_entries.all_of, "bath A")) == 1


def test_nothing_is_half_kept_when_the_disk_refuses(path, small_disk, look):
    writer = Writer(path, threaded=False)
    pages = sqlite3.connect(path).execute("PRAGMA page_count").fetchone()[0]
    writer.keep_bath_entry(dose(amounts={"brightener": 1.0}))
    small_disk(pages + 10)
    asked = Audited(0, "anna", "command line", "enter", "x" * 100_000)
    with pytest.raises(DatabaseError):
        writer.keep_bath_entry(dose(amounts={"brightener": 2.0}), asked)
    writer.close()
    assert [each.made.amounts for each in look(bath_entries.all_of, "bath A")] == [
        {"brightener": 1.0}
    ]


def test_amounts_are_whole_billionths(writer, ask):
    """0.1 and 0.2 make 0.3, which floats do not."""
    for amount in (0.1, 0.2):
        writer.keep_bath_entry(dose(amounts={"brightener": amount}))
    kept = ask(bath_entries.all_of, "bath A")
    assert bath_entries.summed(each.made.amounts["brightener"] for each in kept) == 0.3


def at(ask, utc_ms):
    return ask(lambda connection: ChargeHistory(connection, "bath A").at(utc_ms))


def test_the_charge_at_a_moment_of_a_run_is_what_its_readings_had_counted(
    writer, opened, ended, steady, ask
):
    """3.6 A are 1 mA·h each second; the run has sealed two minutes and is in its third."""
    for entry in (opened(), *steady(150)):
        writer.put(entry)
    writer.flush()
    for second, expected_ah in [(-1, 0.0), (0, 0.0), (30, 0.03), (61.5, 0.0615), (149, 0.149)]:
        assert at(ask, START_MS + round(second * 1000)) == pytest.approx(expected_ah, abs=1e-9)
    # Under way, the last reading is all that is known.
    assert at(ask, START_MS + 500_000) == pytest.approx(0.1495, abs=1e-9)

    writer.put(ended(1, 0.152, utc_ms=START_MS + 151_000))
    writer.flush()
    assert at(ask, START_MS + 61_500) == pytest.approx(0.0615, abs=1e-9)
    assert at(ask, START_MS + 150_999) == pytest.approx(0.1495, abs=1e-9)
    assert at(ask, START_MS + 151_000) == 0.152


def test_the_charge_now_is_the_accounts_balance_to_the_last_digit(
    writer, opened, ended, steady, ask
):
    for run_id, charge_ah in ((1, 0.100000001), (2, 0.2)):
        for entry in (opened(run_id), *steady(70, run_id=run_id), ended(run_id, charge_ah)):
            writer.put(entry)
    writer.flush()
    (bath,) = ask(queries.baths)
    assert at(ask, 2 * START_MS) == bath.posted_ah == 0.300000001
    assert ask(lambda connection: ChargeHistory(connection, "another").at(2 * START_MS)) == 0.0


def test_what_is_settled_later_is_charge_of_that_later_moment(path, opened, steady, look):
    writer = Writer(path, threaded=False)
    for entry in (opened(), *steady(30)):
        writer.put(entry)
    writer.close()
    writer = Writer(path, threaded=False)
    writer.close_unfinished("died", Restart(200.0, START_MS + 99_000, "boot", None, lambda *_: 3.6))
    writer.settle(Settled(1, 0.05, "anna", "", 2 * START_MS))
    writer.close()

    ended_ms = look(queries.one_run, 1).ended_utc_ms
    assert at(look, START_MS + 10_000) == pytest.approx(0.01, abs=1e-9)
    assert at(look, ended_ms) == pytest.approx(0.0295, abs=1e-9)
    assert at(look, 2 * START_MS) == pytest.approx(0.0795, abs=1e-9)


@pytest.mark.parametrize("revision", ["0001", "0002", "0003", "0004"])
def test_a_record_of_every_earlier_step_takes_entries(path, revision, look):
    _at_step(path, revision)
    writer = Writer(path, threaded=False)
    writer.keep_bath_entry(dose(amounts={"brightener": 5.0}))
    writer.close()
    assert [each.made.amounts for each in look(bath_entries.all_of, "bath A")] == [
        {"brightener": 5.0}
    ]
    connection = sqlite3.connect(path)
    names = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
    assert {table.name for table in metadata.sorted_tables} <= names
    with pytest.raises(sqlite3.IntegrityError, match="nothing in it is edited"):
        connection.execute("UPDATE bath_amount SET amount_n = 0")
    connection.close()


def _at_step(path, revision):
    """An empty record as it was when this was the newest step."""
    from alembic import command
    from alembic.config import Config

    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:
        config = Config()
        config.set_main_option("script_location", migrations.__path__[0])
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
        connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
    engine.dispose()


def test_what_has_passed_by_run_and_area_adds_up_to_the_charge(writer, opened, ended, steady, ask):
    for entry in (opened(), *steady(70), ended(1, 0.07, utc_ms=START_MS + 71_000)):
        writer.put(entry)
    for entry in (opened(2), *steady(30, run_id=2)):
        writer.put(entry)
    writer.flush()

    def passed(utc_ms):
        return ask(lambda connection: ChargeHistory(connection, "bath A").passed(utc_ms))

    later = START_MS + 500_000
    first, second = passed(later)
    assert (first.utc_ms, first.charge_ah) == (START_MS + 71_000, 0.07)
    assert first.area_dm2 > 0
    # The part of a run that is under way is in the bath still.
    assert (second.utc_ms, second.area_dm2) == (later, 0.0)
    for moment in (START_MS, START_MS + 30_000, START_MS + 71_000, later):
        assert sum(each.charge_ah for each in passed(moment)) == pytest.approx(at(ask, moment))


@pytest.mark.parametrize("off_s", [0.0, 3e-6, 7.4e-6, 0.1234567, 0.9999995])
def test_just_after_the_first_reading_of_a_minute_the_charge_is_that_readings(
    writer, opened, ask, off_s
):
    """Times are kept to 10 µs and charges to 0.1 µA·h: no reading is lost at a minute's edge."""
    writer.put(opened())
    times = [off_s + 2.0 * k for k in range(100)]
    for time_s in times:
        writer.put(Sample(1, time_s, 3.6, 1.25, 3.6, time_s / 1000))
    writer.flush()
    for time_s in times:
        found_ah = at(ask, START_MS + round((time_s + 1.0) * 1000))
        assert found_ah == pytest.approx(time_s / 1000, abs=6e-8)
