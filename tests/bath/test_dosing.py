"""What is due of additives by the ampere-hour, by hand: 5 mL at 150 mL/kAh, 33.33 A·h."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.bath import dosing
from daemon.bath.description import Additive, Description
from daemon.bath.dosing import Tally

EACH_AH = 5 / 150 * 1000


def tally(book):
    return dosing.tally(book, book.description.additives[0])


def test_a_dose_is_due_after_its_charge(ledger, bath):
    ledger.describe(bath, day=0, ah=0.0)
    found = tally(ledger.book(bath, 1, 20.0))
    assert found.open_ml == pytest.approx(3.0)
    assert found.due_at_ah(1) == pytest.approx(EACH_AH)
    assert found.doses_at(20.0) == 0
    assert found.doses_at(EACH_AH) == 1
    assert found.doses_at(100.0) == 3  # 15 mL
    assert found.dosed_utc_ms is None


def test_a_dose_answers_the_charge_before_it_and_what_is_over_stays(ledger, bath, DAY_MS):  # noqa: N803
    ledger.describe(bath, day=0, ah=0.0)
    ledger.dose(5.0, day=1, ah=40.0)  # 6 mL were used: 1 mL stays open
    found = tally(ledger.book(bath, 2, 50.0))
    assert found.open_ml == pytest.approx(2.5)
    assert found.dosed_utc_ms == DAY_MS
    assert found.due_at_ah(1) == pytest.approx(2 * EACH_AH)


def test_a_smaller_dose_brings_the_next_one_nearer_a_larger_one_puts_it_off(ledger, bath):
    ledger.describe(bath, day=0, ah=0.0)
    ledger.dose(2.0, day=1, ah=EACH_AH)
    assert tally(ledger.book(bath, 2, EACH_AH)).due_at_ah(1) == pytest.approx(EACH_AH + 2 / 0.15)
    ledger.dose(8.0, day=2, ah=EACH_AH)
    assert tally(ledger.book(bath, 3, EACH_AH)).due_at_ah(1) == pytest.approx(10 / 0.15 + 5 / 0.15)


def test_a_rate_holds_from_its_day_on(ledger, bath):
    """10 A·h at 150 and 20 A·h at 300 mL/kAh: 1.5 mL and 6 mL."""
    stronger = replace(bath, additives=(Additive("brightener", 300.0, 5.0),))
    ledger.describe(bath, day=0, ah=0.0)
    ledger.describe(stronger, day=1, ah=10.0)
    assert tally(ledger.book(stronger, 2, 30.0)).open_ml == pytest.approx(7.5)


def test_while_an_additive_was_not_described_nothing_of_it_was_used(ledger, bath):
    bare = Description("bath A")
    ledger.describe(bath, day=0, ah=0.0)
    ledger.describe(bare, day=1, ah=10.0)
    ledger.describe(bath, day=2, ah=100.0)
    assert tally(ledger.book(bath, 3, 110.0)).open_ml == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("kind", "amounts"),
    [("make-up", {"volume": 15.0}), ("carbon treatment", {}), ("addition", {"brightener": 9.0})],
)
def test_what_sets_the_level_begins_the_account_anew(ledger, bath, kind, amounts):
    ledger.describe(bath, day=0, ah=0.0)
    ledger.dose(5.0, day=1, ah=500.0)
    ledger.enter(kind, amounts, day=2, ah=600.0)
    assert tally(ledger.book(bath, 3, 610.0)).open_ml == pytest.approx(1.5)


def test_what_a_topping_up_puts_back_is_neither_a_dose_nor_a_beginning(ledger, bath):
    """30 A·h use 4.5 mL; what left with the bath is back, and the charge's use is still open."""
    ledger.describe(bath, day=0, ah=0.0)
    amounts, facts = {"copper": 9.0, "brightener": 10.0}, {"taken_out_l": 2.0, "level_l": 15.0}
    ledger.enter("top-up", amounts, day=2, ah=20.0, facts=facts)
    assert tally(ledger.book(bath, 3, 30.0)).open_ml == pytest.approx(4.5)


def test_an_addition_of_something_else_does_not(ledger, bath):
    ledger.describe(bath, day=0, ah=0.0)
    ledger.enter("addition", {"copper": 9.0}, day=2, ah=20.0)
    assert tally(ledger.book(bath, 3, 30.0)).open_ml == pytest.approx(4.5)


def test_a_withdrawn_dose_answers_nothing(ledger, bath):
    ledger.describe(bath, day=0, ah=0.0)
    number = ledger.dose(5.0, day=1, ah=20.0)
    ledger.enter("correction", {"brightener": -5.0}, day=1, known=2, facts=None, corrects=number)
    assert tally(ledger.book(bath, 3, 30.0)).open_ml == pytest.approx(4.5)


def test_a_bath_that_no_daemon_has_described_yet_begins_now(ledger, bath):
    assert tally(ledger.book(bath, 3, 500.0)).open_ml == 0.0


def test_without_a_rate_there_is_nothing_to_tell(ledger):
    bare = Description("bath A", additives=(Additive("carrier", None, 5.0),))
    assert tally(ledger.book(bare, 1, 10.0)) is None


def test_without_a_dose_what_is_open_is_told_and_nothing_is_due(ledger):
    plain = Description("bath A", additives=(Additive("carrier", 100.0),))
    ledger.describe(plain, day=0, ah=0.0)
    found = tally(ledger.book(plain, 1, 500.0))
    assert (found.open_ml, found.due_at_ah(1), found.doses_at(1e6)) == (50.0, None, 0)
    assert found.falling_due(0.0, 1e6) == ()


def test_any_number_of_additives_each_by_its_own_doses(ledger, bath):
    two = replace(bath, additives=(*bath.additives, Additive("carrier", 50.0, 10.0)))
    ledger.describe(two, day=0, ah=0.0)
    ledger.dose(10.0, day=1, ah=100.0, name="carrier")
    book = ledger.book(two, 2, 100.0)
    opened = [dosing.tally(book, additive).open_ml for additive in two.additives]
    assert opened == pytest.approx([15.0, -5.0])


def test_what_falls_due_in_a_run(ledger, bath):
    ledger.describe(bath, day=0, ah=0.0)
    found = tally(ledger.book(bath, 1, 20.0))
    assert found.falling_due(20.0, 13.0) == ()
    assert found.falling_due(20.0, 14.0) == pytest.approx((EACH_AH - 20,))
    assert found.falling_due(20.0, 90.0) == pytest.approx([k * EACH_AH - 20 for k in (1, 2, 3)])
    # One is due already: the next that falls due is the second.
    assert found.falling_due(40.0, 30.0) == pytest.approx((2 * EACH_AH - 40,))


@settings(max_examples=100, deadline=None)
@given(
    st.floats(1.0, 1000.0), st.floats(0.5, 50.0), st.floats(-100.0, 100.0), st.floats(0.0, 500.0),
    st.floats(0.0, 500.0),
)  # fmt: skip
def test_the_doses_of_a_run_are_those_due_after_it_less_those_due_before(
    rate, dose_ml, open_ml, charge_ah, added_ah
):
    found = Tally("brightener", rate, dose_ml, 0.0, open_ml)
    before, after = found.doses_at(charge_ah), found.doses_at(charge_ah + added_ah)
    crossed = found.falling_due(charge_ah, added_ah)
    assert len(crossed) == after - before
    assert list(crossed) == sorted(crossed)
    assert all(0 <= ah <= added_ah * (1 + 1e-6) + 1e-6 * dose_ml / rate * 1000 for ah in crossed)
