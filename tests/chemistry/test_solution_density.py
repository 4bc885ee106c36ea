import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.chemistry.solution_density import (
    bath_g_l,
    solution_g_cm3,
    water_g_cm3,
    water_g_l,
)
from daemon.chemistry.substances import PENTAHYDRATE


@pytest.mark.parametrize(("wt_percent", "printed"), [(1, 1.0085), (5, 1.0511), (10, 1.1070)])
def test_copper_sulfate_as_printed(wt_percent, printed):
    # CRC Handbook, Concentrative properties of aqueous solutions, 20 °C; 0.1 %.
    assert solution_g_cm3(wt_percent / 100, 0) == pytest.approx(printed, rel=1e-3)


@pytest.mark.parametrize(
    ("wt_percent", "printed"), [(10, 1.0661), (20, 1.1398), (30, 1.2191), (50, 1.3952)]
)
def test_sulfuric_acid_as_printed(wt_percent, printed):
    # The same table; 0.15 %, which 0.05 g/cm³ of a wrong coefficient would break.
    assert solution_g_cm3(0, wt_percent / 100) == pytest.approx(printed, rel=1.5e-3)


@pytest.mark.parametrize(
    ("copper_sulfate", "sulfuric_acid", "temperature_c", "kg_m3"),
    [
        # Laliberte_density of the library thermo 0.6.1, by shares of mass
        (0.0, 0.0, 10, 999.6996), (0.0, 0.0, 25, 997.0449), (0.0, 0.0, 60, 983.1989),
        (0.05, 0.0, 10, 1052.7105), (0.05, 0.0, 60, 1033.7451), (0.2, 0.0, 25, 1230.8717),
        (0.0, 0.2, 10, 1145.0771), (0.0, 0.7, 25, 1603.9616), (0.1, 0.05, 10, 1149.4897),
        (0.1, 0.05, 60, 1124.3079), (0.05, 0.15, 25, 1159.6773), (0.15, 0.02, 60, 1162.5151),
    ],
)  # fmt: skip
def test_the_model_is_as_an_open_library_has_it(
    copper_sulfate, sulfuric_acid, temperature_c, kg_m3
):
    found = solution_g_cm3(copper_sulfate, sulfuric_acid, temperature_c)
    assert found == pytest.approx(kg_m3 / 1000, rel=1e-7)


@pytest.mark.parametrize(
    ("salt_g_l", "acid_g_l", "at_20", "at_25"),
    [(200, 60, 1159.8, 1157.9), (220, 60, 1171.6, 1169.7), (75, 200, 1167.8, 1165.5),
     (250, 75, 1197.6, 1195.5)],
)  # fmt: skip
def test_baths_of_pentahydrate_and_acid(salt_g_l, acid_g_l, at_20, at_25):
    # The same library, iterated to the concentrations; kg/m³ to the digit shown.
    dry_g_l = salt_g_l * PENTAHYDRATE.anhydrous_share
    assert bath_g_l(dry_g_l, acid_g_l, 20) == pytest.approx(at_20, abs=0.06)
    assert bath_g_l(dry_g_l, acid_g_l, 25) == pytest.approx(at_25, abs=0.06)
    assert water_g_l(dry_g_l, acid_g_l, 20) == pytest.approx(at_20 - dry_g_l - acid_g_l, abs=0.06)


@given(st.floats(0, 150), st.floats(0, 180), st.floats(10, 60))
def test_salt_acid_and_water_make_up_the_mass_of_a_litre(dry_g_l, acid_g_l, temperature_c):
    mass_g_l = bath_g_l(dry_g_l, acid_g_l, temperature_c)
    assert water_g_l(dry_g_l, acid_g_l, temperature_c) == pytest.approx(
        mass_g_l - dry_g_l - acid_g_l
    )
    again = 1000 * solution_g_cm3(dry_g_l / mass_g_l, acid_g_l / mass_g_l, temperature_c)
    assert again == pytest.approx(mass_g_l, rel=1e-9)


def test_water_as_printed():
    # CRC Handbook, Standard density of water: 0.9982 at 20 °C, 0.9922 at 40 °C.
    assert water_g_cm3(20) == pytest.approx(0.99821, abs=1e-5)
    assert water_g_cm3(40) == pytest.approx(0.99222, abs=2e-5)


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        ((0.3, 0.0), "up to 28.4 % of mass of copper sulfate and sulfuric acid"),
        # At 96 wt % the formula gives 1.957 for 1.8355, without a sign of it.
        ((0.0, 0.96), "up to 78.2 % of mass of sulfuric acid, got 96.0 %"),
        # Near 54 % of solutes the salt's volume would come out endless.
        ((0.2, 0.34), "sulfuric acid together, got 54.0 %"),
        ((0.1, 0.1, 9.0), "known from 10 to 60 °C, got 9 °C"),
        ((0.1, 0.1, 61.0), "known from 10 to 60 °C, got 61 °C"),
        ((-0.1, 0.1), "share of copper sulfate must be at least 0"),
        ((0.1, float("nan")), "share of sulfuric acid must be at least 0"),
    ],
)
def test_what_the_model_does_not_know_is_refused(arguments, complaint):
    with pytest.raises(ValueError, match=r"must|known") as refused:
        solution_g_cm3(*arguments)
    assert complaint in str(refused.value)


@pytest.mark.parametrize("arguments", [(-1.0, 60.0), (100.0, -1.0), (float("nan"), 60.0)])
def test_a_negative_concentration_is_refused(arguments):
    with pytest.raises(ValueError, match="must be at least 0 g/L"):
        bath_g_l(*arguments)
