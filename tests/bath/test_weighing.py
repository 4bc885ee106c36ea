"""Efficiencies by weighing: against the uncertainties package, published constants, hand sums."""

import math
from statistics import mean, stdev, variance

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from daemon.bath.errors import WeighingError
from daemon.bath.weighing import (
    Efficiency,
    area,
    beyond_faraday,
    does_not_belong,
    efficiency,
    gained,
    learned,
)
from daemon.chemistry.electrolysis import charge_ah_for_mass
from daemon.chemistry.metals import METALS, metal_named
from daemon.chemistry.uncertainty import Budget, Shape, Share

CU = metal_named("Cu(II)")


def weighed(value, own=0.004, common=0.003):
    budget = Budget(value, (Share("weighing", own), Share("meter", common)))
    return Efficiency(value, own, common, budget)


def test_a_panel_of_one_dm2_with_25_um():
    # 2.240 g and 1.8895 A·h on 1 dm² at 25 µm and 8.96 g/cm³, by Faraday's law with CODATA's F.
    found = efficiency(gained(100.0, 102.240, 0.0), Budget(1.8895, ()), CU)
    assert found.value == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("metal", METALS, ids=lambda metal: metal.name)
def test_a_copper_coulometer_in_series(metal):
    # %CE = 3177·w·n / (w_Cu·A), the coulometer at 100 % (Metal Finishing Guidebook 2012-13).
    w_g, copper_g = 1.0, 1.3
    printed = 3177 * w_g * metal.valence / (copper_g * metal.molar_mass_g)
    charge = Budget(charge_ah_for_mass(CU, copper_g), ())
    found = efficiency(gained(50.0, 50.0 + w_g, 0.0), charge, metal)
    assert 100 * found.value == pytest.approx(printed, rel=2e-4)


def test_its_doubt_against_the_uncertainties_package():
    shares = Share("gain", 0.05, Shape.FLAT), Share("gaps", 0.02, Shape.BOUND), Share("clock", 0.01)
    charge = Budget(6.7, shares)
    found = efficiency(gained(24.31, 32.17, 0.02), charge, CU)
    scale = ufloat(0, 0.02 / math.sqrt(3))
    before, after = 24.31 + scale, 32.17 + ufloat(0, 0.02 / math.sqrt(3))
    passed = 6.7 + ufloat(0, 0.05) + ufloat(0, 0.02) + ufloat(0, 0.01)
    wanted = (after - before) / (3600 * 63.546 / (2 * 96485.33212) * passed)
    assert found.value == pytest.approx(wanted.nominal_value, rel=1e-6)
    assert found.u == pytest.approx(wanted.std_dev, rel=1e-4)
    assert found.budget.u == pytest.approx(found.u)
    # Of that the meter's gain and clock are the same in every run, scale and gaps are not.
    assert found.common == pytest.approx(found.value * math.hypot(0.05, 0.01) / 6.7)
    assert found.own == pytest.approx(
        math.sqrt(2 * 0.02**2 / 3 / (1.1855 * 6.7) ** 2 + (found.value * 0.02 / 6.7) ** 2), rel=1e-4
    )


@pytest.mark.parametrize(
    ("before", "after", "limit", "said"),
    [
        (31.0, 24.0, 0.01, "after: 24 g is no more than the 31 g before"),
        (31.0, 31.0, 0.01, "no more than"),
        (0.0, 31.0, 0.01, "before: must be above 0 g"),
        (24.0, math.nan, 0.01, "after: must be above 0 g, got nan g"),
        (24.0, math.inf, 0.01, "after"),
        (24.0, 31.0, -0.01, "balance: must be at least 0 g"),
        (24.0, 31.0, math.inf, "balance"),
    ],
)
def test_masses_that_say_nothing_are_refused(before, after, limit, said):
    with pytest.raises(WeighingError, match=said):
        gained(before, after, limit)


@pytest.mark.parametrize("charge_ah", [0.0, -1.0, math.nan])
def test_no_charge_deposits_nothing(charge_ah):
    with pytest.raises(WeighingError, match="no charge"):
        efficiency(gained(24.0, 31.0, 0.01), Budget(charge_ah, ()), CU)


