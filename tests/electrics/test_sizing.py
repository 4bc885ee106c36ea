"""Supply, shunt, fuse and wire, worked out by hand, and their rules at any current."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.electrics.sizing import TooLargeError, size


def test_a_part_of_1_8_dm2():
    # 4.5 A. Supply 4.5/0.8 = 5.625 A, so a fuse of 6.3 A; shunt 4.5·3/2 = 6.75 A, so one of 10 A.
    # 1 mm² would do for the fuse (0.7·13.5 = 9.45 A), but 3 m of it lose 4.5·0.0585·1.1965 =
    # 0.315 V; 1.5 mm² lose 4.5·0.0399·1.1965 = 0.2148 V.
    sizes = size(4.5, ceiling_v=6.0, length_m=1.5, greatest_drop_v=0.3)
    assert sizes.supply_a == pytest.approx(5.625)
    assert (sizes.fuse_a, sizes.shunt_a, sizes.wire.area_mm2) == (6.3, 10, 1.5)
    assert sizes.wire_because == "the voltage that it may lose"
    assert sizes.wire_v == pytest.approx(0.2148, abs=1e-4)
    # The shunt: 75 mV·4.5/10 = 33.75 mV, 0.152 W. The contact: 2 mΩ·4.5² = 40.5 mW, 9 mV.
    assert sizes.shunt_v == pytest.approx(0.03375)
    assert sizes.shunt_w == pytest.approx(0.1519, abs=1e-4)
    assert sizes.contact_w == pytest.approx(0.0405)
    assert sizes.supply_v == pytest.approx(6.0 + 0.2148 + 0.03375 + 0.009, abs=1e-4)


def test_a_short_way_is_sized_by_the_fuse():
    # 16 A: fuse 20 A; 0.7·24 = 16.8 A is too little, 0.7·32 = 22.4 A will do. Shunt 24 A: 30 A.
    sizes = size(16.0, ceiling_v=6.0, length_m=0.5, greatest_drop_v=0.3)
    assert (sizes.fuse_a, sizes.shunt_a, sizes.wire.area_mm2) == (20, 30, 4.0)
    assert sizes.wire_because == "the fuse"


def test_a_rating_that_fits_exactly_is_taken():
    # 8 A are 80 % of 10 A, and 20 A are two thirds of 30 A.
    assert size(8.0, 6.0, 0.5, 0.3).fuse_a == 10
    assert size(20.0, 6.0, 0.5, 0.3).shunt_a == 30


@pytest.mark.parametrize(
    ("current_a", "length_m", "complaint"),
    [
        (140.0, 1.0, "a shunt of at least 210 A is wanted; the tables end at 200 A"),
        (130.0, 1.0, "a fuse of at least 162.5 A is wanted; the tables end at 160 A"),
        (120.0, 1.0, "no wire of the tables is protected by a fuse of 160 A"),
        (40.0, 30.0, "over 30 m each way even 70 mm² loses 0.781 V"),
    ],
)
def test_what_the_tables_do_not_hold_is_refused(current_a, length_m, complaint):
    with pytest.raises(TooLargeError, match=complaint):
        size(current_a, ceiling_v=6.0, length_m=length_m, greatest_drop_v=0.3)


@given(
    current_a=st.floats(0.05, 80.0), length_m=st.floats(0.1, 3.0), drop_v=st.floats(0.2, 1.0)
)  # fmt: skip
def test_the_rules_hold_at_any_current(current_a, length_m, drop_v):
    try:
        sizes = size(current_a, 6.0, length_m, drop_v)
    except TooLargeError:
        return
    assert sizes.fuse_a >= current_a / 0.8 * (1 - 1e-9)
    assert sizes.shunt_a >= 1.5 * current_a * (1 - 1e-9)
    assert sizes.wire.ampacity_a * 0.7 >= sizes.fuse_a
    assert sizes.wire_v <= drop_v
    assert sizes.supply_v > 6.0
