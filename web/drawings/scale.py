"""Round figures for the scales of drawings. Pure."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

LEAST_SPAN = 0.1
"""What a panel spans at least: this share of its greatest value, and as many A or V. A steady
reading is drawn as a steady line, not as a storm of its last digits."""


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark of a scale: its label and its place, 0 to 1 from the left or from the top."""

    label: str
    at: float


def scale(values: Sequence[float]) -> tuple[float, float, float]:
    """A scale's lower end, upper end and step, round figures around all values; 0 to 1 for none."""
    if not values:
        return 0.0, 1.0, 1.0
    least, most = min(values), max(values)
    span = LEAST_SPAN * max(1.0, abs(least), abs(most))
    if most - least < span:
        middle = (least + most) / 2
        least, most = middle - span / 2, middle + span / 2
    step = step_of(most - least, at_most=4)
    # A little noise around 0 does not make a scale begin at -1 A.
    low = math.floor(least / step + 0.1) * step
    high = math.ceil(most / step - 0.1) * step
    return low, high, step


def step_of(span: float, at_most: int) -> float:
    """The least 1, 2 or 5 times a power of ten that divides `span` in `at_most` steps or fewer."""
    power = 10.0 ** math.floor(math.log10(span / at_most))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if span <= m * power * at_most)


def steps(low: float, high: float, step: float) -> list[float]:
    """Every whole number of steps between two values, both ends among them."""
    first, last = math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6)
    return [k * step for k in range(first, last + 1)]


def decimals(step: float) -> int:
    """Decimals that a scale of such steps wants."""
    return max(0, -math.floor(math.log10(step) + 1e-6))


def marks(low: float, high: float, step: float) -> tuple[Tick, ...]:
    """A scale's marks, from the top: the upper end is there."""
    return tuple(
        Tick(f"{v:z.{decimals(step)}f}", (high - v) / (high - low)) for v in steps(low, high, step)
    )


def time_marks(
    end_s: float, at_most: int, unit: str = "h", unit_s: float = 3600.0
) -> tuple[Tick, ...]:
    """Marks of the time from 0 to `end_s`, in so many steps at most, with their unit."""
    span = end_s / unit_s
    step = step_of(span, at_most)
    return tuple(
        Tick(f"{t:.{decimals(step)}f} {unit}" if t else "0", t / span)
        for t in steps(0.0, span, step)
    )
