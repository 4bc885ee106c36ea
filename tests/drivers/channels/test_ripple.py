"""Ripple against closed forms of known waves, and where it is not measured."""

import math
import random

import pytest

from drivers.channels.ripple import NotMeasured, Ripple, ripple

MAINS_HZ = 50.0


def sampled(wave, rate_hz: float, duration_s: float):
    """Times and values; the phase is off the grid, so that no two samples are the same."""
    times = [n / rate_hz for n in range(round(rate_hz * duration_s))]
    return times, [wave(t + 1.37e-5) for t in times]


def angle(t: float) -> float:
    return 2 * math.pi * MAINS_HZ * t


def full_wave(t):
    return abs(math.sin(angle(t)))


def half_wave(t):
    return max(0.0, math.sin(angle(t)))


def three_phase_half_wave(t):
    return max(math.sin(angle(t) + k * 2 * math.pi / 3) for k in range(3))


def three_phase_full_wave(t):
    return max(abs(math.sin(angle(t) + k * math.pi / 3)) for k in range(6))


def test_a_sine_on_a_direct_current_has_rms_of_its_swing_over_2_root_2():
    times, values = sampled(lambda t: 10 + 0.5 * math.sin(2 * angle(t)), 20_000, 0.5)
    found = ripple(times, values, lowest_hz=100)
    assert found.peak_to_peak_percent == pytest.approx(10.0, rel=1e-3)
    assert found.rms_percent == pytest.approx(10.0 / (2 * math.sqrt(2)), rel=1e-3)


PULSES = 6
# Mean and mean square of cos over ±π/p, in closed form, for p pulses in a period of the mains.
SIX_MEAN = PULSES / math.pi * math.sin(math.pi / PULSES)
SIX_SQUARE = 0.5 + PULSES / (4 * math.pi) * math.sin(2 * math.pi / PULSES)


@pytest.mark.parametrize(
    ("wave", "lowest_hz", "rms_percent", "swing_percent"),
    [
        # Mean 1/π and rms 1/2 of the peak.
        (half_wave, 50, 100 * math.sqrt(math.pi**2 / 4 - 1), 100 * math.pi),
        # Mean 2/π and rms 1/√2 of the peak.
        (full_wave, 100, 100 * math.sqrt(math.pi**2 / 8 - 1), 100 * math.pi / 2),
        # Published: 4.2 % (and 18.3 % for three-phase half-wave), for example in rectifier notes.
        (three_phase_full_wave, 300, 4.2, 14.03),
        (
            three_phase_full_wave,
            300,
            100 * math.sqrt(SIX_SQUARE / SIX_MEAN**2 - 1),
            100 * (1 - math.cos(math.pi / 6)) / SIX_MEAN,
        ),
        (three_phase_half_wave, 150, 18.3, 60.46),
    ],
)
def test_rectified_waves(wave, lowest_hz, rms_percent, swing_percent):
    times, values = sampled(wave, 40_000, 0.4)
    # A true current never stands quite still, as an ideal half-wave does for half of the time.
    found = ripple(times, [v + 1e-9 * n for n, v in enumerate(values)], lowest_hz)
    assert found.rms_percent == pytest.approx(rms_percent, rel=3e-3)
    assert found.peak_to_peak_percent == pytest.approx(swing_percent, rel=5e-3)  # between samples


def test_the_direction_of_the_current_does_not_matter():
    times, values = sampled(lambda t: 10 + 0.5 * math.sin(2 * angle(t)), 20_000, 0.5)
    assert ripple(times, [-v for v in values], 100).rms_percent == pytest.approx(3.5355, rel=1e-3)


def quantised(times, step: float = 0.005, conversion_s: float = 1 / 860, hz: float = 100):
    """What a converter shows: ripple of 10 % swing, as its last mean, in its steps."""
    values = []
    for t in times:
        end = math.floor(t / conversion_s) * conversion_s
        w = 2 * math.pi * hz
        mean = 10 + 0.5 * (math.cos(w * (end - conversion_s)) - math.cos(w * end)) / (
            w * conversion_s
        )
        values.append(round(mean / step) * step)
    return values


