"""One root finder for everything monotone in the simulated tank."""

from collections.abc import Callable

MOST_STEPS = 80
"""More than a bisection of any bracket in the tank needs to reach a float's resolution."""


def solve_increasing(
    function: Callable[[float], tuple[float, float]],
    target: float,
    low: float,
    high: float,
    guess: float,
    tolerance: float,
) -> float:
    """The x in [low, high] at which an increasing function reaches `target`.

    `function(x)` returns its value and its slope. Newton's steps, each kept inside the shrinking
    bracket by bisection; ends when the value is within `tolerance` of the target, or when the
    bracket is as narrow as floats allow.
    """
    x = guess
    for _ in range(MOST_STEPS):
        value, slope = function(x)
        miss = value - target
        if abs(miss) <= tolerance:
            break
        if miss > 0.0:
            high = x
        else:
            low = x
        x -= miss / slope
        if not low < x < high:
            x = 0.5 * (low + high)
    return x
