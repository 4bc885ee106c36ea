"""Frozen meters, and calm ones that only look like it."""

import re
from random import Random

import pytest

from daemon.control.protection.detectors.meter import ReadingFrozen
from daemon.control.protection.detectors.thresholds import Thresholds
from drivers.contracts import Mode


@pytest.fixture
def meter():
    return ReadingFrozen(Thresholds())


@pytest.fixture
def noise():
    return Random(5)


def rounded(value, step):
    return round(round(value / step) * step, 9)


def restless(meter, observe, noise, seconds, period_s=0.5, **more):
    """A meter with as much noise as its steps: 1 mA and 1 mV."""
    for n in range(round(seconds / period_s)):
        current_a = rounded(noise.gauss(1.0, 0.001), 0.001)
        voltage_v = rounded(noise.gauss(0.9, 0.001), 0.001)
        assert meter.look(observe(n * period_s, current_a, voltage_v, **more)) == ()


def test_a_meter_that_flickered_and_stops(meter, observe, noise):
    restless(meter, observe, noise, 300.0)
    found = [n for n in range(600, 1200) if (signs := meter.look(observe(0.5 * n, 1.001, 0.9)))]
    # Sixty seconds at the least, and many times the longest run of equal readings by chance.
    assert 60.0 <= 0.5 * found[0] - 300.0 <= 120.0
    assert signs[0].cause == "reading frozen"
    words = re.fullmatch(r"1\.001 A and 0\.900 V in (\d+) readings, for (\d+) s", signs[0].seen)
    # Two readings a second.
    assert int(words[2]) == pytest.approx(int(words[1]) / 2, abs=1)
    assert meter.look(observe(600.0, 1.002, 0.9)) == ()


def test_not_before_its_flicker_is_known(meter, observe, noise):
    restless(meter, observe, noise, 20.0)
    for n in range(40, 4000):
        assert meter.look(observe(0.5 * n, 1.001, 0.9)) == ()


def test_a_calm_meter_may_repeat_itself_for_hours(meter, observe):
    # It toggles where the truth lies between two steps, and rests everywhere else.
    for n in range(20_000):
        at_s = float(n)
        drift_v = 0.9 + 1e-6 * n
        current_a = 1.0 if n % 7 else 1.01
        if drift_v % 0.01 > 0.002:
            current_a = 1.0
        assert meter.look(observe(at_s, current_a, rounded(drift_v, 0.01))) == ()


