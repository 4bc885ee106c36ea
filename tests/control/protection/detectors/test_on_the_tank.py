"""Faults on the simulated tank, at several periods of the readings: what is found, and when."""

import re

import pytest

from daemon.control.states import State
from drivers.simulator.parameters import PartParameters, SupplyParameters
from drivers.simulator.scenario import Scenario

PERIODS_S = (0.05, 0.1, 0.3, 1.0)
BARE = Scenario(parts=(PartParameters(paint_ohm_per_sq=0),))
COARSE = SupplyParameters(
    measured_current_step_a=0.01,
    measured_voltage_step_v=0.01,
    current_noise_a=0.001,
    voltage_noise_v=0.001,
)


@pytest.fixture(params=PERIODS_S)
def period_s(request):
    return request.param


def found_within(tank, cause, since_s, delay_s):
    """The fault is found within its delay and two ticks, as the first of all, and ends the run."""
    tank.run_for(delay_s + 5 * tank.period_s + 60.0)
    assert tank.causes, "nothing was found"
    at_s, sign = tank.found[0]
    assert sign.cause == cause
    assert since_s < at_s <= since_s + delay_s + 2 * tank.period_s + 1e-6
    assert [cause for _, cause in tank.raised] == [cause]
    return sign


@pytest.mark.parametrize("current_a", [0.5, 1.8, 3.6])
def test_a_short_while_plating(watched, stage, period_s, current_a):
    tank = watched(stage(current_a, ceiling_v=6.0, ramp_s=5.0), period_s=period_s, scenario=BARE)
    since_s = tank.run_for(30.0).do("short")
    found_within(tank, "short", since_s, 0.3 + period_s)
    assert tank.state is State.ABORTED
    assert tank.situation.reason.startswith("short: 0.")


def test_a_short_says_what_was_seen(watched, stage):
    tank = watched(stage(1.5, ceiling_v=6.0), scenario=BARE)
    since_s = tank.run_for(30.0).do("short")
    sign = found_within(tank, "short", since_s, 0.4)
    # 30 mΩ of leads and 20 mΩ of short: 0.075 V at 1.5 A.
    assert re.fullmatch(r"0\.0[78] V at 1\.50 A; 0\.\d\d V at 1\.50 A \d\.\d s before", sign.seen)
    assert sign.figures["voltage_v"] == pytest.approx(0.075, abs=0.005)


def test_a_short_that_was_there_before_the_output_went_on(watched, stage, period_s):
    tank = watched(stage(1.8, ceiling_v=6.0), period_s=period_s, scenario=BARE)
    since_s = tank.do("short")
    found_within(tank, "short", since_s, 3.0 + 0.3 + period_s)


def test_a_short_under_a_ramp_of_minutes(watched, stage):
    tank = watched(stage(1.8, ceiling_v=6.0, ramp_s=300.0), scenario=BARE)
    since_s = tank.run_for(150.0).do("short")
    found_within(tank, "short", since_s, 0.4)


def test_a_short_at_constant_voltage(watched, stage, period_s):
    tank = watched(stage(5.0, ceiling_v=1.0), period_s=period_s, scenario=BARE)
    tank.run_for(30.0)
    assert tank.situation.reading.current_a < 4.0
    since_s = tank.do("short")
    found_within(tank, "short", since_s, 0.4 + period_s)


def test_an_open_load(watched, stage, period_s):
    tank = watched(stage(1.8, ceiling_v=6.0), period_s=period_s, scenario=BARE)
    since_s = tank.run_for(30.0).do("open_load")
    sign = found_within(tank, "open circuit", since_s, 0.5 + period_s)
    assert "6.0" in sign.seen
    assert tank.state is State.ABORTED


def test_an_open_load_at_constant_voltage(watched, stage, period_s):
    tank = watched(stage(5.0, ceiling_v=1.0), period_s=period_s, scenario=BARE)
    since_s = tank.run_for(30.0).do("open_load")
    found_within(tank, "open circuit", since_s, 0.5 + period_s)


def test_a_load_that_was_never_there(watched, stage, period_s):
    tank = watched(stage(1.8, ceiling_v=6.0), period_s=period_s, scenario=BARE)
    since_s = tank.do("open_load")
    found_within(tank, "open circuit", since_s, 60.0 + period_s)


