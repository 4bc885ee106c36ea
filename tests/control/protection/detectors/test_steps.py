"""Steps in short series of blocks made by hand: which are found, when, and how great.

A series that goes up and down by `a` in turn bends by 4a in each block. Of a normal law whose mean
bend that is the standard deviation is √(π/2)/√6 · 4a, which is 2.047a.
"""

from math import exp, log, pi, sqrt

import numpy as np
import pytest

from daemon.control.protection.detectors.cell import Block
from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.steps import StepFinder

T = CellThresholds()
SIGMA_OF_ZIGZAG = 4.0 * sqrt(pi / 2.0) / sqrt(6.0)


class Bench:
    """Shows blocks to a finder, and keeps the first step: `found` after the block of that number.

    The cell has `voltage_v` and 1.5 A where its excess is 0, and its current stands still, unless
    a list says by how much more it is, as a difference of logarithms.
    """

    def __init__(self, span_s=1.0, lasts_s=1.0, voltage_v=1.0, **more):
        self.finder = StepFinder(span_s, T)
        self.lasts_s, self.voltage_v, self.now_s = lasts_s, voltage_v, 1000.0
        self.more = {"grain_v": 0.0, "grain_a": 0.0, "exponent_u": 0.15, "wander_v": 0.0} | more
        self.found = self.step = None

    def show(self, excesses, moved_a=0.0, steady=True):
        m = self.more
        excesses, moves = np.broadcast_arrays(np.asarray(excesses, dtype=float), moved_a)
        for n, (excess, moved) in enumerate(zip(excesses.tolist(), moves.tolist(), strict=True), 1):
            self.now_s += self.lasts_s
            log_v = log(self.voltage_v) + excess
            block = Block(
                self.now_s, self.lasts_s, log_v, log(1.5) + moved, excess,
                m["grain_v"], m["grain_a"], False, steady,
            )  # fmt: skip
            step = self.finder.add(block, m["exponent_u"], m["wander_v"])
            if step is not None and self.step is None:
                self.found, self.step = n, step
        return self


def zigzag(blocks, a):
    """Up and down by `a` in turn, up in the first."""
    return a * (-1.0) ** np.arange(blocks)


def level(blocks, size=0.0):
    return np.full(blocks, size)


# A clean step.


@pytest.mark.parametrize("size", [0.03, log(8.0 / 7.0), -0.05, -0.3])
@pytest.mark.parametrize("lasts_s", [1.0, 2.5])
def test_a_clean_step_is_found_when_four_blocks_lie_on_each_side(size, lasts_s):
    bench = Bench(lasts_s=lasts_s, voltage_v=0.92).show(level(20))
    assert bench.step is None
    began_s = bench.now_s
    bench.show(level(10, size))
    assert bench.found == 4
    step = bench.step
    assert step.at_s == pytest.approx(began_s), "the end of the last block before it"
    assert step.size == pytest.approx(size, abs=3e-4)
    assert step.slope_per_s == pytest.approx(0.0, abs=1e-12)
    assert step.before == pytest.approx((0.0, log(0.92), log(1.5)))
    assert step.after == pytest.approx((size, log(0.92) + size, log(1.5)))


@pytest.mark.parametrize(
    ("span_s", "lasts_s", "blocks"), [(3.0, 1.0, 3), (9.0, 1.0, 9), (3.0, 2.0, 2), (3.0, 0.9, 3)]
)
def test_longer_blocks_are_made_of_those_of_the_cell(span_s, lasts_s, blocks):
    bench = Bench(span_s, lasts_s).show(level(20 * blocks))
    began_s = bench.now_s
    bench.show(level(10 * blocks, 0.1))
    assert bench.found == 4 * blocks
    assert bench.step.at_s == pytest.approx(began_s)
    assert bench.step.size == pytest.approx(0.1, abs=3e-4)
    assert bench.finder.after_blocks == 5 * blocks, "the last before it, and four after"


