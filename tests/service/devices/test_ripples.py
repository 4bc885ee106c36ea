"""Looks at the ripple: once a minute, without a gap in what is counted, and told when too high."""

import math
from itertools import pairwise

import pytest

from daemon.api.plans.file import read_plan
from daemon.control.states import Act
from daemon.record.entries import AlarmRaised
from daemon.service.devices.meter_worker import MeterWorker, Seen, Unread
from daemon.service.devices.ripples import RippleSeen, RippleWatch, burst_length_s
from drivers.channels.devices import Burst
from drivers.channels.ripple import Ripple
from drivers.contracts import Reading
from drivers.errors import NoReplyError

GAP_S = 1.0

PLAN = """\
title = "Plate"
area = "1.8 dm²"
target = "25 µm"
voltage_ceiling = "6 V"
caps = { charge = "10 Ah", duration = "10 h" }
[[stage]]
name = "build"
current = "2 A"
"""


class FastMeter:
    """2 A with a sine of 100 Hz on it, `rms` A; a read takes 0.2 ms, a burst as long as asked."""

    def __init__(self, clock, rms=0.05, current_a=2.0):
        self.clock = clock
        self.rms = rms
        self.current_a = current_a
        self.fault = None

    def open(self):
        pass

    def close(self):
        pass

    def read(self):
        self.clock.now_s += 2e-4
        return Reading(self.clock.now_s, self.current_a, None)

    def burst(self, duration_s):
        if self.fault is not None:
            raise self.fault
        times = [self.clock.now_s + n * 2e-4 for n in range(round(duration_s / 2e-4))]
        self.clock.now_s += duration_s
        swing = self.rms * math.sqrt(2)
        return Burst(
            times, [self.current_a + swing * math.sin(2 * math.pi * 100 * t) for t in times]
        )


@pytest.fixture
def meter(clock):
    return FastMeter(clock)


@pytest.fixture
def worker(clock, meter):
    """A worker of the meter at 10 readings a second, and all that it has told."""
    told = []
    duration_s = burst_length_s(GAP_S, 50.0)
    watch = RippleWatch(meter.burst, duration_s, mains_hz=50.0, least_a=0.02)
    worker = MeterWorker("shunt", meter, clock, 0.1, told.append, watch)
    worker.open()
    return worker, told


def turn_for(worker, clock, seconds):
    end_s = clock.now_s + seconds
    while clock.now_s < end_s:
        worker.turn()
        clock.advance_to(clock.asked_s)


def looks(told):
    return [news for news in told if isinstance(news, RippleSeen)]


def test_the_ripple_is_looked_at_once_a_minute(worker, clock):
    worker, told = worker
    turn_for(worker, clock, 185.0)
    seen = looks(told)
    assert [round(look.monotonic_s - seen[0].monotonic_s) for look in seen] == [0, 60, 120, 180]
    for look in seen:
        # 0.05 A rms on 2 A; a sine swings 2√2 times its rms.
        assert look.name == "shunt"
        assert look.found.rms_percent == pytest.approx(2.5, rel=1e-2)
        assert look.found.peak_to_peak_percent == pytest.approx(2.5 * 2 * math.sqrt(2), rel=1e-2)


def test_a_look_makes_no_gap_in_what_is_counted(worker, clock):
    worker, told = worker
    turn_for(worker, clock, 130.0)
    read_s = [news.value.monotonic_s for news in told if isinstance(news, Seen)]
    assert len(looks(told)) == 3
    assert max(later - earlier for earlier, later in pairwise(read_s)) < GAP_S / 2
    assert len(read_s) > 1280


@pytest.mark.parametrize(
    ("gap_s", "mains_hz", "length_s"),
    [(1.0, 50.0, 0.3), (100.0, 50.0, 0.3), (0.25, 50.0, 0.125), (0.19, 60.0, 0.095)],
)
def test_a_burst_is_shorter_than_the_gap_limit(gap_s, mains_hz, length_s):
    assert burst_length_s(gap_s, mains_hz) == pytest.approx(length_s)


@pytest.mark.parametrize(("gap_s", "mains_hz"), [(0.2, 50.0), (0.1, 50.0), (0.16, 60.0)])
def test_where_the_limit_leaves_no_time_nobody_looks(gap_s, mains_hz):
    assert burst_length_s(gap_s, mains_hz) is None


def test_a_reading_that_is_asked_for_is_not_kept_waiting(worker, clock):
    worker, told = worker
    worker.read_at(clock.now_s + 0.1)
    turn_for(worker, clock, 0.05)
    assert looks(told) == []
    turn_for(worker, clock, 0.3)
    assert len(looks(told)) == 1


@pytest.mark.parametrize("current_a", [0.0, 0.01, None])
def test_without_current_nobody_looks(worker, clock, meter, current_a):
    worker, told = worker
    meter.current_a = current_a
    turn_for(worker, clock, 2.0)
    assert looks(told) == []


def test_a_burst_that_fails_is_told_and_reading_goes_on(worker, clock, meter):
    worker, told = worker
    meter.fault = NoReplyError("the bus is stuck")
    turn_for(worker, clock, 2.0)
    assert [news for news in told if isinstance(news, Unread)] == [
        Unread("shunt", "the bus is stuck")
    ]
    assert sum(isinstance(news, Seen) for news in told) > 15


def look(rms_percent, from_start_s):
    return RippleSeen("shunt", 1000.0 + from_start_s, Ripple(rms_percent, 2.83 * rms_percent))


def test_too_much_ripple_is_an_alarm_when_it_stays(rig):
    rig.order(Act.START, plan=read_plan(PLAN, "plan"), text=PLAN)
    rig.at(30.0, look(14.2, 30.0))
    rig.at(89.0, lambda: seen.append(rig.raised()))
    rig.at(90.0, look(14.2, 90.0))
    seen = []
    rig.run(most_s=120.0)
    assert seen == [[]]
    (raised,) = rig.recorded(AlarmRaised)
    assert raised.cause == "ripple high"
    assert raised.seen == "shunt: 14.2 % rms ripple of the current; below 10 % is wanted"
    assert raised.run_id == 7
