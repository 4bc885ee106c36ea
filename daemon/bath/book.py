"""The bath's account as one look at the record gives it: entries, charge, and the day of the look.

Everything that shows a bath starts from it. Reading needs no daemon.
"""

from dataclasses import dataclass

from sqlalchemy import Connection

from daemon.bath import account
from daemon.bath.account import Standing
from daemon.bath.description import Description
from daemon.record import bath_entries
from daemon.record.bath_entries import BathEntry
from daemon.record.charge_at import ChargeHistory


@dataclass(frozen=True, slots=True)
class Book:
    """A bath at a moment. `charges` has the bath's charge, A·h, at each moment of its entries.

    utc_ms: the moment, ms since 1970 UTC. entries: what had been entered by then. description: as
    it held then. charge_ah: all charge that the bath had seen.
    """

    utc_ms: int
    description: Description
    entries: tuple[BathEntry, ...]
    charge_ah: float
    charges: dict[int, float]

    @property
    def holding(self) -> tuple[Standing, ...]:
        """What holds in the account, in the order in which it happened."""
        return account.holding(self.entries, self.utc_ms)

    def charge_at_ah(self, utc_ms: int) -> float:
        """The bath's charge at the book's moment, or at one at which an entry happened, A·h."""
        return self.charge_ah if utc_ms == self.utc_ms else self.charges[utc_ms]


def read(
    connection: Connection, described: Description, utc_ms: int, *, past: bool = False
) -> Book:
    """The bath of `described`, the settings' description, at `utc_ms`.

    A `past` day is shown as it was: by what had been entered by then, with the description that
    held. A bath that nobody had described by then has its name alone.
    """
    name = described.name
    known_ms = utc_ms if past else None
    entries = bath_entries.all_of(connection, name, known_utc_ms=known_ms)
    if past:
        described = account.description_on(entries, utc_ms) or Description(name)
    history = ChargeHistory(connection, name)
    moments = {entry.made.at_utc_ms for entry in entries}
    return Book(
        utc_ms,
        described,
        entries,
        history.at(utc_ms),
        {moment: history.at(moment) for moment in moments},
    )
