"""The units in which figures are shown: metric, or those of the US trade. Pure.

Inside and in whatever is kept or sent to programs, figures are metric. Charge, current, voltage and
time are the same in both; so are mL and mg, by which cylinders and balances are marked, and what
is counted by them (mL/L, mL/kAh, mg/L).
"""

import math
from dataclasses import dataclass
from typing import Literal

from daemon.units import converted

UnitSystem = Literal["metric", "trade"]
"""What a person may choose; trade: mil, ASF, in² and ft², oz and lb, gal (US), oz/gal, °F."""

_IN2_IN_FT2 = 144

_TRADE = {
    "µm": "mil",
    "mm": "in",
    "cm": "in",
    "m": "ft",
    "cm²": "in²",
    "dm²": "ft²",
    "m²": "ft²",
    "cm³": "in³",
    "A/dm²": "ASF",
    "A/m²": "ASF",
    "mL/dm²": "mL/ft²",
    "mL/m²": "mL/ft²",
    "g": "oz",
    "kg": "lb",
    "L": "gal",
    "g/L": "oz/gal",
    "L/d": "gal/d",
    "L/h": "gal/h",
    "°C": "°F",
    "K": "Δ°F",
}
"""Each metric unit's place in the trade. The ounce is avoirdupois; a difference of temperatures,
in K, is one of degrees Fahrenheit."""

METRIC_UNITS = tuple(sorted(_TRADE, key=len, reverse=True))
"""Those that have another in the trade, the longer ones first."""

NEAR_ENOUGH = 2.0
"""The last place of a figure may be so many times as coarse as it was, before it gets one more."""

LEAST_DIGITS = 2
"""Significant digits that every figure but a temperature has: "1 L" is no "0.3 gal"."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A figure as it is shown: its value, and the sign of its unit, "" where that has none."""

    value: float
    unit: str


def shown(value: float, unit: str, system: UnitSystem) -> Shown:
    """Give a figure in the units of `system`; one whose unit is the same in both comes back.

    An area of less than a square foot is told in square inches.
    """
    if system == "metric" or unit not in _TRADE:
        return Shown(value, unit)
    into = _TRADE[unit]
    there = converted(value, unit, into)
    if unit == "dm²" and abs(there) < 1:
        return Shown(there * _IN2_IN_FT2, "in²")
    return Shown(there, into.removeprefix("Δ"))


def line(unit: str, system: UnitSystem) -> tuple[float, float]:
    """What turns a metric figure into one of `system`: it times the first, and the second added.

    For a curve's many values; an area's are those of large ones.
    """
    if system == "metric" or unit not in _TRADE:
        return 1.0, 0.0
    start = converted(0.0, unit, _TRADE[unit])
    return converted(1.0, unit, _TRADE[unit]) - start, start


def sign(unit: str, system: UnitSystem) -> str:
    """The unit's sign in `system`, for a scale or a column; an area's is that of large ones."""
    return shown(math.inf if unit == "dm²" else 1.0, unit, system).unit


def decimals(value: float, unit: str, places: int) -> int:
    """Decimals that a metric figure of so many has in the trade; `places` below 0 are tens.

    The last place is worth about as much as before, and never twice as much: so nothing is
    rounded by more than it was, and no digit is made up.
    """
    there = shown(value, unit, "trade")
    worth = line(unit, "trade")[0]
    if there.unit == "in²" and unit == "dm²":
        worth *= _IN2_IN_FT2
    kept = -math.floor(math.log10(NEAR_ENOUGH * worth * 10.0**-places) + 1e-9)
    if there.value and unit != "°C":
        kept = max(kept, LEAST_DIGITS - 1 - math.floor(math.log10(abs(there.value))))
    return max(0, kept)
