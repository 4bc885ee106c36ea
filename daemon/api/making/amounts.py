"""Masses, volumes and concentrations as texts, in metric units and in those of the US trade.

The US ounce is avoirdupois, gallon and fluid ounce are US; all by definition.
"""

import math

_G_IN_OZ = 28.349523125
_OZ_IN_LB = 16
_ML_IN_FL_OZ = 29.5735295625
_FL_OZ_IN_GAL = 128
_G_L_IN_OZ_GAL = _G_IN_OZ / (_ML_IN_FL_OZ * _FL_OZ_IN_GAL / 1000)

US_DIGITS = 3
DIGITS = 4
"""Significant digits: what kitchen scales and measuring cylinders show."""


def figure(value: float, digits: int = DIGITS) -> str:
    """A number with so many significant digits at most, never with an exponent: "340.5", "2000"."""
    if value == 0:
        return "0"
    decimals = digits - 1 - math.floor(math.log10(abs(value)))
    text = f"{round(value, decimals):.{max(0, decimals)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def mass(grams: float) -> str:
    """A mass, "2000 g"; from 10 kg on in kg."""
    return f"{figure(grams)} g" if grams < 10_000 else f"{figure(grams / 1000)} kg"


def us_mass(grams: float) -> str:
    """A mass in ounces, from one pound on in pounds: "4.41 lb"."""
    oz = grams / _G_IN_OZ
    if oz < _OZ_IN_LB:
        return f"{figure(oz, US_DIGITS)} oz"
    return f"{figure(oz / _OZ_IN_LB, US_DIGITS)} lb"


def volume(ml: float) -> str:
    """A volume, "340.5 mL"; from 1 L on in L."""
    return f"{figure(ml)} mL" if ml < 1000 else f"{figure(ml / 1000)} L"


def us_volume(ml: float) -> str:
    """A volume in fluid ounces, from half a gallon on in gallons: "11.5 fl oz"."""
    fl_oz = ml / _ML_IN_FL_OZ
    if fl_oz < _FL_OZ_IN_GAL / 2:
        return f"{figure(fl_oz, US_DIGITS)} fl oz"
    return f"{figure(fl_oz / _FL_OZ_IN_GAL, US_DIGITS)} gal"


def both_volumes(ml: float) -> str:
    """A volume in both: "10 L (2.64 gal)"."""
    return f"{volume(ml)} ({us_volume(ml)})"


def both_masses(grams: float) -> str:
    """A mass in both: "2000 g (4.41 lb)"."""
    return f"{mass(grams)} ({us_mass(grams)})"


def content(g_l: float) -> str:
    """A concentration in both: "200 g/L (26.7 oz/gal)"."""
    return f"{figure(g_l)} g/L ({figure(g_l / _G_L_IN_OZ_GAL, US_DIGITS)} oz/gal)"
