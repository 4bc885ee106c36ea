"""Tables read between their rows, and rising functions read backwards."""

from bisect import bisect_right
from collections.abc import Callable, Sequence

_HALVINGS = 60  # beyond the last bit of a float over any range used here


def interpolated(table: Sequence[tuple[float, float]], x: float) -> float:
    """Read a table of (x, y) rows, x rising, on the straight line between two rows.

    Raises ValueError for an x outside the table; the caller says what its table knows.
    """
    if not table[0][0] <= x <= table[-1][0]:
        raise ValueError(f"the table goes from {table[0][0]:g} to {table[-1][0]:g}, got {x:g}")
    above = min(bisect_right(table, x, key=lambda row: row[0]), len(table) - 1)
    (x0, y0), (x1, y1) = table[above - 1], table[above]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


def reached(rising: Callable[[float], float], y: float, least: float, greatest: float) -> float:
    """The x between `least` and `greatest` at which a function that only rises comes to y.

    Raises ValueError when y is below its value at `least` or above that at `greatest`.
    """
    if not rising(least) <= y <= rising(greatest):
        raise ValueError(f"must be from {rising(least):g} to {rising(greatest):g}, got {y:g}")
    for _ in range(_HALVINGS):
        middle = (least + greatest) / 2
        if rising(middle) < y:
            least = middle
        else:
            greatest = middle
    return (least + greatest) / 2
