"""How strong an acid is, as its label or a hydrometer says it."""

import re

from daemon.chemistry.acid_density import (
    SULFURIC,
    Acid,
    Strength,
    of_g_l,
    of_mol_l,
    of_specific_gravity,
    of_wt_percent,
)
from daemon.units import UnitError, parse

BATTERY_ACID = "battery acid"
BATTERY_ACID_SG = 1.280
"""Of the acid that new batteries are filled with, 1.26 to 1.30 (common practice)."""

_GRAVITY = re.compile(r"SG\s*([0-9]*\.?[0-9]+)(?:\s*(?:at|@)\s*(\S.*))?", re.IGNORECASE)
_BY_WEIGHT = re.compile(r"%\s*(?:wt|w/w|by weight)$|(?:wt\.?\s*%)$", re.IGNORECASE)
_BARE = re.compile(r"[+-]?[0-9]*\.?[0-9]+")


def read_strength(acid: Acid, text: str, density_g_cm3: float | None = None) -> Strength:
    """Read "96 %" (by weight), "SG 1.280", "SG 1.280 at 25 °C", "18 mol/L", "18 M" or "473 g/L".

    "battery acid" is sulfuric acid of SG 1.280. A density that is told as well, g/cm³, goes with a
    strength in %. Raises ValueError with what came and what would do.
    """
    text = text.strip()
    if density_g_cm3 is not None and "%" not in text:
        raise ValueError(f'a density goes with a strength in %, such as "96 %", not with "{text}"')
    if acid is SULFURIC and text.lower() == BATTERY_ACID:
        return of_specific_gravity(acid, BATTERY_ACID_SG)
    if found := _GRAVITY.fullmatch(text):
        temperature_c = parse(found[2], "°C") if found[2] else 20.0
        return of_specific_gravity(acid, float(found[1]), temperature_c)
    if "%" in text:
        wt_percent = 100 * parse(_BY_WEIGHT.sub("%", text), "")
        return of_wt_percent(acid, wt_percent, density_g_cm3)
    if _BARE.fullmatch(text):
        raise ValueError(_refused(acid, text) + f'; a specific gravity is written "SG {text}"')
    for unit, of_unit in (("g/L", of_g_l), ("mol/L", of_mol_l)):
        try:
            amount = parse(text, unit)
        except UnitError:
            continue
        return of_unit(acid, amount)
    raise ValueError(_refused(acid, text))


def _refused(acid: Acid, text: str) -> str:
    battery = f', "{BATTERY_ACID}"' if acid is SULFURIC else ""
    return (
        f'expected how strong {acid.name} is, such as "96 %", "SG 1.28", "6 mol/L" or "473 g/L"'
        f"{battery}, got {text!r}"
    )
