"""The drawing of a close-up, against places that were worked out by hand."""

import re

import pytest

from daemon.record.close_ups import CloseUp
from daemon.record.entries import Trace, TraceReading
from web.drawings.close_up import drawn, kinds


def a_trace(
    *readings: tuple[float | None, ...], meter: str = "shunt", counting: bool = True
) -> Trace:
    """Readings of time, current, and optionally voltage and set current."""
    rows = [(*reading, None, None)[:4] for reading in readings]
    return Trace(meter, counting, tuple(TraceReading(*row) for row in rows))  # type: ignore[arg-type]


def test_a_line_goes_through_every_reading_and_the_alarm_stands_in_its_place() -> None:
    trace = a_trace((-20.0, 2.0), (-10.0, 2.0), (0.0, 2.0), (10.0, 0.5), (20.0, 0.0))
    drawing = drawn(CloseUp(1, -20.0, 20.0, (trace,)))
    assert drawing is not None
    (current,) = drawing.panels
    (line,) = current.lines
    # 40 s on 1000 across; 2 A on 100 down, 0 A at the bottom.
    assert line.path == "M0.0 0.0L250.0 0.0L500.0 0.0L750.0 75.0L1000.0 100.0"
    assert drawing.moment == pytest.approx(0.5)
    assert [(t.label, t.at) for t in drawing.ticks] == [
        ("−20", 0.0), ("−10", 0.25), ("alarm", 0.5), ("+10", 0.75), ("+20", 1.0),
    ]  # fmt: skip
    assert [(t.label, t.at) for t in current.ticks] == [
        ("0.0", 1.0), ("0.5", 0.75), ("1.0", 0.5), ("1.5", 0.25), ("2.0", 0.0),
    ]  # fmt: skip
    assert (current.name, current.unit) == ("Current", "A")
    assert "shunt: from 0.000 to 2.000." in current.said


def test_what_was_not_read_is_left_out_and_breaks_the_line() -> None:
    trace = a_trace((0.0, 1.0), (0.1, 1.0), (0.2, None), (0.3, 0.0), (9.0, 0.0), (9.1, 0.0))
    drawing = drawn(CloseUp(1, 0.0, 10.0, (trace,)))
    assert drawing is not None
    (line,) = drawing.panels[0].lines
    # The lone reading is a dot; the silence of 8.7 s is longer than 1 s and four times the usual.
    assert line.path == "M0.0 0.0L10.0 0.0M30.0 100.0L30.0 100.0M900.0 100.0L910.0 100.0"


def test_a_slow_meter_has_no_gaps() -> None:
    trace = a_trace(*((5.0 * k, 1.0 + k % 2) for k in range(6)))
    drawing = drawn(CloseUp(1, 0.0, 25.0, (trace,)))
    assert drawing is not None
    assert drawing.panels[0].lines[0].path.count("M") == 1


def test_the_set_current_is_kept_until_it_changes() -> None:
    rows = (
        (-4.0, 1.0, 2.0, 1.0),
        (-2.0, 1.0, 2.0, 1.0),
        (0.0, 0.9, 2.0, 0.0),
        (4.0, 0.0, 0.0, 0.0),
    )
    drawing = drawn(CloseUp(1, -4.0, 4.0, (a_trace(*rows),)))
    assert drawing is not None
    current, voltage = drawing.panels
    assert current.set_line == "M0.0 0.0H500.0V100.0H1000.0"
    assert (voltage.name, voltage.unit, voltage.set_line) == ("Voltage", "V", "")


def test_a_steady_current_is_drawn_as_a_steady_line() -> None:
    """A wave of 1 mA in 3.5 A."""
    trace = a_trace(*((k / 10, 3.5 + 0.001 * (k % 2)) for k in range(100)))
    drawing = drawn(CloseUp(1, 0.0, 10.0, (trace,)))
    assert drawing is not None
    down = [float(y) for y in re.findall(r" ([\d.]+)", drawing.panels[0].lines[0].path)]
    assert max(down) - min(down) < 1.0


def test_noise_around_nothing_does_not_make_a_scale_of_negative_currents() -> None:
    trace = a_trace((-1.0, 3.4), (0.0, 0.002), (1.0, -0.002))
    drawing = drawn(CloseUp(1, -1.0, 1.0, (trace,)))
    assert drawing is not None
    assert [t.label for t in drawing.panels[0].ticks] == ["0", "1", "2", "3", "4"]


def test_meters_are_told_apart() -> None:
    rows = ((0.0, 1.0), (1.0, 1.0))
    names = ("shunt", "clamp", "supply")
    traces = tuple(a_trace(*rows, meter=name, counting=name == "shunt") for name in names)
    drawing = drawn(CloseUp(1, 0.0, 1.0, traces))
    assert drawing is not None
    assert [(line.meter, line.kind) for line in drawing.panels[0].lines] == [
        ("shunt", "counting"), ("clamp", "other-1"), ("supply", "other-2"),
    ]  # fmt: skip
    assert kinds(traces)["supply"] == "other-2"


def test_the_nearer_look_leaves_out_the_rest() -> None:
    trace = a_trace(*((float(t), 1.0 if t < 0 else 0.0) for t in range(-60, 31)))
    drawing = drawn(CloseUp(1, -60.0, 30.0, (trace,)), near_s=5.0)
    assert drawing is not None
    path = drawing.panels[0].lines[0].path
    assert path.count("L") == 10
    assert path.startswith("M0.0 ")
    assert path.endswith("L1000.0 100.0")
    assert drawing.moment == pytest.approx(0.5)


@pytest.mark.parametrize(
    "close_up",
    [
        CloseUp(1, 0.0, 0.0, ()),
        CloseUp(1, -60.0, 30.0, ()),
        CloseUp(1, -60.0, 30.0, (a_trace(),)),
        CloseUp(1, -60.0, 30.0, (a_trace((-1.0, None), (1.0, None)),)),
    ],
)
def test_where_nothing_was_read_nothing_is_drawn(close_up: CloseUp) -> None:
    assert drawn(close_up) is None
