from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection
from sqlalchemy.exc import IntegrityError

from daemon.record import ledger, queries
from daemon.record.errors import NoSuchRunError
from daemon.record.store import open_writer
from daemon.record.writer import Writer

Make = Callable[..., Any]


@pytest.fixture
def filled(path: Path, opened: Make, ended: Make, steady: Make) -> Path:
    writer = Writer(path, threaded=False)
    for entry in (opened(), *steady(90), ended(charge_ah=0.0895)):
        writer.put(entry)
    writer.close()
    return path


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE ledger SET charge_nah = 0 WHERE id = 2", "nothing in it is edited"),
        ("UPDATE ledger SET text = ''", "nothing in it is edited"),
        ("DELETE FROM ledger WHERE id = 1", "nothing in it is deleted"),
        ("DELETE FROM ledger", "nothing in it is deleted"),
        (
            "REPLACE INTO ledger SELECT id, bath_id, run_id, utc_ms, kind, 0, balance_nah, "
            "NULL, NULL, text, NULL FROM ledger WHERE id = 4",
            "nothing in it is replaced",
        ),
        (
            "INSERT INTO ledger (bath_id, utc_ms, kind, charge_nah, balance_nah, text) "
            "VALUES (1, 0, 'charge', 5, 5, '')",
            "does not balance",
        ),
        ("DELETE FROM bath", "FOREIGN KEY"),
        ("DELETE FROM run", "FOREIGN KEY"),
    ],
)
def test_the_ledger_is_only_added_to(filled: Path, statement: str, said: str) -> None:
    engine = open_writer(filled)
    with engine.connect() as connection:
        before = connection.exec_driver_sql("SELECT * FROM ledger").all()
        with pytest.raises(IntegrityError, match=said):
            connection.exec_driver_sql(statement)
        assert connection.exec_driver_sql("SELECT * FROM ledger").all() == before
    engine.dispose()


def test_a_bath_is_opened_once(writer: Writer, ask: Make) -> None:
    first = writer.ensure_bath("bath A")

    assert writer.ensure_bath("bath A") == first
    assert writer.ensure_bath("bath B") != first
    (entry,) = ask(queries.ledger_entries, first)
    assert (entry.kind, entry.charge_ah, entry.run_id) == ("opened", 0.0, None)


def test_each_bath_has_its_own_balance(
    writer: Writer, ask: Make, opened: Make, ended: Make, steady: Make
) -> None:
    for run_id, bath, seconds in ((1, "bath A", 100), (2, "bath B", 40), (3, "bath A", 10)):
        for entry in (
            opened(run_id, bath),
            *steady(seconds, run_id=run_id),
            ended(run_id, charge_ah=seconds / 1000),
        ):
            writer.put(entry)
    writer.flush()

    charges = {bath.name: bath.charge_ah for bath in ask(queries.baths)}
    assert charges == {"bath A": pytest.approx(0.110), "bath B": pytest.approx(0.040)}
    newest = ask(queries.ledger_entries, 1, limit=1)[0]
    assert newest.balance_ah == pytest.approx(0.110)


def test_the_account_is_read_page_by_page(writer: Writer, ask: Make, opened: Make, steady: Make):
    for entry in (opened(), *steady(200)):
        writer.put(entry)
    writer.flush()

    whole = ask(queries.ledger_entries, 1)
    assert [e.kind for e in whole] == ["charge", "charge", "charge", "opened"]
    first = ask(queries.ledger_entries, 1, limit=2)
    rest = ask(queries.ledger_entries, 1, before_id=first[-1].id)
    assert first + rest == whole


@pytest.fixture
def connection(filled: Path) -> Iterator[Connection]:
    """To a record with one run of 0.0895 A·h."""
    engine = open_writer(filled)
    with engine.begin() as connection:
        yield connection
    engine.dispose()


def test_a_correction_points_at_what_it_corrects(connection: Connection) -> None:
    first = ledger.correct_run(connection, 1, 90_000_000, 5, "with calibration 1")
    second = ledger.correct_run(connection, 1, 88_000_000, 6, "with calibration 2")

    assert first == (500_000, 90_000_000)
    assert second == (-2_000_000, 88_000_000)
    newest, before, end, *_ = queries.ledger_entries(connection, 1)
    assert [e.kind for e in (newest, before, end)] == ["corrected", "corrected", "run ended"]
    assert (newest.corrects_id, before.corrects_id, end.corrects_id) == (before.id, end.id, None)
    assert (newest.text, newest.charge_ah) == ("with calibration 2", -0.002)
    # The run itself stays as it was counted.
    assert queries.one_run(connection, 1).charge_ah == 0.0895


def test_a_correction_of_nothing_is_no_entry(connection: Connection) -> None:
    before = queries.ledger_entries(connection, 1)
    assert ledger.correct_run(connection, 1, 89_500_000, 5, "") == (0, 89_500_000)
    assert queries.ledger_entries(connection, 1) == before


def test_a_run_without_an_end_is_not_corrected(connection: Connection) -> None:
    with pytest.raises(NoSuchRunError, match="no end of a run 7"):
        ledger.correct_run(connection, 7, 0, 5, "")
