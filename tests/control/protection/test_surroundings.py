"""Bath, record, disk, clock and meters: what is told, and when it is over."""

import pytest

from daemon.control.panel import Disagreement
from daemon.control.protection.detectors.thresholds import Thresholds
from daemon.control.protection.surroundings import (
    Around,
    BathTemperature,
    ClockStepped,
    DiskNearlyFull,
    Level,
    RecordBehind,
    RippleHigh,
    Surroundings,
    meters_disagree,
)

T = Thresholds()


def bath(temperatures, from_s=0.0):
    """A thermometer read once in ten seconds: moments at which each cause is there."""
    watched = BathTemperature("bath", T, from_s - 1.0)
    told = {}
    for n, temperature_c in enumerate(temperatures):
        at_s = from_s + 10.0 * n
        for sign in watched.look(temperature_c, at_s, at_s):
            told.setdefault(sign.cause, []).append((at_s, sign))
    return told


def test_a_bath_that_stays_too_hot_is_told_of_after_a_minute():
    told = bath([25.0] * 10 + [30.4] * 20)
    at_s, sign = told["bath too hot"][0]
    assert at_s == 160.0
    assert sign.seen == "bath: 30.4 °C; at most 30.0 °C is wanted"
    assert sign.figures == {"temperature_c": 30.4}
    assert list(told) == ["bath too hot"]


def test_a_hand_on_the_thermometer_is_no_heat():
    assert bath(([25.0] * 5 + [34.0] * 5) * 20) == {}


def test_a_bath_at_the_limit_does_not_come_and_go():
    told = bath([30.2] * 10 + [29.8, 30.2] * 100 + [29.4] * 20)
    moments = [at_s for at_s, _ in told["bath too hot"]]
    # Without a break from a minute after 30.2 °C to a minute after 29.4 °C.
    assert moments == [10.0 * n for n in range(6, 216)]


def test_a_cold_one_likewise():
    told = bath([17.5] * 20 + [18.3] * 30 + [18.6] * 30)
    moments = [at_s for at_s, _ in told["bath too cold"]]
    assert (moments[0], moments[-1]) == (60.0, 550.0)
    assert told["bath too cold"][0][1].seen == "bath: 17.5 °C; at least 18.0 °C is wanted"


def test_a_thermometer_that_falls_silent_is_lost_and_a_hot_bath_stays_hot():
    watched = BathTemperature("bath", T, 0.0)
    for at_s in (0.0, 10.0, 70.0, 80.0):
        watched.look(31.0, at_s, at_s)
    causes = [[s.cause for s in watched.look(31.0, 80.0, now_s)] for now_s in (139.0, 141.0)]
    assert causes == [["bath too hot"], ["bath too hot", "thermometer lost"]]
    assert [s.cause for s in watched.look(31.0, 150.0, 150.0)] == ["bath too hot"]


def test_one_that_never_gave_a_value_has_a_minute():
    watched = BathTemperature("bath", T, 1000.0)
    assert watched.look(None, None, 1059.0) == ()
    (lost,) = watched.look(None, None, 1061.0)
    assert (lost.cause, lost.seen) == ("thermometer lost", "bath: no value for 61 s")
    assert lost.figures == {"age_s": 61.0}


def test_a_level_has_a_deadband_and_delays():
    level = Level(10.0, 8.0, 2.0, 3.0)
    values = [11, 11, 11, 9, 9, 7, 7, 7, 7, 9]
    assert [level.seen(v, s) for s, v in enumerate(values)] == [False] * 2 + [True] * 6 + [
        False,
        False,
    ]


def test_a_record_that_waits():
    record = RecordBehind(T)
    assert record.look(29.0, None, 0.0) == ()
    (sign,) = record.look(31.0, "disk I/O error", 2.0)
    assert sign.seen == "readings wait for 31 s: disk I/O error"
    assert sign.figures == {"lag_s": 31.0}
    assert record.look(6.0, None, 3.0) != ()
    assert record.look(4.0, None, 4.0) == ()


