"""Close-ups: what is remembered, what an alarm gets of it, and how much of it there can be."""

import tracemalloc

import pytest

from daemon.record.entries import CloseUpTaken, Part, Trace
from daemon.service.cycle.close_ups import MOST_READINGS, CloseUps
from drivers.contracts import Reading

UPTIME_S = 2_000_000.0


@pytest.fixture
def close_ups() -> CloseUps:
    return CloseUps("shunt")


def feed(close_ups: CloseUps, from_s: float, to_s: float, *, per_s: int = 20) -> None:
    """Readings of the counting meter from `from_s` on, before `to_s`."""
    for k in range(round(from_s * per_s), round(to_s * per_s)):
        reading = Reading(UPTIME_S + k / per_s, 3.0 + k / 1e6, 1.2)
        close_ups.take("shunt", reading, 3.0)


def times_s(trace: Trace) -> list[float]:
    """The trace's moments, s from `UPTIME_S`, to the ms."""
    return [round(reading.at_s - UPTIME_S, 3) for reading in trace.readings]


def test_an_alarm_gets_the_minute_before_and_half_a_minute_after(close_ups: CloseUps) -> None:
    feed(close_ups, 0, 100.05)
    before = close_ups.raised(7, UPTIME_S + 100.02)
    assert close_ups.due(UPTIME_S + 100.02) == []
    feed(close_ups, 100.05, 130)
    assert close_ups.due(UPTIME_S + 130.01) == []
    feed(close_ups, 130, 130.05)
    (after,) = close_ups.due(UPTIME_S + 130.03)

    assert (before.number, before.part, before.raised_s) == (7, Part.BEFORE, UPTIME_S + 100.02)
    assert (before.from_s, before.to_s) == (pytest.approx(-59.97), 0.0)
    assert times_s(before.traces[0]) == [round(k / 20, 3) for k in range(801, 2001)]
    assert (after.number, after.part, after.raised_s) == (7, Part.AFTER, UPTIME_S + 100.02)
    assert (after.from_s, after.to_s) == (0.0, pytest.approx(30.01))
    assert times_s(after.traces[0]) == [round(k / 20, 3) for k in range(2001, 2601)]
    assert close_ups.due(UPTIME_S + 1000) == []


def test_every_value_is_there_as_it_was_read(close_ups: CloseUps) -> None:
    close_ups.take("supply", Reading(UPTIME_S, None, 1.5), None)
    close_ups.take("shunt", Reading(UPTIME_S + 0.1, 2.5, 1.25), 3.0)
    supply, shunt = close_ups.raised(1, UPTIME_S + 0.2).traces

    assert (supply.meter, supply.counting) == ("supply", False)
    assert supply.readings == ((UPTIME_S, None, 1.5, None),)
    assert (shunt.meter, shunt.counting) == ("shunt", True)
    assert shunt.readings == ((UPTIME_S + 0.1, 2.5, 1.25, 3.0),)


def test_a_reading_that_is_told_twice_or_late_is_there_once(close_ups: CloseUps) -> None:
    for at_s in (1.0, 2.0, 2.0, 1.5, 3.0):
        close_ups.take("shunt", Reading(UPTIME_S + at_s, 1.0, None), 1.0)

    assert times_s(close_ups.raised(1, UPTIME_S + 3).traces[0]) == [1.0, 2.0, 3.0]


def test_a_reading_of_before_that_arrives_after_belongs_to_the_second_part(
    close_ups: CloseUps,
) -> None:
    """A meter's thread may tell of it only once the alarm is there: it must not be lost."""
    feed(close_ups, 0, 10)
    close_ups.raised(1, UPTIME_S + 10.3)
    feed(close_ups, 10, 10.1)
    (after,) = close_ups.finish(UPTIME_S + 10.4)

    assert times_s(after.traces[0]) == [10.0, 10.05]


def test_several_alarms_have_a_close_up_each(close_ups: CloseUps) -> None:
    feed(close_ups, 0, 60)
    first = close_ups.raised(1, UPTIME_S + 60)
    feed(close_ups, 60, 75)
    second = close_ups.raised(2, UPTIME_S + 75)
    feed(close_ups, 75, 95)
    (one,) = close_ups.due(UPTIME_S + 95)
    feed(close_ups, 95, 110)
    (two,) = close_ups.due(UPTIME_S + 110)

    ends = [(times_s(part.traces[0])[0], times_s(part.traces[0])[-1]) for part in (first, second)]
    assert ends == [(0.0, 59.95), (15.0, 74.95)]
    assert (one.number, len(one.traces[0].readings)) == (1, 35 * 20)
    assert (two.number, len(two.traces[0].readings)) == (2, 35 * 20)


def test_what_a_silent_meter_said_long_ago_is_no_part_of_it(close_ups: CloseUps) -> None:
    feed(close_ups, 0, 5)
    silent = close_ups.raised(1, UPTIME_S + 100)
    (after,) = close_ups.due(UPTIME_S + 130)

    assert (silent.from_s, silent.to_s, silent.traces) == (0.0, 0.0, ())
    assert (after.from_s, after.to_s, after.traces) == (0.0, 30.0, ())


def test_an_orderly_end_gives_what_there_is(close_ups: CloseUps) -> None:
    feed(close_ups, 0, 60)
    close_ups.raised(1, UPTIME_S + 60)
    close_ups.raised(2, UPTIME_S + 60)
    feed(close_ups, 60, 64)
    left = close_ups.finish(UPTIME_S + 64)

    assert [(part.number, part.part, part.to_s) for part in left] == [
        (1, Part.AFTER, 4.0), (2, Part.AFTER, 4.0),
    ]  # fmt: skip
    assert [len(part.traces[0].readings) for part in left] == [80, 80]
    assert close_ups.finish(UPTIME_S + 64) == []


def test_a_meter_that_is_too_fast_loses_its_oldest(close_ups: CloseUps) -> None:
    feed(close_ups, 0, 50, per_s=100)
    before = close_ups.raised(1, UPTIME_S + 50)

    assert len(before.traces[0].readings) == MOST_READINGS == 3000
    assert before.from_s == pytest.approx(-30.0)


def test_a_day_at_20_readings_a_second_and_50_alarms_fits_in_a_few_megabytes() -> None:
    """A disk that takes nothing keeps every part waiting; they share the readings they are of."""
    close_ups = CloseUps("shunt")
    feed(close_ups, 0, 60)
    tracemalloc.start()
    feed(close_ups, 60, 3600)
    remembered, _ = tracemalloc.get_traced_memory()
    waiting: list[CloseUpTaken] = []
    for number in range(50):
        waiting.append(close_ups.raised(number, UPTIME_S + 3600 + number / 20))
    feed(close_ups, 3600, 3640)
    waiting += close_ups.due(UPTIME_S + 3640)
    kept, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert len(waiting) == 100
    assert remembered < 250_000  # a minute; more would only cost time when an alarm is raised
    assert kept < 3_000_000
