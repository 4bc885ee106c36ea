"""The units in which a browser is shown figures: its own choice, or that of the settings.

Every text of ours with figures goes through `in_units` on its way to the page, in templates as a
filter; where a figure stands apart from its unit, `shown` and `sign` give the two. Words
of people go through `unbroken` alone; what programs and files are given stays metric.
"""

from collections.abc import Callable
from typing import TypeVar, get_args

from flask import Flask, current_app, has_request_context, request
from markupsafe import Markup

from daemon.api import trade_units
from daemon.api.trade_text import in_trade
from daemon.api.trade_units import UnitSystem
from web.typography import unbroken

Text = TypeVar("Text", str, Markup)

COOKIE = "tankhand_units"
"""Holds the word and nothing else."""

UNITS = "tankhand units"
"""Under which an app of ours has the units of its settings among its extensions."""

SET_DIGITS = 4
"""Significant digits of what was set by somebody, such as a target: more than is ever measured."""


def measure(app: Flask, default: UnitSystem = "metric") -> None:
    """Have an app's pages show figures in the units that each browser has chosen."""
    app.extensions[UNITS] = default
    app.jinja_env.filters["in_units"] = in_units
    app.jinja_env.filters["unbroken"] = unbroken
    app.jinja_env.globals["units"] = units
    app.jinja_env.globals["sign"] = sign


def units() -> UnitSystem:
    """The units of the browser that asks; metric outside of a page."""
    if not has_request_context():
        return "metric"
    return known(request.cookies.get(COOKIE)) or _default()


def in_units(text: Text) -> Text:
    """Set a text of ours: its figures in the reader's units, each on one line with its unit."""
    said = unbroken(in_trade(text) if units() == "trade" else str(text))
    return type(text)(said)


def shown(value: float, unit: str) -> float:
    """A metric figure's value in the reader's units."""
    return trade_units.shown(value, unit, units()).value


def sign(unit: str) -> str:
    """A metric unit's sign in the reader's units."""
    return trade_units.sign(unit, units())


def converter(unit: str) -> Callable[[float], float]:
    """What puts many metric figures of a unit into the reader's units."""
    factor, start = trade_units.line(unit, units())
    return lambda value: factor * value + start


def number(text: str, unit: str) -> str:
    """A metric number in the reader's units, for a place that has the sign already."""
    return in_units(f"{text} {unit}").rpartition("\N{NO-BREAK SPACE}")[0]


def part_of(part: str, whole: str, unit: str) -> tuple[str, str]:
    """A metric number short of a whole, and the whole with its unit, in the reader's units."""
    there, _of, of = in_units(f"{part} of {whole} {unit}").partition(" of ")
    return there, of


def places(value: float, unit: str, most: int) -> int:
    """The decimals that a metric figure of so many has in the reader's units."""
    if units() == "metric" or sign(unit) == unit:
        return most
    return trade_units.decimals(value, unit, most)


def as_set(value: float, unit: str) -> str:
    """What somebody has set, with its unit: `25 µm`, `0.9843 mil`."""
    there = trade_units.shown(value, unit, units())
    digits = 6 if there.unit == unit else SET_DIGITS
    return f"{there.value:.{digits}g} {there.unit}"


def known(word: str | None) -> UnitSystem | None:
    """The choice that a word is; None for one that is none."""
    found: UnitSystem | None = next((each for each in get_args(UnitSystem) if each == word), None)
    return found


def _default() -> UnitSystem:
    default: UnitSystem = current_app.extensions[UNITS]
    return default
