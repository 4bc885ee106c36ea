"""One plan on one simulated tank: duration and charge by Faraday's law, heat by Joule's."""

from dataclasses import replace

import pytest

from daemon.chemistry.metals import metal_named
from daemon.chemistry.uncertainty import NO_DOUBT
from daemon.control.plan import Plan, Stage, Until
from daemon.control.protection.detectors.thresholds import Thresholds
from daemon.control.situation import Carried, Limits
from daemon.control.states import State
from daemon.service.rehearsal.walked import NEAR_S, Rules, Walk, coarse_watch, walk
from drivers.simulator.parameters import BathParameters, PartParameters, SupplyParameters
from drivers.simulator.scenario import Scenario

RULES = Rules(Limits(), Thresholds(), NO_DOUBT)
SUPPLY = SupplyParameters(
    current_a=20.0, current_noise_a=0.0, voltage_noise_v=0.0,
    measured_current_step_a=1e-6, measured_voltage_step_v=1e-6,
)  # fmt: skip


def tank(area_dm2=2.0, paint=0.0, **bath):
    return Scenario(
        bath=BathParameters(**bath),
        parts=(PartParameters(area_dm2=area_dm2, paint_ohm_per_sq=paint),),
        supply=SUPPLY,
    )


def plan(*stages, target_um=25.0, area_dm2=2.0, hours=24.0):
    return Plan(
        "test", metal_named("Cu(II)"), area_dm2, 1.0, target_um, 1e3, 3600.0 * hours, stages
    )


def stage(current_a=4.0, ramp_s=0.0, ceiling_v=6.0, **until):
    return Stage("plate", current_a, ceiling_v, ramp_s, Until(**until))


# 25 µm on 2 dm²: 25e-4 cm * 200 cm² * 8.96 g/cm³ = 4.480 g; at 3600 * 63.546 / (2 * 96485.33)
# = 1.185495 g/Ah that is 3.77901 Ah, and 3401.1 s at 4 A.
CHARGE_AH, DURATION_S = 3.77901, 3401.1


def test_charge_and_duration_are_those_of_faradays_law():
    walked = walk(plan(stage()), tank(), RULES)
    assert walked.state is State.COMPLETE
    assert walked.charge_ah == pytest.approx(CHARGE_AH, rel=2e-4)
    assert walked.true_ah == pytest.approx(CHARGE_AH, rel=1e-3)
    assert walked.duration_s == pytest.approx(DURATION_S, abs=4.0)


@pytest.mark.parametrize("target_um", [1.0, 5.0, 7.7, 60.0])
def test_no_end_is_late_however_far_ticks_are_apart(target_um):
    """Charge in proportion; the painted part makes ticks of any length on the way."""
    walked = walk(plan(stage(), target_um=target_um), tank(paint=3.0), RULES)
    assert walked.charge_ah == pytest.approx(CHARGE_AH * target_um / 25.0, rel=1e-3, abs=1e-3)


def test_a_ramp_costs_half_its_time():
    walked = walk(plan(stage(ramp_s=600.0)), tank(), RULES)
    assert walked.charge_ah == pytest.approx(CHARGE_AH, rel=2e-4)
    assert walked.true_ah == pytest.approx(CHARGE_AH, rel=1e-3)
    assert walked.duration_s == pytest.approx(DURATION_S + 300.0, abs=6.0)


def test_a_supply_that_gives_less_takes_longer():
    """1 % less current, 1 % more time."""
    walked = walk(plan(stage()), tank(), replace(RULES, given=0.99))
    assert walked.duration_s == pytest.approx(DURATION_S / 0.99, abs=4.0)
    assert walked.charge_ah == pytest.approx(CHARGE_AH, rel=2e-4)


def test_what_an_earlier_run_has_put_there_is_left_out():
    """1 Ah less, at 4 A 900 s less."""
    walked = walk(plan(stage()), tank(), RULES, Carried(charge_ah=1.0))
    assert walked.duration_s == pytest.approx(DURATION_S - 900.0, abs=4.0)


