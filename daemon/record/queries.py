"""What pages, the CLI and exports ask the record, on a connection of a reader's engine.

Ask several questions on one connection and the answers are of one moment. Charges are A·h.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, RowMapping, Select, func, select

from daemon.record.calibrations import counted_by_of
from daemon.record.codec import decode_columns
from daemon.record.entries import CountedBy, Reckoning
from daemon.record.errors import NoSuchRunError
from daemon.record.ledger import balance_nah
from daemon.record.tables import (
    bath,
    counted_by,
    event,
    journal,
    ledger,
    minute,
    reckoned_with,
    run,
    stage,
)


@dataclass(frozen=True, slots=True)
class Bath:
    """A bath and its charge: what is posted, and what the run under way has counted since then."""

    id: int
    name: str
    opened_utc_ms: int
    posted_ah: float
    live_ah: float

    @property
    def charge_ah(self) -> float:
        """All charge that the bath has seen, A·h."""
        return self.posted_ah + self.live_ah


@dataclass(frozen=True, slots=True)
class LedgerEntry:
    """An entry of a bath's account; `balance_ah` is the bath's charge after it.

    `corrects_id` is the entry that it corrects, if it does.
    """

    id: int
    run_id: int | None
    utc_ms: int
    kind: str
    charge_ah: float
    balance_ah: float
    gap_least_ah: float | None
    gap_greatest_ah: float | None
    text: str
    corrects_id: int | None


@dataclass(frozen=True, slots=True)
class Run:
    """A run.

    While its state is "running", `elapsed_s` and `charge_ah` are as last committed, and what only
    its end tells is None; so it stays where the daemon died during the run.
    """

    id: int
    bath: str
    title: str
    plan: str
    metal: str
    area_dm2: float
    target_um: float
    who: str
    started_utc_ms: int
    started_monotonic_s: float
    boot_id: str
    clock_synchronised: bool | None
    state: str
    reason: str | None
    ended_utc_ms: int | None
    elapsed_s: float
    running_s: float | None
    charge_ah: float
    gap_least_ah: float | None
    gap_greatest_ah: float | None
    mass_g: float | None
    thickness_um: float | None
    counted_by: CountedBy
    goes_on_from: int | None
    reckoning: Reckoning | None = None


@dataclass(frozen=True, slots=True)
class StageResult:
    """A stage that is over: times in s from the run's start, charge in A·h."""

    number: int
    name: str
    started_s: float
    ended_s: float
    charge_ah: float
    ended_by: str


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened; `data` are its figures."""

    id: int
    run_id: int | None
    utc_ms: int
    monotonic_s: float
    kind: str
    text: str
    data: dict[str, Any]


def next_run_id(connection: Connection) -> int:
    """The number after the greatest that a run has."""
    greatest = connection.execute(select(func.max(run.c.id))).scalar_one()
    return (greatest or 0) + 1


def baths(connection: Connection) -> list[Bath]:
    """All baths, by name."""
    return [
        Bath(
            id=row["id"],
            name=row["name"],
            opened_utc_ms=row["opened_utc_ms"],
            posted_ah=balance_nah(connection, row["id"]) / 1e9,
            live_ah=_live_nah(connection, row["id"]) / 1e9,
        )
        for row in connection.execute(select(bath).order_by(bath.c.name)).mappings()
    ]


def bath_names(connection: Connection) -> list[str]:
    """The names of all baths, in their order."""
    return list(connection.execute(select(bath.c.name).order_by(bath.c.name)).scalars())


def ledger_entries(
    connection: Connection, bath_id: int, *, limit: int = 100, before_id: int | None = None
) -> list[LedgerEntry]:
    """A bath's account, newest entries first, at most `limit`; the page after `before_id`."""
    rows = connection.execute(
        _page(select(ledger).where(ledger.c.bath_id == bath_id), ledger.c.id, limit, before_id)
    ).mappings()
    return [
        LedgerEntry(
            id=row["id"],
            run_id=row["run_id"],
            utc_ms=row["utc_ms"],
            kind=row["kind"],
            charge_ah=row["charge_nah"] / 1e9,
            balance_ah=row["balance_nah"] / 1e9,
            gap_least_ah=_ah(row["gap_least_nah"]),
            gap_greatest_ah=_ah(row["gap_greatest_nah"]),
            text=row["text"],
            corrects_id=row["corrects_id"],
        )
        for row in rows
    ]


def runs(connection: Connection, *, limit: int = 50, before_id: int | None = None) -> list[Run]:
    """Runs, newest first, at most `limit`; those before the run `before_id`, for the next page."""
    rows = connection.execute(_page(_select_runs(), run.c.id, limit, before_id)).mappings()
    return [_run(connection, row) for row in rows]


def numbered(connection: Connection, run_ids: Sequence[int]) -> list[Run]:
    """The runs with these numbers, newest first; those that are there."""
    wanted = _select_runs().where(run.c.id.in_(run_ids)).order_by(run.c.id.desc())
    return [_run(connection, row) for row in connection.execute(wanted).mappings()]


