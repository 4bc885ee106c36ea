"""The learned cell's curve on short made-up series: its blocks, its digits, and what teaches it."""

from dataclasses import replace
from math import log

import numpy as np
import pytest

from daemon.control.protection.detectors.cell import Cell, Digit
from daemon.control.protection.detectors.cell_thresholds import CellThresholds

T = CellThresholds()
FINE = replace(T, exponent_least_u=0.001)
"""A curve whose exponent is one number: nothing keeps it from being known ever better."""


class Bench:
    """Shows readings of a made-up cell, one in `period_s`, and keeps the blocks that come of them.

    What is asked for is what flows, unless a test says otherwise.
    """

    def __init__(self, observe, thresholds=T, period_s=1.0, at_s=0.0):
        self.cell = Cell(thresholds)
        self.observe, self.period_s, self.now_s = observe, period_s, at_s

    def show(self, voltage_v, current_a=1.0, **more):
        usual = {"set_current_a": current_a}
        seen = self.observe(self.now_s, current_a, voltage_v, **(usual | more))
        self.now_s += self.period_s
        return self.cell.take(seen, log(voltage_v), log(current_a))

    def settle(self, voltage_v=1.0, current_a=1.0, readings=10, **more):
        """Readings of a cell at rest; the last block."""
        return [self.show(voltage_v, current_a, **more) for _ in range(readings)][-1]


@pytest.fixture
def bench(observe):
    def make(*args, **more):
        return Bench(observe, *args, **more)

    return make


# The last digit.


@pytest.mark.parametrize(
    ("readings", "digit"),
    [
        ((1.2, 1.3), 0.1),
        ((1.25, 1.3), 0.05),
        ((1.24, 1.26), 0.02),
        ((1.23, 1.3), 0.01),
        ((1.3, 1.23), 0.01),
        ((1.235, 1.24), 0.005),
        ((1.234, 1.236), 0.002),
        ((1.234, 1.235), 0.001),
        ((1.23412, 1.23487), 0.001),
        ((0.1 + 0.2, 0.4), 0.1),
        ((0.3, 0.4 + 1e-8), 0.1),
        ((0.3, 0.4 + 1e-5), 0.001),
        ((1.2, 1.3, 1.35, 1.4), 0.05),
        ((1.0, 1.01, 1.1, 1.2), 0.01),
        ((-0.3, 0.2), 0.1),
        ((12.0, 13.0), 0.1),
    ],
)
def test_the_last_digit_is_the_coarsest_that_all_readings_are_multiples_of(readings, digit):
    meter = Digit()
    for value in readings:
        meter.take(value)
    assert meter.size == digit


def test_a_reading_that_never_moved_has_no_digit():
    meter = Digit()
    for _ in range(3):
        meter.take(1.234)
    assert meter.size == 0.0


# Blocks.


def test_a_second_of_readings_is_one_block_of_their_means(bench):
    run = bench(period_s=0.25)
    volts, amps = [0.90, 0.93, 0.91, 0.96], [1.5, 1.52, 1.49, 1.51]
    shown = [run.show(9.0, 7.0)] + [run.show(v, a) for v, a in zip(volts, amps, strict=True)]
    # The first is no part of a second: it says only when the second began.
    assert shown[:-1] == [None] * 4
    block = shown[-1]
    assert (block.at_s, block.lasts_s) == (1.0, 1.0)
    assert block.log_v == pytest.approx(np.mean(np.log(volts)))
    assert block.log_a == pytest.approx(np.mean(np.log(amps)))
    again = [run.show(1.1, 2.0) for _ in range(4)]
    assert again[:-1] == [None] * 3
    assert again[-1].log_v == pytest.approx(log(1.1))
    assert again[-1].log_a == pytest.approx(log(2.0))
    assert (again[-1].at_s, again[-1].lasts_s) == (2.0, 1.0)


@pytest.mark.parametrize(("period_s", "readings"), [(0.91, 1), (0.89, 2), (0.44, 3), (3.0, 1)])
def test_a_block_ends_with_the_reading_that_is_a_second_on_or_a_tenth_less(
    bench, period_s, readings
):
    run = bench(period_s=period_s, at_s=500.0)
    run.show(1.0)
    for _ in range(3):
        blocks = [run.show(1.0) for _ in range(readings)]
        assert blocks[:-1] == [None] * (readings - 1)
        assert blocks[-1].lasts_s == pytest.approx(readings * period_s)


def test_what_was_before_a_moment_without_current_is_no_part_of_the_next_block(bench):
    run = bench(period_s=0.25)
    for _ in range(4):
        run.show(5.0, 3.0, steady_s=0.0)
    run.cell.interrupt()
    run.now_s = 20.0
    assert [run.show(1.0) for _ in range(4)] == [None] * 4
    block = run.show(1.0)
    assert (block.at_s, block.lasts_s, block.log_v, block.steady) == (21.0, 1.0, 0.0, True)
    assert block.jumped, "what comes back has to settle"
    assert [run.settle(readings=4).jumped for _ in range(4)] == [True, True, True, False]


