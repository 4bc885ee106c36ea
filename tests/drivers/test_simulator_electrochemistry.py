"""Constants, tables and kinetics of the simulated tank against published values."""

from math import exp

import periodictable
import pytest
import scipy.constants

from drivers.simulator.bath import Bath, copper_sulfate_ms_per_cm
from drivers.simulator.electrochemistry import (
    COPPER_G_PER_C,
    COPPER_G_PER_CM3,
    COPPER_G_PER_MOL,
    DIFFUSION_ACTIVATION_J_PER_MOL,
    FARADAY_C_PER_MOL,
    GAS_J_PER_MOL_K,
    ZERO_C_IN_K,
    Electrode,
    arrhenius,
    bath_diffusivity_m2_per_s,
    ion_diffusivity_m2_per_s,
    limiting_density_a_per_dm2,
    nernst_v,
    tafel_slope_v,
)
from drivers.simulator.parameters import BathParameters


def test_constants_are_codata_and_the_periodic_table() -> None:
    assert pytest.approx(scipy.constants.value("Faraday constant"), rel=1e-9) == FARADAY_C_PER_MOL
    assert pytest.approx(GAS_J_PER_MOL_K, rel=1e-9) == scipy.constants.R
    assert scipy.constants.zero_Celsius == ZERO_C_IN_K
    assert periodictable.Cu.mass == pytest.approx(COPPER_G_PER_MOL, rel=1e-5)
    assert periodictable.Cu.density == pytest.approx(COPPER_G_PER_CM3, rel=0.005)


def test_copper_equivalent_is_the_published_one() -> None:
    # "Electrochemical equivalents, 100 % cathode efficiency": 1.186 g/Ah for Cu(II).
    assert pytest.approx(1.186, rel=1e-3) == COPPER_G_PER_C * 3600


@pytest.mark.parametrize(
    ("weight_percent", "ms_per_cm"),
    # CRC, electrical conductivity of aqueous solutions, 20 °C.
    [(0.5, 2.9), (1, 5.4), (2, 9.3), (5, 19.0), (10, 32.2), (15, 42.3)],
)
def test_copper_sulfate_conductivity(weight_percent: float, ms_per_cm: float) -> None:
    assert copper_sulfate_ms_per_cm(weight_percent) == pytest.approx(ms_per_cm, rel=0.01)


def test_copper_sulfate_conductivity_between_nodes_and_beyond() -> None:
    assert copper_sulfate_ms_per_cm(7.5) == pytest.approx((19.0 + 32.2) / 2)
    with pytest.raises(ValueError, match="allowed 0 to 15"):
        copper_sulfate_ms_per_cm(15.1)


def test_bath_conductivity_estimates() -> None:
    # 200 + 60 g/L: about 0.2 S/cm at 25 °C; 75 + 200 g/L: about 0.5; both to 30 %, from memory.
    common = Bath(BathParameters())
    high_throw = Bath(BathParameters(copper_sulfate_g_per_l=75, sulfuric_acid_g_per_l=200))
    assert common.conductivity_ms_per_cm(25.0) == pytest.approx(200, rel=0.05)
    assert high_throw.conductivity_ms_per_cm(25.0) == pytest.approx(500, rel=0.3)
    # Trends of Minerals 6 (2016) 59: up with acid and temperature, down with copper.
    assert common.conductivity_ms_per_cm(30.0) > common.conductivity_ms_per_cm(25.0)
    rich = Bath(BathParameters(copper_sulfate_g_per_l=250))
    assert rich.conductivity_ms_per_cm(25.0) < common.conductivity_ms_per_cm(25.0)


def test_bath_without_acid_conducts_as_copper_sulfate() -> None:
    # 10 wt % CuSO4 is 173 g/L of pentahydrate at its density of 1.107 (CRC): 32.2 mS/cm at 20 °C.
    bath = Bath(BathParameters(copper_sulfate_g_per_l=173.2, sulfuric_acid_g_per_l=0))
    assert bath.conductivity_ms_per_cm(20.0) == pytest.approx(32.2, rel=0.02)


def test_given_conductivity_is_used() -> None:
    bath = Bath(BathParameters(conductivity_ms_per_cm=123.0))
    assert bath.conductivity_ms_per_cm(25.0) == 123.0


def test_tafel_slope() -> None:
    # DoITPoMS: 0.059 V per decade at 300 K, α 0.5, z 2.
    assert tafel_slope_v(26.85, 0.5, 2) == pytest.approx(0.05953, rel=1e-3)


def test_nernst_of_a_tenth_molar_solution() -> None:
    # The familiar 29.6 mV per decade for two electrons at 25 °C.
    assert nernst_v(0.34, 2, 0.1, 25.0) == pytest.approx(0.34 - 0.02958, abs=2e-5)


