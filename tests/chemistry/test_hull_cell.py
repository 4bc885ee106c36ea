"""The Hull cell against the Metal Finishing Guidebook."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.chemistry.hull_cell import HULL_267_ML, HULL_1000_ML, HULL_CELLS

IN = 2.54
A_FT2 = 1 / 9.290304


def test_an_inch_from_the_end() -> None:
    # Metal Finishing Guidebook 2013, Hull cell: 27.7 and 18.8 A/ft² for 1 A, log10(1) being 0.
    assert HULL_267_ML.density_a_dm2(1, IN) == pytest.approx(27.7 * A_FT2)
    assert HULL_1000_ML.density_a_dm2(1, IN) == pytest.approx(18.8 * A_FT2)


def test_two_amperes_at_two_inches() -> None:
    # The same formula by hand: 2·(27.7 - 48.7·log10 2) = 26.08 A/ft², 2.807 A/dm².
    assert HULL_267_ML.density_a_dm2(2, 2 * IN) == pytest.approx(2.807, rel=1e-3)


@pytest.mark.parametrize(
    ("inches", "a_ft2"),
    # The same formula by hand, for 1 A.
    [(0.25, 57.02), (0.5, 42.36), (1, 27.70), (1.5, 19.12), (2, 13.04), (2.5, 8.32), (3, 4.46),
     (3.25, 2.77)],
)  # fmt: skip
def test_the_panel_for_one_ampere(inches: float, a_ft2: float) -> None:
    assert HULL_267_ML.density_a_dm2(1, inches * IN) == pytest.approx(a_ft2 * A_FT2, abs=1e-3)


def test_covering_power_as_it_is_printed() -> None:
    # Metal Finishing Guidebook 2012-13, covering power: 0.2 A shows "approx. 12 to 0.4" A/ft².
    assert HULL_267_ML.density_a_dm2(0.2, 0.25 * IN) / A_FT2 == pytest.approx(12, abs=0.7)
    assert HULL_267_ML.density_a_dm2(0.2, 3.25 * IN) / A_FT2 == pytest.approx(0.4, abs=0.2)


def test_the_formula_in_centimetres() -> None:
    # Widely quoted, from memory: i = I·(5.1019 - 5.2401·log10 L) in A/dm² and cm.
    assert HULL_267_ML.density_a_dm2(1, 1) == pytest.approx(5.1019, rel=1e-3)
    assert HULL_267_ML.density_a_dm2(1, 5) == pytest.approx(1.4392, rel=1e-3)


def test_two_inches_from_the_end_of_the_larger_cell() -> None:
    # The Guidebook's formula by hand: 18.8 - 28.3·0.30103 = 10.281 A/ft² for 1 A.
    assert HULL_1000_ML.density_a_dm2(1, 2 * IN) == pytest.approx(10.281 * A_FT2, rel=1e-4)


@pytest.mark.parametrize("cell", HULL_CELLS.values())
@pytest.mark.parametrize("inches", [0.1, 0.249, 3.251, 4, 0, -1, float("nan"), float("inf")])
def test_off_the_range_is_refused(cell, inches: float) -> None:
    with pytest.raises(ValueError, match=r"0\.635 to 8\.255 cm \(0\.25 to 3\.25 in\)"):
        cell.density_a_dm2(1, inches * IN)


def test_what_was_off_the_range_is_told_in_both_units() -> None:
    with pytest.raises(ValueError, match=r"got 10\.16 cm \(4 in\)"):
        HULL_267_ML.density_a_dm2(1, 10.16)


@pytest.mark.parametrize("current_a", [0, -1, float("nan"), float("inf")])
def test_a_current_is_above_nothing(current_a: float) -> None:
    with pytest.raises(ValueError, match="current must be above 0 A"):
        HULL_267_ML.density_a_dm2(current_a, 2)
    with pytest.raises(ValueError, match="current must be above 0 A"):
        HULL_267_ML.position_cm(current_a, 2)


@given(st.sampled_from(list(HULL_CELLS.values())), st.floats(0.1, 10), st.floats(0.636, 8.25))
def test_there_and_back(cell, current_a: float, position_cm: float) -> None:
    density = cell.density_a_dm2(current_a, position_cm)
    assert cell.position_cm(current_a, density) == pytest.approx(position_cm)


@pytest.mark.parametrize("density_a_dm2", [12.3, 0.5, 0, -1])
def test_a_density_that_is_not_on_the_panel(density_a_dm2: float) -> None:
    with pytest.raises(ValueError, match="A/dm²"):
        HULL_267_ML.position_cm(2, density_a_dm2)


def test_where_a_density_is_not_is_told_with_what_is_there() -> None:
    with pytest.raises(ValueError, match=r"at 2 A the panel shows 0\.597 to 12\.3 A/dm²"):
        HULL_267_ML.position_cm(2, 20)


def test_a_bright_range() -> None:
    # 2 A, from 1.2 to 6 cm: 2·(27.7 - 48.7·log10(L/2.54))/9.2903, by hand 9.378 and 2.049 A/dm².
    found = HULL_267_ML.range_a_dm2(2, 1.2, 6)
    assert found == pytest.approx((2.049, 9.378), abs=2e-3)
    assert HULL_267_ML.range_a_dm2(2, 6, 1.2) == found
    with pytest.raises(ValueError, match="two places"):
        HULL_267_ML.range_a_dm2(2, 2, 2)