def test_an_output_that_drops_by_itself(watched, stage, period_s):
    tank = watched(stage(1.8, ceiling_v=6.0), period_s=period_s, scenario=BARE)
    since_s = tank.run_for(30.0).do("output_drop")
    sign = found_within(tank, "output dropped", since_s, 0.5 + period_s)
    assert "the supply says that its output is off" in sign.seen
    assert tank.state is State.ABORTED


def test_a_spike(watched, stage, period_s):
    tank = watched(stage(1.8, ceiling_v=30.0), period_s=period_s, scenario=BARE)
    since_s = tank.run_for(30.0).do("surge", current_a=3.0)
    tank.run_for(20.0)
    assert tank.causes[0] == "current spike"
    # The simulated supply takes 0.15 s for these 3 A.
    assert tank.found[0][0] <= since_s + 0.15 + period_s
    assert tank.state is State.ABORTED


def test_more_than_was_asked_for(watched, stage, period_s):
    tank = watched(stage(1.8, ceiling_v=30.0), period_s=period_s, scenario=BARE)
    since_s = tank.run_for(30.0).do("surge", current_a=0.6)
    # 2.4 A where 2.08 A are let through: 15 % beyond, so 0.1 s / 0.15.
    sign = found_within(tank, "over-current", since_s, 0.67 + period_s)
    assert re.fullmatch(r"2\.(39|40)\d A where at most 1\.800 A is asked for", sign.seen)


def test_a_supply_that_folds_back(watched, stage, period_s):
    tank = watched(stage(1.8, ceiling_v=6.0), period_s=period_s, scenario=BARE)
    since_s = tank.run_for(30.0).do("fold_back", current_a=0.5)
    # 1.66 A would do: 0.5 A are 70 % too little, so 20 s / 0.7.
    found_within(tank, "current off the plan", since_s, 28.7 + 2 * period_s)
    assert tank.state is State.HELD


def test_readings_that_freeze_before_the_next_stage(watched, stage, period_s):
    tank = watched(
        stage(1.0, ceiling_v=6.0, duration_s=60.0),
        stage(1.8, ceiling_v=6.0),
        period_s=period_s,
        scenario=Scenario(parts=BARE.parts, supply=COARSE),
    )
    tank.run_for(30.0).do("freeze_readings")
    tank.run_for(60.0)
    assert tank.causes == ["reading frozen"]
    assert 62.9 < tank.found[0][0] <= 63.1 + 2 * period_s
    assert "1.000 A, then 1.800 A were asked for" in tank.found[0][1].seen
    assert tank.state is State.ABORTING, "a meter that is frozen shows no current gone"


def test_readings_that_freeze_on_a_meter_that_flickers(watched, stage, period_s):
    tank = watched(stage(1.0, ceiling_v=6.0), period_s=period_s, scenario=BARE)
    since_s = tank.run_for(300.0).do("freeze_readings")
    tank.run_for(300.0)
    assert tank.causes == ["reading frozen"]
    assert 60.0 <= tank.found[0][0] - since_s < 200.0
    assert tank.raised[0][1] == "reading frozen"


def test_a_run_goes_on_after_a_fault_was_mended(watched, stage):
    tank = watched(stage(1.8, ceiling_v=6.0), scenario=BARE)
    tank.run_for(30.0).do("fold_back", current_a=0.5)
    tank.run_to(State.HELD, most_s=60.0)
    tank.supply.bench.mend()
    tank.resume().run_for(300.0)
    assert tank.state is State.RUNNING
    assert tank.causes == ["current off the plan"]


def test_a_part_whose_paint_does_not_plate(watched, stage):
    # A painted part at its ceiling whose current does not grow: nothing reaches the rest of it.
    part = PartParameters(paint_ohm_per_sq=30.0, covering_um=100.0)
    tank = watched(stage(1.0, ceiling_v=2.0), period_s=1.0, scenario=Scenario(parts=(part,)))
    tank.run_for(900.0)
    assert tank.causes == ["voltage ceiling"]
    assert tank.state is State.RUNNING
