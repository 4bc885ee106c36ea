"""What a bath is made from: molar masses, and copper sulfate with any water of crystallisation.

Molar masses are sums of atomic weights (Cu 63.546, S 32.0648, O 15.9994, H 1.00794, Cl 35.4529,
Na 22.98977); a test compares them with the `periodictable` package. Copper(II) sulfate pentahydrate
is printed as 249.685 g/mol (CRC Handbook).
"""

import re
from dataclasses import dataclass

from daemon.chemistry.checks import require_positive
from daemon.chemistry.metals import metal_named

WATER_G_MOL = 18.0153
COPPER_SULFATE_G_MOL = 159.6084
"""CuSO4 without water."""

SULFURIC_ACID_G_MOL = 98.0783
HYDROGEN_CHLORIDE_G_MOL = 36.4608
SODIUM_CHLORIDE_G_MOL = 58.4427
CHLORINE_G_MOL = 35.4529
COPPER_G_MOL = metal_named("Cu(II)").molar_mass_g

CHLORIDE_IN_SODIUM_CHLORIDE = CHLORINE_G_MOL / SODIUM_CHLORIDE_G_MOL
CHLORIDE_IN_HYDROGEN_CHLORIDE = CHLORINE_G_MOL / HYDROGEN_CHLORIDE_G_MOL

MOST_WATER = 7.0
"""Molecules of water for each copper in the wettest hydrate that is known (from memory)."""

_ROUNDED = 0.02  # labels round a molar mass to 0.1 or 0.3 g/mol: that is at most so much of a water
_WRITTEN = re.compile(r"CuSO4(?:\s*[·.*⋅]\s*([0-9]+(?:\.[0-9]+)?)?\s*H2O)?", re.IGNORECASE)
_LOW_DIGITS = str.maketrans("₀₁₂₃₄₅₆₇₈₉", "0123456789")
_ALLOWED = 'a hydrate of copper sulfate such as "CuSO4·5H2O", or "CuSO4" for the dry salt'


@dataclass(frozen=True, slots=True)
class CopperSulfate:
    """Copper(II) sulfate with so many molecules of water for each copper, from 0 to 7.

    Five are in the blue crystals that are usually sold. Raises ValueError outside that range.
    """

    water: float = 5.0

    def __post_init__(self) -> None:
        if not 0 <= self.water <= MOST_WATER:
            raise ValueError(
                f"copper sulfate holds 0 to {MOST_WATER:g} molecules of water for each copper,"
                f" got {self.water:g}"
            )

    @property
    def name(self) -> str:
        """The formula: "CuSO4·5H2O"."""
        if not self.water:
            return "CuSO4"
        number = "" if self.water == 1 else f"{self.water:.4g}"
        return f"CuSO4·{number}H2O"

    @property
    def molar_mass_g(self) -> float:
        """Molar mass, g/mol."""
        return COPPER_SULFATE_G_MOL + self.water * WATER_G_MOL

    @property
    def copper_share(self) -> float:
        """Mass of copper in a mass of crystals."""
        return COPPER_G_MOL / self.molar_mass_g

    @property
    def anhydrous_share(self) -> float:
        """Mass of CuSO4 without water in a mass of crystals."""
        return COPPER_SULFATE_G_MOL / self.molar_mass_g


PENTAHYDRATE = CopperSulfate(5.0)
"""The blue crystals. A bath's "copper sulfate" in g/L is meant as this (common practice)."""

ANHYDROUS_BY_COPPER = COPPER_SULFATE_G_MOL / COPPER_G_MOL
"""Mass of CuSO4 without water for a mass of copper."""


def hydrate_named(text: str) -> CopperSulfate:
    """Read a formula such as "CuSO4·5H2O", "CuSO4.5H2O", "CuSO₄·5H₂O" or "CuSO4".

    Raises ValueError with what is allowed; also for a salt without copper.
    """
    written = _WRITTEN.fullmatch(text.strip().translate(_LOW_DIGITS))
    if written is None:
        no_copper = "" if re.search(r"Cu(?![a-z])", text) else " has no copper in it:"
        raise ValueError(f"{text!r}{no_copper} expected {_ALLOWED}")
    if "H2O" not in written[0].upper():
        return CopperSulfate(0.0)
    return CopperSulfate(float(written[1] or 1))


def hydrate_of_molar_mass(molar_mass_g: float) -> CopperSulfate:
    """The copper sulfate of a molar mass in g/mol, as a label states it.

    Raises ValueError for one that no copper sulfate has.
    """
    require_positive("molar mass", molar_mass_g, "g/mol")
    water = (molar_mass_g - COPPER_SULFATE_G_MOL) / WATER_G_MOL
    if abs(water - round(water)) < _ROUNDED:
        water = float(round(water))
    if not 0 <= water <= MOST_WATER:
        greatest = CopperSulfate(MOST_WATER).molar_mass_g
        raise ValueError(
            f"no copper sulfate has a molar mass of {molar_mass_g:g} g/mol: it is"
            f" {COPPER_SULFATE_G_MOL:.2f} g/mol without water, 249.68 g/mol with five, at most"
            f" {greatest:.2f} g/mol"
        )
    return CopperSulfate(water)
