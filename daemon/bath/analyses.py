"""Analyses that the bath's account keeps, and where they lead."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from daemon.bath import kinds
from daemon.bath.account import Standing
from daemon.bath.book import Book
from daemon.bath.components import VOLUME
from daemon.chemistry.trend import Trend, TrendPoint, trend

USUAL_SHARE = 0.02
"""Of a value whose uncertainty nobody gave: a titration by hand is hardly surer (common practice).
"""

DILUTED_SHARE = 0.05
"""Of the bath's volume: taking out as much or more is a dilution, and no mere sample."""

MS_PER_DAY = 86_400_000.0


class Against(Enum):
    """What a trend runs over: days since the first analysis, or A·h of the bath's charge."""

    TIME = "time"
    CHARGE = "charge"


@dataclass(frozen=True, slots=True)
class KeptAnalysis:
    """One component of an entry: its concentration and standard uncertainty, as the account has it.

    g/L, of chloride mg/L, of additives mL/L (`daemon.bath.components`). u: None where nobody gave
    it. charge_ah: the bath's charge at that moment.
    """

    number: int
    at_utc_ms: int
    charge_ah: float
    component: str
    value: float
    u: float | None
    method: str
    who: str

    @property
    def known_u(self) -> float:
        """The uncertainty that was given, or the usual one; above 0."""
        return self.u or USUAL_SHARE * self.value or USUAL_SHARE


def kept(book: Book, component: str | None = None) -> tuple[KeptAnalysis, ...]:
    """The analyses that hold, oldest first; of one component if it is named."""
    return tuple(
        each
        for entry in book.holding
        if entry.kind == kinds.ANALYSIS
        for each in _of_entry(entry, book)
        if component in (None, each.component)
    )


def newest(book: Book) -> dict[str, KeptAnalysis]:
    """The last analysis of each component."""
    return {each.component: each for each in kept(book)}


def undisturbed(book: Book, component: str) -> tuple[KeptAnalysis, ...]:
    """The analyses since a person last changed the component.

    That is by a make-up, by topping up, an addition of it, or taking out `DILUTED_SHARE` of the
    bath or more: a line through what lies before and after would tell nothing.
    """
    volume_l = book.description.volume_l
    changed_ms = max(
        (each.at_utc_ms for each in book.holding if _changes(each, component, volume_l)),
        default=None,
    )
    found = kept(book, component)
    return tuple(each for each in found if changed_ms is None or each.at_utc_ms > changed_ms)


def _changes(entry: Standing, component: str, volume_l: float | None) -> bool:
    if entry.kind in (kinds.MAKE_UP, kinds.TOP_UP):
        return True
    if entry.kind == kinds.SAMPLE and volume_l is not None:
        return -entry.amounts.get(VOLUME, 0.0) >= DILUTED_SHARE * volume_l
    return entry.kind in (kinds.ADDITION, kinds.DOSE) and component in entry.amounts


def leading(analyses: Sequence[KeptAnalysis], against: Against) -> Trend:
    """The line through analyses of one component, over days since the first or over A·h.

    Raises ValueError where there is none.
    """
    return trend(
        [
            TrendPoint(place(each, analyses[0], against), each.value, each.known_u)
            for each in analyses
        ]
    )


def place(analysis: KeptAnalysis, first: KeptAnalysis, against: Against) -> float:
    """Where an analysis lies: days since the first, or A·h."""
    if against is Against.CHARGE:
        return analysis.charge_ah
    return (analysis.at_utc_ms - first.at_utc_ms) / MS_PER_DAY


def _of_entry(entry: Standing, book: Book) -> list[KeptAnalysis]:
    facts = entry.facts or {}
    return [
        KeptAnalysis(
            entry.id,
            entry.at_utc_ms,
            book.charges[entry.at_utc_ms],
            component,
            found["value"],
            found.get("u"),
            facts.get("method", ""),
            entry.newest.made.who,
        )
        for component, found in facts["results"].items()
    ]