def test_a_longer_block_is_the_mean_of_its_blocks():
    bench = Bench(3.0).show(np.tile([0.003, -0.001, -0.002], 20))
    bench.show(np.tile([0.103, 0.099, 0.098], 4), moved_a=np.tile([0.0003, 0.0, 0.0], 4))
    assert bench.step.before == pytest.approx((0.0, 0.0, log(1.5)))
    assert bench.step.after == pytest.approx((0.1, 0.1, log(1.5) + 0.0001))


@pytest.mark.parametrize(
    ("share", "found", "size"),
    [
        # Four blocks after it are (3 + share)/4 of it in the mean; 0.55 of that lie between all
        # before and all after if the share is 0.478 at the least.
        (0.50, 4, 0.1 * 3.5 / 4.0),
        (0.46, 5, 0.1),
    ],
)
def test_a_step_within_a_block_leaves_that_block_out(share, found, size):
    bench = Bench().show(level(20)).show([0.1 * share, *level(9, 0.1)])
    assert bench.found == found
    assert bench.step.size == pytest.approx(size, abs=5e-4)


@pytest.mark.parametrize("size", [0.1, -0.1, 0.5, -0.5])
def test_what_swings_over_in_a_dozen_blocks_is_no_step(size):
    swing = size * 0.5 * (1.0 - np.cos(pi * np.linspace(0.0, 1.0, 13)))
    assert Bench().show(level(20)).show(swing).show(level(20, size)).step is None


@pytest.mark.parametrize("size", [0.1, -0.1])
def test_what_is_back_after_three_blocks_is_no_step(size):
    assert Bench().show(level(20)).show(level(3, size)).show(level(20)).step is None


def test_nothing_is_said_before_nine_blocks_were_seen():
    assert Bench().show(level(3)).show(level(20, 0.1)).step is None
    # Four bends are no noise that is known; seven are.
    assert Bench().show(level(5)).show(level(4, 0.1), moved_a=0.0).step is None


# How great it has to be.


@pytest.mark.parametrize(
    ("size", "is_found"), [(0.0195, False), (0.0205, True), (-0.0345, False), (-0.0355, True)]
)
def test_a_part_takes_2_percent_and_a_whisker_3_and_a_half(size, is_found):
    assert (Bench().show(level(20)).show(level(5, size)).step is not None) is is_found


@pytest.mark.parametrize(
    ("size", "is_found"), [(0.0295, False), (0.0305, True), (-0.0445, False), (-0.046, True)]
)
def test_a_step_is_one_and_a_half_last_digits_at_the_least(size, is_found):
    grain_v = 0.02 if size > 0.0 else 0.03
    bench = Bench(grain_v=grain_v).show(level(20)).show(level(5, size))
    assert (bench.step is not None) is is_found


def test_the_last_digit_of_a_current_that_stands_still_counts_for_nothing():
    still = Bench(grain_a=0.1, exponent_u=0.0).show(level(20))
    assert still.show(level(5, 0.1), moved_a=0.02).step is not None
    moved = Bench(grain_a=0.1, exponent_u=0.0).show(level(20))
    assert moved.show(level(5, 0.1), moved_a=-0.03).step is None
    greater = Bench(grain_a=0.1, grain_v=0.02, exponent_u=0.0).show(level(20))
    assert greater.show(level(5, 0.179), moved_a=-0.03).step is None
    assert greater.show(level(5, 0.0)).show(level(20)).show(level(5, 0.2), -0.03).step is not None


@pytest.mark.parametrize(
    ("size", "moved_a", "is_found"),
    [
        # 2 % for a part, 3.5 % for a whisker, and three times 0.1 of what the current moved by.
        (0.049, -0.1, False),
        (0.051, -0.1, True),
        (0.051, 0.1, True),
        (-0.064, 0.1, False),
        (-0.066, 0.1, True),
        (0.079, -0.2, False),
        (0.081, -0.2, True),
    ],
)
def test_where_the_current_moved_the_curve_is_in_doubt(size, moved_a, is_found):
    bench = Bench(exponent_u=0.1).show(level(20)).show(level(5, size), moved_a)
    assert (bench.step is not None) is is_found


