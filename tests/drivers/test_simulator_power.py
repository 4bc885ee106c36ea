"""The bench supply on the tank: regulation, crossover, slew, meter, rating."""

from itertools import pairwise
from random import Random

import pytest

from drivers.contracts import Mode
from drivers.simulator.parameters import BathParameters, PartParameters, SupplyParameters
from drivers.simulator.power import BenchSupply, OutOfRangeError
from drivers.simulator.tank import Tank

QUIET = {"current_noise_a": 0.0, "voltage_noise_v": 0.0}
BARE = (PartParameters(paint_ohm_per_sq=0),)


def bench(
    parts: tuple[PartParameters, ...] = BARE, seed: int = 1, **parameters: object
) -> tuple[BenchSupply, Tank]:
    tank = Tank(BathParameters(), parts)
    supply = SupplyParameters.model_validate(QUIET | parameters)
    return BenchSupply(supply, tank, Random(seed)), tank


def started(current_a: float, voltage_v: float, **parameters: object) -> tuple[BenchSupply, Tank]:
    supply, tank = bench(**parameters)
    supply.program_current(current_a)
    supply.program_voltage(voltage_v)
    supply.switch(True)
    return supply, tank


def test_constant_current_when_the_voltage_is_enough() -> None:
    supply, tank = started(3.0, 6.0)
    supply.advance(10.0)
    measured = supply.measure()
    assert measured.current_a == 3.0
    assert measured.mode is Mode.CONSTANT_CURRENT
    assert measured.voltage_v == pytest.approx(tank.voltage_at(3.0), abs=0.0005)


def test_constant_voltage_when_the_current_cannot_be_reached() -> None:
    supply, tank = started(5.0, 1.0)
    supply.advance(60.0)
    measured = supply.measure()
    assert measured.voltage_v == 1.0
    assert measured.mode is Mode.CONSTANT_VOLTAGE
    assert measured.current_a == pytest.approx(tank.current_at(1.0), rel=1e-3)


def test_crossover_is_continuous() -> None:
    supply, tank = started(3.0, 6.0)
    supply.advance(10.0)
    needed_v = tank.voltage_at(3.0)
    for volts, mode in (
        (needed_v + 0.01, Mode.CONSTANT_CURRENT),
        (needed_v - 0.01, Mode.CONSTANT_VOLTAGE),
    ):
        supply.program_voltage(volts)
        supply.advance(1.0)
        measured = supply.measure()
        assert measured.mode is mode
        assert measured.current_a == pytest.approx(3.0, abs=0.06)
        assert measured.voltage_v == pytest.approx(needed_v, abs=0.02)


def test_painted_part_crosses_over_by_itself_as_it_is_covered() -> None:
    supply, _ = started(1.0, 2.0, parts=(PartParameters(),))
    seen = []
    for _ in range(900):
        supply.advance(1.0)
        seen.append(supply.measure())
    changes = [a.mode is not b.mode for a, b in pairwise(seen)]
    assert seen[0].mode is Mode.CONSTANT_VOLTAGE
    assert seen[-1].mode is Mode.CONSTANT_CURRENT
    assert sum(changes) == 1
    cv = [m.current_a for m in seen if m.mode is Mode.CONSTANT_VOLTAGE]
    assert cv == sorted(cv)
    cc = [m.voltage_v for m in seen if m.mode is Mode.CONSTANT_CURRENT][:200]
    assert cc == sorted(cc, reverse=True)
    assert cc[0] == pytest.approx(2.0, abs=0.05)


def test_truth_is_the_trapezoid_of_the_followed_current() -> None:
    supply, tank = started(5.0, 2.0, parts=(PartParameters(),))
    supply.advance(1.0)
    start_c, before = tank.charge_c, supply.current_a
    total_c = 0.0
    for _ in range(120):
        supply.advance(1.0)
        total_c += 0.5 * (before + supply.current_a)
        before = supply.current_a
    assert supply.mode is Mode.CONSTANT_VOLTAGE
    assert tank.charge_c - start_c == pytest.approx(total_c, rel=1e-9)


