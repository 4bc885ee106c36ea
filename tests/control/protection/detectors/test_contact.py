"""Restless voltages on short series of readings, and when a restless one is a bad contact's.

A value that goes up and down by `a` in turn is 4a from the middle of its neighbours, twice over:
its bend. Of a normal law whose mean square bend that is the variance is a sixth of it, so that the
standard deviation is 4a/√6.
"""

from math import sqrt
from types import SimpleNamespace

import numpy as np
import pytest

from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.contact import BadContact, Restless

T = CellThresholds()
OF_ZIGZAG = 4.0 / sqrt(6.0)


class Bench:
    """Shows values, each a reading's ln V - p·ln I, to one that watches how they jump."""

    def __init__(self, period_s=1.0, voltage_v=1.0, grain=0.0):
        self.restless = Restless(T)
        self.period_s, self.voltage_v, self.grain = period_s, voltage_v, grain
        self.now_s = 300.0

    def show(self, values, slope_per_s=0.0):
        for value in np.asarray(values, dtype=float).tolist():
            self.now_s += self.period_s
            self.restless.take(self.now_s, value, self.voltage_v, self.grain, slope_per_s)
        return self

    def first(self, values, what):
        """The number of the first value, counted from 1, after which that holds; None if none."""
        return next((n for n, value in enumerate(values, 1) if what(self.show([value]))), None)


def zigzag(readings, a):
    """Up and down by `a` in turn, up in the first."""
    return a * (-1.0) ** np.arange(readings)


def is_there(bench):
    return bench.restless.is_there


# How much it usually jumps.


@pytest.mark.parametrize("voltage_v", [0.5, 4.0])
@pytest.mark.parametrize("readings", [11, 12, 200])
def test_what_is_usual_is_a_share_of_the_voltage_and_a_standard_deviation(voltage_v, readings):
    bench = Bench(voltage_v=voltage_v).show(zigzag(readings, 0.002))
    # The second reading has a neighbour on one side only: its bend is half as great.
    bends = np.array([2.0, *[4.0] * (readings - 2)]) * 0.002
    assert bench.restless.usual == pytest.approx(sqrt(np.mean(bends**2) / 6.0))
    assert bench.restless.amount == pytest.approx(0.002 * OF_ZIGZAG, rel=0.05)
    assert not bench.restless.is_there
    assert not bench.restless.has_grown


def test_of_a_normal_law_it_is_the_standard_deviation():
    bench = Bench().show(np.random.default_rng(2).normal(0.0, 0.003, 600))
    assert bench.restless.usual == pytest.approx(0.003, rel=0.05)


def test_the_noise_of_a_meter_stays_the_same_while_the_voltage_grows():
    bench = Bench(voltage_v=0.5).show(zigzag(200, 0.002))
    bench.voltage_v = 2.0
    bench.show(zigzag(1, 0.002))
    assert bench.restless.usual == pytest.approx(0.002 * OF_ZIGZAG / 4.0, rel=0.05)


def test_slopes_are_not_restless():
    bench = Bench().show(0.01 * np.arange(100))
    # But for the first reading, which has no neighbour before it.
    assert bench.restless.usual == pytest.approx(0.01 / sqrt(6.0 * 99.0))
    assert bench.restless.amount < 1e-5


@pytest.mark.parametrize(("period_s", "weight"), [(0.4, 0.1), (0.2, 0.05), (1.0, 0.2), (9.0, 0.2)])
def test_the_amount_is_a_mean_over_4_s_or_five_readings(period_s, weight):
    bench = Bench(period_s).show(np.zeros(50)).show(zigzag(12, 0.02))
    # From rest the first bends are 1 and 3 times the amplitude.
    squares = (0.02 * np.array([1.0, 3.0, *[4.0] * 10])) ** 2 / 6.0
    weights = weight * (1.0 - weight) ** np.arange(11, -1, -1)
    assert bench.restless.amount == pytest.approx(sqrt(weights @ squares))


