import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.chemistry.dilution_heat import acid_heat_kj, acid_kj_mol, dry_salt_heat_kj, rise_k
from daemon.chemistry.substances import PENTAHYDRATE, CopperSulfate

# Koretsky, Engineering and Chemical Thermodynamics, 2nd ed., Table 6.1: kJ/mol for n mol of water,
# with another zero, so that only differences can be compared.
KORETSKY = {1: 31.076, 2: 44.936, 3: 52.007, 4: 57.070, 5: 61.045, 10: 70.040, 20: 74.517,
            50: 76.358, 100: 76.986}  # fmt: skip


@pytest.mark.parametrize("n", list(KORETSKY)[1:])
def test_heat_of_solution_rises_as_printed_elsewhere(n):
    printed = KORETSKY[n] - KORETSKY[1]
    assert acid_kj_mol(n) - acid_kj_mol(1) == pytest.approx(printed, abs=0.03)


def test_heat_with_endless_water():
    # Formation of the ions less that of the acid: 909.3 - 814.0 = 95.3 kJ/mol (CRC Handbook,
    # standard thermodynamic properties); 1.5 %, older tables differ by that.
    assert acid_kj_mol(1e9) == pytest.approx(95.3, rel=0.015)


def test_no_water_no_heat():
    assert acid_kj_mol(0) == 0
    assert acid_heat_kj(0, 0, 1000) == 0
    assert acid_heat_kj(100, 10, 0) == 0


@given(st.floats(0, 2000), st.floats(0.01, 100))
def test_more_water_never_takes_heat_back(n, more):
    assert acid_kj_mol(n + more) >= acid_kj_mol(n)


def test_one_step_by_hand():
    # 98.0783 g of pure acid into 180.153 g of water: 10 mol to 1 mol, 67.03 kJ.
    assert acid_heat_kj(98.0783, 0, 180.153) == pytest.approx(67.03, rel=1e-4)
    # The same acid that has 1 mol of water already, in 9 mol more: 67.03 - 28.07 kJ.
    assert acid_heat_kj(98.0783, 18.0153, 162.1377) == pytest.approx(38.96, rel=1e-4)


def test_rise_by_hand():
    # 41.8 kJ in 1 kg of water: 10 K.
    assert rise_k(41.8, 1000) == pytest.approx(10.0)


def test_dry_salt_heats_and_crystals_do_not():
    # The textbook example of Hess's law: 66.1 kJ for a mol of CuSO4, 159.608 g.
    assert dry_salt_heat_kj(CopperSulfate(0), 159.608) == pytest.approx(66.1, rel=1e-4)
    assert dry_salt_heat_kj(PENTAHYDRATE, 1000) == 0
    assert dry_salt_heat_kj(CopperSulfate(7), 1000) == 0
    assert 0 < dry_salt_heat_kj(CopperSulfate(1), 177.62) < 66.1


def test_battery_acid_gives_far_less_heat_than_concentrated():
    # 100 g of H2SO4 into 2 kg of water, as 96 % and as 37 %.
    assert acid_heat_kj(100, 170, 2000) < 0.15 * acid_heat_kj(100, 4.2, 2000)


@pytest.mark.parametrize("call", [
    lambda: acid_kj_mol(-1), lambda: acid_heat_kj(-1, 0, 0), lambda: acid_heat_kj(1, -1, 0),
    lambda: acid_heat_kj(1, 0, -1), lambda: rise_k(1, 0),
    lambda: dry_salt_heat_kj(PENTAHYDRATE, -1),
])  # fmt: skip
def test_what_cannot_be_is_refused(call):
    with pytest.raises(ValueError, match="must be"):
        call()
