"""Field types for what people write with a unit: in the model, a float in the unit of the name.

A field takes texts such as "2.5 A/dm²" (see `daemon.units`); each type states its range. A value
of the wrong form, dimension or range becomes a problem of pydantic's ValidationError.
"""

from dataclasses import dataclass
from functools import partial
from typing import Annotated

from pydantic import BeforeValidator

from daemon.units import parse


@dataclass(frozen=True, slots=True)
class Quantity(BeforeValidator):
    """Reads a text with a unit; `unit` is the one that the field's float is in."""

    unit: str = ""


def _quantity(
    unit: str, *, above: float | None = None, least: float | None = None, most: float | None = None
) -> Quantity:
    return Quantity(partial(bounded, unit=unit, above=above, least=least, most=most), unit=unit)


def bounded(
    value: object,
    unit: str,
    *,
    above: float | None = None,
    least: float | None = None,
    most: float | None = None,
) -> float:
    """A quantity with its unit, within these bounds, in `unit`; "" for a plain number.

    Raises ValueError, which says what came and what is allowed.
    """
    number = parse(value, unit)
    if above is not None and not number > above:
        raise ValueError(f"must be above {_shown(above, unit)}, got {value}")
    if least is not None and not number >= least:
        raise ValueError(f"must be at least {_shown(least, unit)}, got {value}")
    if most is not None and not number <= most:
        raise ValueError(f"must be at most {_shown(most, unit)}, got {value}")
    return number


def _shown(limit: float, unit: str) -> str:
    if unit:
        return f"{limit:g} {unit}"
    return f"{limit:g} ({100 * limit:g} %)" if limit else "0"


def positive(text: str, unit: str) -> float:
    """A quantity above 0 of somebody's text, in `unit`. Raises ValueError."""
    return bounded(text, unit, above=0.0)


CurrentA = Annotated[float, _quantity("A", above=0)]
"""A current above 0, in A."""

CurrentDensityADm2 = Annotated[float, _quantity("A/dm²", above=0)]
"""A current density above 0, in A/dm²."""

ResistanceOhm = Annotated[float, _quantity("Ω", above=0)]
"""A resistance above 0, in Ω."""

VoltageV = Annotated[float, _quantity("V", above=0)]
"""A voltage above 0, in V."""

ChargeAh = Annotated[float, _quantity("A·h", above=0)]
"""A charge above 0, in A·h."""

DurationS = Annotated[float, _quantity("s", above=0)]
"""A time above 0, in s."""

RampS = Annotated[float, _quantity("s", least=0)]
"""A time of 0 or more, in s, for what may also happen at once."""

AreaDm2 = Annotated[float, _quantity("dm²", above=0)]
"""An area above 0, in dm²."""

ThicknessUm = Annotated[float, _quantity("µm", above=0)]
"""A thickness above 0, in µm."""

DensityGCm3 = Annotated[float, _quantity("g/cm³", above=0)]
"""A density of matter above 0, in g/cm³."""

MassG = Annotated[float, _quantity("g", above=0)]
"""A mass above 0, in g."""

VolumeL = Annotated[float, _quantity("L", above=0)]
"""A volume above 0, in L."""

VolumeMl = Annotated[float, _quantity("mL", above=0)]
"""A volume above 0, in mL."""

ContentGL = Annotated[float, _quantity("g/L", least=0)]
"""What is in each litre of bath, 0 or more, in g/L."""

ContentMgL = Annotated[float, _quantity("mg/L", least=0)]
"""What little is in each litre of bath, 0 or more, in mg/L; "60 ppm" is 60 mg/L."""

ContentMlL = Annotated[float, _quantity("mL/L", least=0)]
"""What is in each litre of bath, 0 or more, in mL/L."""

RateMlKah = Annotated[float, _quantity("mL/kAh", above=0)]
"""What charge uses up, above 0, in mL/kAh: "150 mL/kAh", "1500 mL/(10 kAh)", "1 fl oz/kAh"."""

RateLD = Annotated[float, _quantity("L/d", least=0)]
"""A loss by time of 0 or more, in L a day."""

DragOutMlDm2 = Annotated[float, _quantity("mL/dm²", least=0)]
"""What an area carries away, 0 or more, in mL for each dm²."""

LengthMm = Annotated[float, _quantity("mm", above=0)]
"""A length above 0, in mm."""

LengthCm = Annotated[float, _quantity("cm", above=0)]
"""A length above 0, in cm."""

LengthM = Annotated[float, _quantity("m", above=0)]
"""A length above 0, in m."""

FlowLH = Annotated[float, _quantity("L/h", above=0)]
"""What a pump moves, above 0, in L/h."""

FlowMlS = Annotated[float, _quantity("mL/s", above=0)]
"""What a dosing pump delivers, above 0, in mL/s."""

ConcentrationGL = Annotated[float, _quantity("g/L", above=0)]
"""A concentration above 0, in g/L."""

MolarMassG = Annotated[float, _quantity("g/mol", above=0)]
"""A molar mass above 0, in g/mol."""

SpaceL = Annotated[float, _quantity("L", least=0)]
"""A volume of 0 or more, in L, for what may also take no room."""

BathTemperatureC = Annotated[float, _quantity("°C", least=0, most=100)]
"""A temperature at which water is liquid, in °C."""

Fraction = Annotated[float, _quantity("", above=0, most=1)]
"""A fraction above 0 and at most 1: "95 %" or 0.95."""

Share = Annotated[float, _quantity("", least=0, most=1)]
"""A share of 0 to 1, both allowed: "5 %" or 0.05."""