def test_a_disk_that_fills():
    disk = DiskNearlyFull(T)
    assert disk.look(201.0, 0.0) == ()
    (sign,) = disk.look(199.0, 1.0)
    assert sign.seen == "199 MB are free; at least 200 MB are wanted"
    assert sign.figures == {"free_mb": 199.0}
    assert disk.look(219.0, 2.0) != ()
    assert disk.look(221.0, 3.0) == ()


def test_a_step_of_the_clock_stands_for_a_minute_and_again_counts_anew():
    clock = ClockStepped(T)
    assert clock.look(None, 0.0) == ()
    (first,) = clock.look(-3600.0, 1.0)
    assert (first.seen, first.repeat) == ("the wall clock was set by -3600.0 s", 0)
    assert first.figures == {"stepped_s": -3600.0}
    assert clock.look(None, 60.0) == (first,)
    (second,) = clock.look(2.0, 60.5)
    assert second.repeat == 1
    assert clock.look(None, 120.0) == (second,)
    assert clock.look(None, 120.5) == ()


def test_ripple_has_to_be_found_high_twice():
    ripple = RippleHigh("shunt", T)
    assert ripple.look(12.0, 0.0, 0.0) == ()
    assert ripple.look(12.0, 0.0, 55.0) == ()
    (sign,) = ripple.look(12.0, 60.0, 60.0)
    assert sign.seen == "shunt: 12.0 % rms ripple of the current; below 10 % is wanted"
    assert sign.figures == {"rms_percent": 12.0}
    assert ripple.look(9.0, 120.0, 120.0) != ()
    assert ripple.look(7.0, 180.0, 180.0) != ()
    assert ripple.look(7.0, 240.0, 240.0) == ()


def test_ripple_of_the_start_of_a_ramp_is_not_told():
    ripple = RippleHigh("shunt", T)
    assert ripple.look(40.0, 0.0, 0.0) == ripple.look(5.0, 60.0, 60.0) == ()


def test_an_old_look_says_nothing():
    ripple = RippleHigh("shunt", T)
    ripple.look(12.0, 0.0, 0.0)
    assert ripple.look(12.0, 60.0, 200.0) != ()
    assert ripple.look(12.0, 60.0, 211.0) == ()
    assert ripple.look(12.0, 300.0, 300.0) == ()


@pytest.fixture
def apart():
    return [
        Disagreement("shunt", 2.0, "supply", 2.2, 0.03),
        Disagreement("shunt", 2.0, "cell", 1.5, 0.03),
    ]


def test_all_meters_that_disagree_are_one_sign(apart):
    assert meters_disagree([]) == ()
    (sign,) = meters_disagree(apart)
    assert sign.cause == "meters disagree"
    assert sign.seen.startswith("shunt reads 2.000 A, supply 2.200 A: 0.200 A apart, ")
    assert "; shunt reads 2.000 A, cell 1.500 A" in sign.seen
    assert sign.figures == {"shunt": 2.0, "supply": 2.2, "cell": 1.5}


def test_all_together(apart):
    around = Surroundings(["bath"], T, 0.0)
    assert around.look(Around(temperatures={"bath": (25.0, 1.0)}, free_mb=1e4), 1.0) == ()
    assert around.look(Around(), 2.0) == ()
    signs = around.look(
        Around(
            ripples={"shunt": (12.0, 60.0)},
            lag_s=40.0,
            fault="no space",
            free_mb=3.0,
            stepped_s=5.0,
            apart=apart,
        ),
        70.0,
    )
    assert [sign.cause for sign in signs] == [
        "thermometer lost",
        "record behind",
        "disk nearly full",
        "clock stepped",
        "meters disagree",
    ]
    later = around.look(
        Around({"bath": (35.0, 110.0)}, {"shunt": (12.0, 120.0)}, free_mb=1e4), 131.0
    )
    assert [sign.cause for sign in later] == ["ripple high"]
