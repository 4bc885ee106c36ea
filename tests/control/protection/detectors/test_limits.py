"""What detectors ask of a reading in the same words, and the current that is none."""

import pytest

from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.limits import at_ceiling, plan_floor_a
from daemon.control.protection.detectors.thresholds import Thresholds
from drivers.contracts import Mode

CV, CC = Mode.CONSTANT_VOLTAGE, Mode.CONSTANT_CURRENT


@pytest.mark.parametrize(
    ("mode", "voltage_v", "is_there"),
    [
        # What the supply says itself, whatever the voltmeter shows.
        (CV, 1.0, True),
        (CV, None, True),
        # Without a word of it the voltage has to be within 5 % and 0.02 V of the ceiling of 4 V.
        (None, 3.78, True),
        (None, 3.77, False),
        (CC, 3.78, True),
        (CC, 3.77, False),
        # Without a voltage the supply's word decides, and without either nobody knows.
        (CC, None, False),
        (None, None, None),
    ],
)
def test_whether_the_supply_holds_the_voltage(observe, mode, voltage_v, is_there):
    thresholds = Thresholds(ceiling_share=0.05, ceiling_least_v=0.02)
    seen = observe(0.0, 1.0, voltage_v, ceiling_v=4.0, mode=mode)
    assert at_ceiling(seen, thresholds) is is_there


def test_a_current_is_as_planned_within_a_share_and_an_offset():
    thresholds = Thresholds(off_plan_share=0.1, off_plan_least_a=0.02)
    assert plan_floor_a(2.0, thresholds) == pytest.approx(1.78)


@pytest.mark.parametrize("thresholds", [CellThresholds(zero_a=0.02), Thresholds(zero_a=0.02)])
def test_a_coarse_meter_has_a_greater_zero_and_a_fine_one_none_that_is_smaller(thresholds):
    assert thresholds.of_meter(0.05).zero_a == 0.05
    assert thresholds.of_meter(0.001).zero_a == 0.02
