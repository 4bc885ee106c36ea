"""Additives by the ampere-hour: how much the charge has used since what was dosed, and what is due.

What is due is an account of its own: charge times rate uses an additive up, doses answer it, and as
soon as a whole dose is open it is due. A dose that was smaller or larger, early or late, moves the
next one by as much. It begins anew, with nothing open, when the level of the additive was set:
by a make-up, by an addition of it besides the doses, or by carbon, which takes it out. Before any
of these it begins when the additive was first described with a rate.

That additives are used up by charge, in proportion, is common practice, and so are small doses.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

from daemon.bath import account, kinds
from daemon.bath.account import Standing
from daemon.bath.book import Book
from daemon.bath.components import VOLUME
from daemon.bath.description import Additive, from_json
from daemon.record import pump_doses

AH_IN_KAH = 1000.0

_SLACK = 1e-9
"""Of a dose: what a sum of floats may fall short of a whole one."""


@dataclass(frozen=True, slots=True)
class Tally:
    """What stands open of an additive when the bath had seen `charge_ah`.

    rate_ml_kah: what charge uses from then on, above 0. dose_ml: the size of a dose, None where
    none is described. open_ml: what was used and not dosed; less than 0 where more was dosed.
    dosed_utc_ms: the last dose, None before one.
    """

    name: str
    rate_ml_kah: float
    dose_ml: float | None
    charge_ah: float
    open_ml: float
    dosed_utc_ms: int | None = None

    def open_at_ml(self, charge_ah: float) -> float:
        """What stands open when the bath has seen so much charge, mL."""
        return self.open_ml + (charge_ah - self.charge_ah) / AH_IN_KAH * self.rate_ml_kah

    def doses_at(self, charge_ah: float) -> int:
        """How many whole doses are due then; 0 where no dose is described."""
        if self.dose_ml is None:
            return 0
        return max(0, math.floor(self.open_at_ml(charge_ah) / self.dose_ml + _SLACK))

    def due_at_ah(self, number: int) -> float | None:
        """The bath's charge at which this dose falls due, the first being 1; None without doses."""
        if self.dose_ml is None:
            return None
        missing_ml = number * self.dose_ml - self.open_ml
        return self.charge_ah + missing_ml / self.rate_ml_kah * AH_IN_KAH

    def falling_due(self, charge_ah: float, added_ah: float) -> tuple[float, ...]:
        """When doses fall due in the next `added_ah` after `charge_ah`: A·h from there, in order.

        What is due already is not among them.
        """
        first, last = self.doses_at(charge_ah) + 1, self.doses_at(charge_ah + added_ah)
        due = (self.due_at_ah(number) for number in range(first, last + 1))
        return tuple(max(0.0, at_ah - charge_ah) for at_ah in due if at_ah is not None)


@dataclass(frozen=True, slots=True)
class DoseKept:
    """A dose as the account has it: of what, when, how much, mL; 0 for one that was withdrawn.

    begun_utc_ms: when a pump began it, None for one that was given by hand.
    """

    name: str
    at_utc_ms: int
    volume_ml: float
    begun_utc_ms: int | None = None
    cut_short: str | None = None


def doses_kept(book: Book) -> tuple[DoseKept, ...]:
    """All doses of the account, in the order in which they were given.

    Also such as were given later than the book's moment, by a clock that was set back since.
    """
    found = []
    for each in account.standing(book.entries):
        if each.kind != kinds.DOSE:
            continue
        made = each.first.made
        begun_ms, cut_short = pump_doses.begun_utc_ms(made), (made.facts or {}).get("cut_short")
        for name in made.amounts.keys() - {VOLUME}:
            volume_ml = each.amounts.get(name, 0.0)
            found.append(DoseKept(name, each.at_utc_ms, volume_ml, begun_ms, cut_short))
    return tuple(found)


