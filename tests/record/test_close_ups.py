"""Close-ups in the record: every reading around an alarm, whatever became of the daemon."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from daemon.record import alarms, close_ups
from daemon.record.entries import CloseUpTaken, CountedBy, Part, Sample, Trace, TraceReading
from daemon.record.errors import CorruptBlockError
from daemon.record.writer import Writer

Make = Callable[..., Any]

UPTIME_S = 2_000_000.0
"""s. Twenty-three days after the boot, so that what is lost to rounding would show."""


def readings(from_s: float, to_s: float, per_s: int = 20) -> tuple[TraceReading, ...]:
    """A current that falls by 1 mA a reading, from the alarm's moment at `UPTIME_S`."""
    numbers = range(round(from_s * per_s), round(to_s * per_s))
    return tuple(
        TraceReading(UPTIME_S + k / per_s, 4.0 - k / 1000, 1.25 + k / 1000, 3.6) for k in numbers
    )


def taken(part: Part, from_s: float, to_s: float, *traces: Trace, number: int = 1) -> CloseUpTaken:
    return CloseUpTaken(number, part, UPTIME_S, from_s, to_s, traces)


def close(found: tuple[TraceReading, ...], meant: tuple[TraceReading, ...]) -> bool:
    """Whether the readings are these, to the resolution of the record, from the alarm's moment."""
    return len(found) == len(meant) and all(
        a == pytest.approx(b, abs=1.1e-5)
        for f, m in zip(found, meant, strict=True)
        for a, b in zip(f, m._replace(at_s=m.at_s - UPTIME_S), strict=True)
    )


def test_both_parts_come_back_as_one(writer: Writer, ask: Make, raised: Make) -> None:
    shunt = tuple(TraceReading(at_s, 3.61, None, None) for at_s, *_ in readings(-2, 1, per_s=1))
    writer.put(raised(1, monotonic_s=UPTIME_S))
    before = Trace("supply", True, readings(-60, 0.05))
    writer.put(taken(Part.BEFORE, -60.0, 0.0, Trace("shunt", False, shunt[:2]), before))
    writer.flush()
    half = ask(close_ups.of_alarm, 1)
    assert (half.from_s, half.to_s, len(half.traces[0].readings)) == (-60.0, 0.0, 1201)

    after = Trace("supply", True, readings(0.05, 30))
    writer.put(taken(Part.AFTER, 0.0, 30.02, Trace("shunt", False, shunt[2:]), after))
    writer.flush()
    whole = ask(close_ups.of_alarm, 1)
    assert (whole.number, whole.from_s, whole.to_s) == (1, -60.0, 30.02)
    assert [(t.meter, t.counting) for t in whole.traces] == [("supply", True), ("shunt", False)]
    assert close(whole.traces[0].readings, readings(-60, 30))
    assert whole.traces[1].readings == tuple(
        TraceReading(at_s, 3.61, None, None) for at_s in (-2.0, -1.0, 0.0)
    )


def test_an_alarm_without_a_close_up(writer: Writer, ask: Make, raised: Make) -> None:
    writer.put(raised(1))
    writer.put(taken(Part.BEFORE, 0.0, 0.0, number=99))
    writer.flush()

    assert ask(close_ups.of_alarm, 1) is None
    assert ask(close_ups.of_alarm, 99) is None


def test_a_reading_that_cannot_be_stored_costs_no_other(
    writer: Writer, ask: Make, raised: Make
) -> None:
    good, *_ = readings(-1, 0)
    strange = (
        good,
        TraceReading(math.nan, 1.0, 1.0, 1.0),
        TraceReading(UPTIME_S, math.inf, -1e30, 3.6),
    )
    writer.put(raised(1, monotonic_s=UPTIME_S))
    writer.put(taken(Part.BEFORE, -1.0, 0.0, Trace("supply", True, strange)))
    writer.flush()

    first, second = ask(close_ups.of_alarm, 1).traces[0].readings
    assert close((first,), (good,))
    assert second == TraceReading(0.0, None, None, 3.6)


