"""Entries of a bath, as the record gives them back."""

import pytest

from daemon.record.bath_entries import BathEntry
from daemon.record.entries import BathEntered

DAY_MS = 86_400_000


class Ledger:
    """Takes entries as the daemon does, and numbers them; `day` is when they happen."""

    def __init__(self):
        self.entries = []

    def enter(self, kind, amounts=None, *, day=0.0, known=None, facts=(), corrects=None, **more):
        """Add an entry; its number. `known` is the day on which it was entered."""
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
        return len(self.entries)


@pytest.fixture
def ledger():
    return Ledger()


@pytest.fixture(name="DAY_MS")
def _day_ms():
    return DAY_MS
