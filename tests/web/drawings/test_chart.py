"""The chart's columns and its plain drawing."""

import pytest

from daemon.record.series import Bands, Series
from web.drawings.chart import columns, panels


def a_series(
    last_s: tuple[float, ...],
    current: tuple[float | None, ...],
    first_s: tuple[float, ...] | None = None,
) -> Series:
    bands = Bands(current, current, current)
    charge = tuple(float(i) for i in range(len(last_s)))
    return Series("sample", first_s or last_s, last_s, bands, bands, bands, charge, bands)


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
    current = panels(a_series((0.0, 2.0, 4.0), (0.0, 2.0, 1.0)))[0]
    assert (current.name, current.unit, current.top) == ("Current", "A", "2")
    assert current.line == "M0 100.0L500 0.0L1000 50.0"


def test_a_missing_value_splits_the_plain_line() -> None:
    current = panels(a_series((0.0, 1.0, 2.0, 3.0), (1.0, 1.0, None, 1.0)))[0]
    assert current.line == "M0 0.0L333 0.0M1000 0.0"


@pytest.mark.parametrize(
    ("greatest", "top"),
    [(0.0, "1"), (0.7, "0.8"), (1.0, "1"), (2.2, "3"), (3.52, "4"), (9.0, "10"), (23.0, "30")],
)
def test_the_upper_edge_is_a_round_number(greatest: float, top: str) -> None:
    assert panels(a_series((0.0, 1.0), (0.0, greatest)))[0].top == top


def test_nothing_recorded_draws_nothing() -> None:
    assert panels(a_series((), ())) == ()


def test_nothing_read_draws_an_empty_panel() -> None:
    current = panels(a_series((0.0, 1.0), (None, None)))[0]
    assert (current.line, current.band, current.top) == ("", "", "1")
