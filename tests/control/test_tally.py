"""The tally against scipy, against the daemon's own count, and against closed forms."""

import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import cumulative_trapezoid, trapezoid

from daemon.chemistry.uncertainty import MeterDoubt
from daemon.control import tally as module
from daemon.control.charge import Count
from daemon.control.tally import (
    CurrentIs,
    Rule,
    Tally,
    tally_groups,
    tally_run,
    usual_interval_s,
)

EVERYTHING = 1e9
SAMPLES = Rule(CurrentIs.SAMPLE, EVERYTHING)
MEANS = Rule(CurrentIs.MEAN, EVERYTHING)


def tallied(pairs, rule=SAMPLES):
    return tally_run([(s, a, "") for s, a in pairs], rule)[0]


def irregular(seed, number=2000, least_a=-3.0):
    dice = random.Random(seed)
    times_s, now_s = [], dice.uniform(0, 1e6)
    for _ in range(number):
        now_s += dice.choice((0.001, 0.1, 1.0, 30.0)) * dice.uniform(0.1, 1.0)
        times_s.append(now_s)
    return times_s, [dice.uniform(least_a, 8.0) for _ in times_s]


@pytest.mark.parametrize("seed", range(5))
def test_samples_at_irregular_times_against_scipy(seed):
    times_s, currents_a = irregular(seed)
    tally = tallied(zip(times_s, currents_a, strict=True))
    assert tally.net_ah * 3600 == pytest.approx(trapezoid(currents_a, times_s), rel=1e-11)
    # scipy sees each direction by itself once the points where the current passes 0 are put in.
    at_s, signed = np.array(times_s), np.array(currents_a)
    crossing = np.flatnonzero(signed[:-1] * signed[1:] < 0)
    share = signed[crossing] / (signed[crossing] - signed[crossing + 1])
    zeros_s = at_s[crossing] + share * (at_s[crossing + 1] - at_s[crossing])
    at_s = np.insert(at_s, crossing + 1, zeros_s)
    signed = np.insert(signed, crossing + 1, 0.0)
    assert tally.in_as == pytest.approx(trapezoid(np.maximum(signed, 0), at_s), rel=1e-10)
    assert tally.out_as == pytest.approx(trapezoid(np.maximum(-signed, 0), at_s), rel=1e-10)
    assert tally.covered_s == pytest.approx(times_s[-1] - times_s[0])
    assert tally.squares_s2 == pytest.approx(float(np.sum(np.diff(times_s) ** 2)))
    steps_as = np.diff(currents_a) * np.diff(times_s)
    assert tally.steps_a2s2 == pytest.approx(float(np.sum(steps_as**2)))


def test_in_gaps_the_greater_of_both_currents_may_have_passed_in_each_direction():
    times_s, currents_a = irregular(7)
    tally = tallied(zip(times_s, currents_a, strict=True), Rule(CurrentIs.SAMPLE, 5.0))
    passed_s, signed = np.diff(times_s), np.array(currents_a)
    gaps = passed_s > 5.0
    most_in = np.maximum(np.maximum(signed[:-1], signed[1:]), 0.0)
    most_out = np.maximum(np.maximum(-signed[:-1], -signed[1:]), 0.0)
    assert tally.gaps == np.count_nonzero(gaps) > 100
    assert tally.gap_in_as == pytest.approx(float((most_in * passed_s)[gaps].sum()))
    assert tally.gap_out_as == pytest.approx(float((most_out * passed_s)[gaps].sum()))


@pytest.mark.parametrize("seed", range(3))
def test_means_are_added_up_over_their_own_intervals(seed):
    times_s, currents_a = irregular(seed)
    charges_as = np.diff(times_s) * np.array(currents_a[1:])
    tally = tallied(zip(times_s, currents_a, strict=True), MEANS)
    assert tally.in_as == pytest.approx(float(charges_as[charges_as > 0].sum()))
    assert tally.out_as == pytest.approx(float(-charges_as[charges_as < 0].sum()))
    assert tally.steps_a2s2 == 0.0


