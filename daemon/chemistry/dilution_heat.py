"""How warm acid and salt make the water that they are put into.

Heat of solution of sulfuric acid by the water that it has: values of NBS Circular 500 at 25 °C as
textbooks of chemical engineering print them, from memory; their differences from 1 to 100 molecules
of water are those of Koretsky, Engineering and Chemical Thermodynamics, 2nd ed., Table 6.1 (a
test). The heat of copper sulfate is the textbook example of Hess's law: the dry salt gives off
66.1 kJ/mol; the pentahydrate takes up some 11.7 kJ/mol, which is left out here.

A rise of temperature is what comes out if no heat leaves and only the water takes it up: more than
will be seen in most vessels. While the acid runs in, it is far hotter where it enters.
"""

from daemon.chemistry.checks import require_not_negative, require_positive
from daemon.chemistry.numerics import interpolated
from daemon.chemistry.substances import SULFURIC_ACID_G_MOL, WATER_G_MOL, CopperSulfate

WATER_KJ_KG_K = 4.18
"""Heat capacity of water. Salt solutions of the same water take up about as much (within 5 %, from
memory, not checked)."""

_DRY_SALT_KJ_MOL = 66.1
_FULL_WATER = 5.0

_HALF = 1.798
"""Of J. Thomsen's formula, heat = const · n / (n + 1.798), from memory. Only used to read between
rows: over n / (n + 1.798) the table is nearly straight."""

_KJ_MOL = (
    (0.0, 0.0), (0.5, 15.73), (1.0, 28.07), (1.5, 36.90), (2.0, 41.92), (3.0, 48.99), (4.0, 54.06),
    (5.0, 58.03), (10.0, 67.03), (20.0, 71.50), (50.0, 73.34), (100.0, 73.97), (500.0, 76.73),
    (1000.0, 78.57),
)  # fmt: skip
_ENDLESS = (1.0, 96.19)


def _thomsen(n: float) -> float:
    return n / (n + _HALF)


_BY_SHARE = (*((_thomsen(n), heat) for n, heat in _KJ_MOL), _ENDLESS)


def acid_kj_mol(water_per_acid: float) -> float:
    """Heat given off when pure H2SO4 gets so much water, in mol for each mol of acid, kJ/mol."""
    require_not_negative("water for each acid", water_per_acid, "mol/mol")
    return interpolated(_BY_SHARE, _thomsen(water_per_acid))


def acid_heat_kj(acid_g: float, own_water_g: float, other_water_g: float) -> float:
    """Heat given off when acid with some water of its own is put into other water, kJ.

    `acid_g` is pure H2SO4.
    """
    require_not_negative("acid", acid_g, "g")
    require_not_negative("water of the acid", own_water_g, "g")
    require_not_negative("water", other_water_g, "g")
    if not acid_g:
        return 0.0
    acid_mol = acid_g / SULFURIC_ACID_G_MOL

    def heat_kj_mol(water_g: float) -> float:
        return acid_kj_mol(water_g / WATER_G_MOL / acid_mol)

    return acid_mol * (heat_kj_mol(own_water_g + other_water_g) - heat_kj_mol(own_water_g))


def dry_salt_heat_kj(hydrate: CopperSulfate, crystals_g: float) -> float:
    """Heat that copper sulfate with less than five waters gives off in water, at most, kJ.

    In proportion to the water that it lacks (from memory: hydrates between give off less).
    """
    require_not_negative("crystals", crystals_g, "g")
    lacking = max(0.0, 1.0 - hydrate.water / _FULL_WATER)
    return lacking * _DRY_SALT_KJ_MOL * crystals_g / hydrate.molar_mass_g


def rise_k(heat_kj: float, water_g: float) -> float:
    """How much warmer the heat makes a solution with so much water in it, at most, K."""
    require_positive("water", water_g, "g")
    return heat_kj / (WATER_KJ_KG_K * water_g / 1000.0)
