"""Which rate a log of additions amounts to: by hand, by an old rule of thumb, and by simulation."""

import random
from statistics import fmean

import pytest

from daemon.bath.additive_rate import Addition, rate_of, rates_found
from daemon.bath.description import Additive, Description

GALLON_L, FL_OZ_ML = 3.785411784, 29.5735295625
"""US customary: 231 in³ and a 128th of it, an inch being 25.4 mm (NIST Handbook 44, appendix C)."""


def test_the_rule_of_a_tenth_of_an_ounce_each_time_it_turns_dull():
    """Common practice: 1 fl oz of carrier and 0.2 fl oz of brightener a gallon at make-up, then
    about 0.1 fl oz of brightener each time the deposit turns dull.

    Of a bath of 4 gallons (15.1 L) that is 0.4 fl oz = 11.83 mL a time. Let it turn dull each
    60 A·h: 11.83 mL in 0.06 kA·h are 197.2 mL/kAh. The make-up, 23.7 mL, does not come into it.
    """
    each_ml = 0.1 * FL_OZ_ML * 4
    found = rate_of([Addition(ah, each_ml) for ah in (90.0, 150.0, 210.0, 270.0)])
    assert found.rate_ml_kah == pytest.approx(197.157, abs=0.001)
    assert found.u_ml_kah == pytest.approx(0.0, abs=1e-9)
    assert (found.intervals, found.charge_ah) == (3, 180.0)
    # In what the trade writes: 0.1 fl oz a gallon are 0.78 mL in a litre.
    assert each_ml / (4 * GALLON_L) == pytest.approx(0.78125)


def test_the_last_addition_is_not_used_up_yet():
    """6 mL lasted 40 A·h and 12 mL lasted 60: 18 mL in 100 A·h; the last 30 mL say nothing."""
    found = rate_of([Addition(0.0, 6.0), Addition(40.0, 12.0), Addition(100.0, 30.0)])
    assert found.rate_ml_kah == pytest.approx(180.0)
    # By hand: 6 - 0.18·40 = -1.2 and 12 - 0.18·60 = 1.2; sqrt(2·1.44/(2·1))/50 = 0.024 mL/Ah
    assert found.u_ml_kah == pytest.approx(24.0)
    # Student's factor for one degree of freedom: JCGM 100, Table G.2, 12.71
    assert found.expanded_ml_kah == pytest.approx(24.0 * 12.706, rel=1e-4)


def test_the_order_and_what_went_in_together():
    log = [Addition(100.0, 5.0), Addition(0.0, 2.0), Addition(50.0, 5.0), Addition(0.0, 3.0)]
    assert rate_of(log).rate_ml_kah == pytest.approx(100.0)
    assert rate_of(log).intervals == 2


def test_one_interval_tells_a_rate_and_not_how_sure_it_is():
    found = rate_of([Addition(0.0, 5.0), Addition(50.0, 5.0)])
    assert (found.rate_ml_kah, found.u_ml_kah, found.expanded_ml_kah) == (100.0, None, None)


@pytest.mark.parametrize(
    "log", [[], [Addition(5.0, 1.0)], [Addition(5.0, 1.0), Addition(5.0, 2.0)]]
)
def test_without_charge_between_two_additions_there_is_no_rate(log):
    assert rate_of(log) is None


@pytest.mark.parametrize("additions", [4, 9, 30])
def test_the_stated_interval_holds_the_truth_as_often_as_it_says(additions):
    """A bath that uses 200 mL/kAh turns dull a little early or late by chance, and doses vary."""
    chance = random.Random(20261125)
    inside = []
    for _ in range(1000):
        charge_ah, log = 0.0, []
        for _ in range(additions):
            amount_ml = chance.gauss(12.0, 1.0)
            log.append(Addition(charge_ah, amount_ml))
            charge_ah += amount_ml / 0.2 * chance.gauss(1.0, 0.15)
        found = rate_of(log)
        inside.append(abs(found.rate_ml_kah - 200.0) <= found.expanded_ml_kah)
    assert 0.92 <= fmean(inside) <= 0.98


def test_the_doses_of_an_account_since_the_level_was_set(ledger):
    bath = Description("bath A", additives=(Additive("brightener"), Additive("carrier")))
    ledger.describe(bath, day=0, ah=0.0)
    ledger.dose(50.0, day=1, ah=10.0)
    ledger.enter("make-up", {"volume": 15.0, "brightener": 24.0}, day=2, ah=100.0)
    for day, ah in ((3, 190.0), (4, 250.0), (5, 310.0)):
        ledger.dose(12.0, day=day, ah=ah)
    found = rates_found(ledger.book(bath, 6, 400.0))
    assert found.keys() == {"brightener"}
    assert found["brightener"].rate_ml_kah == pytest.approx(200.0)
    assert found["brightener"].charge_ah == pytest.approx(120.0)
