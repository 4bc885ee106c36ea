"""Lost parts and whiskers in short series of blocks: when they are told, in which words, till when.

A part of eight that is lost takes an eighth of the conductance: the voltage at the same current is
8/7 of what it was, ln(8/7) as a difference of logarithms.
"""

from math import exp, log
from types import SimpleNamespace

import numpy as np
import pytest

from daemon.control.protection.detectors.cell import Block
from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.parts import PartsAndWhiskers

T = CellThresholds()
EIGHTH = log(8.0 / 7.0)
CALM = {"usual": 0.0, "has_grown": False, "up": None}
RESTLESS = CALM | {"has_grown": True}


class Bench:
    """Shows blocks of `lasts_s` to the detector; the cell has 0.92 V at 1.5 A without an excess."""

    def __init__(self, lasts_s=1.0, **grains):
        self.parts = PartsAndWhiskers(T)
        self.lasts_s, self.now_s = lasts_s, 1000.0
        self.grains = {"grain_v": 0.0, "grain_a": 0.0} | grains

    def show(self, excesses, restless=CALM, at=None):
        """The causes told after each. `at` is the voltage and the current, else 1.5 A flow."""
        told = []
        for excess in np.asarray(excesses, dtype=float).tolist():
            self.now_s += self.lasts_s
            log_v, log_a = (log(0.92) + excess, log(1.5)) if at is None else np.log(at).tolist()
            block = Block(
                self.now_s, self.lasts_s, log_v, log_a, excess,
                jumped=False, steady=True, **self.grains,
            )  # fmt: skip
            self.parts.look(block, 0.15, SimpleNamespace(**restless))
            told.append(tuple(sign.cause for sign in self.parts.signs))
        return told

    def first_told(self, excesses, restless=CALM):
        """The number of the first block, counted from 1, after which anything is told, or None."""
        return next((n for n, told in enumerate(self.show(excesses, restless), 1) if told), None)

    @property
    def sign(self):
        (sign,) = self.parts.signs
        return sign


def level(blocks, size=0.0):
    return np.full(blocks, size)


def stood(*sizes, blocks=40):
    """A cell at rest, then on each of these levels in turn, for 40 blocks each."""
    bench = Bench()
    bench.show(level(40))
    for size in sizes:
        bench.show(level(blocks, size))
    return bench


# What is told, and when.


@pytest.mark.parametrize(
    ("lasts_s", "size", "blocks"),
    [
        # Found with four blocks after it and told with the next, at the earliest after 10 s of a
        # part and 5 s of a whisker.
        (1.0, EIGHTH, 10),
        (2.0, EIGHTH, 5),
        (3.0, EIGHTH, 5),
        (1.0, -EIGHTH, 5),
        (2.0, -EIGHTH, 5),
    ],
)
def test_a_part_is_told_after_10_s_and_a_whisker_after_5(lasts_s, size, blocks):
    bench = Bench(lasts_s)
    assert bench.first_told(level(60)) is None
    assert bench.first_told(level(30, size)) == blocks
    assert bench.sign.cause == ("part lost" if size > 0.0 else "whisker")
    assert bench.sign.repeat == 0
    assert bench.parts.shift == pytest.approx(size, abs=1e-3)


def test_a_lost_part_of_eight_in_words_and_figures():
    sign = stood(EIGHTH).sign
    # 0.92 V · 8/7 = 1.0514 V.
    assert sign.seen == (
        "the voltage stepped from 0.92 V to 1.05 V at 1.50 A: the cell conducts 12% less"
    )
    assert sign.figures == {
        "voltage_before_v": 0.92,
        "voltage_v": 1.0514,
        "current_before_a": 1.5,
        "current_a": 1.5,
        "conductance_percent": pytest.approx(-12.5, abs=0.1),
    }


