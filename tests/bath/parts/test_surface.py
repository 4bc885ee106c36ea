"""What is plated of a surface, and racks, against the uncertainties package and by hand."""

import math

import pytest
from uncertainties import ufloat

from daemon.bath.errors import PartError
from daemon.bath.parts.surface import (
    Inner,
    Surface,
    Treatment,
    plated,
    rack,
    undecided,
)
from daemon.chemistry.uncertainty import Budget, Shape, Share

BARE = Surface(Budget(2.0, (Share("facets", 0.02, Shape.FLAT),)))
HOLLOW = Surface(BARE.whole, Budget(1.2, (Share("inner walls", 0.05),)), "a closed cavity")


def test_masking_layers_and_ones_own_doubt_against_the_uncertainties_package():
    area = plated(BARE, Treatment(masked=0.1, layers=0.03, own=0.05))
    bare = ufloat(2.0, 0.02)
    covered = ufloat(0.1, 0.2 * 0.1 / math.sqrt(3)) * 2.0
    layers = ufloat(1.0, 0.03 / math.sqrt(3))
    own = ufloat(1.0, 0.05 / 1.959964)
    # The masked share is of the area as it is; its own doubt is that of the share alone.
    wanted = (bare * 0.9 - (covered - 0.2)) * layers * own
    assert area.value == pytest.approx(wanted.nominal_value)
    assert area.u == pytest.approx(wanted.std_dev, rel=1e-6)


def test_copies_of_a_part_err_alike():
    one, four = plated(BARE, Treatment()), plated(BARE, Treatment(copies=4))
    assert (four.value, four.u) == pytest.approx((4 * one.value, 4 * one.u))


def test_a_rack_adds_what_is_common_and_squares_what_is_not():
    one = plated(BARE, Treatment(layers=0.03))
    other = plated(Surface(Budget(1.0, (Share("facets", 0.03),))), Treatment(layers=0.03))
    both = rack([one, other])
    assert both.value == pytest.approx(3.0)
    layers = 0.03 * 3.0 / math.sqrt(3)
    assert both.u == pytest.approx(math.sqrt(0.02**2 + 0.03**2 + layers**2))


def test_inner_walls_are_the_persons_choice():
    assert undecided(HOLLOW, Treatment())
    assert not undecided(BARE, Treatment())
    with pytest.raises(PartError, match="inner walls"):
        plated(HOLLOW, Treatment())
    within, without = (
        plated(HOLLOW, Treatment(layers=0.0, inner=choice)).value
        for choice in (Inner.INCLUDE, Inner.LEAVE_OUT)
    )
    assert (within, without) == (2.0, 1.2)


@pytest.mark.parametrize(
    "wrong",
    [{"copies": 0}, {"copies": 10_001}, {"masked": 1.0}, {"layers": -0.1}, {"own": math.nan}],
)
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(PartError, match=next(iter(wrong))):
        Treatment(**wrong)


def test_no_part_is_no_rack():
    with pytest.raises(PartError, match="no part"):
        rack([])
