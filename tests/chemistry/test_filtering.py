"""Filtration against the Metal Finishing Guidebook."""

import math

import pytest

from daemon.chemistry.filtering import (
    share_taken_out,
    through_filter_l,
    turnovers_for,
    turnovers_h,
)


@pytest.mark.parametrize(("rate_h", "gallons"), [(1, 8), (10, 83)])
def test_what_goes_through_the_filter(rate_h: float, gallons: float) -> None:
    # Metal Finishing Guidebook 2013, Fig. 4: of 100 gal in 5 min.
    assert through_filter_l(100 * rate_h, 5 / 60) == pytest.approx(gallons, rel=0.05)


def test_turnovers() -> None:
    assert turnovers_h(15, 45) == 3
    assert turnovers_h(15, 0) == 0


def test_four_to_five_turnovers() -> None:
    # Metal Finishing Guidebook 2013: 4 to 5 take out about 97 %. By hand 1 - e^-3.5 = 97.0 %,
    # 1 - e^-4 = 98.2 %.
    assert share_taken_out(3.5) == pytest.approx(0.970, abs=5e-4)
    assert share_taken_out(4) == pytest.approx(0.982, abs=5e-4)
    assert share_taken_out(4) >= 0.97 >= share_taken_out(3)


def test_a_tank_that_is_filtered_little_by_little() -> None:
    """1 L taken from 100 L, filtered and put back, 400 times."""
    assert share_taken_out(4) == pytest.approx(1 - 0.99**400, abs=1e-3)


@pytest.mark.parametrize("share", [0, 0.5, 0.97, 0.999])
def test_there_and_back(share: float) -> None:
    assert share_taken_out(turnovers_for(share)) == pytest.approx(share)


@pytest.mark.parametrize("share", [1, -0.1, 97, math.nan])
def test_a_filter_never_takes_out_all(share: float) -> None:
    with pytest.raises(ValueError, match="from 0 to below 1"):
        turnovers_for(share)


@pytest.mark.parametrize("call", [
    lambda: turnovers_h(0, 10), lambda: turnovers_h(10, -1), lambda: share_taken_out(-1),
    lambda: through_filter_l(-1, 1), lambda: through_filter_l(1, -1),
])  # fmt: skip
def test_figures_below_nothing(call: object) -> None:
    with pytest.raises(ValueError, match="must be"):
        call()
