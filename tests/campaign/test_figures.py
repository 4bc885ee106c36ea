"""What campaigns work out of what they saw: shares, intervals, growth."""

import os

import pytest
from mutants import drawn, interval, plain
from soak import growth, look


def test_the_interval_of_a_share():
    # Newcombe 1998, Statistics in Medicine 17, 857, Table I, method 3: 81 of 263, and 0 of 20.
    assert interval(81 / 263, 263) == pytest.approx((0.2553, 0.3662), abs=5e-5)
    assert interval(0.0, 20) == pytest.approx((0.0, 0.1611), abs=5e-5)


def test_a_sample_is_drawn_from_its_seed_alone():
    names = [f"m{number}" for number in range(50)]
    assert drawn(names, 10, 3) == drawn(names[::-1], 10, 3)
    assert drawn(names, 10, 3) != drawn(names, 10, 4)
    assert drawn(names, 99, 3) == sorted(names)


def test_a_mutant_s_name_is_told_as_people_write_it():
    assert plain("daemon.control.charge.x_add__mutmut_3") == "daemon.control.charge.add__mutmut_3"
    assert plain("daemon.control.panel.xǁPanelǁtake__mutmut_1") == (
        "daemon.control.panel.Panel.take__mutmut_1"
    )


def test_growth_is_the_slope_with_its_standard_error():
    # By hand: slope 1, residuals 0.5, -0.5, -0.5, 0.5; 1 / 2 over a spread of 5.
    assert growth([0.0, 1.0, 2.0, 3.0], [0.5, 0.5, 1.5, 3.5]) == pytest.approx((1.0, 0.1**0.5))
    assert growth([0.0, 1.0], [0.0, 1.0]) is None


def test_a_look_at_a_process_sees_its_files():
    before = look(os.getpid(), 0.0)
    pipes = os.pipe()
    try:
        after = look(os.getpid(), 0.0)
    finally:
        for end in pipes:
            os.close(end)
    assert after.handles - before.handles == 2
    assert 1.0 < after.pss_mib < 4096.0
