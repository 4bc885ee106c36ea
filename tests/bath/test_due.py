"""All that falls due: doses, filtration and carbon, by charge, by time, and by both."""

from dataclasses import replace

import pytest

from daemon.bath.description import Description, Interval
from daemon.bath.due import dues

WEEK_S = 7 * 86_400.0


@pytest.fixture
def kept(bath):
    """Filtered each 50 A·h or each week, treated with carbon each 500 A·h."""
    return replace(bath, filtration=Interval(50.0, WEEK_S), carbon=Interval(500.0))


def test_doses_and_upkeep_together(ledger, kept, DAY_MS):  # noqa: N803
    ledger.describe(kept, day=0, ah=0.0)
    dose, filtration, carbon = dues(ledger.book(kept, 1, 40.0)).at(40.0, DAY_MS)
    assert (dose.kind, dose.name, dose.amount_ml, dose.doses) == ("dose", "brightener", 5.0, 1)
    assert (dose.open_ml, dose.in_ah, dose.in_s) == (pytest.approx(6), pytest.approx(-20 / 3), None)
    assert (filtration.name, filtration.doses, filtration.in_ah, filtration.in_s) == (
        "filtration", 0, 10.0, 6 * 86_400.0,
    )  # fmt: skip
    assert (carbon.name, carbon.in_ah, carbon.in_s) == ("carbon treatment", 460.0, None)


@pytest.mark.parametrize(
    ("day", "ah", "due"), [(6.9, 49.9, 0), (7.0, 1.0, 1), (1.0, 50.0, 1), (9.0, 80.0, 1)]
)
def test_whichever_comes_first(ledger, kept, DAY_MS, day, ah, due):  # noqa: N803
    ledger.describe(kept, day=0, ah=0.0)
    found = dues(ledger.book(kept, day, ah)).at(ah, round(day * DAY_MS))
    assert found[1].doses == due


def test_the_last_one_counts_and_a_make_up_too(ledger, kept, DAY_MS):  # noqa: N803
    ledger.describe(kept, day=0, ah=0.0)
    ledger.enter("make-up", {"volume": 15.0}, day=1, ah=30.0)
    ledger.enter("filtration", day=2, ah=60.0)
    _, filtration, carbon = dues(ledger.book(kept, 3, 70.0)).at(70.0, 3 * DAY_MS)
    assert (filtration.in_ah, filtration.in_s) == (40.0, 6 * 86_400.0)
    assert carbon.in_ah == 460.0


def test_as_charge_and_time_go_on(ledger, kept, DAY_MS):  # noqa: N803
    ledger.describe(kept, day=0, ah=0.0)
    asked = dues(ledger.book(kept, 1, 0.0))
    assert [due.doses for due in asked.at(0.0, DAY_MS)] == [0, 0, 0]
    assert [due.doses for due in asked.at(110.0, DAY_MS)] == [3, 1, 0]
    assert [due.doses for due in asked.at(600.0, 30 * DAY_MS)] == [18, 1, 1]


def test_it_counts_from_when_it_was_asked_for_first(ledger, bath, kept, DAY_MS):  # noqa: N803
    ledger.describe(bath, day=0, ah=0.0)
    ledger.describe(kept, day=5, ah=300.0)
    _, filtration, _ = dues(ledger.book(kept, 6, 310.0)).at(310.0, 6 * DAY_MS)
    assert filtration.in_ah == 40.0


def test_of_a_bath_that_has_a_name_alone_nothing_falls_due(ledger):
    assert dues(ledger.book(Description("bath A"), 1, 10.0)).at(10.0, 0) == ()