def test_a_whisker_in_words_and_figures():
    sign = stood(log(0.80 / 0.92)).sign
    # 0.92/0.80 = 1.15.
    assert sign.seen == (
        "the voltage stepped from 0.92 V to 0.80 V at 1.50 A: the cell conducts 15% more"
    )
    assert sign.figures["conductance_percent"] == pytest.approx(15.0, abs=0.1)
    assert sign.figures["voltage_v"] == 0.8


def test_where_the_voltage_is_held_the_current_steps():
    bench = Bench()
    bench.show(level(40), at=(2.0, 1.6))
    # At the same voltage 1.4 A instead of 1.6 A: (1.6/1.4)^0.8 as a voltage at the same current.
    size = 0.8 * log(1.6 / 1.4)
    bench.show(level(20, size), at=(2.0, 1.4))
    assert bench.sign.seen == (
        "the current stepped from 1.60 A to 1.40 A at 2.00 V: the cell conducts 10% less"
    )
    assert bench.sign.figures == {
        "voltage_before_v": 2.0,
        "voltage_v": 2.0,
        "current_before_a": 1.6,
        "current_a": 1.4,
        "conductance_percent": pytest.approx(100.0 * (exp(-size) - 1.0), abs=0.1),
    }


def test_the_voltage_before_is_what_a_slope_would_have_led_to():
    bench = Bench()
    slope = 0.01
    bench.show(slope * np.arange(60))
    bench.show(slope * np.arange(60, 80) + 0.2)
    # The mean of four blocks after it is that at 61.5: 0.92 V · e^0.615, and e^0.2 times that.
    assert "from 1.70 V to 2.08 V at 1.50 A" in bench.sign.seen
    # The block just before it is left out: the mean of those before was at 56.5, 0.92 V · e^0.565.
    assert bench.sign.figures["voltage_before_v"] == 1.6187
    assert bench.sign.figures["conductance_percent"] == pytest.approx(-18.1, abs=0.3)


@pytest.mark.parametrize("slope", [-0.01, -0.04, 0.01, 0.04])
def test_on_a_slope_a_step_that_stays_is_told(slope):
    bench = Bench()
    bench.show(slope * np.arange(60))
    assert bench.first_told(slope * np.arange(60, 90) + 0.09) in (10, 11)
    assert bench.sign.cause == "part lost"


# What is not.


@pytest.mark.parametrize(
    ("size", "left", "is_told"),
    [
        (0.1, 0.0, False),
        (0.1, 0.045, False),
        (0.1, 0.055, True),
        (-0.1, 0.0, False),
        (-0.1, -0.045, False),
        (-0.1, -0.055, True),
        (0.1, -0.2, False),
    ],
)
def test_a_step_of_which_less_than_half_is_left_was_none(size, left, is_told):
    bench = Bench()
    bench.show(level(40))
    assert bench.show(level(4, size)) == [()] * 4
    if size < 0.0:
        # In shorter blocks there are more of them before its five seconds are over.
        bench.lasts_s = 0.2
    told = bench.show(level(5, left))
    told += bench.show(level(3, left))
    bench.lasts_s = 1.0
    told += bench.show(level(4, left))
    assert any(told) is is_told
    assert (bench.parts.shift != 0.0) is is_told


def test_a_part_that_swings_for_nine_seconds_is_none():
    bench = Bench()
    bench.show(level(40))
    assert bench.first_told([*level(7, 0.1), *level(40)]) is None


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(
    "swing", [[*level(2, 0.3), *level(5, -0.06)], [*level(3, -0.3), *level(8, 0.1)]]
)
def test_what_only_leads_back_from_a_swing_to_both_sides_is_no_step(swing, sign):
    bench = Bench()
    bench.show(level(60))
    assert bench.first_told(sign * np.array([*swing, *level(40)])) is None


def test_a_step_in_unrest_is_told_when_the_unrest_passes():
    bench = Bench()
    bench.show(level(40))
    assert not any(bench.show(level(20, 0.1), RESTLESS))
    assert bench.first_told(level(20, 0.1)) == 1


