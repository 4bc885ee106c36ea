"""Each event's signature on the supply's meter, in constant current and in constant voltage."""

from dataclasses import dataclass
from itertools import pairwise
from statistics import mean, stdev

import pytest

from drivers.contracts import Mode
from drivers.errors import DescriptionError
from drivers.simulator.bench import Bench
from drivers.simulator.parameters import PartParameters, SupplyParameters
from drivers.simulator.power import Measurement
from drivers.simulator.scenario import Scenario, parse_event

QUIET = SupplyParameters(current_noise_a=0.0, voltage_noise_v=0.0)
BARE = (PartParameters(paint_ohm_per_sq=0),)
FOUR = tuple(PartParameters(area_dm2=0.45, paint_ohm_per_sq=0) for _ in range(4))


@dataclass
class Run:
    """A bench at work, read once a second."""

    bench: Bench

    def read(self, seconds: int = 1) -> list[Measurement]:
        seen = []
        for _ in range(seconds):
            self.bench.advance_to(self.bench.now_s + 1.0)
            seen.append(self.bench.supply.measure())
        return seen

    def do(self, do: str, **parameters: float) -> None:
        self.bench.inject(parse_event({"do": do, **parameters}))


def run(
    current_a: float,
    voltage_v: float,
    parts: tuple[PartParameters, ...] = BARE,
    events: tuple[dict[str, object], ...] = (),
) -> Run:
    scenario = Scenario(
        parts=parts, supply=QUIET, events=tuple(parse_event(event) for event in events)
    )
    bench = Bench(scenario, start_s=5000.0)
    bench.supply.program_current(current_a)
    bench.supply.program_voltage(voltage_v)
    bench.supply.switch(True)
    working = Run(bench)
    working.read(10)
    return working


def at_constant_current(parts: tuple[PartParameters, ...] = BARE) -> Run:
    return run(3.6, 6.0, parts)


def at_constant_voltage(parts: tuple[PartParameters, ...] = BARE) -> Run:
    return run(5.0, 1.0, parts)


def test_short_at_constant_current() -> None:
    bench = at_constant_current()
    before, *_ = bench.read()
    bench.do("short")
    after = bench.read(60)
    assert before.voltage_v > 1.0
    assert all(m.voltage_v < 0.3 for m in after)
    assert all(m.current_a == 3.6 and m.mode is Mode.CONSTANT_CURRENT for m in after)
    assert max(m.voltage_v for m in after) - min(m.voltage_v for m in after) < 0.01
    # Hardly anything passes through the parts any more.
    charge_c = bench.bench.tank.charge_c
    bench.read(10)
    assert bench.bench.tank.charge_c - charge_c < 0.2 * 36.0


def test_short_at_constant_voltage_drives_the_current_to_its_limit() -> None:
    bench = at_constant_voltage()
    before, *_ = bench.read()
    bench.do("short")
    after, *_ = bench.read()
    assert before.current_a < 4.0
    assert before.mode is Mode.CONSTANT_VOLTAGE
    assert after.current_a == 5.0
    assert after.mode is Mode.CONSTANT_CURRENT


def test_whisker_steps_the_voltage_down_jumps_and_recovers() -> None:
    bench = at_constant_current()
    before = bench.read()[0].voltage_v
    bench.do("whisker", lasts_s=120)
    during = [m.voltage_v for m in bench.read(118)]
    after = bench.read(10)[-1].voltage_v
    assert 0.05 < 1 - mean(during) / before < 0.30
    assert stdev(during) > 0.01
    assert all(volts < before for volts in during)
    assert after == pytest.approx(before, abs=0.005)


