"""A cell that suddenly conducts many times as much: how much is too much, and since when."""

from dataclasses import replace

import pytest

from daemon.control.protection.detectors.conductance import Conductance
from daemon.control.protection.detectors.thresholds import Thresholds
from drivers.contracts import Mode

T = Thresholds()


class Bench:
    """Shows a sound cell's readings, one a second, and asks whether one is far beyond them."""

    def __init__(self, observe):
        self.conductance = Conductance(T)
        self.observe = observe
        self.now_s = 100.0

    def sound(self, seconds, current_a, voltage_v, **more):
        for _ in range(seconds):
            self.conductance.add(self.observe(self.now_s, current_a, voltage_v, **more), voltage_v)
            self.now_s += 1.0
        return self

    def leap(self, current_a, voltage_v, bound_v=None, **more):
        seen = self.observe(self.now_s, 9.9, voltage_v, **more)
        return self.conductance.leap(seen, current_a, voltage_v, bound_v)


@pytest.fixture
def bench(observe):
    return Bench(observe)


@pytest.mark.parametrize(
    ("current_a", "voltage_v", "is_one"),
    [
        # 0.1 A at 4 V are 25 mS. Five times that take 0.25 A at 2 V, and 0.125 A at 1 V.
        (0.24, 2.0, False),
        (0.26, 2.0, True),
        (0.12, 1.0, False),
        (0.13, 1.0, True),
        # A voltage that is higher than 0.8 of the one before may be one that is read late.
        (9.0, 3.1, True),
        (9.0, 3.3, False),
    ],
)
def test_a_cell_that_conducts_five_times_as_much_at_a_lower_voltage_is_one(
    bench, current_a, voltage_v, is_one
):
    bench.sound(20, 0.1, 4.0, ceiling_v=6.0)
    past = bench.leap(current_a, voltage_v, ceiling_v=6.0)
    assert (past is not None) is is_one
    if past is not None:
        assert (past.current_a, past.voltage_v) == (0.1, 4.0)
        assert bench.now_s - past.at_s <= 6.0


@pytest.mark.parametrize(("voltage_v", "is_one"), [(1.55, True), (1.65, False)])
def test_the_voltage_has_to_be_below_the_least_that_the_last_seconds_allow(
    bench, voltage_v, is_one
):
    bench.sound(20, 0.1, 4.0, ceiling_v=6.0)
    assert (bench.leap(2.0, voltage_v, bound_v=2.0, ceiling_v=6.0) is not None) is is_one
    # A bound above what was there says nothing.
    assert bench.leap(2.0, 3.3, bound_v=9.0, ceiling_v=6.0) is None


HELD = {"ceiling_v": 4.0, "set_current_a": 3.0}


@pytest.mark.parametrize(
    ("before", "now", "is_one"),
    [
        ({}, {}, True),
        ({}, {"ceiling_v": 4.1}, False),
        ({}, {"ceiling_v": 3.9}, True),
        # At 3.86 V no ceiling of 4 V held it, and neither where all that was asked for flowed.
        ({"voltage_v": 3.88}, {}, True),
        ({"voltage_v": 3.86}, {}, False),
        ({"set_current_a": 0.1}, {}, False),
        ({"set_current_a": 0.15}, {}, False),
        ({"set_current_a": 0.17}, {}, True),
    ],
)
def test_where_the_ceiling_held_the_current_more_of_it_at_the_same_voltage_is_one(
    bench, before, now, is_one
):
    shown = {"current_a": 0.1, "voltage_v": 4.0, "mode": Mode.CONSTANT_VOLTAGE} | HELD | before
    bench.sound(20, **shown)
    assert (bench.leap(2.0, 4.0, **(HELD | now)) is not None) is is_one


def test_nothing_is_said_of_a_cell_that_has_been_seen_for_less_than_ten_seconds(bench):
    bench.sound(10, 0.1, 4.0)
    bench.now_s -= 0.1
    assert bench.leap(2.0, 2.0) is None
    bench.now_s += 0.1
    assert bench.leap(2.0, 2.0) is not None


def test_only_the_last_seconds_say_what_is_five_times_as_much(bench):
    bench.sound(20, 0.2, 4.0).sound(3, 0.1, 4.0)
    # 50 mS are some seconds ago: five times that are 0.5 A at 2 V.
    assert bench.leap(0.45, 2.0) is None
    assert bench.leap(0.55, 2.0).current_a == 0.2
    bench.sound(6, 0.1, 4.0)
    # Now 25 mS are, and 0.25 A; of the best ever twice as much, 0.2 A.
    assert bench.leap(0.24, 2.0) is None
    assert bench.leap(0.26, 2.0).current_a == 0.1


def test_the_best_reading_of_the_last_seconds_counts(bench):
    bench.sound(20, 0.1, 4.0)
    bench.sound(1, 0.2, 4.0).sound(2, 0.1, 4.0)
    assert bench.leap(0.45, 2.0) is None
    assert bench.leap(0.55, 2.0).current_a == 0.2
    assert bench.leap(0.55, 2.0).at_s == 120.0


def test_a_contact_that_closes_leads_back_to_the_best_that_there_was(bench):
    # 1 A at 1 V once, then 0.1 A at 4 V: at 0.75 V twice the best is 1.5 A.
    bench.sound(12, 1.0, 1.0).sound(20, 0.1, 4.0)
    assert bench.leap(1.45, 0.75) is None
    assert bench.leap(1.55, 0.75) is not None


def test_what_a_cell_showed_for_a_moment_it_did_not_have(bench):
    # Each three seconds 1 S and twice 0.25 S: what it had all the time is a quarter of a siemens.
    for _ in range(5):
        bench.sound(1, 1.0, 1.0).sound(2, 0.25, 1.0)
    bench.sound(20, 0.1, 4.0)
    assert bench.leap(0.35, 0.75) is None
    assert bench.leap(0.40, 0.75) is not None


def test_a_current_that_hardly_shows_is_taken_for_40_ma(bench):
    # 10 mS: 0.1 A at 2 V.
    bench.sound(20, 0.005, 4.0)
    assert bench.leap(0.095, 2.0) is None
    assert bench.leap(0.105, 2.0) is not None


def test_a_voltage_that_hardly_shows_says_nothing(bench):
    bench.sound(20, 1.0, 0.09)
    assert bench.leap(90.0, 0.01) is None
    bench.sound(11, 0.01, 0.11)
    assert bench.leap(90.0, 0.01) is not None


def test_a_cell_that_was_forgotten_was_never_seen(bench):
    bench.sound(20, 1.0, 1.0)
    bench.conductance.forget()
    assert bench.leap(90.0, 0.5) is None
    bench.sound(9, 0.1, 4.0)
    assert bench.leap(90.0, 0.5) is None
    bench.sound(3, 0.1, 4.0)
    # Of 25 mS, not of 1 S.
    assert bench.leap(0.1, 0.75) is not None


def test_all_of_it_can_be_set(observe):
    bench = Bench(observe)
    bench.conductance = Conductance(replace(T, short_known_s=5.0, short_times=3.0))
    bench.sound(6, 0.1, 4.0)
    assert bench.leap(0.16, 2.0) is not None
