"""Kept analyses and their trends, by hand."""

import pytest

from daemon.bath import analyses
from daemon.bath.analyses import Against
from daemon.bath.book import Book
from daemon.bath.description import Description

DAY_MS = 86_400_000


@pytest.fixture
def book(ledger):
    """A bath of 15 L with what the ledger holds when it is asked; 2 A·h a day."""

    def read():
        moments = {entry.made.at_utc_ms for entry in ledger.entries}
        charges = {moment: 2 * moment / DAY_MS for moment in moments}
        described = Description("b", volume_l=15)
        return Book(10_000 * DAY_MS, described, tuple(ledger.entries), 0, charges)

    return read


def analysis(value, u=0.2, component="copper"):
    return {"method": "EDTA 0.1 mol/L", "results": {component: {"value": value, "u": u}}}


def test_analyses_by_component(ledger, book):
    first = ledger.enter("analysis", day=1, facts=analysis(55.0))
    ledger.enter("analysis", day=3, facts=analysis(60.0, component="sulfuric acid"))
    ledger.enter("analysis", day=5, facts=analysis(53.0, None))
    found = analyses.kept(book(), "copper")
    assert [each.value for each in found] == [55.0, 53.0]
    assert (found[0].number, found[0].charge_ah, found[0].method) == (first, 2.0, "EDTA 0.1 mol/L")
    # Nobody gave an uncertainty: 2 % of 53.
    assert [each.known_u for each in found] == pytest.approx([0.2, 1.06])
    assert len(analyses.kept(book())) == 3
    assert {name: each.value for name, each in analyses.newest(book()).items()} == {
        "copper": 53.0,
        "sulfuric acid": 60.0,
    }


def test_what_was_withdrawn_is_no_analysis(ledger, book):
    made = ledger.enter("analysis", day=1, facts=analysis(55.0))
    ledger.enter("correction", day=1, known=2, facts=None, corrects=made)
    assert analyses.kept(book()) == ()


def test_a_corrected_analysis_counts_as_corrected(ledger, book):
    made = ledger.enter("analysis", day=1, facts=analysis(55.0))
    ledger.enter("correction", day=1, known=2, facts=analysis(51.0), corrects=made)
    assert [each.value for each in analyses.kept(book())] == [51.0]


@pytest.mark.parametrize(
    ("kind", "amounts", "left"),
    [
        ("make-up", {"volume": 15.0}, 1),
        ("addition", {"copper": 100.0}, 1),
        ("addition", {"sulfuric acid": 100.0}, 2),
        ("water", {"volume": 2.0}, 2),
        ("sample", {"volume": -0.01}, 2),
        ("sample", {"volume": -0.75}, 1),
        ("drag-out", {"volume": -1.0}, 2),
        ("top-up", {"volume": 1.0}, 1),
    ],
)
def test_a_trend_begins_anew_where_the_component_was_changed_by_hand(
    ledger, book, kind, amounts, left
):
    ledger.enter("analysis", day=1, facts=analysis(55.0))
    ledger.enter(kind, amounts, day=2)
    ledger.enter("analysis", day=3, facts=analysis(58.0))
    assert len(analyses.undisturbed(book(), "copper")) == left


def test_a_line_over_days_and_over_charge(ledger, book):
    for day, value in ((10, 55.0), (15, 54.0), (20, 53.0)):
        ledger.enter("analysis", day=day, facts=analysis(value))
    found = analyses.kept(book(), "copper")
    over_days = analyses.leading(found, Against.TIME)
    assert over_days.slope == pytest.approx(-0.2)
    assert over_days.at(0) == pytest.approx(55.0)
    over_charge = analyses.leading(found, Against.CHARGE)
    assert over_charge.slope == pytest.approx(-0.1)
    assert over_charge.at(20) == pytest.approx(55.0)


def test_no_line_through_one(ledger, book):
    ledger.enter("analysis", day=10, facts=analysis(55.0))
    with pytest.raises(ValueError, match="two different moments"):
        analyses.leading(analyses.kept(book()), Against.TIME)
    with pytest.raises(ValueError, match="two different moments"):
        analyses.leading((), Against.TIME)