def test_lost_part_at_constant_current_steps_the_voltage_up() -> None:
    bench = at_constant_current(FOUR)
    before, *_ = bench.read()
    bench.do("lose_part", part=3)
    after, *_ = bench.read()
    assert after.current_a == 3.6
    assert 1.1 < after.voltage_v / before.voltage_v < 1.4
    grams = [part.deposited_g for part in bench.bench.tank.parts]
    bench.read(10)
    gained = [
        part.deposited_g - was for part, was in zip(bench.bench.tank.parts, grams, strict=True)
    ]
    assert gained[2] == 0.0
    assert gained[0] == pytest.approx(3.6 / 3 * 10 * 0.32931e-3, rel=1e-3)


def test_lost_part_at_constant_voltage_takes_its_share_of_the_current() -> None:
    bench = at_constant_voltage(FOUR)
    before, *_ = bench.read()
    bench.do("lose_part", part=1)
    after, *_ = bench.read()
    assert after.voltage_v == 1.0
    assert after.current_a / before.current_a == pytest.approx(3 / 4, abs=0.06)


@pytest.mark.parametrize("bench", [at_constant_current(), at_constant_voltage()])
def test_open_load_at_once(bench: Run) -> None:
    bench.do("open_load")
    at_once = bench.bench.supply.measure()
    after, *_ = bench.read()
    limit_v = bench.bench.supply.voltage_set_v
    assert at_once == (0.0, limit_v, at_once.mode)
    assert after == (0.0, limit_v, Mode.CONSTANT_VOLTAGE)
    charge_c = bench.bench.tank.charge_c
    bench.read(100)
    assert bench.bench.tank.charge_c == charge_c


def test_losing_every_part_is_an_open_load() -> None:
    bench = at_constant_current()
    bench.do("lose_part", part=1)
    after, *_ = bench.read()
    assert after == (0.0, 6.0, Mode.CONSTANT_VOLTAGE)


def test_bad_contact_is_noisy_and_up() -> None:
    bench = at_constant_current()
    before = [m.voltage_v for m in bench.read(200)]
    bench.do("bad_contact")
    during = bench.read(200)
    assert all(m.current_a == 3.6 for m in during if m.mode is Mode.CONSTANT_CURRENT)
    volts = [m.voltage_v for m in during]
    assert mean(volts) - mean(before) == pytest.approx(3.6 * 0.3, rel=0.25)
    assert stdev(volts) > 20 * stdev(before)


def test_drift_creeps_up_to_a_plateau_and_falls_with_the_current() -> None:
    bench = at_constant_current()
    before = bench.read()[0].voltage_v
    bench.do("drift", rate_v_per_h=2.0, limit_v=3.0)
    hour = [m.voltage_v for m in bench.read(3600)]
    assert hour[1799] - before == pytest.approx(1.0, rel=0.2)
    assert hour[3599] - hour[1799] == pytest.approx(1.0, rel=0.2)
    assert max(b - a for a, b in pairwise(hour)) < 0.01
    bench.read(3600)
    plateau = bench.read(2)
    assert plateau[0].voltage_v == pytest.approx(plateau[1].voltage_v, abs=0.001)
    assert 3.0 < plateau[0].voltage_v < 5.0
    bench.bench.supply.program_current(0.2)
    low, *_ = bench.read()
    assert low.voltage_v < 0.5 * plateau[0].voltage_v


def test_output_drops_by_itself() -> None:
    bench = at_constant_current()
    bench.do("output_drop")
    after, *_ = bench.read()
    assert after == (0.0, 0.0, None)
    assert not bench.bench.supply.output_on
    bench.bench.mend()
    assert not bench.bench.supply.output_on
    bench.bench.supply.switch(True)
    assert bench.read()[0].current_a == 3.6


def test_frozen_readings_repeat_whatever_happens() -> None:
    bench = at_constant_current()
    before, *_ = bench.read()
    bench.do("freeze_readings", lasts_s=50)
    bench.do("short")
    assert bench.read(49) == [before] * 49
    assert bench.bench.supply.mode is before.mode
    bench.read()
    assert bench.read()[0].voltage_v < 0.3