def test_what_may_be_a_fault_teaches_little_of_what_is_usual():
    bench = Bench().show(zigzag(300, 0.002))
    usual = bench.restless.usual
    bench.show(zigzag(20, 0.2))
    # Each counts 9 times the square at the most, and is 1/300 of what is learned; but for the
    # first, after which nothing is known to be wrong yet, a fifth of that.
    most = usual * sqrt((1.0 + 8.0 / 300.0) * (1.0 + 8.0 / 1500.0) ** 19)
    assert bench.restless.usual == pytest.approx(most, rel=0.003)


def test_what_is_quiet_teaches_what_is_usual_over_five_minutes():
    bench = Bench().show(zigzag(600, 0.002))
    before = bench.restless.usual**2
    bench.show(zigzag(60, 0.003))
    after = (0.003 * OF_ZIGZAG) ** 2
    left = (1.0 - 1.0 / 300.0) ** 60
    assert bench.restless.usual**2 == pytest.approx(after + left * (before - after), rel=0.01)


# When it is restless.


@pytest.mark.parametrize(("amount", "is_restless"), [(0.0097, False), (0.0103, True)])
@pytest.mark.parametrize("voltage_v", [0.5, 4.0])
def test_below_1_percent_nothing_is_restless(amount, is_restless, voltage_v):
    bench = Bench(voltage_v=voltage_v).show(np.zeros(50))
    assert (bench.first(zigzag(60, amount / OF_ZIGZAG), is_there) is not None) is is_restless


@pytest.mark.parametrize(("amount", "is_restless"), [(0.029, False), (0.031, True)])
def test_what_the_last_digits_make_of_it_is_not_restless(amount, is_restless):
    bench = Bench(grain=0.03).show(np.zeros(50))
    assert (bench.first(zigzag(60, amount / OF_ZIGZAG), is_there) is not None) is is_restless


@pytest.mark.parametrize(("times", "is_restless"), [(2.4, False), (2.75, True)])
def test_it_has_to_jump_two_and_a_half_times_as_much_as_usual(times, is_restless):
    bench = Bench().show(zigzag(400, 0.01))
    assert (bench.first(zigzag(20, 0.01 * times), is_there) is not None) is is_restless


@pytest.mark.parametrize(("period_s", "readings"), [(0.4, 4), (1.0, 5), (5.0, 5)])
def test_one_reading_adds_three_tenths_of_it_at_the_most(period_s, readings):
    # 0.3 · (1 + 0.8 + 0.8² + 0.8³) is 0.89, and 1.01 with 0.8⁴; 0.3 · (1 + 0.9 + 0.9²) is 0.81.
    bench = Bench(period_s).show(np.zeros(50))
    assert bench.first(zigzag(20, 1.0), is_there) == readings


@pytest.mark.parametrize(
    "values",
    [[0.5, *[0.0] * 20], [-0.5, *[0.0] * 20], [0.5] * 20, [-0.5] * 20, [0.5, 0.5, *[0.0] * 20]],
    ids=["glitch up", "glitch down", "step up", "step down", "two readings"],
)
def test_a_glitch_and_a_step_are_not_restless(values):
    bench = Bench().show(np.zeros(50))
    assert bench.first(values, is_there) is None


def test_nothing_is_restless_in_the_first_ten_readings():
    # What jumps from the first is usual.
    assert Bench().first([*np.zeros(3), *zigzag(60, 0.3)], is_there) is None


def test_it_has_grown_with_three_times_the_usual_square_and_a_quarter_of_what_is_restless():
    def has_grown(bench):
        return bench.restless.has_grown

    # √3 of the usual is 1.73; a half of 2.5 times the usual is less.
    assert Bench().show(zigzag(400, 0.01)).first(zigzag(15, 0.0168), has_grown) is None
    assert Bench().show(zigzag(400, 0.01)).first(zigzag(15, 0.0190), has_grown) is not None
    # A half of 1 %.
    assert Bench().show(np.zeros(50)).first(zigzag(40, 0.0048 / OF_ZIGZAG), has_grown) is None
    assert Bench().show(np.zeros(50)).first(zigzag(40, 0.0052 / OF_ZIGZAG), has_grown) is not None


# Where its mean is.


def test_the_level_is_known_after_ten_seconds_of_quiet():
    known = Bench().first(np.zeros(30), lambda bench: bench.restless.up is not None)
    # The first reading is that from which the seconds are counted.
    assert known == 11
    assert Bench(0.25).first(np.zeros(60), lambda bench: bench.restless.up is not None) == 41


