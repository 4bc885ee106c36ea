"""How much copper sulfate water takes at a temperature, and a bath with acid in it.

Water alone: CRC Handbook, Aqueous solubility of inorganic compounds at various temperatures, mass
percent of CuSO4 (without water) in the saturated solution, 0 to 100 °C.

With acid less dissolves, since both bring sulfate (the common ion). No published table of copper
sulfate in dilute sulfuric acid could be read, so a careful estimate is made: saturation where
copper times all sulfate, in mol for each kg of water, comes to what it is in water alone. It
counts all of the acid as sulfate, while much of it is hydrogen sulfate in a real bath. So crystals
come later than it says: 250 g/L with 75 g/L acid below about 15 °C (common practice), not at 25 °C.
"""

from daemon.chemistry.numerics import interpolated, reached
from daemon.chemistry.solution_density import water_g_l
from daemon.chemistry.substances import (
    COPPER_SULFATE_G_MOL,
    SULFURIC_ACID_G_MOL,
    CopperSulfate,
)

LEAST_C = 0.0
GREATEST_C = 100.0

_SATURATED_WT_PERCENT = (
    (0.0, 12.4), (10.0, 14.4), (20.0, 16.7), (25.0, 18.0), (30.0, 19.3), (40.0, 22.2),
    (50.0, 25.4), (60.0, 28.8), (70.0, 32.4), (80.0, 36.3), (90.0, 40.3), (100.0, 43.5),
)  # fmt: skip


def saturated_wt_percent(temperature_c: float) -> float:
    """CuSO4 (without water) in its saturated solution in water, wt %, at 0 to 100 °C."""
    if not LEAST_C <= temperature_c <= GREATEST_C:
        raise ValueError(
            f"solubility is known from {LEAST_C:g} to {GREATEST_C:g} °C, got {temperature_c:g} °C"
        )
    return interpolated(_SATURATED_WT_PERCENT, temperature_c)


def g_per_kg_water(wt_percent: float) -> float:
    """Wt % of a solution as g of solute for each kg of water in it."""
    if not 0 <= wt_percent < 100:
        raise ValueError(f"must be at least 0 and below 100 wt %, got {wt_percent:g} wt %")
    return 1000.0 * wt_percent / (100.0 - wt_percent)


def wt_percent(g_per_kg: float) -> float:
    """G of solute for each kg of water as wt % of the solution."""
    if not g_per_kg >= 0:
        raise ValueError(f"must be at least 0 g/kg, got {g_per_kg:g} g/kg")
    return 100.0 * g_per_kg / (1000.0 + g_per_kg)


def crystals_g_per_kg_water(hydrate: CopperSulfate, temperature_c: float) -> float:
    """Crystals that a kg of water takes, g, at 0 to 100 °C; their own water comes to it.

    x crystals bring x·a of CuSO4 and x·(1 - a) of water; saturated is x·a = s·(1 + x·(1 - a)).
    """
    saturated = g_per_kg_water(saturated_wt_percent(temperature_c)) / 1000.0
    dry = hydrate.anhydrous_share
    return 1000.0 * saturated / (dry - (1.0 - dry) * saturated)


def dissolves_from_c(hydrate: CopperSulfate, crystals_g: float, water_g: float) -> float | None:
    """From which temperature on so much water takes the crystals, °C; None if not up to 100 °C.

    0 °C if that is enough already.
    """
    wanted = 1000.0 * crystals_g / water_g
    if wanted <= crystals_g_per_kg_water(hydrate, LEAST_C):
        return LEAST_C
    if wanted > crystals_g_per_kg_water(hydrate, GREATEST_C):
        return None
    return reached(lambda t: crystals_g_per_kg_water(hydrate, t), wanted, LEAST_C, GREATEST_C)


def crystallises_below_c(copper_sulfate_g_l: float, sulfuric_acid_g_l: float) -> float | None:
    """Below which temperature a bath may drop crystals, by the careful estimate, °C.

    Both in g/L, copper sulfate without its water. None if it keeps them at 0 °C. Raises ValueError
    for a bath whose density is not known.
    """
    water_kg_l = water_g_l(copper_sulfate_g_l, sulfuric_acid_g_l) / 1000.0
    copper = copper_sulfate_g_l / COPPER_SULFATE_G_MOL / water_kg_l
    acid = sulfuric_acid_g_l / SULFURIC_ACID_G_MOL / water_kg_l
    product = copper * (copper + acid)
    if product <= _product(LEAST_C):
        return None
    return reached(_product, product, LEAST_C, GREATEST_C)


def _product(temperature_c: float) -> float:
    """Copper times sulfate in water alone, saturated, (mol/kg)²."""
    saturated = g_per_kg_water(saturated_wt_percent(temperature_c))
    return (saturated / COPPER_SULFATE_G_MOL) ** 2
