"""A plan's course, against sums by hand."""

import pytest

from daemon.chemistry.metals import metal_named
from daemon.control.outline import outline
from daemon.control.plan import Plan, Stage, Until


def _plan(*stages: Stage, target_um: float = 10.0) -> Plan:
    return Plan("part", metal_named("Cu(II)"), 1.0, 1.0, target_um, 99.0, 1e6, stages)


def test_stages_follow_each_other_until_the_target() -> None:
    # At 5 µm per Ah 10 µm are 2 Ah: 1 A for half an hour, then 1.5 Ah at 3 A, half an hour too.
    strike = Stage("strike", 1.0, 5.0, until=Until(duration_s=1800.0))
    legs = outline(_plan(strike, Stage("build", 3.0, 5.0), Stage("never", 1.0, 5.0)), 5.0)
    assert [(leg.name, leg.begins_s, leg.ends_s) for leg in legs] == [
        ("strike", 0.0, 1800.0),
        ("build", 1800.0, pytest.approx(3600.0)),
    ]
    assert legs[0].points[-1] == (1800.0, 1.0, pytest.approx(0.5))
    assert legs[1].points[-1] == (pytest.approx(3600.0), 3.0, pytest.approx(2.0))


def test_a_ramp_is_a_straight_line_of_current() -> None:
    # From 0 to 2 A in an hour is 1 Ah; the other Ah at 2 A is half an hour.
    (leg,) = outline(_plan(Stage("build", 2.0, 5.0, ramp_s=3600.0)), 5.0)
    halfway = next(point for point in leg.points if point[0] == 1800.0)
    assert halfway == (1800.0, 1.0, pytest.approx(0.25))
    assert leg.points[-2] == (3600.0, 2.0, pytest.approx(1.0))
    assert leg.ends_s == pytest.approx(5400.0)


def test_a_voltage_that_nobody_foresees_ends_nothing() -> None:
    ends = Until(duration_s=3600.0, cell_voltage_below_v=1.0)
    legs = outline(_plan(Stage("strike", 1.0, 5.0, until=ends), Stage("build", 1.0, 5.0)), 5.0)
    assert legs[0].ends_s == 3600.0


def test_without_current_there_is_no_end() -> None:
    assert outline(_plan(Stage("rest", 0.0, 5.0)), 5.0) == ()
