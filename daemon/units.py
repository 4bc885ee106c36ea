"""Quantities with units, as people write them ("1.8 dm²", "20 ASF"), made into plain floats.

Only the edges use this: files, forms, the command line. pint converts; the number and the form of
the unit are read here, because pint's own reading of a text takes "1,5 A" for 15 A, "5 A + 1 A" for
a sum, and a bare "A" for 1 A. The units are those of `units.txt` and not pint's own thousand, where
a mil is an angle, and which take ten times as long to load.

pint is imported with the first text that is read, since that takes a part of a second.
"""

from __future__ import annotations

import json
import math
import re
import unicodedata
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

_UNITS = Path(__file__).with_name("units.txt")

_LONGEST_TEXT = 80

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_WRITTEN = re.compile(rf"({_NUMBER})\s*(\S.*)?")
_TERM = r"[A-Za-zμΩ°%_]+(?:(?:\^|\*\*)?-?[1-3])?"
_UNIT = re.compile(rf"{_TERM}(?:(?:\s*[/*·⋅]\s*|\s+){_TERM})*")
# As in "mL/(10 kAh)": by so many of a unit. The trade writes "gal/1000 ft²" without the brackets.
_BY_MANY = re.compile(
    rf"({_UNIT.pattern})\s*/\s*"
    rf"(?:\(\s*({_NUMBER})\s*({_UNIT.pattern})\s*\)|(1000)\s*({_UNIT.pattern}))"
)
_FLUID_OUNCE = re.compile(r"\bfl\.?\s*oz\b")
_EXPONENT = re.compile(r"(?:\^|\*\*)?(-?[1-3])")
# Of a bath the trade's ppm are mg in a litre (common practice); elsewhere they are a share.
_SAME = {("ppm", "mg/L"): "mg/L"}
_OF_VOLUMES = {"mL", "L", "mL/L", "mL/kAh", "mL/s"}
_BETWEEN_TIMES = re.compile(r"(?<=[a-z])\s+(?=[0-9])")

_KINDS = {
    "A": ("a current", "2.5 A"),
    "V": ("a voltage", "4 V"),
    "s": ("a time", "90 min"),
    "A·h": ("a charge", "4.5 Ah"),
    "µm": ("a length", "25 µm"),
    "dm²": ("an area", "1.8 dm²"),
    "A/dm²": ("a current density", "2.5 A/dm²"),
    "g/cm³": ("a density", "8.92 g/cm³"),
    "g/L": ("a mass concentration", "200 g/L"),
    "mL/kAh": ("a volume by charge", "250 mL/kAh"),
    "mg/L": ("a mass concentration", "60 mg/L"),
    "mL/L": ("a volume by litre of bath", "7.8 mL/L"),
    "mol/L": ("an amount concentration", "0.1 mol/L"),
    "g/mol": ("a molar mass", "249.68 g/mol"),
    "mL": ("a volume", "5 mL"),
    "L": ("a volume", "15 L"),
    "L/d": ("a volume by time", "0.2 L/d"),
    "mL/dm²": ("a volume by area", "1 mL/dm²"),
    "g": ("a mass", "25 g"),
    "g/mL": ("a mass by volume", "0.355 mg/mL"),
    "mm": ("a length", "60 mm"),
    "cm": ("a length", "2 in"),
    "m": ("a length", "1.5 m"),
    "L/h": ("a flow", "60 L/h"),
    "mL/s": ("a flow", "1.2 mL/s"),
    "Hz": ("a frequency", "10 Hz"),
    "Ω": ("a resistance", "0.05 Ω"),
    "°C": ("a temperature", "24 °C"),
    "K": ("a difference of temperatures", "2 K"),
    "MB": ("a room on a disk", "200 MB"),
    "%/h": ("a share by time", "10 %/h"),
    "%/s": ("a share by time", "3 %/s"),
    "%": ("a share", "10 %"),
    "Ω·dm²": ("a resistance times an area", "0.1 Ω·dm²"),
    "": ("a fraction", "95 %"),
}


class UnitError(ValueError):
    """What was written is not the quantity that is wanted; says what came and what would do."""


