"""The thread that owns a meter: its grid, its failures, and that it holds up nobody else."""

import threading
from collections import deque
from queue import SimpleQueue

import pytest

from daemon.clock import SystemClock
from daemon.service.devices.meter_worker import MeterWorker, Seen, Unread
from drivers.contracts import Reading, Temperature
from drivers.errors import GarbledReplyError, NoReplyError, PortUnavailableError, WrongDeviceError

LOST = PortUnavailableError("curr1_input: the chip was taken away")
PERIOD_S = 0.5


class ScriptedMeter:
    """Reads 2 A, or fails as `script` says, in order; None in it is a call that goes well."""

    def __init__(self, clock):
        self._clock = clock
        self.script = deque()
        self.calls = []
        self.takes_s = 0.0

    def _call(self, name):
        self.calls.append((name, self._clock.now_s))
        self._clock.now_s += self.takes_s
        fault = self.script.popleft() if self.script else None
        if fault is not None:
            raise fault

    def open(self):
        self._call("open")

    def close(self):
        self.calls.append(("close", self._clock.now_s))

    def read(self):
        self._call("read")
        return Reading(self._clock.now_s, 2.0, None)

    def at(self, name):
        """Seconds from the start at which a method was called."""
        return [pytest.approx(at_s - 1000.0) for call, at_s in self.calls if call == name]


class Bench:
    """A worker whose turns are taken one by one, each at the moment that it waits for."""

    def __init__(self, clock):
        self.clock = clock
        self.meter = ScriptedMeter(clock)
        self.told = []
        self.worker = MeterWorker("shunt", self.meter, clock, PERIOD_S, self.told.append)
        self.worker.open()

    def run_for(self, seconds):
        """Turn by turn, as long as the next is due within this time."""
        end_s = self.clock.now_s + seconds
        while self.clock.now_s < end_s:
            # The first turn may take a message or a reading, the second tells what it waits for.
            assert self.worker.turn()
            assert self.worker.turn()
            self.clock.advance_to(min(self.clock.asked_s, end_s))
        assert self.worker.turn()

    def said(self, kind):
        return [told for told in self.told if isinstance(told, kind)]


@pytest.fixture
def bench(clock):
    return Bench(clock)


def test_it_reads_on_its_grid_and_says_who_it_is(bench):
    bench.run_for(2.0)
    assert bench.meter.at("read") == [0.0, 0.5, 1.0, 1.5, 2.0]
    assert bench.told[0] == Seen("shunt", Reading(1000.0, 2.0, None))
    assert len(bench.told) == 5


def test_readings_that_take_their_time_do_not_shift_the_grid(bench):
    bench.meter.takes_s = 0.3
    bench.run_for(2.0)
    assert bench.meter.at("read") == [0.0, 0.5, 1.0, 1.5, 2.0]


def test_a_stall_s_readings_are_left_out_and_the_grid_goes_on(bench):
    bench.run_for(0.5)
    bench.clock.now_s += 1.2
    bench.run_for(1.5)
    assert bench.meter.at("read") == [0.0, 0.5, 1.7, 2.0, 2.5, 3.0]


def test_a_reading_at_a_moment_of_one_s_own_comes_besides_the_others(bench):
    bench.run_for(0.5)
    bench.worker.read_at(1000.7)
    bench.run_for(1.0)
    assert bench.meter.at("read") == [0.0, 0.5, 0.7, 1.0, 1.5]


def test_a_moment_that_has_passed_is_now(bench):
    bench.run_for(0.6)
    bench.worker.read_at(1000.1)
    bench.run_for(0.1)
    assert bench.meter.at("read") == [0.0, 0.5, 0.6]


def test_the_newest_moment_asked_for_counts(bench):
    bench.run_for(0.5)
    bench.worker.read_at(1000.6)
    bench.worker.read_at(1000.8)
    bench.run_for(0.5)
    assert bench.meter.at("read") == [0.0, 0.5, 0.8, 1.0]


@pytest.mark.parametrize("fault", [NoReplyError("no value"), GarbledReplyError("at its stop")])
def test_a_missed_reading_is_told_and_the_next_one_taken(bench, fault):
    bench.meter.script.extend([None, fault])
    bench.run_for(1.5)
    assert bench.said(Unread) == [Unread("shunt", str(fault))]
    assert [seen.value.monotonic_s for seen in bench.said(Seen)] == [1000.0, 1001.0, 1001.5]
    assert bench.meter.at("close") == []


