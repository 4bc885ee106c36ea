"""Interruptions of runs: bounded by the daemon that starts next, settled by a person.

What passed between the last reading on the disk and the moment at which the output was seen off
again is nobody's reading: at least nothing, at most the greatest current that the run could ask
for, all the time.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, RowMapping, insert, select

from daemon.record import ledger
from daemon.record.entries import Settled
from daemon.record.errors import NotSettledError
from daemon.record.summary import nah
from daemon.record.tables import interruption, settlement

UNKNOWN_BOOT = "unknown"
"""The boot's name on a machine that tells none; two of these may be two boots."""

_SECONDS_PER_HOUR = 3600.0
_SHOWN_AH = 5e-7  # a bound is shown with six decimals, and may be given back as it was shown


@dataclass(frozen=True, slots=True)
class Restart:
    """A daemon's start, which ends whatever interruption there was.

    monotonic_s and utc_ms: when the output was seen off, by both clocks. boot_id: the boot that
    the former belongs to. clock_synchronised: whether the wall clock is set, None if not known.
    greatest_a: the greatest current, A, that a plan with this text can ask for on this area, dm².
    """

    monotonic_s: float
    utc_ms: int
    boot_id: str
    clock_synchronised: bool | None
    greatest_a: Callable[[str, float], float]


@dataclass(frozen=True, slots=True)
class Settlement:
    """A person's word on an interruption, as the record keeps it."""

    id: int
    settled: Settled


@dataclass(frozen=True, slots=True)
class Interruption:
    """An interruption of a run, and what persons said of it, oldest first; the last word holds.

    lasted_s: how long it can have lasted, s; greatest_ah: the most charge that can have passed.
    None where it is not known: the wall clock was not set, and nothing else goes on over a boot.
    """

    run_id: int
    found_utc_ms: int
    lasted_s: float | None
    least_ah: float
    greatest_ah: float | None
    settlements: tuple[Settlement, ...]

    @property
    def charge_ah(self) -> float | None:
        """The charge that passed in it, A·h, by the last word; None until a person has said it."""
        return self.settlements[-1].settled.charge_ah if self.settlements else None


def add(
    connection: Connection, row: RowMapping, elapsed_s: float, utc_ms: int, restart: Restart | None
) -> tuple[float | None, int | None]:
    """Keep the interruption of a run (a row of its table) that is known until `elapsed_s`.

    Gives how long it can have lasted, s, and the most charge that can have passed, n A·h.
    """
    lasted_s = None if restart is None else _lasted_s(row, elapsed_s, restart)
    greatest_nah = None
    if restart is not None and lasted_s is not None:
        greatest_a = restart.greatest_a(row["plan"], row["area_dm2"])
        greatest_nah = nah(greatest_a * lasted_s / _SECONDS_PER_HOUR)
    connection.execute(
        insert(interruption).values(
            run_id=row["id"],
            found_utc_ms=utc_ms,
            lasted_s=lasted_s,
            least_nah=0,
            greatest_nah=greatest_nah,
        )
    )
    return lasted_s, greatest_nah


def settle(connection: Connection, word: Settled) -> tuple[int, int]:
    """Keep a person's word, and bring the bath's account to it by an entry that adds or takes.

    A later word on the same interruption takes the place of an earlier one: what is entered is the
    difference. Gives what was added and the bath's charge after it, n A·h. Raises NotSettledError.
    """
    found = of_run(connection, word.run_id)
    if found is None:
        raise NotSettledError(f"run {word.run_id}: no interruption of it is known")
    _check(found, word.charge_ah)
    connection.execute(
        insert(settlement).values(
            run_id=word.run_id,
            utc_ms=word.utc_ms,
            who=word.who,
            charge_nah=nah(word.charge_ah),
            note=word.note,
        )
    )
    text = f"run {word.run_id}, charge in its interruption as settled by {word.who}"
    return ledger.settle_run(connection, word.run_id, nah(word.charge_ah), word.utc_ms, text)


def of_run(connection: Connection, run_id: int) -> Interruption | None:
    """The interruption of a run; None where it had none that is known."""
    row = connection.execute(
        select(interruption).where(interruption.c.run_id == run_id)
    ).mappings().one_or_none()  # fmt: skip
    return None if row is None else _interruption(connection, row)


def unsettled(connection: Connection) -> list[Interruption]:
    """The interruptions that wait for a person's word, oldest first."""
    rows = connection.execute(
        select(interruption)
        .outerjoin(settlement, settlement.c.run_id == interruption.c.run_id)
        .where(settlement.c.id.is_(None))
        .order_by(interruption.c.run_id)
    ).mappings()
    return [_interruption(connection, row) for row in rows.all()]


def _lasted_s(row: RowMapping, elapsed_s: float, restart: Restart) -> float | None:
    """Within one boot by the monotonic clock; over a boot by the wall clock, if it was set.

    None where neither tells.
    """
    if row["boot_id"] == restart.boot_id != UNKNOWN_BOOT:
        lasted_s = restart.monotonic_s - row["started_monotonic_s"] - elapsed_s
    elif restart.clock_synchronised is False or row["clock_synchronised"] == 0:
        return None
    else:
        lasted_s = (restart.utc_ms - row["started_utc_ms"]) / 1000 - elapsed_s
    return lasted_s if lasted_s >= 0 else None


def _check(found: Interruption, charge_ah: float) -> None:
    """Refuse a charge that cannot have passed."""
    least_ah, greatest_ah = found.least_ah, found.greatest_ah
    within = greatest_ah is None or charge_ah <= greatest_ah + _SHOWN_AH
    if not (math.isfinite(charge_ah) and charge_ah >= least_ah and within):
        most = "the most is not known" if greatest_ah is None else f"at most {greatest_ah:.6f} Ah"
        raise NotSettledError(
            f"run {found.run_id}: {charge_ah:.6f} Ah cannot have passed in its interruption: "
            f"at least {least_ah:.6f} Ah, {most}"
        )


def _interruption(connection: Connection, row: Mapping[Any, Any]) -> Interruption:
    words = connection.execute(
        select(settlement)
        .where(settlement.c.run_id == row["run_id"])
        .order_by(settlement.c.id)
    ).mappings()  # fmt: skip
    greatest_nah = row["greatest_nah"]
    return Interruption(
        run_id=row["run_id"],
        found_utc_ms=row["found_utc_ms"],
        lasted_s=row["lasted_s"],
        least_ah=row["least_nah"] / 1e9,
        greatest_ah=None if greatest_nah is None else greatest_nah / 1e9,
        settlements=tuple(_settlement(word) for word in words),
    )


def _settlement(row: Mapping[Any, Any]) -> Settlement:
    return Settlement(
        row["id"],
        Settled(row["run_id"], row["charge_nah"] / 1e9, row["who"], row["note"], row["utc_ms"]),
    )
