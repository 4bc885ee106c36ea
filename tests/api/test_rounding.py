"""Figures and their doubt as text; the expected texts were rounded by hand."""

import math

import pytest

from daemon.api.rounding import fixed, rounded, thickness_with_doubt
from daemon.api.socket.messages import RunStatus


@pytest.mark.parametrize(
    ("value", "expanded", "expected"),
    [
        (24.8123, 0.9, ("24.8", "0.9")),
        (24.8123, 0.914, ("24.8", "0.9")),
        # 0.9 would be 5.3 % less than 0.95.
        (24.8123, 0.95, ("24.8", "1.0")),
        (24.8123, 0.96, ("24.8", "1.0")),
        # Two digits where the first is 1 or 2.
        (24.8123, 0.123, ("24.81", "0.12")),
        (24.8123, 0.2951, ("24.81", "0.30")),
        (24.8123, 0.311, ("24.8", "0.3")),
        # 0.3 would be 12 % less.
        (24.8123, 0.34, ("24.8", "0.4")),
        (24.8123, 2.34, ("24.8", "2.3")),
        (24.8123, 3.9, ("25", "4")),
        (124.8123, 23.4, ("125", "23")),
        (124.8123, 34.0, ("120", "40")),
        (1248.0, 96.0, ("1250", "100")),
        # Never finer than asked for, and never "± 0".
        (0.0123, 0.004, ("0.01", "0.01")),
        (0.0, 1e-9, ("0.00", "0.01")),
        (-0.001, 0.05, ("0.00", "0.05")),
        # JCGM 100:2008, 7.2.6: 10.057 62 Ω with an uncertainty of 27 mΩ is 10.058 Ω, and 28.05 kHz
        # are rounded to 28 kHz.
        (10057.62, 27.0, ("10058", "27")),
        (0.0, 28.05, ("0", "28")),
    ],
)
def test_value_and_uncertainty_end_at_the_same_place(value, expanded, expected):
    assert rounded(value, expanded, 2) == expected


@pytest.mark.parametrize("expanded", [0.0, -1.0, math.nan, math.inf])
def test_what_is_no_uncertainty_is_refused(expanded):
    with pytest.raises(ValueError, match="finite and above 0"):
        rounded(1.0, expanded, 2)


def test_what_is_shown_is_hardly_surer_than_what_is_known():
    for step in range(2000):
        expanded = 0.2 * 1.005**step
        shown = float(rounded(1.0, expanded, 2)[1])
        assert 0.95 * expanded <= shown < 1.34 * expanded


@pytest.mark.parametrize(
    ("value", "decimals", "below", "expected"),
    [
        (24.96, 1, None, "25.0"),
        (24.96, 1, 25.0, "24.9"),
        (25.0, 1, 25.0, "25.0"),
        (24.6, 0, 25.0, "24"),
        (24.4, 0, 25.0, "24"),
        (1249.0, -1, 1250.0, "1240"),
        (-0.04, 1, None, "0.0"),
    ],
)
def test_short_of_a_target_is_never_there(value, decimals, below, expected):
    assert fixed(value, decimals, below) == expected


@pytest.mark.parametrize(
    ("thickness_um", "u95_um", "expected"),
    [
        (24.8123, 0.91, "24.8 ± 0.9 µm (95 %)"),
        (24.97, 0.91, "24.9 ± 0.9 µm (95 %)"),
        (25.004, 0.91, "25.0 ± 0.9 µm (95 %)"),
        (24.8123, 0.0, "24.8 µm"),
        (24.97, 0.0, "24.9 µm"),
    ],
)
def test_a_thickness_with_its_doubt(thickness_um, u95_um, expected):
    run = RunStatus.model_construct(
        thickness_um=thickness_um, thickness_u95_um=u95_um, target_um=25.0
    )
    assert thickness_with_doubt(run) == expected
