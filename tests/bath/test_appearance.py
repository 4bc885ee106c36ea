"""What the looks of deposits suggest: 5 mL at 150 mL/kAh, so a dose each 33.33 A·h."""

from dataclasses import replace

import pytest

from daemon.bath.appearance import suggestions
from daemon.bath.description import Additive


@pytest.fixture
def begun(ledger, bath):
    ledger.describe(bath, day=0, ah=0.0)
    ledger.dose(5.0, day=1, ah=100 / 3)
    return ledger


def test_dull_before_the_dose_was_due_raises_the_rate(begun, bath):
    """Each time after 60 % of a dose's charge: 150 / 0.6 would be 250, and a quarter up, 187.5, is
    the most."""
    begun.look("dull", day=2, ah=100 / 3 + 20)
    assert suggestions(begun.book(bath, 3, 60.0)) == ()  # once may be anything
    begun.dose(5.0, day=3, ah=200 / 3)
    second = begun.look("dull", "even", day=4, ah=200 / 3 + 20)
    (found,) = suggestions(begun.book(bath, 5, 90.0))
    assert found.additive == "brightener"
    assert (found.now_ml_kah, found.rate_ml_kah) == (150.0, pytest.approx(187.5))
    assert "dull 2 times before a dose was due, on average after 60 % of its charge" in found.reason
    assert found.entries == (3, second)


def test_a_step_is_no_larger_than_the_notes_say(begun, bath):
    """Dull after 85 % of the charge: 150 / 0.85."""
    begun.look("dull", day=2, ah=100 / 3 * 1.85)
    begun.dose(5.0, day=3, ah=200 / 3)
    begun.look("dull", day=4, ah=100 / 3 * 2.85)
    (found,) = suggestions(begun.book(bath, 5, 97.0))
    assert found.rate_ml_kah == pytest.approx(150 / 0.85)


def test_dull_when_the_dose_is_due_is_as_it_should_be(begun, bath):
    for day, part in ((2, 1.95), (3, 2.0), (4, 2.5)):
        begun.look("dull", day=day, ah=100 / 3 * part)
    assert suggestions(begun.book(bath, 5, 90.0)) == ()


def test_hazy_or_pitted_soon_after_a_dose_lowers_it(begun, bath):
    begun.look("hazy", day=2, ah=40.0)
    begun.look("pitted", day=3, ah=45.0)
    (found,) = suggestions(begun.book(bath, 4, 46.0))
    assert found.rate_ml_kah == pytest.approx(127.5)  # 15 % less
    assert found.reason == "hazy or pitted 2 times soon after a dose"


def test_hazy_with_no_dose_before_it_or_long_after_one_is_not_of_the_dose(ledger, begun, bath):
    begun.look("hazy", day=2, ah=100 / 3 + 20)
    begun.look("hazy", day=3, ah=100 / 3 + 25)
    assert suggestions(begun.book(bath, 4, 60.0)) == ()
    begun.enter("make-up", {"volume": 15.0}, day=4, ah=60.0)
    begun.look("hazy", day=5, ah=61.0)
    begun.look("pitted", day=6, ah=62.0)
    assert suggestions(begun.book(bath, 7, 63.0)) == ()


def test_notes_that_contradict_each_other_suggest_no_rate(begun, bath):
    for day, word, ah in (
        (2, "dull", 50.0),
        (3, "dull", 51.0),
        (4, "hazy", 40.0),
        (5, "hazy", 41.0),
    ):
        begun.look(word, day=day, ah=ah)
    (found,) = suggestions(begun.book(bath, 6, 60.0))
    assert found.rate_ml_kah is None
    assert "that is not the rate" in found.reason


def test_notes_from_before_the_rate_was_changed_say_nothing_of_it(begun, bath):
    begun.look("dull", day=2, ah=40.0)
    begun.look("dull", day=3, ah=45.0)
    changed = replace(bath, additives=(Additive("brightener", 180.0, 5.0),))
    begun.describe(changed, day=4, ah=50.0)
    assert suggestions(begun.book(changed, 5, 55.0)) == ()


def test_bright_even_and_burned_say_nothing_of_a_rate(begun, bath):
    for day in (2, 3, 4):
        begun.look("bright", "even", "burned", day=day, ah=40.0 + day)
    assert suggestions(begun.book(bath, 5, 50.0)) == ()


def test_an_additive_without_rate_or_dose_gets_no_suggestion(begun, bath):
    bare = replace(bath, additives=(Additive("brightener", 150.0), Additive("carrier", None, 5.0)))
    begun.look("dull", day=2, ah=40.0)
    begun.look("dull", day=3, ah=45.0)
    assert suggestions(begun.book(bare, 5, 50.0)) == ()