def test_the_true_means_of_a_current_give_its_charge_exactly_and_samples_nearly():
    # I = 4 A · exp(-t/60 s) from 0 to 600 s in rows every 10 s; the integral is 240 A·s (1 - e⁻¹⁰).
    tau, step = 60.0, 10.0
    integral = 240.0 * (1 - math.exp(-10.0))
    times = [step * n for n in range(61)]
    means = [4.0] + [
        4.0 * tau * (math.exp(-(t - step) / tau) - math.exp(-t / tau)) / step for t in times[1:]
    ]
    samples = [4.0 * math.exp(-t / tau) for t in times]
    assert tallied(zip(times, means, strict=True), MEANS).in_as == pytest.approx(integral)
    # Euler-Maclaurin: the trapezoid errs by h²/12 of the slope's change, 0.55 A·s.
    by_samples = tallied(zip(times, samples, strict=True)).in_as
    assert by_samples - integral == pytest.approx(step**2 / 12 * 4.0 / tau, rel=0.01)
    # Taken for the other, each is off by half an interval of the current's whole change.
    assert tallied(zip(times, samples, strict=True), MEANS).in_as - integral == pytest.approx(
        -step / 2 * 4.0, rel=0.05
    )


steps = st.lists(
    st.tuples(st.sampled_from([0.1, 0.5, 1.0, 1.5, 40.0, 0.0, -0.5]), st.floats(0.0, 50.0)),
    min_size=1,
    max_size=100,
)


@given(steps)
@settings(deadline=None)
def test_the_daemon_counts_the_same_readings_the_same_way(moves):
    """Currents that plate, gaps, repeated stamps, and readings that are a little late."""
    now_s, readings = 100.0, [(100.0, 1.0)]
    for by_s, current_a in moves:
        now_s += by_s
        readings.append((now_s, current_a))
    count = Count.from_reading(*readings[0])
    newest_s = readings[0][0]
    kept = [readings[0]]
    for reading in readings[1:]:
        if reading[0] < newest_s - 1.0:
            continue  # a clock set back: the daemon's is monotonic and never is
        newest_s = max(newest_s, reading[0])
        kept.append(reading)
        count = count.add(*reading, 1.0, 0.0)
    tally = tallied(kept, Rule(CurrentIs.SAMPLE, 1.0))
    assert tally.net_ah == pytest.approx(count.charge_ah, rel=1e-12, abs=1e-15)
    assert tally.covered_s == pytest.approx(count.covered_s)
    assert tally.gap_s == pytest.approx(count.gap_s)
    assert tally.gap_least_ah == count.gap_least_ah == 0.0
    assert tally.gap_greatest_ah == pytest.approx(count.gap_greatest_ah)
    assert tally.budget(MeterDoubt()).value == pytest.approx(count.best_ah)


@pytest.mark.parametrize("rule", [SAMPLES, MEANS])
def test_a_gap_has_bounds_in_both_directions(rule):
    rule = Rule(rule.current_is, 10.0)
    tally = tallied([(0.0, 2.0), (10.0, 2.0), (3610.0, -3.0), (3620.0, -3.0)], rule)
    assert (tally.gaps, tally.gap_s) == (1, 3600.0)
    assert (tally.gap_least_ah, tally.gap_greatest_ah) == (-3.0, 2.0)
    assert tally.in_as == pytest.approx(20.0)
    assert tally.out_as == pytest.approx(30.0)
    budget = tally.budget(MeterDoubt())
    assert budget.value == pytest.approx((20.0 - 30.0) / 3600 - 0.5)
    assert {s.name: s.u for s in budget.shares}["gaps"] == pytest.approx(5.0 / 2)


def test_every_gap_counts_with_its_own_bounds():
    # 100 s of which 4 A are the most, then 200 s of the same: 400 and 800 A·s.
    pairs = [(0.0, 2.0), (10.0, 2.0), (110.0, 4.0), (120.0, 4.0), (320.0, 1.0)]
    tally = tallied(pairs, Rule(CurrentIs.SAMPLE, 10.0))
    assert (tally.gaps, tally.gap_s) == (2, 300.0)
    assert (tally.gap_in_as, tally.gap_out_as) == (1200.0, 0.0)
    assert tally.covered_s == 20.0


def test_every_row_out_of_order_is_counted_by_what_is_wrong_with_it():
    stamps_s = [0.0, 2.0, 2.0, 2.0, 1.0, 0.5, 4.0, -10.0, -8.0, -30.0]
    tally = tallied([(s, 1.0) for s in stamps_s], Rule(CurrentIs.SAMPLE, 5.0))
    assert (tally.repeated, tally.behind, tally.set_back, tally.gaps) == (2, 2, 2, 0)
    assert tally.readings == 10