@pytest.mark.parametrize("after_ramp", [4, 5])
@pytest.mark.parametrize(("size", "is_found"), [(0.049, False), (0.051, True), (0.081, True)])
def test_on_a_ramp_twice_as_much_is_in_doubt(after_ramp, size, is_found):
    bench = Bench(exponent_u=0.1).show(level(20)).show(level(20), steady=False)
    bench.show(level(after_ramp)).show(level(4, size), moved_a=-0.1)
    # Nine blocks are compared; 2 % and six times 0.1 of a tenth while the ramp is one of them.
    is_over = after_ramp + 4 >= 9
    assert (bench.step is not None) is (is_found if is_over else size > 0.08)


def test_a_step_on_a_ramp_passes_twice_the_doubt():
    for size, is_found in ((0.079, False), (0.081, True)):
        bench = Bench(exponent_u=0.1).show(level(20))
        bench.show([*level(9), *level(5, size)], [*level(9), *level(5, -0.1)], steady=False)
        assert (bench.step is not None) is is_found


@pytest.mark.parametrize("voltage_v", [1.0, 2.0])
@pytest.mark.parametrize(("times", "is_found"), [(0.95, False), (1.1, True)])
def test_a_step_up_stands_out_from_what_longer_blocks_wander_by(voltage_v, times, is_found):
    # Six standard deviations of a difference of two: 6 · √2 · 10 mV.
    size = times * 6.0 * sqrt(2.0) * 0.01 / voltage_v
    bench = Bench(voltage_v=voltage_v, wander_v=0.01).show(level(20))
    # The noise is taken in V after the step, so the voltage is held: the current has moved.
    bench.more["exponent_u"] = 0.0
    bench.voltage_v *= exp(-size)
    assert (bench.show(level(5, size)).step is not None) is is_found


def test_a_whisker_may_be_less_than_what_longer_blocks_wander_by():
    assert Bench(wander_v=0.01).show(level(20)).show(level(5, -0.05)).step is not None


# The noise.


@pytest.mark.parametrize("voltage_v", [1.0, 2.0])
def test_the_noise_is_a_standard_deviation_in_volts(voltage_v):
    noise = np.random.default_rng(3).normal(0.0, 0.004, 1500)
    bench = Bench(voltage_v=voltage_v)
    seen = [bench.show([each]).finder.sigma_v for each in noise][100:]
    assert np.mean(seen) == pytest.approx(0.004 * voltage_v, rel=0.05)
    # Of some 40 blocks it is known to some 10 %.
    assert np.std(seen) / np.mean(seen) == pytest.approx(0.1, abs=0.03)


def test_the_noise_is_known_after_five_bends():
    bench = Bench()
    seen = [bench.show([each]).finder.sigma_v for each in zigzag(12, 1e-4)]
    assert seen[:6] == [0.0] * 6
    assert seen[6:] == pytest.approx([SIGMA_OF_ZIGZAG * 1e-4] * 6, rel=3e-4)


def test_slopes_and_curves_are_no_noise():
    slope = 1e-3 * np.arange(100)
    bench = Bench()
    # Held at one voltage, so that what is 0 as a share is 0 in V.
    assert bench.show(slope).finder.sigma_v == pytest.approx(0.0, abs=1e-12)


def test_a_step_teaches_little_noise():
    a = 1e-3
    bench = Bench().show(zigzag(100, a))
    before_v = bench.finder.sigma_v
    # Two bends hold the step; each counts four times the mean at the most, and 0.1 mV.
    bench.show(zigzag(2, a) + 1.0)
    mean_v = before_v / (sqrt(pi / 2.0) / sqrt(6.0))
    for _ in range(2):
        mean_v += (4.0 * mean_v + 1e-4 - mean_v) / 40.0
    assert bench.finder.sigma_v == pytest.approx(mean_v * sqrt(pi / 2.0) / sqrt(6.0), rel=1e-3)


