"""Who asked for what, when and from where: only ever added to."""

from dataclasses import dataclass

from sqlalchemy import Connection, insert, select

from daemon.record.entries import Audited
from daemon.record.tables import audit


@dataclass(frozen=True, slots=True)
class AuditEntry:
    """An act as the record keeps it."""

    id: int
    act: Audited


def add(connection: Connection, act: Audited) -> None:
    """Keep what somebody asked for."""
    connection.execute(
        insert(audit).values(
            utc_ms=act.utc_ms,
            who=act.who,
            origin=act.origin,
            what=act.what,
            detail=act.detail,
            refused=act.refused,
        )
    )


def page(
    connection: Connection, *, limit: int = 100, before_id: int | None = None
) -> list[AuditEntry]:
    """Acts, newest first, at most `limit`; those before the entry `before_id`, for the next."""
    wanted = select(audit)
    if before_id is not None:
        wanted = wanted.where(audit.c.id < before_id)
    rows = connection.execute(wanted.order_by(audit.c.id.desc()).limit(limit)).mappings()
    return [
        AuditEntry(
            row["id"],
            Audited(
                utc_ms=row["utc_ms"],
                who=row["who"],
                origin=row["origin"],
                what=row["what"],
                detail=row["detail"],
                refused=row["refused"],
            ),
        )
        for row in rows
    ]