def test_a_meter_that_stays_silent_is_told_of_once_a_minute(bench):
    bench.meter.script.extend([NoReplyError("no value")] * 1000)
    bench.run_for(150.0)
    assert len(bench.said(Unread)) == 3
    assert not bench.said(Seen)


def test_a_lost_chip_is_looked_for_ever_more_rarely_and_found_again(bench):
    # Four openings fail: after 0.5, 1, 2 and 4 s, then after 5 s at most.
    bench.meter.script.extend([None, LOST, *[LOST] * 4])
    bench.run_for(30.0)
    assert bench.meter.at("open")[:6] == [0.0, 1.0, 2.0, 4.0, 8.0, 13.0]
    assert [seen.value.monotonic_s for seen in bench.said(Seen)][:3] == [1000.0, 1013.0, 1013.5]
    assert bench.said(Unread) == [Unread("shunt", str(LOST))]


def test_the_next_loss_is_looked_for_soon_again(bench):
    bench.meter.script.extend([None, LOST, LOST, LOST])
    bench.run_for(20.0)
    bench.meter.calls.clear()
    bench.meter.script.append(LOST)
    bench.run_for(2.0)
    (lost_at, *_), (opened_at,) = bench.meter.at("read"), bench.meter.at("open")
    assert opened_at.expected - lost_at.expected == pytest.approx(0.5)


def test_another_chip_in_its_place_is_not_read(bench):
    bench.meter.script.extend([None, LOST, WrongDeviceError("ina219 is at that address")])
    bench.run_for(0.5)
    bench.run_for(0.5)
    assert len(bench.said(Seen)) == 1
    assert bench.meter.at("close")


def test_a_thermometer_is_the_same_to_it(clock):
    told = []
    meter = ScriptedMeter(clock)
    meter.read = lambda: Temperature(clock.now_s, 24.5)
    worker = MeterWorker("bath", meter, clock, 10.0, told.append)
    worker.open()
    worker.turn()
    assert told == [Seen("bath", Temperature(1000.0, 24.5))]


def test_what_cannot_be_opened_at_the_start_says_why(clock):
    meter = ScriptedMeter(clock)
    meter.script.append(LOST)
    with pytest.raises(PortUnavailableError, match="taken away"):
        MeterWorker("shunt", meter, clock, PERIOD_S, [].append).open()


# With its thread.


class HangingMeter(ScriptedMeter):
    """Hangs in its second reading until it is let go."""

    def __init__(self, clock):
        super().__init__(clock)
        self.hangs = threading.Event()
        self.go = threading.Event()

    def read(self):
        if self.at("read"):
            self.hangs.set()
            self.go.wait()
        return super().read()


class RealClock(SystemClock):
    @property
    def now_s(self):
        return self.monotonic_s()

    @now_s.setter
    def now_s(self, _):
        """Goes by itself."""


def test_the_thread_reads_and_stops_and_closes():
    meter = ScriptedMeter(RealClock())
    told = SimpleQueue()
    worker = MeterWorker("shunt", meter, RealClock(), 0.001, told.put)
    worker.open()
    worker.start()
    times = [told.get(timeout=60).value.monotonic_s for _ in range(5)]
    worker.stop()
    assert times == sorted(times)
    assert meter.calls[-1][0] == "close"


def test_a_meter_that_hangs_holds_up_no_other(monkeypatch):
    monkeypatch.setattr("daemon.service.devices.meter_worker.STOP_LIMIT_S", 0.01)
    hanging, well = HangingMeter(RealClock()), ScriptedMeter(RealClock())
    told = SimpleQueue()
    workers = [
        MeterWorker(name, meter, RealClock(), 0.001, told.put)
        for name, meter in (("tube", hanging), ("shunt", well))
    ]
    for worker in workers:
        worker.open()
        worker.start()
    assert hanging.hangs.wait(60)
    while not told.empty():
        told.get()
    assert [told.get(timeout=60).name for _ in range(20)] == ["shunt"] * 20
    # Nor the end: the thread that hangs is left behind, with its device.
    for worker in workers:
        worker.stop()
    assert ("close" in [name for name, _ in hanging.calls]) is False
    assert well.calls[-1][0] == "close"
    hanging.go.set()