@pytest.mark.parametrize("period_s", [0.5, 1.0])
@pytest.mark.parametrize("by", [0.1, -0.1])
def test_in_unrest_the_mean_is_held_against_the_level_of_before(by, period_s):
    bench = Bench(period_s).show(np.full(50, 0.7))
    assert bench.restless.up == pytest.approx(0.0, abs=1e-12)
    values = 0.7 + by + zigzag(12, 0.05)
    bench.show(values)
    assert bench.restless.up == pytest.approx(np.mean(values) - 0.7)
    # The standard error of a mean of twelve.
    assert bench.restless.chance == pytest.approx(bench.restless.amount / sqrt(12.0))


@pytest.mark.parametrize(
    ("period_s", "weight"), [(0.5, 1.0 / 60.0), (1.0, 1.0 / 30.0), (5.0, 1.0 / 30.0)]
)
def test_the_mean_is_one_over_30_s_or_thirty_readings(period_s, weight):
    bench = Bench(period_s).show(np.zeros(60)).show(0.5 + zigzag(400, 0.05))
    bench.show(0.6 + zigzag(20, 0.05))
    # As good as all of it was 0.5, up to twenty readings ago.
    assert bench.restless.up == pytest.approx(0.6 - 0.1 * (1.0 - weight) ** 20, abs=2e-3)
    assert bench.restless.chance == pytest.approx(bench.restless.amount * sqrt(weight))


def test_in_quiet_the_level_goes_along_within_ten_seconds():
    # 0.1 mV is no unrest; ten readings leave 0.9^10 of it.
    bench = Bench().show(np.zeros(50)).show(np.full(10, 1e-4)).show([0.5])
    assert bench.restless.up == pytest.approx(0.5 - 1e-4 * (1.0 - 0.9**10), abs=1e-7)


@pytest.mark.parametrize("slope", [0.002, -0.002])
@pytest.mark.parametrize("period_s", [0.5, 1.0, 15.0])
def test_the_level_goes_on_as_it_went_for_some_seconds(slope, period_s):
    bench = Bench(period_s)
    risen = slope * period_s
    bench.show(risen * np.arange(400), slope_per_s=slope)
    values = risen * np.arange(400, 412) + 0.1 + zigzag(12, 0.05)
    bench.show(values, slope_per_s=9.0)
    # A tenth of the slope is lost in each second: the level goes by 1 + 0.9 + 0.9² + ... of it.
    lost = min(1.0, period_s / 10.0)
    level = risen * 399 + risen * np.cumsum((1.0 - lost) ** np.arange(12))
    assert bench.restless.up == pytest.approx(np.mean(values - level))


def test_after_ten_seconds_of_quiet_the_mean_is_the_level_again():
    bench = Bench().show(np.zeros(50)).show([1.0, 0.0])
    # The glitch has three bends, of which each adds 0.3 · 1 %² at the most, and a fifth fades in
    # each second: 0.732 · (1 %)² · 0.8^n is below (0.1 mV)² from n = 40 on, and for 10 s from 49.
    back = bench.first(np.zeros(80), lambda bench: bench.restless.up == 0.0)
    assert back == 1 + 49


# Forgetting.


def test_after_a_break_nothing_is_compared_with_what_was_before_it():
    bench = Bench().show(zigzag(200, 0.004)).show(zigzag(10, 0.5))
    usual = bench.restless.usual
    assert bench.restless.is_there
    bench.restless.interrupt()
    assert bench.restless.up is None
    assert bench.restless.usual == bench.restless.amount == pytest.approx(usual)
    assert not bench.restless.is_there
    assert not bench.restless.has_grown
    bench.now_s += 500.0
    known = bench.first(5.0 + zigzag(30, 0.004), lambda bench: bench.restless.up is not None)
    assert known == 11
    assert bench.restless.up == pytest.approx(0.0, abs=0.01)
    assert not bench.restless.has_grown


