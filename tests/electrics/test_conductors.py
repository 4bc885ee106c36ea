"""Wires against copper's resistivity."""

from itertools import pairwise

import pytest

from daemon.electrics.conductors import CONDUCTORS, RESISTIVITY_20C_OHM_MM2_M


@pytest.mark.parametrize("wire", CONDUCTORS, ids=lambda wire: f"{wire.area_mm2:g} mm²")
def test_no_wire_is_better_than_its_copper(wire):
    # Strands are twisted and drawn: up to a sixth more than 1/58 Ω·mm²/m (IEC 60028) by IEC 60228.
    solid_ohm_per_km = 1000 * RESISTIVITY_20C_OHM_MM2_M / wire.area_mm2
    assert solid_ohm_per_km < wire.ohm_per_km < 1.17 * solid_ohm_per_km


def test_a_metre_of_copper():
    # IEC 60028: 1/58 Ω for a metre of 1 mm², which is 17.241 mΩ.
    assert pytest.approx(0.017241, abs=1e-6) == RESISTIVITY_20C_OHM_MM2_M


def test_a_warm_wire_resists_more():
    # 1.5 mm²: 13.3 Ω/km (IEC 60228, Table 3); 3 m are 39.9 mΩ; at 70 °C times 1 + 50·0.00393.
    wire = next(each for each in CONDUCTORS if each.area_mm2 == 1.5)
    assert wire.resistance_ohm(3.0) == pytest.approx(0.0399)
    assert wire.resistance_ohm(3.0, 70.0) == pytest.approx(0.0399 * 1.1965)


def test_thicker_wires_resist_less_and_bear_more():
    for thin, thick in pairwise(CONDUCTORS):
        assert thin.area_mm2 < thick.area_mm2
        assert thin.ohm_per_km > thick.ohm_per_km
        assert thin.ampacity_a < thick.ampacity_a
        # A thick wire has less surface for its copper, and bears less for each mm².
        assert thin.ampacity_a / thin.area_mm2 > thick.ampacity_a / thick.area_mm2