def test_a_voltage_of_another_device_repeats_while_the_current_moves(meter, observe, noise):
    for n in range(5000):
        voltage_v = 0.9 + 0.001 * ((n // 50) % 5)
        seen = observe(0.1 * n, rounded(noise.gauss(1.0, 0.002), 0.001), voltage_v)
        assert meter.look(seen) == ()


def test_one_that_moves_but_in_one_of_both_is_not_judged(meter, observe, noise):
    for n in range(1000):
        current_a = rounded(noise.gauss(1.0, 0.003), 0.001)
        assert meter.look(observe(0.5 * n, current_a, 0.9)) == ()
    for n in range(1000, 3000):
        assert meter.look(observe(0.5 * n, 1.0, 0.9)) == ()


def test_what_moves_with_the_set_point_is_no_flicker(meter, observe):
    for n in range(200):
        at_s, current_a = 0.5 * n, 0.005 * n
        seen = observe(at_s, current_a, 0.9 * current_a, set_current_a=current_a, steady_s=0.5)
        assert meter.look(seen) == ()
    for n in range(200, 2000):
        assert meter.look(observe(0.5 * n, 1.0, 0.9)) == ()


def test_a_set_point_that_moved_under_a_calm_meter(meter, observe):
    for n in range(100):
        assert meter.look(observe(0.1 * n, 1.0, 0.9)) == ()
    found = [
        n
        for n in range(100, 200)
        if (signs := meter.look(observe(0.1 * n, 1.0, 0.9, set_current_a=1.8)))
    ]
    assert 0.1 * found[0] == pytest.approx(13.0)
    assert signs[0].seen.endswith(", while 1.000 A, then 1.800 A were asked for")


def test_a_change_within_its_steps_is_none(meter, observe):
    for n in range(400):
        seen = observe(0.1 * n, 1.0, 0.9, set_current_a=1.0 if n < 100 else 1.08)
        assert meter.look(seen) == ()


@pytest.mark.parametrize("held", [{"voltage_v": 4.0}, {"mode": Mode.CONSTANT_VOLTAGE}])
def test_at_the_ceiling_the_set_point_changes_nothing(meter, observe, held):
    shown = {"voltage_v": 2.0} | held
    for n in range(400):
        set_current_a = 1.0 if n < 100 else 1.8
        seen = observe(0.1 * n, 0.3, set_current_a=set_current_a, **shown)
        assert meter.look(seen) == ()


def test_without_a_voltage_nothing_is_said(meter, observe):
    for n in range(400):
        seen = observe(0.1 * n, 1.0, None, set_current_a=1.0 if n < 100 else 1.8)
        assert meter.look(seen) == ()


def flickered(meter, observe, changes, times=15, **more):
    """Steps up and down by so many mA and mV, again and again, a reading every two seconds."""
    at_s, shown = 0.0, 0
    for change in changes * times:
        assert meter.look(observe(at_s, 1.0 + shown / 1000, 0.9 + shown / 1000, **more)) == ()
        at_s, shown = at_s + 2.0, shown + change
    return at_s


def told_when(meter, observe, from_s, most_s=2000.0):
    """What is told of 1 A at 0.9 V from then on, and s since then; None if nothing is."""
    at_s = from_s
    while at_s < from_s + most_s:
        if signs := meter.look(observe(at_s, 1.0, 0.9)):
            return signs[0].seen, at_s - from_s
        at_s += 2.0
    return None


@pytest.mark.parametrize(
    ("changes", "is_restless"),
    [
        # A quarter of all changes has to be by more than a step.
        ([1, -1, 1, -1, 1, -1, 2, -2], True),
        ([1, -1, 1, -1, 1, -1, 1, -1, 2, -2], False),
        ([1, -1], False),
        ([2, -2, 3, -3], False),
    ],
)
def test_a_meter_is_restless_whose_flicker_is_often_more_than_a_step(
    meter, observe, changes, is_restless
):
    at_s = flickered(meter, observe, changes)
    told = told_when(meter, observe, at_s)
    assert told == (("1.000 A and 0.900 V in 31 readings, for 60 s", 60.0) if is_restless else None)


def test_fifty_changes_say_how_it_flickers(meter, observe):
    # Of the first reading there is no change, and the last leads back.
    assert told_when(meter, observe, flickered(meter, observe, [1, -2, 3, -2], 12)) is None
    meter.forget()
    assert told_when(meter, observe, flickered(meter, observe, [1, -2, 3, -2], 13)) is not None


@pytest.mark.parametrize(("steady_s", "is_learned"), [(4.9, False), (5.0, True)])
def test_flicker_counts_from_five_seconds_after_the_set_point_moved(
    meter, observe, steady_s, is_learned
):
    at_s = flickered(meter, observe, [1, -1, 2, -2], 20, steady_s=steady_s)
    assert (told_when(meter, observe, at_s) is not None) is is_learned


def test_what_moves_again_was_not_frozen_and_takes_its_whole_time_to_be_so(meter, observe):
    at_s = flickered(meter, observe, [1, -1, 2, -2], 20)
    assert told_when(meter, observe, at_s) is not None
    assert meter.look(observe(at_s + 62.0, 1.002, 0.902)) == ()
    assert meter.look(observe(at_s + 64.0, 1.002, 0.902)) == ()
    # Its longest run by chance was one of 31 readings now, and 20 times that is 620.
    assert told_when(meter, observe, at_s + 66.0)[1] == 2.0 * 620