def test_a_mean_begins_anew_after_a_break():
    bench = Bench().show(np.zeros(50)).show(0.5 + zigzag(10, 0.05))
    bench.restless.interrupt()
    bench.show(np.zeros(50))
    bench.show(0.3 + zigzag(4, 0.05))
    assert bench.restless.up == pytest.approx(0.3)
    assert bench.restless.chance == pytest.approx(bench.restless.amount / 2.0)
    bench.restless.interrupt()
    # Of five readings the first is but compared with.
    bench.show(0.3 + zigzag(5, 0.05))
    assert bench.restless.chance == pytest.approx(bench.restless.amount / 2.0)


def test_one_that_forgot_is_as_a_new_one():
    bench = Bench(voltage_v=3.0).show(zigzag(200, 0.004), 0.01).show(0.3 + zigzag(20, 0.5), 0.02)
    bench.restless.forget()
    fresh = Bench(voltage_v=3.0)
    fresh.now_s = bench.now_s
    for value in [*zigzag(15, 0.01), *np.zeros(20), *(0.1 + zigzag(20, 0.2))]:
        seen = [
            (one.usual, one.amount, one.chance, one.up, one.is_there, one.has_grown)
            for one in (bench.show([value]).restless, fresh.show([value]).restless)
        ]
        assert seen[0] == seen[1]
    assert seen[0][-2:] == (True, True)


# A bad contact.

JUMPS = {"is_there": True, "up": 0.1, "amount": 0.06, "chance": 0.01}


@pytest.fixture
def look(observe):
    """Shows restlessness of that kind for some seconds; the seconds at which a sign was there."""
    contact = BadContact(T)

    def show(seconds, **jumps):
        told = []
        for second in seconds:
            contact.look(observe(float(second), 1.5, 0.92), SimpleNamespace(**(JUMPS | jumps)))
            told += [second] if contact.signs else []
        return told

    show.contact = contact
    return show


def test_a_bad_contact_is_told_after_8_s_and_what_was_seen_of_it(look):
    assert look(range(20), amount=0.06123) == list(range(8, 20))
    (sign,) = look.contact.signs
    assert sign.cause == "bad contact"
    # e^0.1 is 1.1052.
    assert sign.seen == (
        "the voltage jumps by 6.1% from reading to reading, and is up by 10.5% in the mean, "
        "at 1.50 A"
    )
    assert sign.figures == {
        "current_a": 1.5,
        "voltage_v": 0.92,
        "jumps_percent": 6.12,
        "up_percent": 10.52,
    }


@pytest.mark.parametrize(
    ("jumps", "is_told"),
    [
        # A quarter of what it jumps by and twice the standard error: 0.25 · 6 % + 2 · 1 %.
        ({"up": 0.034}, False),
        ({"up": 0.036}, True),
        ({"up": -0.1}, False),
        ({"up": None}, False),
        ({"is_there": False}, False),
        ({"amount": 0.31}, True),
        ({"amount": 0.33}, False),
        ({"chance": 0.042}, True),
        ({"chance": 0.043}, False),
    ],
)
def test_a_contact_only_adds_resistance(look, jumps, is_told):
    assert bool(look(range(60), **jumps)) is is_told


def test_unrest_of_less_than_8_s_is_none(look):
    assert look(range(8)) == []
    assert look([8], up=0.0) == []
    assert look(range(9, 17)) == []


def test_it_is_good_again_after_a_minute_without_unrest(look):
    look(range(10))
    assert look(range(10, 80), is_there=False) == list(range(10, 70))


def test_bad_ones_come_and_go_and_what_was_told_needs_no_raised_mean(look):
    look(range(10))
    sign = look.contact.signs
    assert look(range(10, 60), is_there=False) == list(range(10, 60))
    assert look(range(60, 62), up=-0.5) == [60, 61]
    assert look(range(62, 130), is_there=False) == list(range(62, 122))
    assert sign[0].seen.startswith("the voltage jumps by 6.0%")


def test_what_is_told_stays_in_the_words_in_which_it_was_told(look):
    look(range(10))
    sign = look.contact.signs
    look(range(10, 30), amount=0.2, up=0.5)
    assert look.contact.signs == sign


def test_a_contact_that_was_forgotten_takes_its_whole_time_again(look):
    look(range(10))
    look.contact.forget()
    assert look.contact.signs == ()
    assert look(range(10, 30)) == list(range(18, 30))
