"""What is evidence is only ever added to, whoever opens the file."""

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from daemon.record.entries import (
    AlarmChanged,
    Audited,
    BathEntered,
    CloseUpTaken,
    Part,
    PartKept,
    ProofMade,
    ProofStep,
    Reckoning,
    Settled,
    Trace,
    TraceReading,
)
from daemon.record.interruptions import Restart
from daemon.record.writer import Writer

Make = Callable[..., Any]


@pytest.fixture
def full(path: Path, opened: Make, raised: Make) -> Iterator[sqlite3.Connection]:
    """A record with a row in each table that is only added to."""
    trace = Trace("supply", True, (TraceReading(130.0, 1.0, 1.0, 1.0),))
    writer = Writer(path, threaded=False)
    for entry in (
        opened(reckoning=Reckoning(0.02, 0.98, 0.005)),
        raised(1, 1),
        AlarmChanged(1, "returned", None, 0, 0.0),
        CloseUpTaken(1, Part.BEFORE, 130.0, 0.0, 0.0, (trace,)),
        Audited(0, "anna", "page", "stop"),
    ):
        writer.put(entry)
    writer.close()
    writer = Writer(path, threaded=False)
    writer.close_unfinished("", Restart(200.0, 0, "boot", None, lambda *_: 1.0))
    writer.settle(Settled(1, 0.0, "anna", "", 0))
    writer.keep_proof(ProofMade(0, "anna", (ProofStep("lid", "opens", "opened", True),)))
    writer.keep_part(PartKept("foot", 0, "anna", "a box", 1.8, 0.1), Audited(0, "anna", "", ""))
    writer.keep_bath_entry(BathEntered("bath A", "dose", "anna", 0, 0, {"brightener": 5.0}))
    writer.close()
    connection = sqlite3.connect(path)
    yield connection
    connection.close()


@pytest.mark.parametrize(
    "table",
    [
        "alarm", "alarm_change", "close_up", "trace", "interruption", "settlement", "audit",
        "proof", "bath_entry", "bath_amount", "part", "reckoned_with",
    ],
)  # fmt: skip
def test_nothing_is_edited_deleted_or_replaced(full: sqlite3.Connection, table: str) -> None:
    before = full.execute(f"SELECT * FROM {table}").fetchall()
    assert before
    column = full.execute(f"SELECT * FROM {table}").description[0][0]
    for statement, done in (
        (f"UPDATE {table} SET {column} = {column}", "edited"),
        (f"DELETE FROM {table}", "deleted"),
        (f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}", "replaced"),
    ):
        with pytest.raises(sqlite3.IntegrityError, match=f"nothing in it is {done}"):
            full.execute(statement)
    assert full.execute(f"SELECT * FROM {table}").fetchall() == before
