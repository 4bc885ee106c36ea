"""The bath's account summed up, against sums by hand."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.bath import account
from daemon.bath.account import Level
from daemon.bath.description import Additive, Description
from daemon.record.bath_entries import BathEntry
from daemon.record.entries import BathEntered
from daemon.record.errors import NoSuchBathEntryError

BATH = Description("bath A", volume_l=15.0)


def test_balances_are_sums_of_what_went_in_and_out(ledger):
    ledger.enter("addition", {"copper": 100.25})
    ledger.enter("dose", {"brightener": 5.0, "volume": 0.005})
    ledger.enter("dose", {"brightener": 2.5, "volume": 0.0025})
    ledger.enter("sample", {"volume": -0.01})
    ledger.enter("drag-out", {"volume": -0.02, "copper": -1.0})
    assert account.balances(ledger.entries) == {
        "brightener": 7.5, "copper": 99.25, "volume": -0.0225,
    }  # fmt: skip


def test_a_make_up_begins_anew(ledger):
    ledger.enter("dose", {"brightener": 5.0}, day=1)
    ledger.enter("make-up", {"volume": 15.0, "copper": 750.0}, day=2)
    ledger.enter("dose", {"brightener": 2.0}, day=3)
    ledger.enter("dose", {"brightener": 9.0}, day=1, known=4)  # of the old bath, entered late
    assert account.balances(ledger.entries) == {"brightener": 2.0, "copper": 750.0, "volume": 15.0}


def test_a_withdrawn_make_up_brings_the_old_bath_back(ledger):
    ledger.enter("dose", {"brightener": 5.0}, day=1)
    made = ledger.enter("make-up", {"volume": 15.0}, day=2)
    ledger.enter("correction", {"volume": -15.0}, day=2, known=3, facts=None, corrects=made)
    assert account.balances(ledger.entries) == {"brightener": 5.0}


def test_a_chain_of_corrections_ends_at_the_newest(ledger):
    first = ledger.enter("dose", {"brightener": 5.0}, day=1)
    second = ledger.enter("correction", {"brightener": 2.0}, day=1, known=2, corrects=first)
    third = ledger.enter("correction", {"brightener": -4.0}, day=1, known=3, corrects=second)
    (found,) = account.standing(ledger.entries)
    assert (found.id, found.amounts, [each.id for each in found.corrections]) == (
        first, {"brightener": 3.0}, [second, third],
    )  # fmt: skip
    assert account.one(ledger.entries, third) == found
    assert found.newest.id == third

    ledger.enter("correction", {"brightener": -3.0}, day=1, known=4, facts=None, corrects=third)
    (found,) = account.standing(ledger.entries)
    assert found.withdrawn
    assert found.amounts == {}
    assert account.holding(ledger.entries) == ()
    assert account.balances(ledger.entries) == {}


def test_a_past_day_is_as_it_was_known_then(ledger, DAY_MS):  # noqa: N803
    first = ledger.enter("dose", {"brightener": 5.0}, day=1)
    ledger.enter("correction", {"brightener": 2.0}, day=1, known=5, corrects=first)
    ledger.enter("dose", {"brightener": 10.0}, day=2, known=6)  # entered days after it happened
    on = [account.balances(ledger.entries, round(day * DAY_MS)) for day in (0.5, 1, 4, 5, 6)]
    assert on == [
        {}, {"brightener": 5.0}, {"brightener": 5.0}, {"brightener": 7.0}, {"brightener": 17.0},
    ]  # fmt: skip


def test_a_correction_made_while_the_clock_was_wrong_waits_for_what_it_corrects(ledger, DAY_MS):  # noqa: N803
    first = ledger.enter("dose", {"brightener": 5.0}, day=0, known=9)
    ledger.enter("correction", {"brightener": 2.0}, day=0, known=1, corrects=first)
    assert account.standing(ledger.entries, 3 * DAY_MS) == ()
    assert account.balances(ledger.entries) == {"brightener": 7.0}


def test_an_entry_that_is_not_there(ledger):
    with pytest.raises(NoSuchBathEntryError, match="no entry 7"):
        account.one(ledger.entries, 7)


def test_the_level_is_as_stated_and_what_was_entered_since(ledger, DAY_MS):  # noqa: N803
    assert account.level(ledger.entries, Description("bath A")) is None
    ledger.enter("water", {"volume": 0.5}, day=1)
    # Water makes up for what evaporated: nothing is known but what the description says.
    assert account.level(ledger.entries, BATH) == Level(15.0, None)
    ledger.enter("make-up", {"volume": 14.0}, day=2)
    ledger.enter("sample", {"volume": -0.01}, day=3)
    assert account.level(ledger.entries, BATH) == Level(13.99, 2 * DAY_MS)
    ledger.enter("water", {"volume": 0.7}, day=4, facts={"level_l": 14.2})
    ledger.enter("dose", {"brightener": 5.0, "volume": 0.005}, day=5)
    assert account.level(ledger.entries, BATH) == Level(14.205, 4 * DAY_MS)
    assert account.level(ledger.entries, BATH, 3 * DAY_MS) == Level(13.99, 2 * DAY_MS)


def test_the_description_of_a_day(ledger, DAY_MS):  # noqa: N803
    old = Description("bath A", additives=(Additive("carrier"),))
    assert account.description_on(ledger.entries) is None
    ledger.enter("description", day=1, facts=old.to_json())
    ledger.enter("description", day=3, facts=BATH.to_json())
    assert account.description_on(ledger.entries, 2 * DAY_MS) == old
    assert account.description_on(ledger.entries) == BATH
    assert account.additives_ever(ledger.entries) == ("carrier",)


def test_a_description_from_a_clock_that_was_ahead_gives_way_to_the_next(ledger):
    ledger.enter("description", day=900, facts={"name": "old"})
    ledger.enter("description", day=3, facts=BATH.to_json())
    assert account.description_on(ledger.entries) == BATH


AMOUNTS = st.dictionaries(
    st.sampled_from(["copper", "brightener", "volume"]),
    st.floats(-1000, 1000).map(lambda amount: round(amount, 6)),
)
ENTRIES = st.lists(
    st.tuples(
        st.sampled_from(["addition", "dose", "sample", "make-up"]), AMOUNTS, st.integers(0, 9)
    ),
    max_size=12,
)


def _entry(number, kind, amounts, at, **more):
    amounts = {"volume": 1.0, **amounts} if kind == "make-up" else amounts
    return BathEntry(number, BathEntered("bath A", kind, "anna", 0, at, amounts, **more))


@settings(max_examples=60, deadline=None)
@given(ENTRIES, st.randoms(use_true_random=False))
def test_the_order_of_entry_does_not_matter_to_balances(written, shuffler: random.Random):
    # Two make-ups at one moment: the one entered last holds, so let there be one at most.
    moments = [at for kind, _, at in written if kind == "make-up"]
    if len(set(moments)) < len(moments):
        return
    ordered = [_entry(k, *each) for k, each in enumerate(written)]
    shuffled = [_entry(k, *each) for k, each in enumerate(shuffler.sample(written, len(written)))]
    expected = account.balances(ordered)
    assert {name: value for name, value in account.balances(shuffled).items() if value} == {
        name: value for name, value in expected.items() if value
    }


@settings(max_examples=60, deadline=None)
@given(st.lists(AMOUNTS, min_size=1, max_size=6))
def test_corrections_bring_an_entry_to_the_last_amounts_to_the_last_digit(wanted):
    """Each is the difference to what stood before; the sum over all rows is the last wish."""
    entries = []
    for number, amounts in enumerate(wanted, 1):
        before = account.standing(entries)[0].amounts if entries else {}
        difference = {
            name: round(amounts.get(name, 0.0) - before.get(name, 0.0), 9)
            for name in {*amounts, *before}
        }
        corrects = {"corrects_id": number - 1} if entries else {}
        kind = "correction" if entries else "addition"
        entries.append(_entry(number, kind, difference, 0, **corrects))
    (found,) = account.standing(entries)
    assert found.amounts == {name: amount for name, amount in wanted[-1].items() if amount}
    assert {k: v for k, v in account.balances(entries).items() if v} == found.amounts