def parse(value: object, unit: str) -> float:
    """Read a quantity such as "25 µm" and give it as a float in `unit`.

    `unit` is a unit in the same notation ("A/dm²", "µm"); "" is a fraction, for which a bare
    number will do and "95 %" is 0.95. A time may be a sum such as "1 h 30 min", and a unit may be
    by many of another, as in "1500 mL/(10 kAh)" or "0.4 gal/1000 ft²".
    Raises UnitError for anything else: a number without a unit, a unit of another dimension, an
    unknown unit, a decimal comma, a value that is not finite.
    """
    if isinstance(value, int | float) and not isinstance(value, bool):
        if unit:
            raise _refused(value, unit, "a number without a unit")
        return _finite(float(value) if abs(value) < 1e300 else math.inf, value, unit)
    if not isinstance(value, str):
        raise _refused(value, unit, "neither a text nor a number")
    if len(value) > _LONGEST_TEXT:
        raise _refused(value, unit, f"a text of more than {_LONGEST_TEXT} characters")
    text = value.strip()
    parts = _BETWEEN_TIMES.split(text) if unit == "s" else [text]
    return _finite(sum(_part(part, value, unit) for part in parts), value, unit)


def converted(number: float, unit: str, into: str) -> float:
    """A finite number of `unit` in the unit `into`, both in the notation of `parse`.

    A temperature is one of a scale ("°C" into "°F"); a difference is one of "K" and "Δ°F".
    Raises UnitError where the two are of different kinds, ValueError of pint's for unknown ones.
    """
    import pint

    came, wanted = (_pint_unit(unicodedata.normalize("NFKC", each)) for each in (unit, into))
    try:
        return float(_registry().Quantity(number, came).to(wanted).magnitude)
    except pint.PintError as error:
        raise UnitError(f"{unit} and {into} are of different kinds") from error


def _part(text: str, whole: str, unit: str) -> float:
    """One number with one unit; `whole` is what came, for the message."""
    written = _WRITTEN.fullmatch(text)
    if written is None:
        comma = ", with a decimal comma where a point belongs" if "," in text else ""
        raise _refused(whole, unit, f"not a number with a unit{comma}")
    number, its_unit = float(written[1]), written[2]
    if its_unit is None:
        if unit:
            raise _refused(whole, unit, "a number without a unit")
        return number
    return _converted(number, its_unit, whole, unit)


def _converted(number: float, its_unit: str, whole: str, unit: str) -> float:
    import pint

    if its_unit.startswith(","):
        raise _refused(whole, unit, "a number with a decimal comma where a point belongs")
    plain = unicodedata.normalize("NFKC", its_unit)
    plain = _FLUID_OUNCE.sub("fluid_ounce", _SAME.get((plain.strip(), unit), plain))
    by_many = _BY_MANY.fullmatch(plain)
    if by_many is None and not _UNIT.fullmatch(plain):
        raise _refused(whole, unit, f"not a unit of one number: {_shown(its_unit)}")
    try:
        if by_many is None:
            came = _pint_unit(plain)
        else:
            number /= float(by_many[2] or by_many[4])
            came = _pint_unit(by_many[1]) / _pint_unit(by_many[3] or by_many[5])
    except ZeroDivisionError as error:
        raise _refused(whole, unit, f"by nothing: {_shown(its_unit)}") from error
    except Exception as error:  # pint's own, and whatever else a strange text makes it raise
        raise _refused(whole, unit, f"an unknown unit: {_shown(its_unit)}") from error
    try:
        wanted = _pint_unit(unicodedata.normalize("NFKC", unit))
        return float(_registry().Quantity(number, came).to(wanted).magnitude)
    except pint.PintError as error:
        mass = unit in _OF_VOLUMES and re.search(r"\boz\b", plain) is not None
        hint = '; "oz" is a mass, a volume is "fl oz"' if mass else ""
        raise _refused(whole, unit, f"of another kind: {_shown(its_unit)}{hint}") from error


@lru_cache(maxsize=256)
def _pint_unit(text: str) -> pint.Unit:
    """The unit of a text of the form `_UNIT`, compatibility characters already made plain."""
    factors = _EXPONENT.sub(r"**\1", text.replace("·", "*").replace("⋅", "*"))
    return _registry().parse_units(factors)


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    """Make the registry of the units in `units.txt`."""
    import pint

    return pint.UnitRegistry(_UNITS)


def _finite(number: float, came: object, unit: str) -> float:
    if not math.isfinite(number):
        raise _refused(came, unit, "not a finite number")
    return number


def _refused(came: object, unit: str, what: str) -> UnitError:
    kind, example = _KINDS.get(unit, (f"a quantity in {unit}", f"1 {unit}"))
    return UnitError(f"expected {kind} such as {_shown(example)}, got {_shown(came)}: {what}")


def _shown(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False, default=lambda other: type(other).__name__)
    return text if len(text) <= _LONGEST_TEXT else f"{text[:20]}…"
