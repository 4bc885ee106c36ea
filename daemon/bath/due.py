"""All that falls due of a bath: doses, filtration, carbon. Read once, asked at any charge."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from daemon.bath import dosing, kinds, upkeep
from daemon.bath.anodes import AnodesLeft, anodes_left
from daemon.bath.book import Book
from daemon.bath.dosing import DoseKept, Tally
from daemon.bath.upkeep import Upkeep


@dataclass(frozen=True, slots=True)
class Due:
    """Something that is due or will be: a dose of an additive, or a kind of upkeep by its name.

    amount_ml: the size of a dose. open_ml: what was used of an additive and not dosed, less than 0
    where more was dosed. doses: how many are due now, 0 if none is yet; of upkeep 1 or 0.
    in_ah, in_s: the charge and the time until it is due, below 0 by how much it is overdue; None
    where it does not go by that, or no dose is described.
    """

    kind: str
    name: str
    amount_ml: float | None
    open_ml: float | None
    doses: int
    in_ah: float | None
    in_s: float | None = None


@dataclass(frozen=True, slots=True)
class Dues:
    """What the book says of all that falls due, to be asked as charge and time go on.

    anodes: as they were told last, for the current that they bear; without what charge has taken.
    doses: what was dosed so far.
    """

    tallies: tuple[Tally, ...] = ()
    upkeep: tuple[Upkeep, ...] = ()
    anodes: AnodesLeft | None = None
    doses: tuple[DoseKept, ...] = ()

    def tally(self, name: str) -> Tally | None:
        """What stands open of an additive; None for one without a rate."""
        return next((each for each in self.tallies if each.name == name), None)

    def after(self, doses: Iterable[DoseKept]) -> "Dues":
        """The same after further doses, which the book has not counted."""
        tallies = {each.name: each for each in self.tallies}
        for dose in doses:
            if (before := tallies.get(dose.name)) is not None:
                open_ml = before.open_ml - dose.volume_ml
                tallies[dose.name] = replace(before, open_ml=open_ml, dosed_utc_ms=dose.at_utc_ms)
        return replace(self, tallies=tuple(tallies.values()))

    def at(self, charge_ah: float, utc_ms: int) -> tuple[Due, ...]:
        """What is due when the bath has seen so much charge, A·h, at a moment."""
        doses = (_dose(each, charge_ah) for each in self.tallies)
        return (*doses, *(_upkeep(each, charge_ah, utc_ms) for each in self.upkeep))


def dues(book: Book) -> Dues:
    """What falls due by the book's description: additives with a rate, and upkeep.

    A dose that was given later than the book's moment, by a clock that was set back since, is in
    the bath all the same.
    """
    tallies = (dosing.tally(book, additive) for additive in book.description.additives)
    found = Dues(
        tuple(each for each in tallies if each is not None),
        upkeep.upkeep(book),
        anodes_left(book.holding, (), book.description),
        dosing.doses_kept(book),
    )
    return found.after(each for each in found.doses if each.at_utc_ms > book.utc_ms)


def _dose(tally: Tally, charge_ah: float) -> Due:
    """A dose; overdue it is since the first of those that are due."""
    at_ah = tally.due_at_ah(1)
    in_ah = None if at_ah is None else at_ah - charge_ah
    return Due(
        kinds.DOSE,
        tally.name,
        tally.dose_ml,
        tally.open_at_ml(charge_ah),
        tally.doses_at(charge_ah),
        in_ah,
    )


def _upkeep(each: Upkeep, charge_ah: float, utc_ms: int) -> Due:
    in_ah, in_s = each.in_ah(charge_ah), each.in_s(utc_ms)
    now = any(left is not None and left <= 0 for left in (in_ah, in_s))
    return Due(each.kind, each.kind, None, None, int(now), in_ah, in_s)
