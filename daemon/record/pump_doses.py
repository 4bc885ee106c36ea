"""The word that a dosing pump gives before it runs, and what is left of it after a sudden end.

The loop tells that a dose begins, and the pump runs once that is on the disk; it tells how the dose
ended, and enters what was given. So a dose of which only the beginning is known was cut short with
the daemon: anything between nothing and the whole may be in the bath.
"""

import json
from dataclasses import dataclass

from sqlalchemy import Connection, select

from daemon.record import bath_entries
from daemon.record.entries import BathEntered, Facts, Figures
from daemon.record.tables import event

BEGUN, OVER = "pump dose begun", "pump dose over"
"""Kinds of events."""

PUMP = "pump"
"""The origin of an entry that a pump's dose has made, among its facts."""

_NEWEST = 500
"""Events that are looked at: every start looks, so that what is unfinished is among the last."""


@dataclass(frozen=True, slots=True)
class Begun:
    """A dose that began: of what, how much it was to be, mL, when, and in which run, if in one."""

    additive: str
    dose_ml: float
    utc_ms: int
    run_id: int | None


def figures(bath: str, additive: str, dose_ml: float, begun_utc_ms: int) -> Figures:
    """What both events tell, by which they are found again."""
    return {"bath": bath, "additive": additive, "volume_ml": dose_ml, "begun_utc_ms": begun_utc_ms}


def facts(begun_utc_ms: int, cut_short: str | None) -> Facts:
    """The facts of the entry that a pump's dose makes, by which it is known."""
    told: Facts = {"origin": PUMP, "begun_utc_ms": begun_utc_ms}
    return told if cut_short is None else {**told, "cut_short": cut_short}


def begun_utc_ms(made: BathEntered) -> int | None:
    """When the pump began the dose that this entry tells of; None for one that no pump gave."""
    told = made.facts or {}
    return told["begun_utc_ms"] if told.get("origin") == PUMP else None


def begun(connection: Connection, bath: str) -> tuple[Begun, ...]:
    """The doses of a bath that began and of whose end nothing is known, oldest first."""
    wanted = select(event).where(event.c.kind.in_((BEGUN, OVER)))
    rows = connection.execute(wanted.order_by(event.c.id.desc()).limit(_NEWEST)).mappings().all()
    found: dict[tuple[str, int], Begun] = {}
    for row in reversed(rows):
        told = json.loads(row["data"])
        if told["bath"] != bath:
            continue
        key = (told["additive"], told["begun_utc_ms"])
        if row["kind"] == BEGUN:
            found[key] = Begun(key[0], told["volume_ml"], key[1], row["run_id"])
        else:
            found.pop(key, None)
    if found:
        for entry in bath_entries.all_of(connection, bath):
            at_ms = begun_utc_ms(entry.made)
            if at_ms is not None:
                for additive in entry.made.amounts:
                    found.pop((additive, at_ms), None)
    return tuple(found.values())