def test_in_unrest_of_more_than_30_s_a_step_was_a_contact():
    bench = Bench()
    bench.show(level(40))
    assert not any(bench.show(level(31, 0.1), RESTLESS))
    assert bench.first_told(level(60, 0.1)) is None
    # The 30th second is still waited for.
    bench = Bench()
    bench.show(level(40))
    assert not any(bench.show(level(30, 0.1), RESTLESS))
    assert bench.first_told(level(20, 0.1)) == 1


@pytest.mark.parametrize(
    ("up", "is_told"), [(None, True), (0.0, True), (0.024, True), (0.026, False), (0.2, False)]
)
def test_a_step_down_in_unrest_is_a_whisker_unless_it_leads_back_from_a_quarter_of_it(up, is_told):
    bench = Bench()
    bench.show(level(40))
    told = bench.show(level(25, -0.1), RESTLESS | {"up": up})
    assert any(told) is is_told


@pytest.mark.parametrize(("usual", "is_told"), [(0.019, False), (0.021, True)])
def test_where_noise_carries_a_value_across_its_digits_they_count_for_nothing(usual, is_told):
    # One and a half of a digit of 5 % is 7.5 %; noise of 0.4 of it makes means fine.
    bench = Bench(grain_v=0.05)
    bench.show(level(40), CALM | {"usual": usual})
    told = bench.show(level(20, 0.06), CALM | {"usual": usual})
    assert any(told) is is_told


def test_what_wanders_over_seconds_is_seen_with_longer_blocks_only():
    # Up and down by 1 % every three seconds: for a second's blocks that is hardly noise, and a
    # step has to pass 6 · √2 · 2.05 % of what it is for those of three.
    wander = 0.01 * np.tile([1.0, 1.0, 1.0, -1.0, -1.0, -1.0], 60)
    bench = Bench()
    assert bench.first_told(wander) is None
    assert bench.first_told(wander[:120] + 0.15) > 10
    assert bench.sign.cause == "part lost"


# What stands, and what ends it.


def test_a_part_that_is_hung_up_again_ends_it():
    bench = stood(EIGHTH)
    told = bench.show(level(20))
    assert [n for n, causes in enumerate(told, 1) if causes] == [1, 2, 3, 4]
    assert bench.parts.shift == pytest.approx(0.0, abs=1e-3)


def test_the_second_and_the_third_part_each_call_anew():
    bench = stood(EIGHTH, 2.0 * EIGHTH)
    sign = bench.sign
    # From the first level to the last: (7/8)² = 0.766, and 0.92 V · (8/7)² = 1.2016 V.
    assert (sign.cause, sign.repeat) == ("part lost", 1)
    assert sign.seen == (
        "the voltage stepped from 0.92 V to 1.20 V at 1.50 A: the cell conducts 23% less"
    )
    assert sign.figures["voltage_before_v"] == 0.92
    assert sign.figures["voltage_v"] == 1.2016
    assert bench.parts.shift == pytest.approx(2.0 * EIGHTH, abs=2e-3)
    bench.show(level(40, 3.0 * EIGHTH))
    assert bench.sign.repeat == 2
    assert bench.parts.shift == pytest.approx(3.0 * EIGHTH, abs=3e-3)


@pytest.mark.parametrize(
    ("back", "left"),
    [
        # Below a half of a whisker it jumps; up to twice it is gone; beyond, a part was lost too.
        (0.045, ["whisker"]),
        (0.055, []),
        (0.1, []),
        (0.195, []),
        (0.21, ["part lost"]),
    ],
)
def test_a_step_up_after_a_whisker(back, left):
    bench = stood(-0.1)
    assert bench.sign.cause == "whisker"
    # Not long enough for a whisker to be gone without a step.
    bench.show(level(30, -0.1 + back))
    assert [sign.cause for sign in bench.parts.signs] == left
    shift = {"whisker": -0.1, "part lost": back}[left[0]] if left else 0.0
    assert bench.parts.shift == pytest.approx(shift, abs=2e-3)
    if left == ["part lost"]:
        assert (bench.sign.repeat, "less" in bench.sign.seen) == (0, True)


