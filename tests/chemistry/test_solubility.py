import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.chemistry.solubility import (
    crystallises_below_c,
    crystals_g_per_kg_water,
    dissolves_from_c,
    g_per_kg_water,
    saturated_wt_percent,
    wt_percent,
)
from daemon.chemistry.substances import PENTAHYDRATE, CopperSulfate

DRY = PENTAHYDRATE.anhydrous_share


@pytest.mark.parametrize(("g_per_kg", "printed"), [(201, 16.7), (404, 28.8), (770, 43.5)])
def test_grams_for_a_kilogram_of_water_as_wt_percent(g_per_kg, printed):
    # Solubilities of CuSO4 at 20, 60 and 100 °C as encyclopedias print them; 0.3 %.
    assert wt_percent(g_per_kg) == pytest.approx(printed, rel=0.003)
    assert g_per_kg_water(wt_percent(g_per_kg)) == pytest.approx(g_per_kg)


@pytest.mark.parametrize(
    ("temperature_c", "g_per_kg"), [(10, 168), (20, 201), (60, 404), (100, 770)]
)
def test_two_printed_tables_agree(temperature_c, g_per_kg):
    # The encyclopedia's g for each kg of water against the CRC table used here; 0.5 %.
    found = g_per_kg_water(saturated_wt_percent(temperature_c))
    assert found == pytest.approx(g_per_kg, rel=0.005)


def test_the_cold_end_is_not_the_misprint():
    # "316 g/L at 0 °C" is printed for the pentahydrate and cannot be: CRC's 12.4 wt % are 141.6 g
    # dry for a kg of water, which are, by hand, 141.6 / (0.639239 - 0.360761 · 0.1416) = 240.7 g.
    assert crystals_g_per_kg_water(PENTAHYDRATE, 0) == pytest.approx(240.7, rel=0.002)


def test_pentahydrate_for_a_kilogram_of_added_water():
    # By hand from 201 g dry for a kg: 201 / (0.639239 - 0.360761 · 0.201) = 354.7 g; CRC's
    # 16.7 wt % are 200.5 g, hence 0.4 %.
    assert crystals_g_per_kg_water(PENTAHYDRATE, 20) == pytest.approx(354.7, rel=0.004)
    assert crystals_g_per_kg_water(CopperSulfate(0), 20) == pytest.approx(200.5, rel=0.001)


@given(st.floats(0, 100))
def test_saturated_crystals_and_water_are_a_saturated_solution(temperature_c):
    crystals_g = crystals_g_per_kg_water(PENTAHYDRATE, temperature_c)
    dry_g = crystals_g * DRY
    assert 100 * dry_g / (1000 + crystals_g) == pytest.approx(saturated_wt_percent(temperature_c))


def test_how_warm_water_has_to_be_for_its_crystals():
    assert dissolves_from_c(PENTAHYDRATE, 200, 1000) == 0.0
    assert dissolves_from_c(PENTAHYDRATE, 354.7, 1000) == pytest.approx(20, abs=0.3)
    assert dissolves_from_c(PENTAHYDRATE, 3000, 1000) is None


def test_a_bath_drops_crystals_later_than_the_careful_estimate_says():
    # Common practice: 250 g/L with 75 g/L acid may crystallise below about 15 °C. The estimate has
    # to warn before that, and not at temperatures at which such baths are run (30 °C).
    assert 15 < crystallises_below_c(250 * DRY, 75) < 30


def test_the_estimate_by_hand():
    # 200 g/L pentahydrate and 60 g/L acid in 972.0 g of water: 0.8242 and 0.6294 mol/kg, product
    # 0.8242 · 1.4536 = 1.1981, as of 1.0946 mol/kg = 174.7 g dry in pure water = 14.87 wt %, which
    # is saturated at 10 + 10 · (14.87 - 14.4) / 2.3 = 12.0 °C.
    assert crystallises_below_c(200 * DRY, 60) == pytest.approx(12.0, abs=0.1)


def test_without_acid_the_estimate_is_the_table():
    # Saturated at 25 °C: 18.0 wt % of a solution of 1.206 g/cm³ (from memory) are 217 g/L.
    assert crystallises_below_c(217, 0) == pytest.approx(25, abs=1)


@given(st.floats(1, 150), st.floats(0, 100), st.floats(1, 50))
def test_acid_never_makes_more_dissolve(dry_g_l, acid_g_l, more_g_l):
    less, more = (crystallises_below_c(dry_g_l, each) for each in (acid_g_l, acid_g_l + more_g_l))
    assert (more or 0.0) >= (less or 0.0)


def test_a_weak_bath_never_drops_crystals():
    assert crystallises_below_c(60, 40) is None


@pytest.mark.parametrize(
    ("call", "complaint"),
    [
        (lambda: saturated_wt_percent(-1), "known from 0 to 100 °C, got -1 °C"),
        (lambda: saturated_wt_percent(101), "known from 0 to 100 °C, got 101 °C"),
        (lambda: g_per_kg_water(100), "at least 0 and below 100 wt %"),
        (lambda: wt_percent(-1), "at least 0 g/kg"),
        (lambda: crystallises_below_c(350, 500), "no density is known of a bath with 350 g/L"),
    ],
)
def test_what_is_not_known_is_refused(call, complaint):
    with pytest.raises(ValueError, match=r"known|at least") as refused:
        call()
    assert complaint in str(refused.value)
