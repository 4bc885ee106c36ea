"""What the looks of deposits say of an additive's rate: a suggestion with its reason, never more.

Dull before a dose was due says that too little is added; hazy or pitted soon after a dose that too
much is (common practice). Both have other causes too: chloride, temperature, agitation, dirt. So
it takes several notes, and the steps are small. Burned deposits say nothing of a rate.
"""

from dataclasses import dataclass
from statistics import fmean

from daemon.bath import dosing, kinds
from daemon.bath.account import Standing
from daemon.bath.book import Book
from daemon.bath.description import Additive

LEAST_NOTES = 2
"""Notes that it takes: one may be anything."""

EARLY = 0.9
"""Of a dose's charge: dull before this is before the dose was due, and not just then."""

SOON = 0.5
"""Of a dose's charge: what shows before this after a dose may come from it."""

MOST_UP, STEP_DOWN = 1.25, 0.85
"""The largest step up, and the step down, as factors (common practice: no more than a quarter)."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """Another rate for an additive, mL/kAh, and why; None where the notes contradict each other.

    entries: the notes that say so.
    """

    additive: str
    now_ml_kah: float
    rate_ml_kah: float | None
    reason: str
    entries: tuple[int, ...]


def suggestions(book: Book) -> tuple[Suggestion, ...]:
    """What the notes since an additive got its rate suggest, for each that has rate and dose."""
    found = (_of_additive(book, additive) for additive in book.description.additives)
    return tuple(each for each in found if each is not None)


def _of_additive(book: Book, additive: Additive) -> Suggestion | None:
    rate, dose_ml = additive.rate_ml_kah, additive.dose_ml
    if rate is None or dose_ml is None:
        return None
    since_ms = dosing.rate_since_utc_ms(book, additive)
    notes = [
        each for each in book.holding
        if each.kind == kinds.APPEARANCE and each.at_utc_ms >= since_ms
    ]  # fmt: skip
    used = {each.id: dosing.open_ml(book, additive, each.at_utc_ms) / dose_ml for each in notes}
    dull = [each for each in notes if kinds.DULL in _looks(each) and 0 < used[each.id] < EARLY]
    much = [
        each
        for each in notes
        if _looks(each) & {kinds.HAZY, kinds.PITTED}
        and used[each.id] < SOON
        and dosing.dosed_before(book, additive.name, each.at_utc_ms)
    ]
    many_dull, many_much = len(dull) >= LEAST_NOTES, len(much) >= LEAST_NOTES
    if many_dull and many_much:
        reason = (
            f"dull {len(dull)} times before a dose was due, and hazy or pitted {len(much)} times "
            "soon after one: that is not the rate; look at chloride, temperature, agitation, dirt"
        )
        return Suggestion(additive.name, rate, None, reason, _ids(dull + much))
    if many_dull:
        part = fmean(used[each.id] for each in dull)
        reason = (
            f"dull {len(dull)} times before a dose was due, on average after {100 * part:.0f} % of "
            "its charge"
        )
        higher = rate * min(MOST_UP, 1 / part)
        return Suggestion(additive.name, rate, higher, reason, _ids(dull))
    if many_much:
        reason = f"hazy or pitted {len(much)} times soon after a dose"
        return Suggestion(additive.name, rate, rate * STEP_DOWN, reason, _ids(much))
    return None


def _looks(each: Standing) -> set[str]:
    return set((each.facts or {}).get("looks", ()))


def _ids(notes: list[Standing]) -> tuple[int, ...]:
    return tuple(sorted(each.id for each in notes))