def test_commanded_change_goes_at_the_slew_rate() -> None:
    supply, tank = started(3.0, 6.0, slew_a_per_s=2.0)
    supply.advance(0.5)
    assert supply.measure().current_a == 1.0
    supply.advance(0.5)
    assert supply.measure().current_a == 2.0
    supply.advance(1.0)
    assert supply.measure().current_a == 3.0
    # 1.5 s of ramp to 3 A, and half a second at 3 A.
    assert tank.charge_c == pytest.approx(0.5 * 1.5 * 3.0 + 0.5 * 3.0)
    supply.program_current(1.0)
    supply.advance(0.5)
    assert supply.measure().current_a == 2.0


def test_current_dies_away_when_the_output_goes_off() -> None:
    supply, tank = started(2.0, 6.0, decay_s=0.1)
    supply.advance(10.0)
    before_c = tank.charge_c
    supply.switch(False)
    assert supply.mode is None
    supply.advance(0.1)
    assert supply.measure().current_a == pytest.approx(2.0 * 0.36788, abs=0.0001)
    supply.advance(60.0)
    assert supply.current_a == 0.0
    assert supply.measure() == (0.0, 0.0, None)
    # The tail holds I · time constant.
    assert tank.charge_c - before_c == pytest.approx(2.0 * 0.1, rel=1e-6)


def test_nothing_flows_before_the_output_is_on() -> None:
    supply, tank = bench()
    supply.program_current(3.0)
    supply.program_voltage(6.0)
    supply.advance(100.0)
    assert supply.measure() == (0.0, 0.0, None)
    assert tank.charge_c == 0.0


def test_set_points_and_readings_have_their_steps() -> None:
    supply, _ = started(
        1.2345, 5.678, current_step_a=0.01, voltage_step_v=0.1, measured_voltage_step_v=0.05
    )
    assert supply.current_set_a == 1.23
    assert supply.voltage_set_v == 5.7
    supply.advance(10.0)
    steps = supply.measure().voltage_v / 0.05
    assert steps == pytest.approx(round(steps), abs=1e-9)


def test_noise_has_its_size_and_follows_the_seed() -> None:
    def readings(seed: int) -> list[float]:
        supply, _ = started(2.0, 6.0, seed=seed, current_noise_a=0.01, measured_current_step_a=1e-6)
        supply.advance(10.0)
        return [supply.measure().current_a for _ in range(2000)]

    first = readings(1)
    assert readings(1) == first
    assert readings(2) != first
    mean = sum(first) / 2000
    spread = (sum((value - mean) ** 2 for value in first) / 1999) ** 0.5
    assert mean == pytest.approx(2.0, abs=0.001)
    assert spread == pytest.approx(0.01, rel=0.1)


@pytest.mark.parametrize("refused", [5.01, -0.01, float("nan"), float("inf")])
def test_set_points_out_of_range_are_refused_and_the_old_ones_stand(refused: float) -> None:
    supply, _ = started(2.0, 6.0)
    with pytest.raises(OutOfRangeError, match="allowed 0 to 5 A"):
        supply.program_current(refused)
    assert supply.current_set_a == 2.0


def test_a_clipping_supply_takes_its_rating_instead() -> None:
    supply, _ = bench(beyond_rating="clip")
    supply.program_current(7.0)
    supply.program_voltage(31.0)
    assert (supply.current_set_a, supply.voltage_set_v) == (5.0, 30.0)
    with pytest.raises(OutOfRangeError):
        supply.program_voltage(-1.0)


def test_one_long_step_and_many_short_ones_agree() -> None:
    long, long_tank = started(3.0, 1.5, parts=(PartParameters(),))
    short, short_tank = started(3.0, 1.5, parts=(PartParameters(),))
    long.advance(600.0)
    for _ in range(1200):
        short.advance(0.5)
    assert long.current_a == pytest.approx(short.current_a, rel=0.01)
    assert long_tank.charge_c == pytest.approx(short_tank.charge_c, rel=0.015)
