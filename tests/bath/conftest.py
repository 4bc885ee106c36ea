"""Entries of a bath, as the record gives them back, and a book of them at any charge."""

import pytest

from daemon.bath.book import Book
from daemon.bath.description import Additive, Description
from daemon.record.bath_entries import BathEntry
from daemon.record.entries import BathEntered

DAY_MS = 86_400_000


class Ledger:
    """Takes entries as the daemon does, and numbers them; `day` is when they happen."""

    def __init__(self):
        self.entries = []
        self.charges = {}

    def enter(
        self, kind, amounts=None, *, day=0.0, known=None, facts=(), corrects=None, ah=None, **more
    ):
        """Add an entry; its number. `known` is the day on which it was entered.

        `ah` is what the bath had seen when it happened.
        """
        made = BathEntered(
            bath="bath A",
            kind=kind,
            who="anna",
            utc_ms=round((day if known is None else known) * DAY_MS),
            at_utc_ms=round(day * DAY_MS),
            amounts=amounts or {},
            facts=None if facts is None else dict(facts),
            corrects_id=corrects,
            **more,
        )
        self.entries.append(BathEntry(len(self.entries) + 1, made))
        if ah is not None:
            self.charges[made.at_utc_ms] = ah
        return len(self.entries)

    def describe(self, bath, day, ah):
        """The bath is described anew."""
        return self.enter("description", day=day, ah=ah, facts=bath.to_json())

    def dose(self, amount_ml, day, ah, name="brightener"):
        """A dose goes in."""
        return self.enter("dose", {name: amount_ml, "volume": amount_ml / 1000}, day=day, ah=ah)

    def look(self, *words, day, ah):
        """The deposit looks like this."""
        return self.enter("appearance", day=day, ah=ah, facts={"looks": list(words)})

    def book(self, bath, day, ah):
        """The bath on a day on which it has seen so much charge."""
        return Book(round(day * DAY_MS), bath, tuple(self.entries), ah, dict(self.charges))


@pytest.fixture
def ledger():
    return Ledger()


@pytest.fixture(name="DAY_MS")
def _day_ms():
    return DAY_MS


@pytest.fixture
def bath():
    """150 mL/kAh in doses of 5 mL: a dose each 33.33 A·h."""
    return Description("bath A", 15.0, additives=(Additive("brightener", 150.0, 5.0),))
