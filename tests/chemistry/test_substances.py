import periodictable
import pytest

from daemon.chemistry import substances
from daemon.chemistry.substances import (
    ANHYDROUS_BY_COPPER,
    CHLORIDE_IN_HYDROGEN_CHLORIDE,
    CHLORIDE_IN_SODIUM_CHLORIDE,
    PENTAHYDRATE,
    CopperSulfate,
    hydrate_named,
    hydrate_of_molar_mass,
)


@pytest.mark.parametrize(
    ("formula", "molar_mass_g"),
    [
        ("H2O", substances.WATER_G_MOL),
        ("CuSO4", substances.COPPER_SULFATE_G_MOL),
        ("CuSO4(H2O)5", PENTAHYDRATE.molar_mass_g),
        ("CuSO4(H2O)3", CopperSulfate(3).molar_mass_g),
        ("H2SO4", substances.SULFURIC_ACID_G_MOL),
        ("HCl", substances.HYDROGEN_CHLORIDE_G_MOL),
        ("NaCl", substances.SODIUM_CHLORIDE_G_MOL),
        ("Cl", substances.CHLORINE_G_MOL),
        ("Cu", substances.COPPER_G_MOL),
    ],
)
def test_molar_masses_are_those_of_periodictable(formula, molar_mass_g):
    # It has abridged atomic weights (S 32.06, Cl 35.45): 1e-4.
    assert molar_mass_g == pytest.approx(periodictable.formula(formula).mass, rel=1e-4)


def test_copper_sulfate_pentahydrate_as_printed():
    # CRC Handbook: 249.685 g/mol.
    assert PENTAHYDRATE.molar_mass_g == pytest.approx(249.685, abs=0.0005)
    # From molar masses by another package (molmass 2026.1.8); 1e-5, the dry share 1e-5.
    assert PENTAHYDRATE.copper_share == pytest.approx(0.254505, rel=1e-5)
    assert PENTAHYDRATE.anhydrous_share == pytest.approx(0.639239, rel=1e-5)
    assert pytest.approx(159.608 / 63.546, rel=1e-5) == ANHYDROUS_BY_COPPER
    # 1 g/L copper is 3.92920 g/L salt, 200 g/L salt 50.90 g/L copper (by the same masses).
    assert 1 / PENTAHYDRATE.copper_share == pytest.approx(3.92920, rel=1e-5)
    assert 200 * PENTAHYDRATE.copper_share == pytest.approx(50.90, abs=0.005)


def test_chloride_in_what_brings_it():
    # From molar masses by another package (molmass 2026.1.8); 1e-4.
    assert pytest.approx(0.60663, rel=1e-4) == CHLORIDE_IN_SODIUM_CHLORIDE
    assert pytest.approx(0.97236, rel=1e-4) == CHLORIDE_IN_HYDROGEN_CHLORIDE


def test_the_molarity_of_a_weighed_salt():
    # A laboratory report: 6.242 g of CuSO4·5H2O in 250.0 mL are 0.0250 mol, 0.100 M; 0.1 %.
    mol = 6.242 / PENTAHYDRATE.molar_mass_g
    assert mol == pytest.approx(0.0250, rel=1e-3)
    assert mol / 0.2500 == pytest.approx(0.100, rel=1e-3)


@pytest.mark.parametrize(
    ("written", "water", "name"),
    [
        ("CuSO4·5H2O", 5, "CuSO4·5H2O"),
        ("CuSO₄·5H₂O", 5, "CuSO4·5H2O"),
        ("CuSO4.5H2O", 5, "CuSO4·5H2O"),
        ("CuSO4 * 5 H2O", 5, "CuSO4·5H2O"),
        ("cuso4.5h2o", 5, "CuSO4·5H2O"),
        ("CuSO4·3H2O", 3, "CuSO4·3H2O"),
        ("CuSO4·H2O", 1, "CuSO4·H2O"),
        ("CuSO4.0.5H2O", 0.5, "CuSO4·0.5H2O"),
        (" CuSO4 ", 0, "CuSO4"),
    ],
)
def test_a_hydrate_is_read_as_people_write_it(written, water, name):
    assert hydrate_named(written) == CopperSulfate(water)
    assert hydrate_named(written).name == name


@pytest.mark.parametrize("written", ["MgSO4·7H2O", "H2O", "NiSO4·6H2O", "Cobalt", ""])
def test_a_hydrate_without_copper_is_refused(written):
    with pytest.raises(ValueError, match="has no copper in it") as refused:
        hydrate_named(written)
    assert repr(written) in str(refused.value)
    assert '"CuSO4·5H2O"' in str(refused.value)


@pytest.mark.parametrize("written", ["CuCl2", "CuSO4·", "CuSO4·5", "CuSO4·5H2O·H2O", "Cu"])
def test_another_copper_salt_is_refused(written):
    with pytest.raises(ValueError, match="expected a hydrate of copper sulfate") as refused:
        hydrate_named(written)
    assert "no copper" not in str(refused.value)


@pytest.mark.parametrize("written", ["CuSO4·8H2O", "CuSO4·70H2O"])
def test_a_hydrate_wetter_than_any_is_refused(written):
    with pytest.raises(ValueError, match="holds 0 to 7 molecules of water"):
        hydrate_named(written)


@pytest.mark.parametrize(
    ("molar_mass_g", "water"),
    [(249.685, 5), (249.68, 5), (249.7, 5), (250.0, 5), (159.61, 0), (159.6, 0), (213.65, 3),
     (177.62, 1)],
)  # fmt: skip
def test_a_hydrate_is_known_by_its_molar_mass(molar_mass_g, water):
    assert hydrate_of_molar_mass(molar_mass_g).water == water


def test_a_mixture_of_hydrates_keeps_the_molar_mass_that_was_told():
    assert hydrate_of_molar_mass(231.0).molar_mass_g == pytest.approx(231.0)


@pytest.mark.parametrize("molar_mass_g", [100.0, 158.0, 287.0, 1e9])
def test_a_molar_mass_that_no_copper_sulfate_has_is_refused(molar_mass_g):
    with pytest.raises(ValueError, match="no copper sulfate has a molar mass of"):
        hydrate_of_molar_mass(molar_mass_g)


@pytest.mark.parametrize("molar_mass_g", [0.0, -249.7, float("nan")])
def test_a_molar_mass_is_above_nothing(molar_mass_g):
    with pytest.raises(ValueError, match="molar mass must be above 0"):
        hydrate_of_molar_mass(molar_mass_g)
