"""A record that the first program wrote: run 1 is complete, run 2 was under way when it died."""

import sqlite3
from contextlib import closing
from pathlib import Path

_ROWS = Path(__file__).with_name("first_record.sql")
_APPLICATION_ID = 1953196132  # "tkhd"


def write_first_record(path: Path) -> None:
    """Have it at `path`, where nothing is yet."""
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(_ROWS.read_text(encoding="utf-8"))
        connection.execute(f"PRAGMA application_id={_APPLICATION_ID}")
