"""What the bath's page shows of the bath: contents, anodes, rates, newest entries."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from daemon.api.bath import bath_words
from daemon.api.report import Row
from daemon.api.socket.messages import Status
from daemon.bath import account
from daemon.bath.additive_rate import rates_found
from daemon.bath.appearance import suggestions
from daemon.bath.book import Book
from web.times import stamp
from web.typography import capital

if TYPE_CHECKING:
    # They bring numpy along, which only this page needs, once somebody looks at it.
    from daemon.bath.foresight import Foresight
    from web.drawings.bands import Band

NEWEST = 8
"""Entries that are shown; the account has them all."""


@dataclass(frozen=True, slots=True)
class Newest:
    """An entry: its number, when it happened, what it says and who entered it."""

    number: int
    at: str
    said: str
    who: str


@dataclass(frozen=True, slots=True)
class Seen:
    """The bath at a moment.

    volume: as expected, with its ±. analyse: when to analyse again, "" for not within a year.
    wants: what would bring it back, and what was odd. rates: by additive what its doses amount to.
    suggestions: another rate and why. overloaded: the anodes bear less than flows.
    """

    volume: str
    bands: tuple[Band, ...]
    analyse: str
    wants: tuple[str, ...]
    anodes: tuple[Row, ...]
    overloaded: bool
    rates: tuple[Row, ...]
    suggestions: tuple[str, ...]
    entries: tuple[Newest, ...]


def seen(found: Foresight, status: Status) -> Seen:
    """All of it. `status` says what flows now."""
    from daemon.api.bath import expected_words
    from web.drawings.bands import bands

    book, expected, anodes = found.book, found.expected, found.anodes
    wants: tuple[str, ...] = (expected_words.NOTHING_TELLS,)
    if expected is not None:
        told = (*expected_words.suggestions(expected), *expected_words.remarks(expected))
        wants = tuple(row.text for row in told)
    flows_a = status.current_a if status.output_on else None
    overloaded = (
        flows_a is not None and anodes.greatest_a is not None and flows_a > anodes.greatest_a
    )
    rows = [
        Row("" if place else row.name, row.text)
        for place, row in enumerate(expected_words.anodes(anodes))
    ]
    if flows_a is not None and anodes.area_dm2:
        rows.append(Row("now", f"{flows_a / anodes.area_dm2:.2f} A/dm², by {flows_a:.3g} A"))
    return Seen(
        volume=""
        if expected is None
        else f"{expected.volume_l:.1f} ± {expected.volume_half_width_l:.1f} L",
        bands=() if expected is None else bands(expected),
        analyse="" if expected is None else expected_words.analyse_again(expected, book.utc_ms),
        wants=tuple(map(capital, wants)),
        anodes=tuple(rows),
        overloaded=overloaded,
        rates=_rates(book),
        suggestions=tuple(capital(bath_words.suggestion(each)) for each in suggestions(book)),
        entries=_newest(book),
    )


def _rates(book: Book) -> tuple[Row, ...]:
    found = rates_found(book)
    return tuple(
        Row(each.name, bath_words.rate_found(each, found.get(each.name)))
        for each in book.description.additives
        if each.rate_ml_kah is not None or each.name in found
    )


def _newest(book: Book) -> tuple[Newest, ...]:
    additives = account.additives_ever(book.entries)
    return tuple(
        Newest(
            each.id,
            stamp(each.at_utc_ms),
            capital(bath_words.entry(each, additives)),
            each.newest.made.who,
        )
        for each in list(reversed(account.standing(book.entries)))[:NEWEST]
    )
