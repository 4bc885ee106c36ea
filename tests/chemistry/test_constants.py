from scipy import constants as codata

from daemon.chemistry.constants import COULOMBS_PER_AH, FARADAY_C_MOL


def test_faraday_constant_is_that_of_codata():
    value, unit, _ = codata.physical_constants["Faraday constant"]
    assert unit == "C mol^-1"
    assert abs(FARADAY_C_MOL / value - 1) < 1e-9
    assert abs(FARADAY_C_MOL / (codata.N_A * codata.e) - 1) < 1e-9


def test_an_ampere_hour_is_an_hour_of_coulombs():
    assert codata.hour == COULOMBS_PER_AH
