"""The simulated supply through the contract that the rest of tankhand knows."""

import pytest

from drivers.contracts import Mode, Rating, Reading, Supply
from drivers.errors import PortUnavailableError, SetPointRefusedError
from drivers.simulator.inline import SimulatedSupply
from drivers.simulator.parameters import PartParameters, SupplyParameters
from drivers.simulator.scenario import Scenario

BARE = (PartParameters(paint_ohm_per_sq=0),)


class Time:
    """A virtual clock."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def time() -> Time:
    return Time()


def supply(time: Time, **parameters: object) -> SimulatedSupply:
    quiet = {"current_noise_a": 0.0, "voltage_noise_v": 0.0}
    described = SupplyParameters.model_validate(quiet | parameters)
    made = SimulatedSupply(time, Scenario(parts=BARE, supply=described))
    made.open()
    return made


def test_a_run_through_the_contract(time: Time) -> None:
    simulated = supply(time)
    device: Supply = simulated
    device.set_points(3.6, 6.0)
    assert device.read() == Reading(1000.0, 0.0, 0.0, None, False)
    device.output(True)
    time.now_s += 100.0
    reading = device.read()
    assert (reading.monotonic_s, reading.current_a, reading.output_on) == (1100.0, 3.6, True)
    assert reading.mode is Mode.CONSTANT_CURRENT
    assert reading.voltage_v == pytest.approx(simulated.tank.voltage_at(3.6), abs=0.0006)
    device.output(False)
    time.now_s += 100.0
    assert device.read() == Reading(1200.0, 0.0, 0.0, None, False)
    truth = simulated.truth()
    # 100 s of 3.6 A, less the slew of 0.18 s, plus the decay of 0.02 s.
    assert truth.charge_ah * 3600 == pytest.approx(360.0 - 3.6 * 0.09 + 3.6 * 0.02)
    assert truth.deposited_g == pytest.approx(truth.charge_ah * 1.1855, rel=1e-4)
    assert truth.monotonic_s == 1200.0


def test_truth_of_a_12_hour_run_with_painted_part() -> None:
    time = Time()
    device = SimulatedSupply(time)
    device.open()
    device.set_points(1.0, 2.0)
    device.output(True)
    counted_c, before = 0.0, device.read()
    for _ in range(12 * 360):
        time.now_s += 10.0
        reading = device.read()
        assert reading.current_a is not None
        assert before.current_a is not None
        counted_c += 0.5 * (before.current_a + reading.current_a) * 10.0
        before = reading
    truth = device.truth()
    assert truth.charge_ah == pytest.approx(counted_c / 3600, rel=1e-3)
    assert truth.deposited_g == pytest.approx(truth.charge_ah * 1.1855, rel=1e-3)


def test_rating(time: Time) -> None:
    assert supply(time, current_a=10).rating == Rating(10.0, 30.0, 0.001, 0.01)


def test_opening_switches_the_output_off_and_closing_leaves_it(time: Time) -> None:
    device = supply(time)
    device.set_points(2.0, 6.0)
    device.output(True)
    device.close()
    device.close()
    time.now_s += 10.0
    assert device.truth().current_a == 2.0
    device.open()
    assert device.read().output_on is False


@pytest.mark.parametrize("call", ["read", "output", "set_points"])
def test_a_closed_supply_answers_nothing(time: Time, call: str) -> None:
    device = supply(time)
    device.close()
    arguments = {"read": (), "output": (True,), "set_points": (1.0, 1.0)}[call]
    with pytest.raises(PortUnavailableError, match="not open"):
        getattr(device, call)(*arguments)


def test_refused_set_points(time: Time) -> None:
    with pytest.raises(SetPointRefusedError, match=r"5\.5 A is out of range, allowed 0 to 5 A"):
        supply(time).set_points(5.5, 6.0)


@pytest.mark.parametrize(
    ("current_a", "voltage_v", "said"),
    [(5.5, 6.0, "set 5.5 A, reads back 5 A"), (1.0, 31.0, "set 31 V, reads back 30 V")],
)
def test_clipped_set_points(time: Time, current_a: float, voltage_v: float, said: str) -> None:
    with pytest.raises(SetPointRefusedError, match=said):
        supply(time, beyond_rating="clip").set_points(current_a, voltage_v)


def test_rounding_to_the_supplys_step_is_no_refusal(time: Time) -> None:
    device = supply(time)
    device.set_points(1.23449, 5.999)
    device.output(True)
    time.now_s += 10.0
    assert device.read().current_a == 1.234
