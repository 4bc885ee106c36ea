"""What follows from the law itself; figures from print are in test_published_values."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.chemistry.electrolysis import (
    charge_ah_for_mass,
    charge_ah_for_thickness,
    duration_s_for_thickness,
    g_per_ah,
    mass_g,
    ramp_charge_ah,
    thickness_um,
    um_per_ah,
)
from daemon.chemistry.metals import METALS, metal_named

COPPER = metal_named("Cu(II)")

metals = st.sampled_from(METALS)
efficiencies = st.floats(0.01, 1.0)
areas = st.floats(0.01, 1000.0)
# No amount of metal is a number so small that a float holds it with a few bits only.
amounts = st.just(0.0) | st.floats(1e-12, 1e4)


@given(metals, amounts, areas, efficiencies)
def test_the_charge_for_a_thickness_deposits_it(metal, wanted_um, area_dm2, efficiency):
    charge_ah = charge_ah_for_thickness(metal, wanted_um, area_dm2, efficiency)
    assert math.isclose(thickness_um(metal, charge_ah, area_dm2, efficiency), wanted_um)


@given(metals, amounts, efficiencies)
def test_the_charge_for_a_mass_deposits_it(metal, wanted_g, efficiency):
    charge_ah = charge_ah_for_mass(metal, wanted_g, efficiency)
    assert math.isclose(mass_g(metal, charge_ah, efficiency), wanted_g)


@given(metals, st.floats(0.01, 1e4), areas, efficiencies)
def test_mass_is_thickness_times_area_times_density(metal, charge_ah, area_dm2, efficiency):
    thickness_cm = thickness_um(metal, charge_ah, area_dm2, efficiency) / 1e4
    from_volume_g = thickness_cm * area_dm2 * 100 * metal.density_g_cm3
    assert math.isclose(mass_g(metal, charge_ah, efficiency), from_volume_g)


def test_half_the_efficiency_deposits_half():
    assert mass_g(COPPER, 3.0, 0.5) == pytest.approx(mass_g(COPPER, 1.5))


def test_a_charge_the_other_way_takes_metal_off():
    assert thickness_um(COPPER, -1.0, 1.0) == -thickness_um(COPPER, 1.0, 1.0) < 0
    assert mass_g(COPPER, -1.0) < 0


def test_a_ramp_from_zero_carries_half_of_the_full_current():
    assert ramp_charge_ah(0.0, 4.0, 1800.0) == pytest.approx(1.0)
    assert ramp_charge_ah(4.0, 0.0, 1800.0) == pytest.approx(1.0)
    assert ramp_charge_ah(-2.0, 2.0, 1800.0) == 0.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: g_per_ah(COPPER, 0.0), "efficiency must be a fraction above 0 and at most 1"),
        (lambda: g_per_ah(COPPER, 1.001), "at most 1 (100 %), got 1.001"),
        (lambda: g_per_ah(COPPER, math.nan), "got nan"),
        (lambda: um_per_ah(COPPER, 0.0), "area must be above 0 dm² and finite, got 0 dm²"),
        (lambda: um_per_ah(COPPER, math.inf), "area must be above 0 dm² and finite, got inf dm²"),
        (lambda: mass_g(COPPER, math.nan), "charge must be a finite number of A·h, got nan"),
        (lambda: thickness_um(COPPER, math.inf, 1.0), "charge must be a finite number of A·h"),
        (lambda: charge_ah_for_mass(COPPER, -2.0), "mass must be at least 0 g and finite, got -2"),
        (
            lambda: charge_ah_for_thickness(COPPER, -1.0, 1.0),
            "thickness must be at least 0 µm and finite, got -1 µm",
        ),
        (lambda: duration_s_for_thickness(COPPER, 25.0, 0.0), "current density must be above 0"),
        (lambda: duration_s_for_thickness(COPPER, math.nan, 1.0), "thickness must be at least"),
        (lambda: ramp_charge_ah(0.0, 1.0, -1.0), "duration must be at least 0 s"),
        (lambda: ramp_charge_ah(math.nan, 1.0, 1.0), "start current must be a finite number of A"),
        (lambda: ramp_charge_ah(0.0, math.inf, 1.0), "end current must be a finite number of A"),
    ],
)
def test_a_value_out_of_range_is_refused_with_name_value_and_unit(call, message):
    with pytest.raises(ValueError, match="must be") as refused:
        call()
    assert message in str(refused.value)