def test_events_come_and_go_at_their_moments() -> None:
    # Between two readings, so that only the truth can tell: 4 s of no current in 20 s of 2 A.
    bench = run(2.0, 6.0, events=({"do": "open_load", "at_s": 13.25, "lasts_s": 4.0},))
    before_c = bench.bench.tank.charge_c
    bench.bench.advance_to(bench.bench.now_s + 20.0)
    # Back on, the current rises to 2 A at 20 A/s.
    assert bench.bench.tank.charge_c - before_c == pytest.approx(2.0 * 16.0 - 0.5 * 2.0 * 0.1)


def test_a_surge_drives_more_than_the_set_point_as_far_as_the_voltage_goes() -> None:
    bench = at_constant_current()
    bench.do("surge", current_a=1.0, lasts_s=20)
    assert [m.current_a for m in bench.read(18)[1:]] == [pytest.approx(4.6)] * 17
    assert [m.current_a for m in bench.read(10)[3:]] == [pytest.approx(3.6)] * 7
    held = at_constant_voltage()
    before, *_ = held.read()
    held.do("surge", current_a=1.0)
    assert held.read(10)[-1].current_a == pytest.approx(before.current_a, rel=0.01)


def test_a_supply_that_folds_back_gives_less_than_its_set_point() -> None:
    bench = at_constant_current()
    before, *_ = bench.read()
    bench.do("fold_back", current_a=0.5, lasts_s=20)
    low = bench.read(18)[-1]
    assert (low.current_a, low.mode) == (pytest.approx(0.5), Mode.CONSTANT_CURRENT)
    assert low.voltage_v < before.voltage_v
    assert bench.read(10)[-1].current_a == pytest.approx(3.6)


def test_an_event_can_be_injected_for_later() -> None:
    bench = at_constant_current()
    bench.do("short", at_s=30.0)
    seen = [m.voltage_v < 0.3 for m in bench.read(40)]
    assert seen.index(True) in (29, 30)
    assert all(seen[30:])


def test_two_events_at_once_come_in_their_order() -> None:
    bench = run(
        2.0,
        6.0,
        events=({"do": "freeze_readings", "at_s": 20}, {"do": "short", "at_s": 20}),
    )
    before = bench.read()[0]
    assert bench.read(30)[-1].voltage_v == pytest.approx(before.voltage_v, abs=0.01)


def test_mend_ends_every_fault() -> None:
    bench = at_constant_current(FOUR)
    before, *_ = bench.read()
    for do in ("short", "whisker", "bad_contact", "drift", "open_load", "surge", "fold_back"):
        bench.do(do, lasts_s=40)
    bench.do("freeze_readings", lasts_s=40)
    bench.do("lose_part", part=2)
    bench.read(20)
    bench.bench.mend()
    after = bench.read(60)
    assert after[0].voltage_v == pytest.approx(before.voltage_v, abs=0.005)
    assert after[-1].voltage_v == pytest.approx(before.voltage_v, abs=0.005)


def test_the_same_seed_tells_the_same_story() -> None:
    def story(seed: int) -> list[Measurement]:
        bench = Bench(Scenario(parts=FOUR), start_s=0.0, seed=seed)
        bench.supply.program_current(3.0)
        bench.supply.program_voltage(6.0)
        bench.supply.switch(True)
        working = Run(bench)
        working.do("whisker")
        working.do("bad_contact")
        return working.read(50)

    assert story(7) == story(7)
    assert story(7) != story(8)


def test_time_does_not_run_backwards() -> None:
    bench = at_constant_current().bench
    truth = bench.truth()
    bench.advance_to(bench.now_s - 100.0)
    assert bench.truth() == truth


def test_an_event_for_a_part_that_is_not_there_is_refused() -> None:
    bench = at_constant_current(FOUR)
    with pytest.raises(DescriptionError, match="part 5 does not exist, allowed 1 to 4"):
        bench.do("lose_part", part=5)