def test_a_clock_that_is_set_back_costs_one_interval():
    hour = [(float(s), 1.0) for s in range(3601)]
    again = [(s - 1800.0, a) for s, a in hour]
    tally = tallied([*hour, *again], Rule(CurrentIs.SAMPLE, 5.0))
    assert (tally.set_back, tally.behind, tally.repeated, tally.gaps) == (1, 0, 0, 0)
    assert tally.net_ah == pytest.approx(2.0)


def test_rows_that_are_late_or_come_twice_add_nothing():
    pairs = [(0.0, 1.0), (2.0, 1.0), (2.0, 50.0), (1.0, 50.0), (4.0, 1.0)]
    tally = tallied(pairs, Rule(CurrentIs.SAMPLE, 5.0))
    assert (tally.readings, tally.repeated, tally.behind, tally.set_back) == (5, 1, 1, 0)
    assert tally.in_as == 4.0


def test_groups_share_out_what_the_whole_comes_to():
    times_s, currents_a = irregular(7)
    marks = [str(n // 300 % 3) for n in range(len(times_s))]
    groups = tally_groups(zip(times_s, currents_a, marks, strict=True), SAMPLES)
    whole = tallied(zip(times_s, currents_a, strict=True))
    assert list(groups) == ["0", "1", "2"]
    summed = sum(groups.values(), Tally())
    assert summed.readings == whole.readings == len(times_s)
    assert summed.in_as == pytest.approx(whole.in_as)
    assert summed.out_as == pytest.approx(whole.out_as)
    # An interval belongs to the group of its later row: scipy's running integral, cut there.
    running = cumulative_trapezoid(currents_a, times_s, initial=0.0)
    first, last = 300, 599
    second = running[last] - running[first - 1] + running[1499] - running[1199]
    assert groups["1"].net_ah * 3600 == pytest.approx(second)


def test_a_column_of_readings_is_no_group(mocker):
    mocker.patch.object(module, "GREATEST_GROUPS", 3)
    with pytest.raises(ValueError, match="more than 3 groups, the last one '3'"):
        tally_groups([(float(n), 1.0, str(n)) for n in range(9)], SAMPLES)


def test_what_nobody_saw_between_two_samples_is_in_the_doubt():
    """A current that jumps by 4 A somewhere in 10 s: anywhere within ±20 A·s, and all alike."""
    dice = random.Random(3)
    budget = tallied([(0.0, 0.0), (10.0, 4.0)]).budget(MeterDoubt())
    truths = [4.0 * dice.uniform(0.0, 10.0) / 3600 for _ in range(20_000)]
    assert budget.value == pytest.approx(np.mean(truths), rel=0.01)
    assert budget.u == pytest.approx(np.std(truths), rel=0.01)
    assert tallied([(0.0, 0.0), (10.0, 4.0)], MEANS).budget(MeterDoubt()).u == 0.0


def test_a_budget_has_the_shares_of_the_meter():
    pairs = [(float(s), 2.0) for s in range(3601)]
    doubt = MeterDoubt(gain=0.01, offset_a=0.002, noise_a=0.06, clock=1e-4)
    shares = {s.name: s.u for s in tallied(pairs).budget(doubt).shares}
    assert shares["gain"] == pytest.approx(0.02)
    assert shares["offset"] == pytest.approx(0.002)
    assert shares["noise"] == pytest.approx(0.06 * 60 / 3600)  # √3600 intervals of 1 s
    assert shares["clock"] == pytest.approx(2e-4)


def test_little_or_nothing():
    assert tallied([]) == Tally()
    assert tallied([(1.0, 5.0)]) == Tally(readings=1)
    assert tally_groups([], SAMPLES) == {}


def test_the_usual_interval_is_the_median_of_those_that_lead_on():
    readings = [(s, 0.0, "") for s in (0.0, 1.0, 1.0, 3.0, 2.0, 102.0)]
    assert usual_interval_s(readings) == 2.0
    assert usual_interval_s(readings[:1]) is None
    assert usual_interval_s([(5.0, 0.0, ""), (5.0, 0.0, "")]) is None
