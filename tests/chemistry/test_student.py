"""Student's factor and Grubbs's bound against scipy, printed tables and drawn values."""

import math
import random

import numpy as np
import pytest
from scipy import stats

from daemon.chemistry.student import grubbs_bound, outlier, student_factor
from daemon.chemistry.uncertainty import Budget, Shape, Share


@pytest.mark.parametrize(
    ("freedom", "factor"),
    # JCGM 100:2008, table G.2, 95 %.
    [(1, 12.71), (2, 4.30), (3, 3.18), (4, 2.78), (5, 2.57), (10, 2.23), (20, 2.09), (50, 2.01)],
)
def test_the_guides_table(freedom: int, factor: float) -> None:
    assert student_factor(0.95, freedom) == pytest.approx(factor, abs=5e-3)


@pytest.mark.parametrize("confidence", [0.5, 0.95, 0.99, 0.9999])
@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 7, 30, 999])
def test_a_second_opinion(confidence: float, freedom: int) -> None:
    other = stats.t.ppf((1 + confidence) / 2, freedom)
    assert student_factor(confidence, freedom) == pytest.approx(other, rel=1e-9)


def test_broken_degrees_of_freedom_are_cut() -> None:
    assert student_factor(0.95, 4.99) == student_factor(0.95, 4)


def test_many_readings_are_normal() -> None:
    assert student_factor(0.95, math.inf) == pytest.approx(1.959964)


@pytest.mark.parametrize("freedom", [0.0, 0.99, -1.0, math.nan])
def test_less_than_one_degree_of_freedom(freedom: float) -> None:
    with pytest.raises(ValueError, match="at least 1 degree"):
        student_factor(0.95, freedom)


@pytest.mark.parametrize("confidence", [0.0, 1.0, 95.0, math.nan])
def test_a_confidence_is_between_0_and_1(confidence: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        student_factor(confidence, 3)


@pytest.mark.parametrize(
    ("number", "bound"),
    # Grubbs's table, 5 %, two-sided (1969; from memory).
    [(3, 1.154), (4, 1.481), (5, 1.715), (6, 1.887), (7, 2.020), (8, 2.127), (10, 2.290)],
)
def test_the_printed_bounds_of_grubbs(number: int, bound: float) -> None:
    assert grubbs_bound(number) == pytest.approx(bound, abs=1e-3)


def test_what_belongs_together_is_called_an_outlier_once_in_twenty_times() -> None:
    chance = random.Random(5)
    found = sum(
        outlier([chance.gauss(0, 1) for _ in range(5)], 0.0) is not None for _ in range(4000)
    )
    assert found / 4000 == pytest.approx(0.05, abs=0.014)


def test_an_outlier_is_found_wherever_it_stands() -> None:
    assert outlier([7.61, 7.62, 8.40, 7.60, 7.61], 0.05) == 2
    assert outlier([7.10, 7.61, 7.62, 7.60, 7.61], 0.05) == 0


def test_a_reading_next_to_its_neighbour_is_none() -> None:
    """Of three, two of which are equal, the third would always be an outlier by the test alone."""
    assert outlier([7.60, 7.60, 7.61], 0.0) == 2
    assert outlier([7.60, 7.60, 7.61], 0.05) is None


@pytest.mark.parametrize("values", [[], [7.6], [7.6, 9.9], [7.6, 7.6, 7.6]])
def test_nobody_can_tell_an_outlier(values: list[float]) -> None:
    assert outlier(values, 0.05) is None


def test_a_mean_of_few_has_students_interval() -> None:
    budget = Budget(10.0, (Share("scatter", 0.1, freedom=2),))
    assert budget.expanded(0.95) == pytest.approx(0.1 * stats.t.ppf(0.975, 2), rel=1e-6)


@pytest.mark.parametrize("limit", [0.0, 0.5, 1.0, 3.0, 10.0])
@pytest.mark.parametrize("number", [2, 3, 5])
def test_the_interval_holds_what_it_says(number: int, limit: float) -> None:
    """Means of few readings, whose scatter is known from themselves, and a common flat error."""
    chance = np.random.default_rng(100 * number + int(limit))
    readings = chance.normal(size=(40_000, number)) + chance.uniform(-limit, limit, (40_000, 1))
    u = readings.std(axis=1, ddof=1) / math.sqrt(number)
    # The interval is worked out at some scatters and interpolated between them.
    some = np.geomspace(1e-4, 10, 60)
    half_widths = [
        Budget(
            0.0,
            (
                Share("scatter", float(each), freedom=number - 1),
                Share("limit", limit / math.sqrt(3), Shape.FLAT),
            ),
        ).expanded(0.95)
        for each in some
    ]
    inside = np.abs(readings.mean(axis=1)) <= np.interp(u, some, half_widths)
    # Four standard deviations of the draws below 95 %; above it, at most what a normal error of
    # Student's width adds.
    assert 0.9456 <= inside.mean() <= 0.99
