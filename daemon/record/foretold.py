"""What a run was foretold, as its event in the record keeps it."""

import json

from sqlalchemy import Connection, select

from daemon.record.tables import event

FORETOLD, NOT_FORETOLD = "foretold", "not foretold"
"""Kinds of events."""

TREE = "rehearsal"
"""Where the event's figures have the rehearsal, as JSON text."""


def told_during(connection: Connection, run_id: int, kind: str) -> tuple[str, ...]:
    """The words of a run's events of one kind, in order."""
    rows = connection.execute(
        select(event.c.text)
        .where(event.c.run_id == run_id, event.c.kind == kind)
        .order_by(event.c.id)
    )
    return tuple(rows.scalars())


def foretold(connection: Connection, run_id: int) -> str | None:
    """The rehearsal of a run, as JSON text; None where none was kept."""
    data = connection.execute(
        select(event.c.data)
        .where(event.c.run_id == run_id, event.c.kind == FORETOLD)
        .order_by(event.c.id.desc())
        .limit(1)
    ).scalar_one_or_none()
    found = None if data is None else json.loads(data).get(TREE)
    return found if isinstance(found, str) else None
