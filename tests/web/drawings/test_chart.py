"""The chart's columns and its plain drawing."""

from typing import Any

import pytest

from daemon.api.runs.course import RunCourse
from daemon.api.socket.rehearsal import CurveMessage, Rehearsal
from daemon.record.series import Bands, Series
from web.drawings.chart import columns, course_columns, panels


def a_series(
    last_s: tuple[float, ...],
    current: tuple[float | None, ...],
    first_s: tuple[float, ...] | None = None,
) -> Series:
    bands = Bands(current, current, current)
    charge = tuple(float(i) for i in range(len(last_s)))
    return Series("sample", first_s or last_s, last_s, bands, bands, bands, charge, bands)


def a_course(
    last_s: tuple[float, ...], current: tuple[float | None, ...], **more: Any
) -> RunCourse:
    return RunCourse(a_series(last_s, current), **more)


def test_columns_keep_what_was_not_read_apart_from_zero() -> None:
    data = columns(a_series((0.0, 1.0, 2.0), (0.0, None, 3.0)))
    assert data["current_mean"] == [0.0, None, 3.0]
    assert data["charge"] == [0.0, 1.0, 2.0]


def test_a_run_of_which_nothing_was_read_has_empty_columns() -> None:
    assert set(map(tuple, columns(a_series((), ())).values())) == {()}


def test_a_gap_breaks_every_line() -> None:
    data = columns(a_series((0.0, 1.0, 2.0, 7.1), (1.0, 1.0, 1.0, 1.0)))
    assert data["t"] == [0.0, 1.0, 2.0, None, 7.1]
    assert data["charge"] == [0.0, 1.0, 2.0, None, 3.0]


def test_a_silence_up_to_the_limit_is_no_gap() -> None:
    data = columns(a_series((0.0, 1.0, 2.0, 7.0), (1.0, 1.0, 1.0, 1.0)))
    assert None not in data["t"]


def test_slow_readings_are_no_gaps() -> None:
    data = columns(a_series((0.0, 8.0, 14.0, 24.0, 30.0, 100.0), (1.0,) * 6))
    assert data["t"] == [0.0, 8.0, 14.0, 24.0, 30.0, None, 100.0]


def test_spans_that_touch_are_one_line() -> None:
    data = columns(a_series((60.0, 120.0), (1.0, 1.0), first_s=(0.0, 61.0)))
    assert data["t"] == [60.0, 120.0]


def test_the_plain_line_spans_the_width_and_stands_on_zero() -> None:
    current = panels(a_course((0.0, 2.0, 4.0), (0.0, 2.0, 1.0)))[0]
    assert (current.name, current.unit, current.top) == ("Current", "A", "2")
    assert current.line == "M0.0 100.0L500.0 0.0L1000.0 50.0"


def test_a_missing_value_splits_the_plain_line() -> None:
    current = panels(a_course((0.0, 1.0, 2.0, 3.0), (1.0, 1.0, None, 1.0)))[0]
    # What stands alone is a dot.
    assert current.line == "M0.0 0.0L333.3 0.0M1000.0 0.0L1000.0 0.0"


@pytest.mark.parametrize(
    ("greatest", "top"),
    [(0.0, "1"), (0.7, "0.8"), (1.0, "1"), (2.2, "3"), (3.52, "4"), (9.0, "10"), (23.0, "30")],
)
def test_the_upper_edge_is_a_round_number(greatest: float, top: str) -> None:
    assert panels(a_course((0.0, 1.0), (0.0, greatest)))[0].top == top


def test_nothing_recorded_draws_nothing() -> None:
    assert panels(a_course((), ())) == ()


def test_nothing_read_draws_an_empty_panel() -> None:
    current = panels(a_course((0.0, 1.0), (None, None)))[0]
    assert (current.line, current.band, current.top) == ("", "", "1")


def told(times_s: tuple[float, ...], current: tuple[float | None, ...]) -> Rehearsal:
    """A rehearsal that expects the current between these values and one above them."""
    most = tuple(None if v is None else v + 1.0 for v in current)
    curve = CurveMessage(name="Current", unit="A", middle=current, least=current, greatest=most)
    return Rehearsal(
        title="A", bath="B", target_um=25.0, area_dm2=1.0, because=(), times_s=times_s,
        curves=(curve,),
    )  # fmt: skip


def test_thickness_is_that_of_the_part_with_its_earlier_runs() -> None:
    course = a_course((0.0, 1.0, 2.0), (1.0, 1.0, 1.0), um_per_ah=13.2, before_ah=0.5)
    # 13.2 µm for each A·h: of 0.5, 1.5 and 2.5 A·h.
    assert course_columns(course)["thickness"] == pytest.approx([6.6, 19.8, 33.0])
    thickness = panels(course)[2]
    assert (thickness.name, thickness.unit, thickness.top) == ("Thickness", "µm", "40")


def test_without_a_known_thickness_there_is_the_charge() -> None:
    course = a_course((0.0, 1.0), (1.0, 1.0))
    assert "thickness" not in course_columns(course)
    assert [panel.name for panel in panels(course)] == ["Current", "Voltage", "Charge"]


def test_what_was_foretold_is_cut_to_what_was_read() -> None:
    course = a_course(
        (10.0, 20.0, 30.0), (1.0, 1.0, 1.0), rehearsal=told((0.0, 20.0, 40.0), (0.0, 2.0, 4.0))
    )
    data = course_columns(course)
    assert data["foretold_t"] == [10.0, 20.0, 30.0]
    # Halfway between 0 and 2 A, there, and halfway between 2 and 4 A.
    assert data["foretold_current_least"] == [1.0, 2.0, 3.0]
    assert data["foretold_current_most"] == [2.0, 3.0, 4.0]
    current = panels(course)[0]
    assert current.top == "4"
    assert current.foretold == "M0.0 50.0L500.0 25.0L1000.0 0.0L1000.0 25.0L500.0 50.0L0.0 75.0Z"


def test_where_a_rehearsal_has_ended_nothing_is_foretold() -> None:
    course = a_course((0.0, 60.0), (1.0, 1.0), rehearsal=told((0.0, 20.0, 30.0), (1.0, 1.0, None)))
    data = course_columns(course)
    assert data["foretold_t"] == [0.0, 20.0, 30.0]
    assert data["foretold_current_most"] == [2.0, 2.0, None]


def test_a_zoom_beyond_the_rehearsal_foretells_nothing() -> None:
    course = a_course((50.0, 60.0), (1.0, 1.0), rehearsal=told((0.0, 20.0), (1.0, 1.0)))
    assert "foretold_t" not in course_columns(course)
