"""Closes runs that a dead daemon left open, with all that was acknowledged of them."""

from dataclasses import dataclass

from sqlalchemy import Connection, Engine, RowMapping, func, select, update

from daemon.record import ledger
from daemon.record.codec import decode
from daemon.record.spans import OpenRun, last_sealed, minute_of, seal
from daemon.record.tables import bath, journal, run
from daemon.record.tables import ledger as entries

RUNNING, ABORTED = "running", "aborted"


@dataclass(frozen=True, slots=True)
class Unfinished:
    """A run that was found without an end: how far the record knows it, in s and A·h."""

    run_id: int
    bath: str
    title: str
    elapsed_s: float
    charge_ah: float


def close_unfinished(engine: Engine, *, reason: str, utc_ms: int) -> list[Unfinished]:
    """Seal, post and mark "aborted" every run without an end; call before any run is opened.

    Each in a transaction of its own. Running time, mass and thickness stay unknown (null).
    """
    with engine.connect() as connection:
        found = connection.execute(
            select(run.c.id, run.c.bath_id, run.c.title, bath.c.name)
            .join(bath)
            .where(run.c.state == RUNNING)
            .order_by(run.c.id)
        ).mappings()
        open_runs = list(found)
    return [_close(engine, row, reason, utc_ms) for row in open_runs]


def _close(engine: Engine, row: RowMapping, reason: str, utc_ms: int) -> Unfinished:
    with engine.begin() as connection:
        open_run = _as_left(connection, row["id"], row["bath_id"])
        journalled = connection.execute(
            select(journal).where(journal.c.run_id == open_run.run_id).order_by(journal.c.id)
        ).mappings()
        charge_nah = open_run.posted_nah
        for piece in journalled:
            open_run.samples += decode(piece["samples"], open_run.run_id)
            charge_nah = piece["charge_nah"]
        if open_run.samples:
            open_run.minute = minute_of(open_run.samples[0])
        seal(connection, open_run, None, utc_ms)
        elapsed_s = open_run.before.elapsed_s if open_run.before else 0.0
        ledger.post(
            connection, open_run.bath_id, open_run.run_id, utc_ms, ledger.RUN_ENDED,
            charge_nah - open_run.posted_nah, f"run {open_run.run_id} {ABORTED}: {reason}",
        )  # fmt: skip
        connection.execute(
            update(run)
            .where(run.c.id == open_run.run_id)
            .values(
                state=ABORTED,
                reason=reason,
                ended_utc_ms=utc_ms,
                elapsed_s=elapsed_s,
                charge_nah=charge_nah,
            )
        )
    return Unfinished(row["id"], row["name"], row["title"], elapsed_s, charge_nah / 1e9)


def _as_left(connection: Connection, run_id: int, bath_id: int) -> OpenRun:
    """The run as it stood when its last minute had been sealed."""
    posted = select(func.coalesce(func.sum(entries.c.charge_nah), 0))
    posted_nah = connection.execute(posted.where(entries.c.run_id == run_id)).scalar_one()
    before = last_sealed(connection, run_id)
    return OpenRun(run_id, bath_id, before=before, posted_nah=posted_nah)