def test_a_block_is_steady_if_the_set_point_was_so_for_five_seconds_in_all_of_it(bench):
    run = bench(period_s=0.5)
    run.show(1.0)
    seconds = [(9.0, 9.0), (5.0, 5.0), (4.9, 9.0), (9.0, 4.9), (5.0, 9.0)]
    blocks = [[run.show(1.0, steady_s=s) for s in both][-1] for both in seconds]
    assert [block.steady for block in blocks] == [True, True, False, False, True]


def test_a_last_digit_is_so_much_of_the_voltage_as_it_would_move_it(bench):
    run = bench()
    run.show(0.90, 1.51)
    still = run.show(0.90, 1.51)
    assert (still.grain_v, still.grain_a) == (0.0, 0.0)
    run.show(0.92, 1.51)
    block = run.show(0.90, 1.515)
    # 20 mV of 0.9 V; 5 mA of 1.515 A, and the voltage goes with the current to the power of 0.8.
    assert block.grain_v == pytest.approx(0.02 / 0.90)
    assert block.grain_a == pytest.approx(0.8 * 0.005 / 1.515)


# The excess.


def test_the_excess_is_what_the_curve_does_not_explain(bench):
    run = bench()
    assert run.settle(0.9, 1.5).excess == 0.0
    # 10 % more at the same current; along the curve, V = I^0.8; an eighth of the cell less.
    assert run.show(0.9 * 1.1, 1.5).excess == pytest.approx(log(1.1))
    moved = run.show(0.9 * 1.02**0.8, 1.5 * 1.02, set_current_a=1.5)
    assert moved.excess == pytest.approx(0.0, abs=1e-12)
    lost = run.show(0.9 * (8.0 / 7.0) * 1.02**0.8, 1.5 * 1.02, set_current_a=1.5)
    assert lost.excess == pytest.approx(log(8.0 / 7.0))
    assert run.show(0.9, 1.5).excess == pytest.approx(0.0, abs=1e-12)


def test_a_jump_of_the_set_point_moves_the_curve_and_not_the_excess(bench):
    run = bench()
    run.settle()
    run.show(1.1)
    # A cell of 0.4 V and 0.6 Ω, which is no power of the current, and which takes seconds to it.
    jumped = [run.show(v, 2.0) for v in (1.9, 1.8, 1.75, 1.72, 1.7)]
    assert [block.excess for block in jumped] == pytest.approx([log(1.1)] * 5)
    assert [block.jumped for block in jumped] == [True] * 5
    after = run.show(1.7, 2.0)
    assert not after.jumped
    assert after.excess == pytest.approx(log(1.1))
    assert run.show(1.7 * 1.05, 2.0).excess == pytest.approx(log(1.1 * 1.05))


@pytest.mark.parametrize(
    ("before", "after", "is_a_jump"),
    [
        # 3 % a second as a difference of logarithms, so 1.0305 times.
        ({"set_current_a": 1.0}, {"set_current_a": 1.030}, False),
        ({"set_current_a": 1.0}, {"set_current_a": 1.031}, True),
        ({"set_current_a": 1.031}, {"set_current_a": 1.0}, True),
        ({"set_current_a": 1.030}, {"set_current_a": 1.0}, False),
        ({"ceiling_v": 4.0}, {"ceiling_v": 4.11}, False),
        ({"ceiling_v": 4.0}, {"ceiling_v": 4.13}, True),
        ({"ceiling_v": 4.13}, {"ceiling_v": 4.0}, True),
        # Below 20 mA no current is told from none, and below 50 mV no voltage.
        ({"set_current_a": 0.0}, {"set_current_a": 0.02}, False),
        ({"set_current_a": 0.0}, {"set_current_a": 0.021}, True),
        ({"ceiling_v": 0.0}, {"ceiling_v": 0.05}, False),
        ({"ceiling_v": 0.0}, {"ceiling_v": 0.052}, True),
    ],
)
def test_a_set_point_that_moves_faster_than_3_percent_a_second_jumps(
    bench, before, after, is_a_jump
):
    run = bench()
    assert not run.settle(**before).jumped
    assert run.show(1.0, **after).jumped is is_a_jump


@pytest.mark.parametrize(("to_a", "is_a_jump"), [(1.09, False), (1.1, True)])
def test_at_a_reading_in_three_seconds_it_may_move_three_times_as_far(bench, to_a, is_a_jump):
    run = bench(period_s=3.0)
    run.settle()
    assert run.show(1.0, set_current_a=to_a).jumped is is_a_jump


# What teaches the exponent. A lesson weighs 1/0.1², what is taken for granted 1/0.15², and each
# lesson leaves 0.9 of the weight of all before it: the exponent is their weighted mean, and one
# over the square of its uncertainty is the sum of the weights.


def jump(run, exponent, times=1.3):
    """The set-point jumps, and the voltage goes with it to this power; then all is at rest."""
    voltage_v, current_a = run.at
    run.at = voltage_v * times**exponent, current_a * times
    run.settle(*run.at)