def test_a_converter_of_860_samples_a_second_sees_100_hz():
    times = [n / 5000 for n in range(2500)]
    found = ripple(times, quantised(times), 100)
    assert found.rms_percent == pytest.approx(3.5355, rel=0.03)
    assert found.peak_to_peak_percent == pytest.approx(10.0, rel=0.03)


@pytest.mark.parametrize("conversion_s", [1 / 475, 2.2e-3, 35e-3, 141e-3])
def test_a_slower_converter_is_not_made_faster_by_reading_it_often(conversion_s):
    times = [n / 5000 for n in range(2500)]
    assert ripple(times, quantised(times, 1e-6, conversion_s), 100) is NotMeasured.TOO_FEW


def test_an_ina219_sees_120_hz():
    # Two conversions of 532 µs, the shunt's and the bus's, in turn (data sheet, from memory).
    times = [n / 5000 for n in range(2500)]
    found = ripple(times, quantised(times, conversion_s=2 * 532e-6, hz=120), 120)
    assert found.rms_percent == pytest.approx(3.5355, rel=0.03)


def test_860_samples_a_second_are_too_few_for_120_hz():
    times = [n / 5000 for n in range(2500)]
    assert ripple(times, quantised(times), 120) is NotMeasured.TOO_FEW


def test_a_meter_that_is_read_too_seldom_says_so():
    times, values = sampled(lambda t: 10 + 0.5 * math.sin(2 * angle(t)), 749, 0.5)
    assert ripple(times, values, 100) is NotMeasured.TOO_SLOW


def test_a_smooth_current_is_not_measured_rather_than_zero():
    times = [n / 5000 for n in range(2500)]
    assert ripple(times, [10.0] * 2500, 100) is NotMeasured.TOO_FEW
    flicker = random.Random(1)
    last_digit = [10 + 0.005 * flicker.choice((-1, 0, 1)) for _ in times]
    assert ripple(times, last_digit, 100) is NotMeasured.TOO_FEW


def test_a_burst_of_less_than_ten_periods_is_too_short():
    times, values = sampled(lambda t: 10 + 0.5 * math.sin(2 * angle(t)), 20_000, 0.09)
    assert ripple(times, values, 100) is NotMeasured.TOO_SHORT
    times, values = sampled(lambda t: 10 + 0.5 * math.sin(2 * angle(t)), 20_000, 0.11)
    assert isinstance(ripple(times, values, 100), Ripple)


def test_without_a_direct_current_there_is_nothing_to_compare_with():
    times, values = sampled(lambda t: 0.01 + 0.5 * math.sin(2 * angle(t)), 20_000, 0.5)
    assert ripple(times, values, 100) is NotMeasured.NO_CURRENT
    assert ripple(times, [v - 0.01 for v in values], 100) is NotMeasured.NO_CURRENT


def test_nothing_read_is_not_measured():
    assert ripple([], [], 100) is NotMeasured.TOO_SHORT
    assert ripple([1.0], [2.0], 100) is NotMeasured.TOO_SHORT


@pytest.mark.parametrize(
    ("times", "values", "lowest_hz", "said"),
    [
        ([0.0, 1.0], [1.0], 100, "as many times as values, got 2 and 1"),
        ([0.0, 0.0], [1.0, 2.0], 100, "times must rise"),
        ([0.0, 1.0], [1.0, 2.0], 0, "must be above 0 Hz, got 0"),
        ([0.0, 1.0], [1.0, 2.0], math.nan, "must be above 0 Hz, got nan"),
    ],
)
def test_what_is_no_burst_is_refused(times, values, lowest_hz, said):
    with pytest.raises(ValueError, match=said):
        ripple(times, values, lowest_hz)
