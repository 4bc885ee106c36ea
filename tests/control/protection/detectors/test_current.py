"""Too much and too little current, by hand-made readings."""

import pytest

from daemon.control.protection.detectors.current import OffPlan, OverCurrent
from daemon.control.protection.detectors.thresholds import Thresholds
from drivers.contracts import Mode

T = Thresholds()


@pytest.fixture
def over():
    return OverCurrent(T)


@pytest.fixture
def below():
    return OffPlan(T)


def test_the_current_asked_for_is_no_trouble(over, below, observe):
    for n in range(2000):
        # 4 % above and below, in turn.
        seen = observe(0.1 * n, 1.0 + 0.04 * (-1) ** n)
        assert over.look(seen) == below.look(seen) == ()


@pytest.mark.parametrize("period_s", [0.05, 0.2, 1.0])
def test_a_little_too_much_takes_longer_than_a_lot(over, observe, named, period_s):
    # Let through are 1 A, 10 % and 0.1 A: 1.2 A. 1.26 A is 5 % beyond: 0.1 s / 0.05.
    over.look(observe(-period_s))
    at_s = 0.0
    while not (signs := over.look(observe(at_s, 1.26))):
        at_s += period_s
    assert named(signs) == ["over-current"]
    assert 2.0 - 1e-9 <= at_s <= 2.0 + period_s + 1e-9
    assert signs[0].seen == "1.260 A where at most 1.000 A is asked for"
    assert signs[0].figures == {"current_a": 1.26, "voltage_v": 0.9, "set_current_a": 1.0}


def test_it_is_over_when_the_current_is_back_for_a_second(over, observe):
    for n in range(50):
        over.look(observe(0.1 * n, 1.5))
    assert over.look(observe(5.0, 1.0)) != ()
    assert over.look(observe(5.5, 1.0)) != ()
    assert over.look(observe(6.1, 1.0)) == ()


def test_a_spike_is_told_by_one_reading(over, observe, named):
    for n in range(100):
        over.look(observe(0.1 * n))
    (spike,) = over.look(observe(10.0, 5.2))
    assert (spike.cause, spike.seen) == (
        "current spike",
        "5.200 A where at most 1.000 A is asked for",
    )
    assert named(over.look(observe(10.1))) == ["current spike"]
    assert over.look(observe(11.2)) == ()


def test_no_spike_in_the_second_after_output_on(over, observe, named):
    assert over.look(observe(0.3, 5.2, started_s=0.0)) == ()
    assert named(over.look(observe(1.0, 5.2, started_s=0.0))) == ["over-current", "current spike"]


def test_peaks_of_ripple_are_no_spikes(over, observe):
    for n in range(1000):
        assert over.look(observe(0.1 * n, 3.0 * (1 + 0.14 * (-1) ** n), set_current_a=3.0)) == ()


def test_a_slow_supply_may_come_down_within_ten_seconds(over, observe):
    over.look(observe(0.0, 5.0, set_current_a=5.0))
    for n in range(1, 101):
        current_a = max(0.5, 5.0 - 0.05 * n)
        assert over.look(observe(0.1 * n, current_a, set_current_a=0.5)) == ()


def test_one_that_does_not_come_down_is_found(over, observe, named):
    over.look(observe(0.0, 5.0, set_current_a=5.0))
    found = [n for n in range(1, 100) if over.look(observe(0.1 * n, 5.0, set_current_a=0.5))]
    # 5.0 A pass 1.1 times what is left, and 0.1 A, after 1.1 s; each second takes 0.5 A away.
    assert 1.1 < 0.1 * found[0] < 3.0


def test_a_tenth_too_little_is_off_the_plan_after_minutes(below, observe, named):
    # 0.9 A would do: 0.81 A are 10 % too little, so 20 s / 0.1.
    at_s = 0.0
    while not (signs := below.look(observe(at_s, 0.81))):
        at_s += 0.5
    assert named(signs) == ["current off the plan"]
    assert at_s == pytest.approx(200.0, abs=1.0)
    assert signs[0].seen == "0.810 A where 1.000 A is asked for, at 0.90 V of 4.00 V"


def test_a_current_the_wrong_way_round_is_off_the_plan(below, observe, named):
    found = [n for n in range(300) if below.look(observe(0.1 * n, -1.0))]
    assert found[0] < 110


@pytest.mark.parametrize(
    "held",
    [
        {"voltage_v": 3.95},
        {"mode": Mode.CONSTANT_VOLTAGE},
        {"voltage_v": None, "mode": None},
        {"voltage_v": None, "mode": Mode.CONSTANT_VOLTAGE},
    ],
)
def test_what_the_ceiling_holds_down_or_may_hold_down_is_not_off_the_plan(below, observe, held):
    for n in range(2000):
        assert below.look(observe(0.5 * n, 0.2, **held)) == ()


def test_a_supply_that_says_it_holds_the_current_needs_no_voltage_to_be_off_the_plan(
    below, observe, named
):
    unread = {"voltage_v": None, "mode": Mode.CONSTANT_CURRENT}
    told = [signs for n in range(500) if (signs := below.look(observe(0.5 * n, 0.2, **unread)))]
    assert named(told[0]) == ["current off the plan"]


def test_it_is_back_on_the_plan_after_a_while(below, observe):
    for n in range(500):
        below.look(observe(0.1 * n, 0.1))
    assert below.look(observe(55.0, 1.0)) != ()
    off = [s for s in range(56, 120) if below.look(observe(float(s), 1.0)) == ()]
    assert 60 < off[0] < 80


def test_a_coarse_meter_is_given_more_room(observe):
    coarse = Thresholds().of_meter(0.1)
    assert coarse.over_least_a == pytest.approx(0.5)
    assert (Thresholds().of_meter(0.005), coarse.zero_a) == (Thresholds(), 0.1)
    over, below = OverCurrent(coarse), OffPlan(coarse)
    for n in range(3000):
        seen = observe(0.1 * n, 0.3 if n % 600 < 300 else 0.1, set_current_a=0.2)
        assert over.look(seen) == below.look(seen) == ()