def taught(bench, thresholds, lessons, times=1.3):
    run = bench(thresholds)
    run.at = 1.0, 1.0
    run.settle(*run.at)
    for exponent in lessons:
        jump(run, exponent, times)
    return run.cell


@pytest.mark.parametrize("times", [1.3, 0.7, 1.05])
@pytest.mark.parametrize("lessons", [(), (0.6,), (0.6, 0.5), (0.6, 0.5, 1.0)])
def test_each_jump_teaches_the_exponent_and_the_older_ones_fade(bench, lessons, times):
    n = len(lessons)
    weights = np.array([1.0 / 0.15**2] + [1.0 / 0.1**2] * n)
    if n:
        # The first lesson takes nothing from what is taken for granted: less is never known.
        weights *= 0.9 ** np.array([n - 1, *range(n - 1, -1, -1)])
    cell = taught(bench, FINE, lessons, times)
    assert cell.exponent == pytest.approx(np.average([0.8, *lessons], weights=weights))
    assert cell.exponent_u == pytest.approx(1.0 / np.sqrt(weights.sum()))


def test_the_exponent_stays_as_uncertain_as_it_changes_along_the_curve(bench):
    # 0.1 stays: the second lesson weighs 100, and what was known 0.9 · 100.
    cell = taught(bench, T, (0.6, 0.5))
    first = np.average([0.8, 0.6], weights=[1.0 / 0.15**2, 100.0])
    assert cell.exponent == pytest.approx(np.average([first, 0.5], weights=[90.0, 100.0]))
    assert cell.exponent_u == pytest.approx(0.1)


def test_of_a_cell_that_was_seen_for_long_no_less_is_known_than_of_one_never_seen(bench):
    # Where 0.15 stays, forgetting leaves no more than that: each lesson weighs 0.0225/0.0325.
    cell = taught(bench, replace(T, exponent_least_u=0.15), (0.6, 0.6))
    share = 0.15**2 / (0.15**2 + 0.1**2)
    assert cell.exponent == pytest.approx(0.6 + 0.2 * (1.0 - share) ** 2)
    assert cell.exponent_u == 0.15


@pytest.mark.parametrize(
    ("exponent", "is_possible"),
    [(-0.8, False), (0.0, False), (0.29, False), (0.31, True), (1.14, True), (1.16, False)],
)
def test_a_jump_that_no_cell_answers_so_teaches_nothing(bench, exponent, is_possible):
    cell = taught(bench, T, (exponent,))
    assert (cell.exponent != 0.8) is is_possible
    assert (cell.exponent_u != 0.15) is is_possible


def test_a_current_that_moves_by_itself_teaches_nothing(bench):
    run = bench()
    run.settle()
    block = run.settle(1.3**0.5, 1.3, set_current_a=1.0)
    assert (run.cell.exponent, run.cell.exponent_u) == (0.8, 0.15)
    # 1.3^0.5 V at 1.3 A are 1.3^-0.3 of what the exponent of 0.8 says.
    assert block.excess == pytest.approx(-0.3 * log(1.3))


@pytest.mark.parametrize(("to_a", "is_taught"), [(1.029, False), (1.032, True), (0.972, False)])
def test_a_current_that_hardly_follows_a_jump_teaches_nothing(bench, to_a, is_taught):
    run = bench()
    run.settle(set_current_a=1.0)
    run.settle(to_a**0.5, to_a, set_current_a=2.0)
    assert (run.cell.exponent != 0.8) is is_taught


def test_a_lesson_is_what_lies_between_the_blocks_before_and_after_the_jump(bench):
    # The voltage had risen by a half since the run began, at the same current: that is no lesson.
    run = bench(FINE)
    run.settle(1.0)
    run.at = 1.5, 1.0
    run.settle(*run.at)
    jump(run, 0.8)
    assert run.cell.exponent == pytest.approx(0.8)
    assert run.cell.exponent_u == pytest.approx(1.0 / np.sqrt(1.0 / 0.15**2 + 1.0 / 0.1**2))


def test_a_jump_while_no_current_flowed_is_one_too(bench):
    run = bench()
    run.settle()
    run.cell.interrupt()
    run.settle(1.3**0.5, 1.3, readings=2)
    assert run.cell.exponent == pytest.approx(0.8 - 0.3 * 0.15**2 / (0.15**2 + 0.1**2))


def test_a_cell_that_was_forgotten_is_as_one_never_seen(bench):
    run, fresh = bench(period_s=0.5), bench(period_s=0.5)
    run.at = 0.91, 1.5
    run.settle(*run.at)
    jump(run, 0.6)
    run.show(1.234, 2.345, steady_s=0.0)
    run.cell.forget()
    assert (run.cell.exponent, run.cell.exponent_u) == (0.8, 0.15)
    fresh.now_s = run.now_s
    for shown in ((0.5, 0.3), (0.5, 0.3), (0.6, 0.3), (0.5, 0.4), (0.7, 0.4), (0.6, 0.5)):
        for _ in range(3):
            assert run.show(*shown) == fresh.show(*shown)
    assert run.cell.exponent == fresh.cell.exponent
