import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.chemistry.numerics import interpolated, reached

TABLE = ((0.0, 1.0), (1.0, 3.0), (5.0, 4.0))


@pytest.mark.parametrize(
    ("x", "y"), [(0.0, 1.0), (0.5, 2.0), (1.0, 3.0), (3.0, 3.5), (5.0, 4.0)]
)  # by hand
def test_a_table_is_read_on_straight_lines_and_exactly_at_its_rows(x, y):
    assert interpolated(TABLE, x) == pytest.approx(y, abs=1e-15)


@pytest.mark.parametrize("x", [-0.001, 5.001, math.nan])
def test_nothing_is_read_beyond_a_table(x):
    with pytest.raises(ValueError, match=r"the table goes from 0 to 5, got"):
        interpolated(TABLE, x)


@given(st.floats(0.0, 9.0))
def test_a_rising_function_is_read_backwards(y):
    assert reached(lambda x: x * x, y, 0.0, 3.0) == pytest.approx(math.sqrt(y), abs=1e-7)


@pytest.mark.parametrize("y", [-0.1, 9.1])
def test_what_a_function_never_comes_to_is_refused(y):
    with pytest.raises(ValueError, match=r"must be from 0 to 9, got"):
        reached(lambda x: x * x, y, 0.0, 3.0)
