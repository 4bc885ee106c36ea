"""What was done to a bath and seen of it: only ever added to, as the account of charge is."""

import json
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import Connection, insert, select

from daemon.record.entries import BathEntered
from daemon.record.errors import NoSuchRunError
from daemon.record.ledger import ensure_bath
from daemon.record.tables import bath, bath_amount, bath_entry, run

_PER_WHOLE = 1e9


@dataclass(frozen=True, slots=True)
class BathEntry:
    """An entry as the record keeps it."""

    id: int
    made: BathEntered


def whole(amount: float) -> int:
    """An amount in billionths of its unit, in which it is kept: sums of these are exact."""
    return round(amount * _PER_WHOLE)


def summed(amounts: Iterable[float]) -> float:
    """The sum of amounts as they are kept: in whatever order, it is the same to the last digit."""
    return sum(map(whole, amounts)) / _PER_WHOLE


def add(connection: Connection, made: BathEntered) -> int:
    """Add an entry to the bath of its name, opened where there is none yet; the entry's number.

    Raises NoSuchRunError for one that is about a run which is not there.
    """
    if made.run_id is not None:
        known = select(run.c.id).where(run.c.id == made.run_id)
        if connection.execute(known).scalar_one_or_none() is None:
            raise NoSuchRunError(f"there is no run {made.run_id} in the record")
    added = insert(bath_entry).values(
        bath_id=ensure_bath(connection, made.bath, made.utc_ms),
        run_id=made.run_id,
        utc_ms=made.utc_ms,
        at_utc_ms=made.at_utc_ms,
        kind=made.kind,
        who=made.who,
        note=made.note,
        facts=None if made.facts is None else json.dumps(made.facts, allow_nan=False),
        corrects_id=made.corrects_id,
    )
    entry_id = int(connection.execute(added.returning(bath_entry.c.id)).scalar_one())
    for substance, amount in made.amounts.items():
        connection.execute(
            insert(bath_amount).values(
                entry_id=entry_id, substance=substance, amount_n=whole(amount)
            )
        )
    return entry_id


def all_of(
    connection: Connection, bath_name: str, *, known_utc_ms: int | None = None
) -> tuple[BathEntry, ...]:
    """The entries of a bath in the order in which they were made; none for one that is not there.

    With `known_utc_ms` as they stood at that moment: without what was entered later.
    """
    of_bath = select(bath.c.id).where(bath.c.name == bath_name).scalar_subquery()
    wanted = select(bath_entry).where(bath_entry.c.bath_id == of_bath)
    if known_utc_ms is not None:
        wanted = wanted.where(bath_entry.c.utc_ms <= known_utc_ms)
    amounts: dict[int, dict[str, float]] = {}
    kept = select(bath_amount).join(bath_entry).where(bath_entry.c.bath_id == of_bath)
    for row in connection.execute(kept.order_by(bath_amount.c.substance)).mappings():
        amount = row["amount_n"] / _PER_WHOLE
        amounts.setdefault(row["entry_id"], {})[row["substance"]] = amount
    rows = connection.execute(wanted.order_by(bath_entry.c.id)).mappings()
    return tuple(
        BathEntry(
            row["id"],
            BathEntered(
                bath=bath_name,
                kind=row["kind"],
                who=row["who"],
                utc_ms=row["utc_ms"],
                at_utc_ms=row["at_utc_ms"],
                amounts=amounts.get(row["id"], {}),
                facts=None if row["facts"] is None else json.loads(row["facts"]),
                note=row["note"],
                run_id=row["run_id"],
                corrects_id=row["corrects_id"],
            ),
        )
        for row in rows
    )