@pytest.mark.parametrize("blocks", [30, 300])
@pytest.mark.parametrize(("times", "is_found"), [(0.97, False), (1.6, True)])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_step_stands_out_from_the_noise_by_six_standard_deviations(blocks, times, is_found, sign):
    a = 0.01
    bends = blocks + 2
    # Of a difference of two means of four, the more where the noise was learned from few bends.
    # Some of it may be a slope that has just begun: all of them are found from 1.6 times that.
    least = 6.0 * SIGMA_OF_ZIGZAG * a * sqrt(2.0 / 4.0) * (1.0 + 4.0 / bends)
    series = sign * np.concatenate([zigzag(blocks, a), zigzag(4, a) + times * least])
    bench = Bench()
    bench.show(series[:blocks])
    assert bench.step is None
    # The noise is in V, and these are shares of the voltage after the step.
    bench.voltage_v = exp(-series[blocks])
    assert (bench.show(series[blocks:]).step is not None) is is_found


def test_noise_in_volts_is_a_smaller_share_of_a_greater_voltage():
    a = 0.02
    bench = Bench().show(zigzag(100, a))
    bench.finder.clear()
    bench.voltage_v = 4.0
    bench.show(level(10)).show(level(5, 0.1))
    # Six standard deviations of the difference are 17 % of 1 V, and 4 % of 4 V.
    assert 6.0 * SIGMA_OF_ZIGZAG * a * sqrt(0.5) > 0.17
    assert bench.step is not None


# On a slope.


@pytest.mark.parametrize("slope", [0.001, -0.001, 0.002, -0.002])
@pytest.mark.parametrize("size", [0.05, -0.05])
@pytest.mark.parametrize("lasts_s", [1.0, 2.0])
def test_a_step_on_a_gentle_slope_is_what_is_sure_of_it(slope, size, lasts_s):
    bench = Bench(lasts_s=lasts_s).show(slope * np.arange(60))
    assert bench.step is None
    assert bench.finder.slope == pytest.approx(slope)
    bench.show(slope * np.arange(60, 70) + size)
    assert bench.found == 4
    # The mean after against that before it, five blocks off; the slope is allowed for where it
    # makes the step smaller.
    seen = size + 5.0 * slope
    assert bench.step.size == pytest.approx(min(seen, size, key=abs), abs=1e-3)
    assert bench.step.slope_per_s == pytest.approx(slope / lasts_s)


@pytest.mark.parametrize("slope", [0.03, -0.03])
@pytest.mark.parametrize("size", [0.08, -0.08])
def test_a_step_that_a_steep_slope_hides_is_found_against_it(slope, size):
    bench = Bench(lasts_s=2.0).show(slope * np.arange(60))
    bench.show(slope * np.arange(60, 70) + size)
    assert bench.found in (4, 5)
    assert bench.step.size == pytest.approx(size, abs=1e-3)
    assert bench.step.slope_per_s == pytest.approx(slope / 2.0, rel=0.02)


@pytest.mark.parametrize("slope", [0.001, 0.01, 0.05, 0.2, -0.001, -0.01, -0.05, -0.2])
def test_a_slope_and_its_end_are_no_step(slope):
    # One that begins at once, after none, is another matter: see STEP_APART.
    bench = Bench().show(slope * np.arange(40)).show(level(30, slope * 40))
    assert bench.step is None


@pytest.mark.parametrize("blocks", [3.0, 10.0, 40.0])
@pytest.mark.parametrize("times", [1.0, -1.0])
def test_paint_that_is_being_covered_is_no_step(blocks, times):
    assert Bench().show(times * 1.5 * np.exp(-np.arange(200) / blocks)).step is None


def test_the_slope_is_an_exponential_mean_over_20_blocks():
    bench = Bench().show(level(60))
    bench.show(3e-4 * np.arange(1, 16))
    assert bench.finder.slope == pytest.approx(3e-4 * (1.0 - (19.0 / 20.0) ** 15))


