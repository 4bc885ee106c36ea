"""Closes what a dead daemon left open: runs, with all that was acknowledged of them, and alarms."""

import json
from dataclasses import dataclass

from sqlalchemy import Connection, Engine, RowMapping, func, select, update

from daemon.record import alarms, close_ups, interruptions, ledger
from daemon.record.codec import decode
from daemon.record.interruptions import Restart
from daemon.record.spans import OpenRun, last_sealed, minute_of, seal
from daemon.record.summary import nah
from daemon.record.tables import bath, event, journal, run
from daemon.record.tables import ledger as entries

RUNNING, ABORTED = "running", "aborted"
GAP = "gap"
"""The kind of event that tells of a gap in a run's readings, with the bounds of its charge."""


@dataclass(frozen=True, slots=True)
class Unfinished:
    """A run that was found without an end: how far the record knows it, in s and A·h.

    lasted_s, greatest_ah: how long it was interrupted at most, s, and the most charge that can have
    passed meanwhile, A·h; None where it is not known.
    """

    run_id: int
    bath: str
    title: str
    elapsed_s: float
    charge_ah: float
    lasted_s: float | None
    greatest_ah: float | None


def close_unfinished(
    engine: Engine, *, reason: str, utc_ms: int, restart: Restart | None = None
) -> list[Unfinished]:
    """Seal, post and mark "aborted" every run without an end; call before any run is opened.

    Each in a transaction of its own. Running time, mass and thickness stay unknown (null), and so
    do the bounds of the interruption without a `restart`. Afterwards no alarm stands any more, and
    every close-up is as whole as it will be.
    """
    with engine.connect() as connection:
        found = connection.execute(
            select(run, bath.c.name).join(bath).where(run.c.state == RUNNING).order_by(run.c.id)
        ).mappings()
        open_runs = list(found)
    closed = [_close(engine, row, reason, utc_ms, restart) for row in open_runs]
    with engine.begin() as connection:
        close_ups.complete(connection)
        alarms.end_standing(connection, reason, utc_ms)
    return closed


def _close(
    engine: Engine, row: RowMapping, reason: str, utc_ms: int, restart: Restart | None
) -> Unfinished:
    with engine.begin() as connection:
        open_run = _as_left(connection, row["id"], row["bath_id"])
        charge_nah = _take_journal(connection, open_run)
        seal(connection, open_run, None, utc_ms)
        elapsed_s = open_run.before.elapsed_s if open_run.before else 0.0
        lasted_s, greatest_nah = interruptions.add(connection, row, elapsed_s, utc_ms, restart)
        gaps_nah = _gaps_nah(connection, row["id"])
        doubt_nah = None if greatest_nah is None else (gaps_nah[0], gaps_nah[1] + greatest_nah)
        ledger.post(
            connection, open_run.bath_id, open_run.run_id, utc_ms, ledger.RUN_ENDED,
            charge_nah - open_run.posted_nah, f"run {open_run.run_id} {ABORTED}: {reason}",
            doubt_nah,
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
                gap_least_nah=gaps_nah[0],
                gap_greatest_nah=gaps_nah[1],
            )
        )
    greatest_ah = None if greatest_nah is None else greatest_nah / 1e9
    return Unfinished(
        row["id"], row["name"], row["title"], elapsed_s, charge_nah / 1e9, lasted_s, greatest_ah
    )


def _take_journal(connection: Connection, open_run: OpenRun) -> int:
    """Bring the unfinished minute's samples back; the run's charge after them, n A·h."""
    journalled = connection.execute(
        select(journal).where(journal.c.run_id == open_run.run_id).order_by(journal.c.id)
    ).mappings()
    charge_nah = open_run.posted_nah
    for piece in journalled:
        open_run.samples += decode(piece["samples"], open_run.run_id)
        charge_nah = piece["charge_nah"]
    if open_run.samples:
        open_run.minute = minute_of(open_run.samples[0])
    return charge_nah


def _gaps_nah(connection: Connection, run_id: int) -> tuple[int, int]:
    """The least and greatest charge of the run's gaps in readings, by its events, n A·h."""
    told = connection.execute(
        select(event.c.data).where(event.c.run_id == run_id, event.c.kind == GAP)
    ).scalars()
    gaps = [json.loads(data) for data in told]
    return nah(sum(gap["least_ah"] for gap in gaps)), nah(sum(gap["greatest_ah"] for gap in gaps))


def _as_left(connection: Connection, run_id: int, bath_id: int) -> OpenRun:
    """The run as it stood when its last minute had been sealed."""
    posted = select(func.coalesce(func.sum(entries.c.charge_nah), 0))
    posted_nah = connection.execute(posted.where(entries.c.run_id == run_id)).scalar_one()
    before = last_sealed(connection, run_id)
    return OpenRun(run_id, bath_id, before=before, posted_nah=posted_nah)