def test_the_bath_warms_by_joules_law():
    """Without loss all that the cell takes warms it: V·I·t over 4000 J/(L·K) times 10 L.

    The leads' share warms the room: I²·R·t, here 16 A² * 0.03 Ω.
    """
    scenario = tank(volume_l=10.0, heat_loss_w_per_k=1e-6, temperature_c=20.0)
    walked = walk(plan(stage()), scenario, RULES)
    middle = walked.points[5:-5]
    assert len(middle) >= 8
    mean_v = sum(p.voltage_v for p in middle) / len(middle)
    assert walked.energy_wh == pytest.approx(mean_v * CHARGE_AH, rel=0.01)
    heat_j = 3600.0 * walked.energy_wh - 16.0 * 0.03 * DURATION_S
    assert walked.points[-1].temperature_c - 20.0 == pytest.approx(heat_j / 40_000.0, rel=0.01)


def test_and_settles_where_it_loses_as_much():
    """With 10 L and 20 W/K the time constant is 2000 s: after 5 h it is V·I/20 above the room."""
    scenario = tank(
        volume_l=10.0, heat_loss_w_per_k=20.0, ambient_c=20.0, temperature_c=20.0,
        lead_resistance_ohm=0.0,
    )  # fmt: skip
    walked = walk(plan(stage(), target_um=132.0), scenario, RULES)
    last = walked.points[-20]
    settled_k = last.voltage_v * last.current_a / 20.0
    assert last.temperature_c - 20.0 == pytest.approx(settled_k, rel=0.02)


def test_coarse_ticks_come_to_what_close_ones_do():
    """A painted part under a low ceiling, ended by its voltage: the hardest for long ticks."""
    stages = (
        stage(1.0, 60.0, 2.0, cell_voltage_below_v=0.45, duration_s=3600.0),
        stage(4.0, 120.0, 3.0),
    )
    scenario = tank(paint=20.0)
    coarse = walk(plan(*stages, target_um=3.0), scenario, RULES)
    close = Walk(plan(*stages, target_um=3.0), scenario, RULES)
    close.closely(coarse_watch(RULES.thresholds))
    fine = close.to_rest()
    (first_s, first), (fine_s, fine_first) = coarse.stages[0], fine.stages[0]
    assert first.ended_by == fine_first.ended_by == "cell voltage"
    assert first_s == pytest.approx(fine_s, rel=0.03)
    assert coarse.duration_s == pytest.approx(fine.duration_s, rel=0.01)
    assert len(coarse.points) < len(fine.points) / 2


def test_a_ceiling_holds_the_current_until_the_cap_on_time():
    walked = walk(plan(stage(4.0, ceiling_v=0.3), hours=1.0), tank(), RULES)
    assert walked.state is State.STOPPED
    assert walked.reason.startswith("cap on time reached")
    assert "voltage ceiling" in {change.alarm.cause for _, change in walked.raised}


def test_a_bath_that_gets_hot_holds_the_run():
    """5 L on 4 A for hours: 30 °C is the threshold, and a bath that hot holds."""
    scenario = tank(volume_l=5.0, temperature_c=29.5, heat_loss_w_per_k=0.01)
    walked = walk(plan(stage(), target_um=200.0), scenario, RULES)
    assert walked.state is State.HELD
    assert walked.reason.startswith("bath too hot: 30.")


def test_and_holds_it_in_minutes_while_a_strong_current_heats():
    """20 A at 1.7 V warm 5 L by 4 K an hour; two ticks after 30 °C it is told."""
    parts = tank(area_dm2=10.0, volume_l=5.0, temperature_c=24.0, heat_loss_w_per_k=0.01)
    walked = walk(plan(stage(20.0), target_um=200.0, area_dm2=10.0), parts, RULES)
    assert walked.state is State.HELD
    above = [point.at_s for point in walked.points if point.temperature_c > 30.0]
    assert walked.duration_s - above[0] < 2 * NEAR_S
