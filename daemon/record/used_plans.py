"""Which plans have been run: the newest run of each title."""

from dataclasses import dataclass

from sqlalchemy import Connection, func, select

from daemon.record.tables import run


@dataclass(frozen=True, slots=True)
class UsedPlan:
    """A run's plan as it was started."""

    run_id: int
    title: str
    plan: str
    started_utc_ms: int


def used_plans(connection: Connection) -> dict[str, UsedPlan]:
    """The newest run of each title, by title."""
    newest = select(func.max(run.c.id)).group_by(run.c.title)
    wanted = select(run.c.id, run.c.title, run.c.plan, run.c.started_utc_ms)
    rows = connection.execute(wanted.where(run.c.id.in_(newest)))
    return {row.title: UsedPlan(row.id, row.title, row.plan, row.started_utc_ms) for row in rows}
