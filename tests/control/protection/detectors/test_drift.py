"""The slow rise of the voltage, on blocks made by hand: when it is told, and with which figures.

In blocks of a minute the slow level, an exponential mean over 60 s, is the excess itself; in
blocks of a second it comes up to a step of 1 by 1 - (1 - 1/60)^n after n of them.
"""

from math import log

import numpy as np
import pytest

from daemon.control.protection.detectors.cell import Block
from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.drift import VoltageDrift

T = CellThresholds()


class Bench:
    """Shows blocks of `lasts_s` of a cell of 0.92 V at 1.23456789 A that rises by the excess."""

    def __init__(self, lasts_s=60.0):
        self.drift = VoltageDrift(T)
        self.lasts_s, self.now_s = lasts_s, 7000.0

    def show(self, *excesses, steady=True):
        """What is told after each."""
        told = []
        for excess in excesses:
            log_v, log_a = log(0.92) + excess, log(1.23456789)
            block = Block(
                self.now_s, self.lasts_s, log_v, log_a, excess, 0.001, 0.001, False, steady
            )
            self.drift.look(block, excess)
            told.append(self.drift.signs)
            self.now_s += self.lasts_s
        return told

    def first_told(self, *excesses):
        """The number of the first block, counted from 1, after which it is told; None if none."""
        return next((n for n, signs in enumerate(self.show(*excesses), 1) if signs), None)


def test_a_step_of_30_percent_is_told_when_the_slow_mean_has_outrun_a_cooling_bath_for_a_minute():
    bench = Bench(lasts_s=1.0)
    bench.show(*[0.0] * 30)
    n = np.arange(1, 400)
    slow = 0.3 * (1.0 - (1.0 - 1.0 / 60.0) ** n)
    there = n[slow - 0.10 / 3600.0 * n > 0.15][0]
    told = there + 60
    assert (there, told) == (42, 102)
    assert bench.first_told(*[0.3] * 102) == told
    (sign,) = bench.drift.signs
    # 30 blocks and 101 more lie between the first, which is the least, and this one: 2.2 min;
    # 0.3 · (1 - (59/60)^102) = 0.246, that is 27.9 % more; 0.92 V · e^0.3 = 1.2419 V.
    assert sign.cause == "voltage drift"
    assert sign.seen == "1.24 V at 1.23 A: 28% more than at the least, 2 min before"
    assert sign.figures == {"voltage_v": 1.2419, "current_a": 1.2346, "rise_percent": 27.9}


def test_one_that_is_told_is_told_in_the_same_words_until_it_is_over():
    bench = Bench()
    told = bench.show(0.0, *[0.2] * 10, 0.4)
    assert told[-1] == told[3] != ()


@pytest.mark.parametrize(
    ("rise", "after"),
    [
        # Less the 10 % an hour of a bath: 0.152 is 0.1503 after a minute and 0.1487 after two.
        (0.16, 2),
        (0.155, 2),
        (0.152, None),
        (0.149, None),
    ],
)
def test_a_rise_of_15_percent_is_told_if_it_lasts_a_minute(rise, after):
    bench = Bench()
    bench.show(*[0.0] * 10)
    assert bench.first_told(*[rise] * 20) == after


def test_it_is_over_five_minutes_after_less_than_10_percent_are_left():
    bench = Bench()
    bench.show(*[0.0] * 10)
    # 0.1605 less 10 % an hour are 0.1005 after 36 minutes and 0.0988 after 37.
    told = bench.show(*[0.1605] * 60)
    assert [n for n, signs in enumerate(told, 1) if signs] == list(range(2, 37 + 5))


def test_a_rise_that_comes_back_within_five_minutes_is_one_and_the_same():
    bench = Bench()
    bench.show(*[0.0] * 10)
    assert all(bench.show(*[0.2] * 3, *[0.05] * 5, 0.2, *[0.05] * 5)[1:])
    assert bench.show(0.05) == [()]