@pytest.mark.parametrize(("down", "left"), [(0.045, ["part lost"]), (0.1, []), (0.21, ["whisker"])])
def test_a_step_down_after_a_lost_part(down, left):
    bench = stood(0.1, 0.1 - down)
    assert [sign.cause for sign in bench.parts.signs] == left


def test_a_whisker_is_gone_after_a_minute_with_less_than_half_of_it_left():
    bench = stood(-0.1)
    # It fades by 0.2 % a second, and no step is in that; a part that fades so would stay.
    fading = np.minimum(0.0, -0.1 + 0.002 * np.arange(1, 121))
    told = bench.show(fading)
    # At the 25th second a half of it is left; the mean of four blocks is one and a half behind.
    assert told.index(()) + 1 in (26 + 60, 27 + 60)
    assert bench.parts.shift == 0.0


def test_a_lost_part_stays_told_however_the_voltage_goes():
    bench = stood(0.1)
    fading = np.maximum(0.0, 0.1 - 0.002 * np.arange(1, 201))
    assert set(bench.show(fading)) == {("part lost",)}


def test_a_whisker_that_is_there_again_within_a_minute_was_never_gone():
    bench = stood(-0.1)
    up, down = -0.1 + 0.002 * np.arange(51), -0.002 * np.arange(51)
    assert set(bench.show([*up, *down, *up, *down])) == {("whisker",)}


def test_a_new_whisker_takes_its_whole_minute_to_be_gone():
    bench = stood(-0.1, 0.0, -0.1)
    fading = np.minimum(0.0, -0.1 + 0.002 * np.arange(1, 121))
    told = bench.show(fading)
    assert told.index(()) + 1 in (26 + 60, 27 + 60)


# The slope, breaks and forgetting.


@pytest.mark.parametrize("lasts_s", [0.5, 1.0, 2.0])
def test_the_slope_is_that_of_a_second(lasts_s):
    bench = Bench(lasts_s)
    bench.show(0.002 * lasts_s * np.arange(60))
    blocks_s = lasts_s if lasts_s > 0.9 else 2 * lasts_s
    assert bench.parts.slope_per_s == pytest.approx(0.002 * blocks_s / lasts_s)


def test_a_break_drops_what_was_not_told_yet_and_keeps_what_was():
    bench = stood(EIGHTH)
    bench.show(level(6, 2.0 * EIGHTH))
    bench.parts.clear()
    assert set(bench.show(level(40, 2.0 * EIGHTH))) == {("part lost",)}
    assert bench.sign.repeat == 0
    assert bench.parts.shift == pytest.approx(EIGHTH, abs=1e-3)
    bench.parts.clear()
    bench.show(level(40, 5.0))
    assert bench.sign.repeat == 0, "over a break nothing is compared"


def test_after_a_break_a_step_is_not_held_against_where_the_cell_was_before_it():
    bench = Bench()
    bench.show(level(60, -0.3))
    bench.parts.clear()
    bench.show(level(12))
    assert bench.first_told(level(20, 0.1)) == 10


def test_a_detector_that_forgot_is_as_a_new_one():
    bench = stood(-0.1)
    bench.show(level(6, -0.02))
    bench.parts.forget()
    assert (bench.parts.signs, bench.parts.shift, bench.parts.slope_per_s) == ((), 0.0, 0.0)
    fresh = Bench()
    fresh.now_s = bench.now_s
    for series in (level(20, -0.02), level(15, -0.12), 0.002 * np.arange(70) - 0.12):
        assert bench.show(series) == fresh.show(series)
        assert bench.parts.signs == fresh.parts.signs
        assert bench.parts.shift == fresh.parts.shift
        assert bench.parts.slope_per_s == fresh.parts.slope_per_s