def test_copper_ion_diffusivity() -> None:
    # From the CRC limiting conductance of 53.6 S·cm²/eq at 25 °C.
    assert ion_diffusivity_m2_per_s(53.6, 2, 25.0) == pytest.approx(7.14e-10, rel=2e-3)
    # Strong baths: 0.5 to 0.6e-9 m²/s, from memory.
    assert 0.5e-9 < bath_diffusivity_m2_per_s(25.0) < 0.6e-9


def test_diffusivity_ratio_from_40_to_65_degrees() -> None:
    # Moats et al., Hydrometallurgy 56 (2000) 255: 19.2 kJ/mol.
    assert arrhenius(DIFFUSION_ACTIVATION_J_PER_MOL, 40.0, 65.0) == pytest.approx(1.725, rel=2e-3)
    ratio = bath_diffusivity_m2_per_s(65.0) / bath_diffusivity_m2_per_s(40.0)
    assert ratio == pytest.approx(1.725, rel=2e-3)


@pytest.mark.parametrize(("layer_um", "a_per_dm2"), [(200, 5.5), (50, 22), (10, 110)])
def test_limiting_current(layer_um: float, a_per_dm2: float) -> None:
    # i_L = nFDc/δ by hand: 2 · 96485 · 0.714e-9 · 800 / 2e-4 = 551 A/m².
    assert limiting_density_a_per_dm2(0.714e-9, 0.8, layer_um) == pytest.approx(a_per_dm2, rel=0.01)


def electrode(limiting_a_per_dm2: float = 17.0) -> Electrode:
    return Electrode(0.1, limiting_a_per_dm2, hydrogen_gap_v=0.34, temperature_c=26.85)


def test_overpotential_rises_by_tafels_slope_per_decade() -> None:
    far = electrode(limiting_a_per_dm2=1e6)
    for side in (far.cathode, far.anode):
        assert side(50.0)[0] - side(5.0)[0] == pytest.approx(0.05953, rel=2e-3)


def test_no_current_no_overpotential() -> None:
    assert electrode().cathode(0.0) == (0.0, pytest.approx(0.02585 / 0.2, rel=0.01), 1.0)
    assert electrode().anode(0.0)[0] == 0.0


@pytest.mark.parametrize("density", [1e-9, 0.01, 0.5, 3.0, 10.0, 15.0])
def test_cathode_obeys_butler_volmer_with_depletion(density: float) -> None:
    eta, _, share = electrode(17.0).cathode(density)
    f = 96485.33 / (8.31446 * 300.0)
    back = 0.1 * ((1 - density / 17.0) * exp(f * eta) - exp(-f * eta))
    assert back == pytest.approx(density * share, rel=1e-4)
    assert share > 0.9999


@pytest.mark.parametrize("density", [0.01, 3.0, 50.0])
def test_anode_obeys_butler_volmer_with_enrichment(density: float) -> None:
    eta, _ = electrode(17.0).anode(density)
    f = 96485.33 / (8.31446 * 300.0)
    back = 0.1 * (exp(f * eta) - (1 + density / 17.0) * exp(-f * eta))
    assert back == pytest.approx(density, rel=1e-4)


@pytest.mark.parametrize("density", [0.01, 1.0, 16.0, 16.99, 17.0, 17.01, 40.0])
def test_slopes_are_those_of_the_curves(density: float) -> None:
    h = 1e-6 * density
    copper = electrode(17.0)
    for side in (copper.cathode, copper.anode):
        numeric = (side(density + h)[0] - side(density - h)[0]) / (2 * h)
        assert side(density)[1] == pytest.approx(numeric, rel=2e-3)


def test_beyond_the_limiting_current_the_rest_makes_hydrogen() -> None:
    copper = electrode(17.0)
    below, _, _ = copper.cathode(15.0)
    eta, _, share = copper.cathode(34.0)
    assert share * 34.0 == pytest.approx(17.0, rel=1e-3)
    # Hydrogen needs 0.34 V to the hydrogen electrode and 0.6 to 0.9 V on copper.
    assert 0.9 < eta < 1.3
    assert eta - below > 0.6


def test_exchange_current_grows_with_temperature() -> None:
    bath = Bath(BathParameters())
    assert bath.electrode(45.0).cathode(2.0)[0] < bath.electrode(20.0).cathode(2.0)[0]


def test_limiting_current_grows_with_temperature_and_agitation() -> None:
    still = Bath(BathParameters(diffusion_layer_um=200))
    moved = Bath(BathParameters(diffusion_layer_um=50))
    assert moved.limiting_a_per_dm2(25.0) == pytest.approx(4 * still.limiting_a_per_dm2(25.0))
    assert still.limiting_a_per_dm2(40.0) > still.limiting_a_per_dm2(25.0)
