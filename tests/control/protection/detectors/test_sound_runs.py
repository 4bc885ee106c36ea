"""Sound tanks of many kinds: whatever is legitimate, nothing is found."""

import pytest

from daemon.control.states import State
from drivers.simulator.parameters import BathParameters, PartParameters, SupplyParameters
from drivers.simulator.scenario import Scenario, parse_event

PERIODS_S = (0.05, 0.1, 0.3, 1.0)
BARE = (PartParameters(paint_ohm_per_sq=0),)
COARSE = SupplyParameters(
    measured_current_step_a=0.01,
    measured_voltage_step_v=0.01,
    current_noise_a=0.0,
    voltage_noise_v=0.0,
)
NOISY = SupplyParameters(current_noise_a=0.01, voltage_noise_v=0.02)
SLOW = SupplyParameters(slew_a_per_s=0.5)


@pytest.fixture(params=PERIODS_S)
def period_s(request):
    return request.param


def stays_silent(tank, seconds):
    tank.run_for(seconds)
    assert [(round(at_s, 1), sign.cause, sign.seen) for at_s, sign in tank.found] == []
    return tank


@pytest.mark.parametrize(
    "supply", [SupplyParameters(), COARSE, NOISY, SLOW], ids=["usual", "coarse", "noisy", "slow"]
)
def test_ramps_and_stages_up_and_down(watched, stage, period_s, supply):
    tank = watched(
        stage(0.05, ceiling_v=6.0, duration_s=20.0),
        stage(3.0, ceiling_v=6.0, ramp_s=60.0, duration_s=90.0),
        stage(0.3, ceiling_v=6.0, duration_s=30.0),
        stage(4.0, ceiling_v=8.0, duration_s=30.0),
        stage(0.1, ceiling_v=3.0, ramp_s=5.0, duration_s=30.0),
        stage(1.0, ceiling_v=6.0, ramp_s=2.0),
        period_s=period_s,
        scenario=Scenario(parts=BARE, supply=supply),
    )
    stays_silent(tank, 240.0)
    assert tank.state is State.RUNNING


@pytest.mark.parametrize("supply", [SupplyParameters(), COARSE], ids=["usual", "coarse"])
@pytest.mark.parametrize("paint_ohm_per_sq", [0.1, 2.0, 10.0, 60.0])
def test_the_start_on_paint(watched, stage, supply, paint_ohm_per_sq):
    # For minutes the ceiling lets through far less than what is asked for.
    part = PartParameters(paint_ohm_per_sq=paint_ohm_per_sq)
    tank = watched(
        stage(0.3, ceiling_v=2.0, ramp_s=60.0, charge_ah=0.05),
        stage(1.8, ceiling_v=4.0, ramp_s=300.0),
        period_s=0.3,
        scenario=Scenario(parts=(part,), supply=supply),
    )
    stays_silent(tank, 2400.0)


def test_a_small_part_that_is_covered_within_seconds(watched, stage, period_s):
    part = PartParameters(area_dm2=0.1, paint_ohm_per_sq=20.0)
    tank = watched(
        stage(0.5, ceiling_v=6.0),
        area_dm2=0.1,
        period_s=period_s,
        scenario=Scenario(parts=(part,)),
    )
    stays_silent(tank, 120.0)


@pytest.mark.parametrize("area_dm2", [1.8, 5.0, 10.0, 20.0])
def test_little_current_on_much_area(watched, stage, period_s, area_dm2):
    # Copper against copper: at 0.05 A/dm² a cell has next to no voltage, as a short has.
    tank = watched(
        stage(area_dm2 / 20.0, ceiling_v=6.0, ramp_s=20.0, duration_s=60.0),
        stage(0.25 * area_dm2, ceiling_v=6.0, ramp_s=20.0),
        area_dm2=area_dm2,
        period_s=period_s,
        scenario=Scenario(
            bath=BathParameters(
                volume_l=100.0,
                anode_area_dm2=2.0 * area_dm2,
                lead_resistance_ohm=0.005,
                electrode_gap_cm=7.0,
                exchange_a_per_dm2=1.0,
            ),
            parts=(PartParameters(area_dm2=area_dm2, paint_ohm_per_sq=0),),
        ),
    )
    stays_silent(tank, 120.0)


def test_hold_and_resume(watched, stage, period_s):
    tank = watched(stage(1.8, ceiling_v=6.0), period_s=period_s, scenario=Scenario(parts=BARE))
    tank.run_for(30.0)
    for _ in range(3):
        tank.hold().run_for(20.0)
        tank.resume().run_for(30.0)
    stays_silent(tank, 10.0)
    assert tank.state is State.RUNNING


@pytest.mark.parametrize("offset_a", [-0.015, 0.0, 0.015])
@pytest.mark.parametrize("every", [1, 10])
def test_a_coarse_shunt_with_an_offset_beside_a_supply_that_is_read_less_often(
    watched, stage, shunt, offset_a, every
):
    tank = watched(
        stage(1.0, ceiling_v=6.0, duration_s=30.0),
        stage(3.0, ceiling_v=6.0, duration_s=30.0),
        stage(0.2, ceiling_v=4.0, duration_s=30.0),
        stage(2.0, ceiling_v=6.0, ramp_s=20.0),
        scenario=Scenario(parts=BARE),
        shunt=shunt(0.01, offset_a),
        supply_every=every,
        gone_a=0.04,
    )
    stays_silent(tank, 160.0)
    tank.hold().run_for(10.0)
    stays_silent(tank.resume(), 60.0)


def test_a_calm_meter_that_repeats_itself_all_night(watched, stage):
    # Not one flicker for hours, then a step as the bath warms up, then none for hours.
    supply = COARSE.model_copy(update={"current_noise_a": 0.0002, "voltage_noise_v": 0.0015})
    tank = watched(
        stage(1.0, ceiling_v=6.0),
        period_s=1.0,
        scenario=Scenario(
            bath=BathParameters(temperature_c=18.0, ambient_c=26.0), parts=BARE, supply=supply
        ),
    )
    stays_silent(tank, 8 * 3600.0)


def test_a_bath_that_warms_up_under_a_restless_meter(watched, stage):
    tank = watched(
        stage(2.5, ceiling_v=6.0),
        period_s=0.5,
        scenario=Scenario(
            bath=BathParameters(temperature_c=18.0, ambient_c=28.0, volume_l=5.0),
            parts=BARE,
            supply=NOISY,
        ),
    )
    stays_silent(tank, 2 * 3600.0)


@pytest.mark.parametrize("resistance_ohm", [0.1, 0.3, 1.0])
def test_a_bad_contact_is_neither_short_nor_open(watched, stage, period_s, resistance_ohm):
    tank = watched(
        stage(1.8, ceiling_v=6.0),
        period_s=period_s,
        scenario=Scenario(
            parts=BARE,
            events=(
                parse_event(
                    {
                        "do": "bad_contact",
                        "at_s": 20.0,
                        "lasts_s": 100.0,
                        "resistance_ohm": resistance_ohm,
                    }
                ),
            ),
        ),
    )
    stays_silent(tank, 180.0)