def tally(book: Book, additive: Additive) -> Tally | None:
    """What stands open of an additive at the book's moment; None for one without a rate."""
    if additive.rate_ml_kah is None:
        return None
    doses = _doses(book, additive.name, book.utc_ms)
    return Tally(
        additive.name,
        additive.rate_ml_kah,
        additive.dose_ml,
        book.charge_ah,
        open_ml(book, additive, book.utc_ms),
        doses[-1].at_utc_ms if doses else None,
    )


def open_ml(book: Book, additive: Additive, utc_ms: int) -> float:
    """What stood open of an additive at a moment of the book: of an entry, or the book's own; mL.

    Each charge used what the rate of its day says.
    """
    begin_ms = begun_utc_ms(book, additive.name, utc_ms)
    rates = _rates(book, additive, utc_ms)
    moments = sorted({begin_ms, utc_ms, *(ms for ms, _ in rates if begin_ms < ms < utc_ms)})
    used_ml = math.fsum(
        (book.charge_at_ah(end) - book.charge_at_ah(start)) / AH_IN_KAH * _rate_from(rates, start)
        for start, end in pairwise(moments)
    )
    dosed_ml = math.fsum(
        each.amounts[additive.name]
        for each in _doses(book, additive.name, utc_ms)
        if each.at_utc_ms > begin_ms
    )
    return used_ml - dosed_ml


def begun_utc_ms(book: Book, name: str, utc_ms: int) -> int:
    """When the account of an additive began that held at a moment, ms since 1970 UTC.

    At most `utc_ms`: an additive that was never described with a rate begins there.
    """
    sets = [
        each.at_utc_ms
        for each in book.holding
        if each.at_utc_ms <= utc_ms
        and (
            each.kind in (kinds.MAKE_UP, kinds.CARBON)
            or (each.kind == kinds.ADDITION and each.amounts.get(name, 0.0) > 0)
        )
    ]
    if sets:
        return sets[-1]
    described = (ms for ms, rate in _described(book, name) if rate is not None)
    return min(next(described, utc_ms), utc_ms)


def rate_since_utc_ms(book: Book, additive: Additive) -> int:
    """Since when the additive has the rate that it has; the book's moment, if that is not told."""
    since_ms = book.utc_ms
    for ms, rate in reversed(_described(book, additive.name)):
        if rate != additive.rate_ml_kah:
            break
        since_ms = ms
    return since_ms


def dosed_before(book: Book, name: str, utc_ms: int) -> bool:
    """Whether a dose was given between the beginning of the additive's account and a moment."""
    begin_ms = begun_utc_ms(book, name, utc_ms)
    return any(each.at_utc_ms > begin_ms for each in _doses(book, name, utc_ms))


def _doses(book: Book, name: str, until_utc_ms: int) -> list[Standing]:
    return [
        each
        for each in book.holding
        if each.kind == kinds.DOSE and name in each.amounts and each.at_utc_ms <= until_utc_ms
    ]


def _described(book: Book, name: str) -> list[tuple[int, float | None]]:
    """Since when the bath was described with which rate of an additive, oldest first."""
    found = []
    for each in book.holding:
        if each.kind == kinds.DESCRIPTION:
            known = from_json(each.facts or {}).additive(name)
            found.append((each.at_utc_ms, None if known is None else known.rate_ml_kah))
    return found


def _rates(book: Book, additive: Additive, utc_ms: int) -> list[tuple[int, float]]:
    """Since when which rate held, oldest first; while none was described, nothing was used."""
    return [(ms, rate or 0.0) for ms, rate in _described(book, additive.name) if ms <= utc_ms] or [
        (utc_ms, additive.rate_ml_kah or 0.0)
    ]


def _rate_from(rates: list[tuple[int, float]], utc_ms: int) -> float:
    """The rate that held from a moment on; before the first, the first."""
    known = [rate for ms, rate in rates if ms <= utc_ms]
    return known[-1] if known else rates[0][1]