@pytest.mark.parametrize(
    ("value", "is_beyond"), [(0.99, False), (1.01, False), (1.0149, False), (1.0151, True)]
)
def test_more_than_faraday_allows(value, is_beyond):
    # u = 5e-3: three of them are 1.5 %.
    assert beyond_faraday(weighed(value, own=0.004, common=0.003)) is is_beyond


@pytest.mark.parametrize(
    ("value", "earlier", "odd"),
    [
        (0.90, (0.980, 0.984, 0.978, 0.982), True),
        (0.98, (0.980, 0.984, 0.978, 0.982), False),
        # An odd one among the earlier is not this one's fault.
        (0.981, (0.980, 0.984, 0.90, 0.982), False),
        # Within what both are unsure by, nothing is odd; and of two nobody can tell.
        (0.975, (0.980, 0.9801, 0.9801, 0.9801), False),
        (0.90, (0.98,), False),
        (0.90, (), False),
    ],
)
def test_one_that_does_not_belong_to_the_others(value, earlier, odd):
    assert does_not_belong(weighed(value), [weighed(each) for each in earlier]) is odd


def test_too_few_teach_nothing():
    assert learned([]) is None
    assert learned([weighed(0.98), weighed(0.99)]) is None


def test_weighings_of_equal_doubt_by_hand():
    # Of equal doubt Paule and Mandel's mean is the mean, and the variance between runs what the
    # scatter is above the doubt: s² - u².
    values = [0.97, 0.99, 0.96, 1.00, 0.98]
    found = learned([weighed(value, own=0.004, common=0.003) for value in values])
    assert found is not None
    assert found.value == pytest.approx(mean(values))
    between2 = variance(values) - 0.004**2
    assert found.between == pytest.approx(math.sqrt(between2), rel=1e-6)
    # Student's 2.776 at 4 degrees of freedom (JCGM 100, table G.2), and 1.960 of what is known.
    scatter = 2.776 * math.sqrt(between2 * 1.2)
    known = 1.960 * math.hypot(0.004 / math.sqrt(5), 0.003)
    assert found.half95 == pytest.approx(math.hypot(scatter, known), rel=1e-3)


def test_weighings_that_agree_are_as_sure_as_balance_and_meter():
    found = learned([weighed(0.98, own=0.006, common=0.004)] * 9)
    assert found is not None
    assert found.between == 0.0
    assert found.half95 == pytest.approx(1.960 * math.hypot(0.002, 0.004), rel=1e-3)


def test_the_estimating_equation_holds_for_unequal_doubts():
    own = [0.002, 0.004, 0.008, 0.003]
    values = [0.95, 0.99, 1.00, 0.97]
    found = learned([weighed(value, own=u) for value, u in zip(values, own, strict=True)])
    assert found is not None
    weights = [1 / (u**2 + found.between**2) for u in own]
    middle = sum(w * x for w, x in zip(weights, values, strict=True)) / sum(weights)
    assert found.value == pytest.approx(middle)
    squares = sum(w * (x - middle) ** 2 for w, x in zip(weights, values, strict=True))
    assert squares == pytest.approx(len(values) - 1)


@given(st.lists(st.floats(0.5, 1.05), min_size=3, max_size=20), st.floats(1e-4, 0.05))
def test_what_is_learned_lies_among_what_was_found(values, own):
    found = learned([weighed(value, own=own) for value in values])
    assert found is not None
    assert min(values) - 1e-9 <= found.value <= max(values) + 1e-9
    assert 0 <= found.between <= 1.001 * stdev(values)
    assert found.half95 > 0


def test_the_area_of_one_part_of_several():
    # 4 dm² were plated with 8 A·h at 100 %: 9.484 g. A part that gained 2.371 g is a quarter of it.
    found = efficiency(gained(50.0, 52.371, 0.0), Budget(8.0, ()), CU)
    assert area(found, 1.0, 4.0).value == pytest.approx(1.0, rel=1e-4)
    # Of 95 % the same gain is a larger share.
    assert area(found, 0.95, 4.0).value == pytest.approx(1.0 / 0.95, rel=1e-4)
