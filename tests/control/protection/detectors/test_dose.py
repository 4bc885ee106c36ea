"""Inverse time: much for short is as bad as little for long."""

import pytest

from daemon.control.protection.detectors.dose import Dose


def first_s(dose, beyond, period_s, most_s=1000.0):
    """s from the first reading beyond the limit until it is believed."""
    dose.taken(-0.5, -period_s)
    at_s = 0.0
    while not dose.taken(beyond, at_s):
        at_s += period_s
        assert at_s < most_s
    return at_s


@pytest.mark.parametrize("period_s", [0.05, 0.1, 0.25, 1.0])
@pytest.mark.parametrize(("beyond", "after_s"), [(1.0, 2.0), (0.5, 4.0), (0.1, 20.0)])
def test_twice_as_far_beyond_takes_half_the_time_at_any_period(beyond, after_s, period_s):
    assert first_s(Dose(2.0, 1.0), beyond, period_s) == pytest.approx(after_s, abs=period_s)


def test_one_reading_alone_weighs_nothing():
    dose = Dose(0.1, 1.0)
    for second in range(100):
        assert not dose.taken(-0.1, second)
        assert not dose.taken(50.0, second + 0.5)


def test_of_a_long_silence_two_seconds_count():
    dose = Dose(2.1, 1.0)
    assert not dose.taken(1.0, 0.0)
    assert not dose.taken(1.0, 600.0)
    assert dose.taken(1.0, 601.0)
    enough = Dose(2.0, 1.0)
    assert not enough.taken(1.0, 0.0)
    assert enough.taken(1.0, 600.0)


def test_it_is_gone_when_it_was_within_its_limit_for_long_enough():
    dose = Dose(2.0, 10.0)
    assert first_s(dose, 1.0, 0.5) == 2.0
    heard = [dose.taken(0.0, 2.0 + 0.5 * n) for n in range(1, 30)]
    # The first interval ends within the limit.
    assert heard.index(False) in (18, 19, 20)
    assert not any(heard[20:])


def test_forgotten_is_forgotten():
    dose = Dose(2.0, 10.0)
    first_s(dose, 1.0, 0.5)
    dose.forget()
    assert not dose.believed
    assert not dose.taken(1.0, 100.0)