@pytest.mark.parametrize("voltage_v", [1.0, 4.0])
@pytest.mark.parametrize("size", [0.5, -0.5])
def test_a_step_hardly_moves_the_slope(voltage_v, size):
    # It counts four times the mean bend at the most, here of 0.1 mV, in one block of 20.
    bench = Bench(voltage_v=voltage_v).show(level(60)).show(level(1, size))
    most = 4.0 * 1e-4 / voltage_v / exp(size) / 20.0
    assert 0.9 * most < bench.finder.slope * size / abs(size) < 1.2 * most


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(("times", "is_found"), [(0.9, False), (1.2, True)])
def test_a_step_against_a_steep_slope_has_to_stand_out_more(sign, times, is_found):
    # The line of both sides is known to 5/√10 of a block's noise over five blocks.
    a, slope = 0.003, 0.04
    least = 6.0 * SIGMA_OF_ZIGZAG * a * sqrt(2.0 / 4.0 + 25.0 / 10.0) * (1.0 + 4.0 / 100.0)
    blocks = np.arange(104)
    series = sign * (zigzag(104, a) + slope * blocks + times * least * (blocks >= 100))
    bench = Bench()
    # The voltage is held, so that the noise in V is that of the shares.
    for excess in series.tolist():
        bench.voltage_v = exp(-excess)
        bench.show([excess])
    assert (bench.step is not None) is is_found


def test_the_slope_at_rest_is_not_that_of_the_ramp():
    a = 0.005
    bench = Bench().show(zigzag(40, a) + 0.02 * np.arange(40), steady=False)
    assert bench.finder.slope == pytest.approx(0.02, abs=1e-3)
    bench.show(zigzag(4, a) + 0.02 * 40)
    # Two rises up and two down cancel.
    assert bench.finder.slope == pytest.approx(0.0, abs=0.006)
    bench.show(zigzag(40, a) + 0.02 * np.arange(41, 81), steady=False)
    assert bench.finder.slope == pytest.approx(0.02, abs=1e-3)


# Forgetting.


def test_nothing_after_a_break_is_compared_with_what_was_before_it():
    bench = Bench(2.0, 1.0).show(level(41))
    bench.finder.clear()
    assert bench.show(level(40, 0.2)).step is None
    bench.show(level(10, 0.3))
    assert bench.found == 8, "the half block before the break is gone"
    assert bench.step.size == pytest.approx(0.1, abs=1e-3)


def test_after_a_break_the_noise_and_the_slope_stay_known():
    bench = Bench().show(zigzag(100, 0.002) + 0.001 * np.arange(100))
    sigma_v, slope = bench.finder.sigma_v, bench.finder.slope
    assert sigma_v > 0.0
    bench.finder.clear()
    assert (bench.finder.sigma_v, bench.finder.slope) == (sigma_v, slope)


def test_a_ramp_before_a_break_is_none_after_it():
    bench = Bench(exponent_u=0.1).show(level(20)).show(level(5), steady=False)
    bench.finder.clear()
    bench.show(level(5)).show(level(4, 0.06), moved_a=-0.1)
    assert bench.found == 4


def test_a_finder_that_forgot_is_as_a_new_one():
    bench = Bench().show(zigzag(60, 0.03) + 0.01 * np.arange(60), steady=False)
    bench.finder.forget()
    fresh = Bench()
    assert (bench.finder.sigma_v, bench.finder.slope, bench.finder.after_blocks) == (0.0, 0.0, 0)
    fresh.now_s = bench.now_s
    for excess in [*zigzag(20, 0.001), *zigzag(6, 0.001) + 0.05]:
        bench.show([excess])
        fresh.show([excess])
        assert (bench.step, bench.finder.sigma_v) == (fresh.step, fresh.finder.sigma_v)
        assert bench.finder.slope == fresh.finder.slope
    assert bench.step is not None
