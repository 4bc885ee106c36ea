"""What an acid copper bath is made of, by the names and units that hold everywhere inside."""

from collections.abc import Collection

COPPER, SULFURIC_ACID, CHLORIDE = "copper", "sulfuric acid", "chloride"
"""Copper as the metal, sulfuric acid as H2SO4, chloride as Cl: amounts in g."""

VOLUME = "volume"
"""The bath itself: an amount in L."""

COPPER_SULFATE = "copper sulfate"
"""How copper may be stated as well: as its pentahydrate, CuSO4·5H2O."""

NOT_FOR_ADDITIVES = frozenset({COPPER, SULFURIC_ACID, CHLORIDE, VOLUME, COPPER_SULFATE})
"""Names that no additive may have."""


def amount_unit(substance: str, additives: Collection[str]) -> str:
    """In what an amount of it is kept: L of bath, mL of an additive, g of everything else."""
    if substance == VOLUME:
        return "L"
    return "mL" if substance in additives else "g"


def concentration_unit(component: str, additives: Collection[str]) -> str:
    """In what its concentration is kept: mg/L of chloride, mL/L of additives, g/L of the rest."""
    if component == CHLORIDE:
        return "mg/L"
    return "mL/L" if component in additives else "g/L"
