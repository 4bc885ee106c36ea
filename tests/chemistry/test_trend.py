"""Straight lines through analyses against scipy, and lines whose truth is known."""

import math

import numpy as np
import pytest
from scipy import optimize, stats

from daemon.chemistry.trend import Trend, TrendPoint, trend

DAYS = (0.0, 7.0, 14.0, 20.0, 29.0)
COPPER = (55.1, 54.0, 52.7, 52.2, 50.4)
U = (0.4, 0.3, 0.5, 0.3, 0.4)


def points(xs, ys, us):
    return [TrendPoint(*each) for each in zip(xs, ys, us, strict=True)]


def test_a_second_opinion_on_the_line() -> None:
    found = trend(points(DAYS, COPPER, U))
    (slope, offset), covariance = optimize.curve_fit(
        lambda x, a, b: a * x + b, DAYS, COPPER, sigma=U, absolute_sigma=True
    )
    assert found.slope == pytest.approx(slope, rel=1e-6)
    assert found.at(0) == pytest.approx(offset, rel=1e-6)
    assert found.u_slope == pytest.approx(math.sqrt(covariance[0][0]), rel=1e-6)
    # The line's own doubt at a day: u² = u_b² + x²·u_a² + 2x·u(a, b) (JCGM 100, eq. 13).
    u_40 = math.sqrt(covariance[1][1] + 1600 * covariance[0][0] + 80 * covariance[0][1])
    assert found.expanded_at(40) == pytest.approx(1.959964 * u_40, rel=1e-6)
    assert found.clear


def test_scatter_beyond_what_is_stated_widens_it() -> None:
    small = trend(points(DAYS, COPPER, [u / 100 for u in U]))
    (_, _), covariance = optimize.curve_fit(
        lambda x, a, b: a * x + b, DAYS, COPPER, sigma=U, absolute_sigma=False
    )
    assert small.u_slope == pytest.approx(math.sqrt(covariance[0][0]), rel=1e-6)
    assert small.factor == pytest.approx(stats.t.ppf(0.975, 3), rel=1e-6)


def test_it_reaches_the_lower_limit() -> None:
    # 55 at day 0 and 53 at day 10, both ± 0.1: 1 g/L in 5 days, 50 g/L at day 25.
    found = trend(points((0, 10), (55, 53), (0.1, 0.1))).reaches(50, after_x=10)
    assert found is not None
    assert found.x == pytest.approx(25)
    assert found.earliest < 25 < found.latest


def test_the_interval_is_where_the_lines_own_interval_holds_the_limit() -> None:
    line = trend(points(DAYS, COPPER, U))
    found = line.reaches(48, after_x=29)
    for end in (found.earliest, found.latest):
        assert abs(line.at(end) - 48) == pytest.approx(line.expanded_at(end), rel=1e-9)


def test_it_has_to_be_sure_that_it_falls() -> None:
    line = trend(points((0, 10), (55, 54.9), (0.5, 0.5)))
    found = line.reaches(50, after_x=10)
    assert not line.clear
    assert found.latest is None
    assert found.earliest > 10
    assert abs(line.at(found.earliest) - 50) == pytest.approx(line.expanded_at(found.earliest))


def test_a_limit_that_may_be_reached_already() -> None:
    found = trend(points((0, 10), (55, 50.1), (0.5, 0.5))).reaches(50, after_x=10)
    assert found.earliest == 10


@pytest.mark.parametrize("ys", [(50, 55), (55, 55)])
def test_a_line_that_leads_away_or_nowhere(ys: tuple[float, float]) -> None:
    assert trend(points((0, 10), ys, (0.1, 0.1))).reaches(45, after_x=10) is None


def test_a_limit_that_was_passed() -> None:
    assert trend(points((0, 10), (55, 53), (0.1, 0.1))).reaches(54, after_x=10) is None


def test_a_line_that_is_on_the_edge_of_being_sure() -> None:
    line = Trend(0.0, 55.0, -1.0, 0.5, 0.5, factor=2.0)
    found = line.reaches(50, after_x=0)
    assert not line.clear
    assert (found.x, found.latest) == (5, None)
    # (5 - d)² = 4·(0.25 + 0.25·d²): 24 = 10·d.
    assert found.earliest == pytest.approx(2.4)


@pytest.mark.parametrize("xs", [(), (3.0,), (3.0, 3.0)])
def test_no_line(xs: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="two different moments"):
        trend(points(xs, [50.0] * len(xs), [0.1] * len(xs)))


def test_an_analysis_without_doubt_is_none() -> None:
    with pytest.raises(ValueError, match="above 0"):
        TrendPoint(0, 50, 0)


def test_the_interval_holds_the_truth() -> None:
    """True lines from 55 that reach 50 at day 25, analysed on five days."""
    chance = np.random.default_rng(7)
    inside, draws = 0, 2000
    for _ in range(draws):
        ys = [55 - 0.2 * x + chance.normal(0, u) for x, u in zip(DAYS[:4], U[:4], strict=True)]
        found = trend(points(DAYS[:4], ys, U[:4])).reaches(50, after_x=20)
        if found is not None:
            inside += found.earliest <= 25 and (found.latest is None or found.latest >= 25)
    assert inside / draws >= 0.95 - 4 * math.sqrt(0.95 * 0.05 / draws)
