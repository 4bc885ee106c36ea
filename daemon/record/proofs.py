"""Proof tests of the ways to stop, in the sense of IEC 61511: kept as made, never changed."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from sqlalchemy import Connection, insert, select

from daemon.record.entries import ProofMade, ProofStep
from daemon.record.tables import proof


@dataclass(frozen=True, slots=True)
class Proof:
    """A proof test as the record keeps it."""

    id: int
    made: ProofMade


def add(connection: Connection, made: ProofMade) -> int:
    """Add a proof test; its id."""
    added = insert(proof).values(
        utc_ms=made.utc_ms,
        who=made.who,
        passed=int(made.passed),
        steps=json.dumps([asdict(step) for step in made.steps]),
    )
    return int(connection.execute(added.returning(proof.c.id)).scalar_one())


def newest(connection: Connection, *, passed: bool | None = None) -> Proof | None:
    """The last proof test, or the last that passed, or failed; None where there is none."""
    wanted = select(proof)
    if passed is not None:
        wanted = wanted.where(proof.c.passed == int(passed))
    row = connection.execute(wanted.order_by(proof.c.id.desc()).limit(1)).mappings().one_or_none()
    return None if row is None else _proof(row)


def page(connection: Connection, *, limit: int = 50, before_id: int | None = None) -> list[Proof]:
    """Proof tests, newest first, at most `limit`; those before `before_id`, for the next page."""
    wanted = select(proof)
    if before_id is not None:
        wanted = wanted.where(proof.c.id < before_id)
    rows = connection.execute(wanted.order_by(proof.c.id.desc()).limit(limit)).mappings()
    return [_proof(row) for row in rows]


def _proof(row: Mapping[Any, Any]) -> Proof:
    steps = tuple(ProofStep(**step) for step in json.loads(row["steps"]))
    return Proof(row["id"], ProofMade(row["utc_ms"], row["who"], steps))
