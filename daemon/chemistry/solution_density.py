"""Density of a bath of copper sulfate and sulfuric acid, and with it the water that it holds.

Laliberté & Cooper 2004, J. Chem. Eng. Data 49, 1141: the solution's volume is that of its water
and, for each solute, its mass times an apparent specific volume which depends on the share of water
and on temperature. Coefficients are those of Laliberté 2009, J. Chem. Eng. Data 54, 1725. For
two or more solutes the authors state a mean error of 0.003 kg/m³ with a standard deviation of 1.39
kg/m³; how good it is for this pair is not said, so ± 1 % is promised here.
"""

import math
from dataclasses import dataclass

from daemon.chemistry.checks import require_not_negative

LEAST_C = 10.0
GREATEST_C = 60.0
"""Temperatures for which the coefficients of copper sulfate hold, °C."""

_STEPS = 100
_SAME_G_L = 1e-9


@dataclass(frozen=True, slots=True)
class _Solute:
    """Its coefficients c0 to c4, and up to which share of the solution's mass they hold."""

    name: str
    c0: float
    c1: float
    c2: float
    c3: float
    c4: float
    greatest_share: float

    def cm3_per_g(self, water_share: float, temperature_c: float) -> float:
        """Apparent specific volume (eq. 10), cm³/g."""
        solutes = 1.0 - water_share
        volume_m3_kg = (solutes + self.c2 + self.c3 * temperature_c) / (
            (self.c0 * solutes + self.c1) * math.exp(1e-6 * (temperature_c + self.c4) ** 2)
        )
        return 1000.0 * volume_m3_kg


_COPPER_SULFATE = _Solute(
    "copper sulfate",
    c0=-1.12078294e-6,
    c1=6.06850591e-7,
    c2=-0.118863232,
    c3=0.00378050076,
    c4=4763.96074,
    greatest_share=0.2844,
)
_SULFURIC_ACID = _Solute(
    "sulfuric acid",
    c0=70.8395152,
    c1=142.352694,
    c2=0.687794596,
    c3=0.00649299683,
    c4=1667.23865,
    greatest_share=0.782,
)


def water_g_cm3(temperature_c: float) -> float:
    """Density of water (the same source, eq. 5), g/cm³; holds from 0 to 100 °C."""
    t = temperature_c
    numerator = (
        (((-2.8054253e-10 * t + 1.0556302e-7) * t - 4.6170461e-5) * t - 0.0079870401) * t
        + 16.945176
    ) * t + 999.83952
    return numerator / (1 + 0.01687985 * t) / 1000.0


def solution_g_cm3(
    copper_sulfate: float, sulfuric_acid: float, temperature_c: float = 20.0
) -> float:
    """Density of a solution of CuSO4 (without water) and H2SO4, each as a share of its mass, g/cm³.

    Salt and acid together up to 28.4 % of mass, as far as the salt's coefficients hold: beyond that
    they go wrong without a sign of it. Acid alone up to 78.2 %. 10 to 60 °C. Raises ValueError
    outside.
    """
    require_not_negative("share of copper sulfate", copper_sulfate, "")
    require_not_negative("share of sulfuric acid", sulfuric_acid, "")
    solutes = copper_sulfate + sulfuric_acid
    strictest = _strictest(copper_sulfate)
    if solutes > strictest.greatest_share:
        name = "copper sulfate and sulfuric acid together" if copper_sulfate else strictest.name
        raise ValueError(
            f"density is known up to {100 * strictest.greatest_share:.1f} % of mass of {name},"
            f" got {100 * solutes:.1f} %"
        )
    if not LEAST_C <= temperature_c <= GREATEST_C:
        raise ValueError(
            f"density is known from {LEAST_C:g} to {GREATEST_C:g} °C, got {temperature_c:g} °C"
        )
    water = 1.0 - solutes
    parts = ((_COPPER_SULFATE, copper_sulfate), (_SULFURIC_ACID, sulfuric_acid))
    cm3_per_g = water / water_g_cm3(temperature_c) + sum(
        share * solute.cm3_per_g(water, temperature_c) for solute, share in parts
    )
    return 1.0 / cm3_per_g


def _strictest(copper_sulfate: float) -> _Solute:
    """The solute that limits how much there may be of both."""
    return _COPPER_SULFATE if copper_sulfate else _SULFURIC_ACID


def bath_g_l(
    copper_sulfate_g_l: float, sulfuric_acid_g_l: float, temperature_c: float = 20.0
) -> float:
    """Mass of a litre of bath that holds so much CuSO4 (without water) and H2SO4, g/L.

    Raises ValueError outside the ranges of `solution_g_cm3`.
    """
    require_not_negative("copper sulfate", copper_sulfate_g_l, "g/L")
    require_not_negative("sulfuric acid", sulfuric_acid_g_l, "g/L")
    mass_g_l = 1000.0 * solution_g_cm3(0.0, 0.0, temperature_c)
    mass_g_l += copper_sulfate_g_l + sulfuric_acid_g_l
    for _ in range(_STEPS):
        before_g_l = mass_g_l
        shares = copper_sulfate_g_l / before_g_l, sulfuric_acid_g_l / before_g_l
        try:
            mass_g_l = 1000.0 * solution_g_cm3(*shares, temperature_c)
        except ValueError as error:
            raise ValueError(
                f"no density is known of a bath with {copper_sulfate_g_l:.4g} g/L CuSO4 and"
                f" {sulfuric_acid_g_l:.4g} g/L H2SO4: at most"
                f" {100 * _strictest(copper_sulfate_g_l).greatest_share:.1f} % of its mass may be"
                " other than water"
            ) from error
        if abs(mass_g_l - before_g_l) < _SAME_G_L:
            break
    return mass_g_l


def water_g_l(
    copper_sulfate_g_l: float, sulfuric_acid_g_l: float, temperature_c: float = 20.0
) -> float:
    """Mass of water in a litre of bath, that of crystals and acid included, g/L.

    Raises ValueError outside the ranges of `solution_g_cm3`.
    """
    mass_g_l = bath_g_l(copper_sulfate_g_l, sulfuric_acid_g_l, temperature_c)
    return mass_g_l - copper_sulfate_g_l - sulfuric_acid_g_l
