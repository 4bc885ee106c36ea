"""The baths and their accounts: entries are added, nothing is edited or deleted."""

from dataclasses import dataclass

from sqlalchemy import Connection, func, insert, select

from daemon.record.errors import NoSuchRunError, PostedBeforeError
from daemon.record.tables import bath, ledger

OPENED, CHARGE, RUN_ENDED, RECOUNTED = "opened", "charge", "run ended", "recounted"
CORRECTED, SETTLED = "corrected", "settled"
"""Kinds of entries: a bath is opened; a run's charge up to the last sample sealed; what was left of
it when the run ended, which may be nothing, with the bounds of the charge in its gaps; the charge
of another logger's log, with its bounds likewise; what a later calibration of the meter adds to a
run's charge or takes from it; what passed in a run's interruption by a person's word."""


@dataclass(frozen=True, slots=True)
class Recount:
    """A counted log of another logger: its name, the SHA-256 of its text, who posts it, charges."""

    source: str
    sha256: str
    who: str
    charge_nah: int
    gap_nah: tuple[int, int]


def ensure_bath(connection: Connection, name: str, utc_ms: int) -> int:
    """The id of the bath with this name, which is opened where there is none yet."""
    found = connection.execute(select(bath.c.id).where(bath.c.name == name)).scalar_one_or_none()
    if found is not None:
        return int(found)
    opened = insert(bath).values(name=name, opened_utc_ms=utc_ms).returning(bath.c.id)
    bath_id = int(connection.execute(opened).scalar_one())
    post(connection, bath_id, None, utc_ms, OPENED, 0, f"bath {name} opened")
    return bath_id


def post(
    connection: Connection,
    bath_id: int,
    run_id: int | None,
    utc_ms: int,
    kind: str,
    charge_nah: int,
    text: str,
    gap_nah: tuple[int, int] | None = None,
    corrects_id: int | None = None,
) -> None:
    """Add an entry of `charge_nah` n A·h; `gap_nah` is the least and greatest charge of gaps.

    `corrects_id` is the entry that this one corrects, if it does.
    """
    least, greatest = gap_nah or (None, None)
    connection.execute(
        insert(ledger).values(
            bath_id=bath_id,
            run_id=run_id,
            utc_ms=utc_ms,
            kind=kind,
            charge_nah=charge_nah,
            balance_nah=balance_nah(connection, bath_id) + charge_nah,
            gap_least_nah=least,
            gap_greatest_nah=greatest,
            text=text,
            corrects_id=corrects_id,
        )
    )


def post_recount(connection: Connection, bath_name: str, utc_ms: int, entry: Recount) -> int:
    """Post a counted log to the bath, opened where needed; gives the bath's charge then, n A·h.

    Raises PostedBeforeError when a log with the same SHA-256 was posted, to whichever bath.
    """
    mark = f"SHA-256 {entry.sha256}"
    before = connection.execute(
        select(ledger.c.text, bath.c.name)
        .join(bath, bath.c.id == ledger.c.bath_id)
        .where(ledger.c.kind == RECOUNTED, ledger.c.text.endswith(mark))
    ).first()
    if before is not None:
        raise PostedBeforeError(f"the same log is in the account of {before.name}: {before.text}")
    bath_id = ensure_bath(connection, bath_name, utc_ms)
    text = f"log {entry.source!r}, posted by {entry.who}, {mark}"
    post(connection, bath_id, None, utc_ms, RECOUNTED, entry.charge_nah, text, entry.gap_nah)
    return balance_nah(connection, bath_id)


def correct_run(
    connection: Connection, run_id: int, charge_nah: int, utc_ms: int, text: str
) -> tuple[int, int]:
    """Bring the account's charge of an ended run to `charge_nah` by an entry that adds or takes.

    The entry points at the run's end, or at its last correction. Gives what was added, n A·h, which
    may be nothing and is then not entered, and the bath's charge after it. Raises NoSuchRunError
    for a run that has no end in the account.
    """
    return _bring(connection, run_id, CORRECTED, charge_nah, utc_ms, text)


def settle_run(
    connection: Connection, run_id: int, charge_nah: int, utc_ms: int, text: str
) -> tuple[int, int]:
    """Bring what the account has of a run's interruption to `charge_nah`, otherwise as above.

    The entry points at the run's end, or at what was settled before.
    """
    return _bring(connection, run_id, SETTLED, charge_nah, utc_ms, text)


def _bring(
    connection: Connection, run_id: int, kind: str, charge_nah: int, utc_ms: int, text: str
) -> tuple[int, int]:
    """Enter what is to be added, if it is anything; it and the bath's charge then, n A·h."""
    entries = connection.execute(
        select(ledger.c.id, ledger.c.bath_id, ledger.c.kind, ledger.c.charge_nah)
        .where(ledger.c.run_id == run_id)
        .order_by(ledger.c.id)
    ).all()
    ends = [entry for entry in entries if entry.kind in (RUN_ENDED, kind)]
    if not ends:
        raise NoSuchRunError(f"there is no end of a run {run_id} in any account")
    bath_id, corrects_id = ends[-1].bath_id, ends[-1].id
    # What was counted and what was settled are two sums: neither undoes the other.
    same = (entry for entry in entries if (entry.kind == SETTLED) == (kind == SETTLED))
    added_nah = charge_nah - sum(entry.charge_nah for entry in same)
    if added_nah:
        post(connection, bath_id, run_id, utc_ms, kind, added_nah, text, corrects_id=corrects_id)
    return added_nah, balance_nah(connection, bath_id)


def counted_nah(connection: Connection, run_id: int) -> int:
    """All that was posted of a run but what was settled of its interruption, n A·h."""
    posted = select(func.coalesce(func.sum(ledger.c.charge_nah), 0)).where(
        ledger.c.run_id == run_id, ledger.c.kind != SETTLED
    )
    return int(connection.execute(posted).scalar_one())


def balance_nah(connection: Connection, bath_id: int) -> int:
    """All charge posted to the bath so far, n A·h."""
    newest = (
        select(ledger.c.balance_nah)
        .where(ledger.c.bath_id == bath_id)
        .order_by(ledger.c.id.desc())
        .limit(1)
    )
    return connection.execute(newest).scalar_one_or_none() or 0
