"""What the electrical detectors ask of a reading in the same words."""

import pytest

from daemon.control.protection.detectors.limits import at_ceiling, figures_of, plan_floor_a
from daemon.control.protection.detectors.thresholds import Thresholds
from drivers.contracts import Mode

CC, CV = Mode.CONSTANT_CURRENT, Mode.CONSTANT_VOLTAGE


@pytest.mark.parametrize(
    ("mode", "voltage_v", "held"),
    [
        # Of 4 V 2 % and 50 mV are let through: 3.87 V.
        (CC, 3.86, False),
        (CC, 3.88, True),
        (None, 3.86, False),
        (None, 3.88, True),
        (CV, 1.0, True),
        (CV, None, True),
        (CC, None, False),
        (None, None, None),
    ],
)
def test_the_ceiling_is_held_if_the_supply_says_so_or_the_voltage_is_there(
    observe, mode, voltage_v, held
):
    seen = observe(1.0, 1.0, voltage_v, mode=mode, ceiling_v=4.0)
    assert at_ceiling(seen, Thresholds()) is held


@pytest.mark.parametrize(("set_current_a", "floor_a"), [(2.0, 1.85), (1.0, 0.9), (0.02, -0.031)])
def test_5_percent_and_50_ma_less_are_as_good_as_what_was_asked_for(set_current_a, floor_a):
    assert plan_floor_a(set_current_a, Thresholds()) == pytest.approx(floor_a)


def test_an_alarm_has_the_figures_of_its_reading(observe):
    seen = observe(1.0, 0.3, 3.9, set_current_a=1.7)
    assert figures_of(seen) == {"current_a": 0.3, "voltage_v": 3.9, "set_current_a": 1.7}
