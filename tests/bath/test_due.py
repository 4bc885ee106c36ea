"""All that falls due: doses, filtration and carbon, by charge, by time, and by both."""

from dataclasses import replace

import pytest

from daemon.bath.description import Description, Interval
from daemon.bath.dosing import DoseKept
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


def test_each_dose_is_told_with_who_gave_it(ledger, kept):
    ledger.describe(kept, day=0, ah=0.0)
    ledger.dose(5.0, day=1, ah=10.0)
    facts = {"origin": "pump", "begun_utc_ms": 7, "cut_short": "the level was low"}
    ledger.enter("dose", {"brightener": 2.0, "volume": 0.002}, day=2, ah=20.0, facts=facts)
    withdrawn = ledger.dose(4.0, day=3, ah=30.0)
    less = {"brightener": -4.0, "volume": -0.004}
    ledger.enter("correction", less, day=3, facts=None, corrects=withdrawn)
    told = dues(ledger.book(kept, 4, 40.0)).doses
    assert [(each.volume_ml, each.begun_utc_ms, each.cut_short) for each in told] == [
        (5.0, None, None), (2.0, 7, "the level was low"), (0.0, None, None),
    ]  # fmt: skip


def test_a_dose_that_the_account_has_not_counted(ledger, kept):
    ledger.describe(kept, day=0, ah=0.0)
    asked = dues(ledger.book(kept, 1, 40.0))
    later = asked.after([DoseKept("brightener", 5, 3.5), DoseKept("unknown", 5, 1.0)])
    assert asked.tally("brightener").open_ml == pytest.approx(6.0)
    assert later.tally("brightener").open_ml == pytest.approx(2.5)
    assert later.tally("unknown") is None
    assert later.upkeep == asked.upkeep


def test_a_dose_from_before_a_clock_was_set_back_is_in_the_bath_all_the_same(ledger, kept):
    ledger.describe(kept, day=0, ah=0.0)
    ledger.dose(5.0, day=3, ah=40.0)
    found = dues(ledger.book(kept, 2, 40.0))
    assert found.tally("brightener").open_ml == pytest.approx(1.0)
    assert [each.volume_ml for each in found.doses] == [5.0]