def test_a_bath_may_cool_by_10_percent_an_hour_and_by_25_percent_in_a_night():
    bench = Bench()
    bench.show(0.0)
    # 9 % an hour, 0.0015 a minute: 0.25 and 0.15 are passed in the 267th, and that for a minute.
    assert bench.first_told(*(0.0015 * n for n in range(1, 400))) == 268


def test_a_rise_of_11_percent_an_hour_outruns_a_bath_by_1_percent_an_hour():
    bench = Bench()
    bench.show(0.0)
    # After 2.5 h no more is allowed: 0.25 is 150 minutes; 0.40 lie 218.2 minutes on.
    assert bench.first_told(*(0.11 / 60.0 * n for n in range(1, 400))) == 219 + 1


@pytest.mark.parametrize("lasts_s", [60.0, 120.0])
def test_blocks_that_last_long_are_their_own_mean(lasts_s):
    bench = Bench(lasts_s)
    bench.show(0.0, 0.0)
    assert bench.first_told(*[0.1] * 10) is None
    assert bench.first_told(*[0.25] * 10) == 2
    assert bench.drift.signs[0].figures["rise_percent"] == 28.4, "e^0.25"


def test_the_level_falls_with_the_voltage_at_once_and_the_rise_counts_from_there():
    bench = Bench()
    bench.show(0.0, -0.1, -0.5, -0.4, -0.4)
    assert bench.first_told(*[-0.2] * 5) == 2
    (sign,) = bench.drift.signs
    # e^0.3 = 1.35: from -0.5, which was four blocks before that one, to -0.2.
    assert sign.seen == "0.75 V at 1.23 A: 35% more than at the least, 4 min before"
    assert sign.figures["rise_percent"] == 35.0


def test_what_a_night_allows_counts_from_the_least():
    bench = Bench()
    bench.show(0.0, -0.2)
    # 5.4 % an hour up from -0.2: 0.25 are allowed and 0.15 more, so 0.4: 444.4 minutes.
    assert bench.first_told(*(-0.2 + 0.0009 * n for n in range(1, 500))) == 445 + 1


def test_on_a_ramp_the_level_goes_along():
    bench = Bench()
    bench.show(0.0, 0.1)
    ramp = [0.1 + 0.1 * n for n in range(1, 6)]
    assert bench.show(*ramp, steady=False) == [()] * 5
    # 0.6 is what 0.1 was, less some 10 % an hour; 0.06 more make 0.16 of it.
    assert bench.first_told(*[0.6] * 5) is None
    assert bench.first_told(*[0.68] * 5) == 2
    # e^0.18 = 1.197.
    assert bench.drift.signs[0].figures["rise_percent"] == 19.7


def test_where_it_is_first_seen_and_where_a_ramp_leads_is_no_rise():
    bench = Bench(lasts_s=1.0)
    assert bench.first_told(*[0.5] * 400) is None
    bench = Bench(lasts_s=1.0)
    bench.show(0.0)
    bench.show(*np.linspace(0.0, 0.5, 20), steady=False)
    assert bench.first_told(*[0.5] * 400) is None


def test_on_a_ramp_nothing_new_is_told():
    bench = Bench()
    bench.show(0.0, 0.0, 0.2)
    assert bench.show(*[0.2] * 5, steady=False) == [()] * 5
    assert all(bench.show(0.2, 0.2))


def test_what_was_told_stays_told_on_a_ramp():
    bench = Bench()
    bench.show(0.0, *[0.2] * 5)
    assert all(bench.show(*[0.2 - 0.1 * n for n in range(10)], steady=False))


def test_a_drift_that_was_forgotten_is_as_one_never_seen():
    bench, fresh = Bench(), Bench()
    bench.show(-0.5, *[0.2] * 20, 0.19)
    assert bench.drift.signs
    bench.drift.forget()
    assert bench.drift.signs == ()
    fresh.now_s = bench.now_s
    series = [0.3] * 5 + [0.46] * 5 + [0.2] * 10
    assert bench.show(*series) == fresh.show(*series)
