"""Filtration and carbon treatment: due after so much charge, so long, or whichever comes first.

Each counts from the last one; before one from the make-up, or else from the first description that
asks for it. That both want repeating by charge and time is common practice, and so are intervals.
"""

from dataclasses import dataclass

from daemon.bath import kinds
from daemon.bath.book import Book
from daemon.bath.description import Description, Interval, from_json

MS = 1000.0


@dataclass(frozen=True, slots=True)
class Upkeep:
    """One of both: how often it is due, and the bath's charge, A·h, and the time of the last."""

    kind: str
    interval: Interval
    from_ah: float
    from_utc_ms: int

    def in_ah(self, charge_ah: float) -> float | None:
        """The charge until it is due, A·h, below 0 if it is overdue; None if not by charge."""
        every_ah = self.interval.every_ah
        return None if every_ah is None else every_ah - (charge_ah - self.from_ah)

    def in_s(self, utc_ms: int) -> float | None:
        """The time until it is due, s, below 0 if it is overdue; None if not by time."""
        every_s = self.interval.every_s
        return None if every_s is None else every_s - (utc_ms - self.from_utc_ms) / MS


def upkeep(book: Book) -> tuple[Upkeep, ...]:
    """Filtration and carbon treatment, as far as the bath's description asks for them."""
    return tuple(
        Upkeep(kind, interval, book.charge_at_ah(from_ms), from_ms)
        for kind in (kinds.FILTRATION, kinds.CARBON)
        if (interval := _interval(book.description, kind)) != Interval()
        for from_ms in (_from_utc_ms(book, kind),)
    )


def _interval(description: Description, kind: str) -> Interval:
    return description.filtration if kind == kinds.FILTRATION else description.carbon


def _from_utc_ms(book: Book, kind: str) -> int:
    done = [each.at_utc_ms for each in book.holding if each.kind in (kind, kinds.MAKE_UP)]
    if done:
        return done[-1]
    asked = (
        each.at_utc_ms
        for each in book.holding
        if each.kind == kinds.DESCRIPTION
        and _interval(from_json(each.facts or {}), kind) != Interval()
    )
    return next(asked, book.utc_ms)