def test_a_damaged_close_up_is_told(path: Path, look: Make, raised: Make) -> None:
    writer = Writer(path, threaded=False)
    writer.put(raised(1, monotonic_s=UPTIME_S))
    writer.put(taken(Part.BEFORE, -1.0, 0.0, Trace("supply", True, readings(-1, 0))))
    writer.close()
    engine = Writer(path, threaded=False)
    with engine._engine.begin() as connection:
        connection.exec_driver_sql("DROP TRIGGER trace_no_update")
        connection.exec_driver_sql("UPDATE trace SET readings = x'00'")
    engine.close()

    with pytest.raises(CorruptBlockError):
        look(close_ups.of_alarm, 1)


@pytest.fixture
def after_a_kill(path: Path, look: Make) -> Callable[[list[Any]], Any]:
    """Alarm 1's close-up in a record that took these entries before its daemon died."""

    def closed(entries: list[Any]) -> Any:
        writer = Writer(path, threaded=False)
        for entry in entries:
            writer.put(entry)
        writer.close()
        writer = Writer(path, threaded=False)
        writer.close_unfinished("the daemon stopped")
        writer.close()
        return look(close_ups.of_alarm, 1)

    return closed


def test_what_a_dead_daemon_still_owed_comes_from_its_run(
    after_a_kill: Make, opened: Make, raised: Make, steady: Make
) -> None:
    """The run began at 100 s; the alarm came 100 s later, and the daemon died 12 s after it."""
    before = tuple(
        TraceReading(100.0 + s.elapsed_s, s.current_a, s.voltage_v, s.set_current_a)
        for s in steady(100.5)
        if s.elapsed_s >= 40
    )
    part = CloseUpTaken(
        1, Part.BEFORE, 200.0, -60.0, 0.0, (Trace("supply", True, before),)
    )  # fmt: skip
    alarm = raised(1, 1, monotonic_s=200.0)
    found = after_a_kill([opened(), *steady(112.5), alarm, part])

    (trace,) = found.traces
    assert (found.from_s, found.to_s) == (-60.0, 12.0)
    assert [r.at_s for r in trace.readings] == [k / 2 for k in range(-120, 25)]
    assert {r[1:] for r in trace.readings} == {(3.6, 1.25, 3.6)}


def test_a_close_up_ends_with_its_time_though_the_run_went_on(
    after_a_kill: Make, opened: Make, raised: Make, steady: Make
) -> None:
    entries = [opened(), *steady(300), raised(1, 1, monotonic_s=200.0)]
    found = after_a_kill(entries)

    # Its first part was lost as well: the run has that too.
    times = [r.at_s for r in found.traces[0].readings]
    assert (found.from_s, found.to_s, times[0], times[-1]) == (-59.5, 29.5, -59.5, 29.5)
    assert len(times) == 179


def test_the_meter_that_counted_gives_what_is_missing(
    after_a_kill: Make, opened: Make, raised: Make
) -> None:
    run = replace(opened(), counted_by=CountedBy("shunt"))
    entries = [run, Sample(1, 31.0, 2.5, None, 3.0, 0.01), raised(1, 1, monotonic_s=130.0)]
    (trace,) = after_a_kill(entries).traces

    assert (trace.meter, trace.counting) == ("shunt", True)
    assert trace.readings == (TraceReading(1.0, 2.5, None, 3.0),)


@pytest.mark.parametrize("run_id", [None, 1])
def test_nothing_is_made_up_of_another_boot_or_of_rest(
    after_a_kill: Make, opened: Make, raised: Make, steady: Make, run_id: int | None
) -> None:
    alarm = raised(1, run_id, monotonic_s=130.0, boot_id="another")
    found = after_a_kill([opened(), *steady(100), alarm])

    assert (found.from_s, found.to_s, found.traces) == (0.0, 0.0, ())


def test_a_damaged_run_keeps_no_daemon_from_starting(
    after_a_kill: Make, look: Make, opened: Make, raised: Make, steady: Make, mocker: Any
) -> None:
    mocker.patch("daemon.record.close_ups.samples", side_effect=CorruptBlockError("damaged"))
    entries = [opened(), *steady(100), raised(1, 1, monotonic_s=130.0)]

    assert after_a_kill(entries).traces == ()
    assert look(alarms.one, 1).is_over
