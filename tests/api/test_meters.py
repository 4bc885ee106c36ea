"""What is said of several meters, of ripple and of the bath's temperature."""

import pytest

from daemon.api import meters
from daemon.api.socket.messages import MeterStatus, RippleStatus, Status, ThermometerStatus


def meter(name, current_a, **more):
    fields = {
        "counts": False,
        "raw_current_a": current_a,
        "voltage_v": None,
        "age_s": 0.1,
        "explained_a": 0.05,
    }
    return MeterStatus(name=name, current_a=current_a, **(fields | more))


SHUNT = meter("shunt", 3.498, counts=True, explained_a=None)


def status_of(*others, rate=1.0):
    return Status.model_construct(meters=(SHUNT, *others), rate=rate)


@pytest.mark.parametrize(
    ("other", "expected"),
    [
        (SHUNT, "counts"),
        (meter("supply", 3.512), "0.014 A more; their doubt explains up to 0.050 A"),
        (meter("supply", 3.4841), "0.014 A less; their doubt explains up to 0.050 A"),
        (meter("supply", 3.4981), "the same; their doubt explains up to 0.050 A"),
        (meter("supply", 3.598), "0.100 A more; their doubt explains only 0.050 A"),
        (meter("supply", 3.398), "0.100 A less; their doubt explains only 0.050 A"),
        (meter("supply", 3.512, explained_a=None), "0.014 A more"),
        (meter("cell", None), "reads no current"),
        (meter("supply", 3.512, age_s=14.0), "silent for 14 s"),
    ],
)
def test_how_a_meter_stands_to_the_one_that_counts(other, expected):
    assert meters.standing(other, status_of(other)) == expected


def test_a_meter_is_silent_in_a_bystanders_seconds():
    told = status_of(meter("supply", 3.5, age_s=900.0), rate=200.0)
    assert "their doubt explains" in meters.standing(told.meters[1], told)


def test_without_a_current_of_the_one_that_counts_there_is_nothing_to_compare():
    other = meter("supply", 3.5)
    told = Status.model_construct(meters=(meter("shunt", None, counts=True), other), rate=1.0)
    assert meters.standing(other, told) == "nothing to compare with"


@pytest.mark.parametrize(
    ("others", "expected"),
    [
        ([meter("supply", 3.512)], "shunt counts; supply agrees"),
        (
            [meter("supply", 3.512), meter("clamp", 3.49)],
            "shunt counts; supply and clamp agree",
        ),
        (
            [meter("supply", 3.512), meter("clamp", 3.9)],
            "shunt counts; clamp off by more than their doubt",
        ),
        ([meter("supply", 3.9), meter("clamp", 3.5, age_s=9.0)], "shunt counts; clamp silent"),
        ([meter("cell", None, explained_a=None)], "shunt counts"),
    ],
)
def test_all_meters_in_a_few_words(others, expected):
    assert meters.agreement(status_of(*others)) == expected


def test_before_the_counting_meter_was_read_nothing_is_said_of_the_others():
    told = Status.model_construct(meters=(meter("supply", 0.0),), rate=1.0)
    assert meters.agreement(told) == "the one that counts has not been read yet"


@pytest.mark.parametrize(
    ("look", "expected"),
    [
        (None, "not measured: read too slowly"),
        (
            RippleStatus(not_measured="the meter samples too slowly", age_s=3.0),
            "not measured: the meter samples too slowly",
        ),
        (
            RippleStatus(rms_percent=2.14, peak_to_peak_percent=7.38, age_s=3.0),
            "2.1 % rms, 7.4 % peak to peak",
        ),
    ],
)
def test_ripple_is_told_or_why_it_is_not(look, expected):
    assert meters.ripple(look) == expected


@pytest.mark.parametrize(
    ("age_s", "rate", "expected"),
    [
        (10.0, 1.0, "24.6 °C"),
        (180.0, 1.0, "24.6 °C, 3 min ago"),
        (2000.0, 200.0, "24.6 °C"),
    ],
)
def test_an_old_temperature_has_its_age(age_s, rate, expected):
    seen = ThermometerStatus(name="bath", temperature_c=24.62, age_s=age_s)
    assert meters.temperature(seen, rate) == expected
