"""Whatever stands in a name or a note of the record is text: to the database and to browsers."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from conftest import STARTED_MS, a_raised
from flask.testing import FlaskClient

from daemon.record.entries import Audited, BathEntered, PartKept, RunEnded, RunOpened
from daemon.record.writer import Writer

EVIL = "'); DROP TABLE run; --\"><script>alert(1)</script>"
SHOWN = "<script>alert(1)</script>"

PAGES = ("/runs", "/runs/12", "/alarms/history", "/alarm/1", "/audit", "/bath/account",
         "/bath/account/2", "/parts", "/calibration", "/proof")  # fmt: skip


@pytest.fixture
def evil_record(tmp_path: Path) -> Path:
    path = tmp_path / "evil.db"
    writer = Writer(path, threaded=False)
    writer.put(RunOpened(12, EVIL, EVIL, EVIL, EVIL, 1.0, 25.0, EVIL, STARTED_MS, 0.0, EVIL, True))
    writer.put(a_raised(1, cause=EVIL, seen=EVIL))
    writer.put(RunEnded(12, "stopped", EVIL, STARTED_MS, 9.0, 9.0, 0.1, 0.0, 0.0, 1.0, 2.0))
    writer.flush()
    asked = Audited(STARTED_MS, EVIL, EVIL, EVIL, EVIL, EVIL)
    writer.put(asked)
    writer.keep_part(PartKept(EVIL, STARTED_MS, EVIL, EVIL, 0.5, 0.02), asked)
    for kind, amounts in (("water", {"volume": 0.5}), ("addition", {EVIL: 5.0})):
        facts = {"note": EVIL}
        writer.keep_bath_entry(
            BathEntered(EVIL, kind, EVIL, STARTED_MS, STARTED_MS, amounts, facts)
        )
    writer.close()
    return path


def test_it_is_kept_to_the_letter_and_no_table_is_touched(evil_record: Path) -> None:
    with closing(sqlite3.connect(evil_record)) as connection:
        for table, column in (("run", "title"), ("bath", "name"), ("part", "name"),
                              ("audit", "who"), ("alarm", "cause"), ("bath_entry", "who"),
                              ("bath_amount", "substance")):  # fmt: skip
            found = {value for (value,) in connection.execute(f"SELECT {column} FROM {table}")}
            assert EVIL in found, table
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_no_page_takes_it_for_markup(
    make_client: Callable[[Path], FlaskClient], evil_record: Path, peer: Any, make_status: Any
) -> None:
    peer.status = make_status(bath=EVIL, state="idle", run=None, output_on=False)
    client = make_client(evil_record)
    showing = 0
    for path in PAGES:
        response = client.get(path)
        assert response.status_code == 200, path
        assert SHOWN not in response.text, path
        showing += SHOWN in unescape(response.text)
    # All but calibrations and proof tests, of which there are none.
    assert showing >= len(PAGES) - 2
    assert client.get("/runs", query_string={"words": EVIL}).text.count("/runs/12") >= 1