def one_run(connection: Connection, run_id: int) -> Run:
    """The run with this number. Raises NoSuchRunError."""
    row = connection.execute(_select_runs().where(run.c.id == run_id)).mappings().one_or_none()
    if row is None:
        raise NoSuchRunError(f"there is no run {run_id} in the record")
    return _run(connection, row)


def stages(connection: Connection, run_id: int) -> list[StageResult]:
    """The run's stages that are over, in order."""
    rows = connection.execute(
        select(stage).where(stage.c.run_id == run_id).order_by(stage.c.number)
    ).mappings()
    return [
        StageResult(
            number=row["number"],
            name=row["name"],
            started_s=row["started_s"],
            ended_s=row["ended_s"],
            charge_ah=row["charge_nah"] / 1e9,
            ended_by=row["ended_by"],
        )
        for row in rows
    ]


def events(
    connection: Connection,
    run_id: int | None = None,
    *,
    limit: int = 200,
    before_id: int | None = None,
) -> list[Event]:
    """Events, newest first, at most `limit`: those of one run, or (None) all there are."""
    wanted = select(event) if run_id is None else select(event).where(event.c.run_id == run_id)
    rows = connection.execute(_page(wanted, event.c.id, limit, before_id)).mappings()
    return [_event(row) for row in rows]


def events_of_run(connection: Connection, run_id: int, *, limit: int) -> list[Event]:
    """The first events of a run, oldest first, at most `limit`."""
    wanted = select(event).where(event.c.run_id == run_id).order_by(event.c.id).limit(limit)
    return [_event(row) for row in connection.execute(wanted).mappings()]


def _event(row: RowMapping) -> Event:
    return Event(**{**row, "data": json.loads(row["data"])})


def _page(wanted: Select[Any], key: Any, limit: int, before_id: int | None) -> Select[Any]:
    if before_id is not None:
        wanted = wanted.where(key < before_id)
    return wanted.order_by(key.desc()).limit(limit)


def _select_runs() -> Select[Any]:
    # Named apart: the columns of these tables have names of their own but for the run's.
    more = [
        column
        for table in (counted_by, reckoned_with)
        for column in table.columns
        if column.name != "run_id"
    ]
    wanted = select(run, bath.c.name.label("bath"), *more).join(bath)
    return wanted.outerjoin(counted_by, counted_by.c.run_id == run.c.id).outerjoin(
        reckoned_with, reckoned_with.c.run_id == run.c.id
    )


def _run(connection: Connection, row: RowMapping) -> Run:
    elapsed_s, charge_nah = row["elapsed_s"], row["charge_nah"]
    if charge_nah is None:
        elapsed_s, charge_nah = _so_far(connection, row["id"])
    synchronised = row["clock_synchronised"]
    return Run(
        id=row["id"],
        bath=row["bath"],
        title=row["title"],
        plan=row["plan"],
        metal=row["metal"],
        area_dm2=row["area_dm2"],
        target_um=row["target_um"],
        who=row["who"],
        started_utc_ms=row["started_utc_ms"],
        started_monotonic_s=row["started_monotonic_s"],
        boot_id=row["boot_id"],
        clock_synchronised=None if synchronised is None else bool(synchronised),
        state=row["state"],
        reason=row["reason"],
        ended_utc_ms=row["ended_utc_ms"],
        elapsed_s=elapsed_s,
        running_s=row["running_s"],
        charge_ah=charge_nah / 1e9,
        gap_least_ah=_ah(row["gap_least_nah"]),
        gap_greatest_ah=_ah(row["gap_greatest_nah"]),
        mass_g=row["mass_g"],
        thickness_um=row["thickness_um"],
        counted_by=counted_by_of(row),
        goes_on_from=row["goes_on_from_id"],
        reckoning=None
        if row["efficiency"] is None
        else Reckoning(row["area_u"], row["efficiency"], row["efficiency_u"]),
    )


def _so_far(connection: Connection, run_id: int) -> tuple[float, int]:
    """How long an open run is under way, s, and its charge, n A·h, as last committed."""
    newest = connection.execute(
        select(journal.c.samples, journal.c.charge_nah)
        .where(journal.c.run_id == run_id)
        .order_by(journal.c.id.desc())
        .limit(1)
    ).one_or_none()
    if newest is None:
        return 0.0, 0
    times, *_ = decode_columns(newest.samples)
    return times[-1], newest.charge_nah


def _live_nah(connection: Connection, bath_id: int) -> int:
    """What the bath's open run has counted since its last sealed minute, n A·h."""
    run_id = connection.execute(
        select(run.c.id)
        .where(run.c.bath_id == bath_id, run.c.charge_nah.is_(None))
        .order_by(run.c.id.desc())
        .limit(1)
    ).scalar_one_or_none()
    if run_id is None:
        return 0
    _, charge_nah = _so_far(connection, run_id)
    sealed_nah = connection.execute(
        select(minute.c.charge_nah)
        .where(minute.c.run_id == run_id)
        .order_by(minute.c.number.desc())
        .limit(1)
    ).scalar_one_or_none()
    return charge_nah - (sealed_nah or 0) if charge_nah else 0


def _ah(charge_nah: int | None) -> float | None:
    return None if charge_nah is None else charge_nah / 1e9
