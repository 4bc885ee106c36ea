"""Faraday's law: what a charge deposits, and which charge a deposit takes.

m = Q·M·η / (n·F) (Faraday's laws of electrolysis; worked in OpenStax Chemistry, chapter 17.7), and
the mean thickness is m / (ρ·A). Charges are A·h, masses g, thicknesses µm (the mean over the area),
areas dm², currents A, current densities A/dm², durations s, efficiencies fractions above 0 up to 1.

A charge may be negative, where current ran the other way and took metal off; everything that
follows from it is then negative too. Every function raises ValueError for a value out of its range.
"""

from daemon.chemistry.checks import (
    require_efficiency,
    require_finite,
    require_not_negative,
    require_positive,
)
from daemon.chemistry.constants import COULOMBS_PER_AH, FARADAY_C_MOL
from daemon.chemistry.metals import Metal


def g_per_ah(metal: Metal, efficiency: float = 1.0) -> float:
    """Mass that one ampere-hour deposits, g: electrochemical equivalent times efficiency."""
    require_efficiency(efficiency)
    return COULOMBS_PER_AH * metal.molar_mass_g * efficiency / (metal.valence * FARADAY_C_MOL)


def um_per_ah(metal: Metal, area_dm2: float, efficiency: float = 1.0) -> float:
    """Mean thickness that one ampere-hour deposits on the area, µm.

    Constant over a run, so a control loop works it out once and multiplies.
    """
    require_positive("area", area_dm2, "dm²")
    # g/cm³ over dm² is 1e-2 cm of thickness, and 1 cm is 1e4 µm.
    return 100.0 * g_per_ah(metal, efficiency) / (metal.density_g_cm3 * area_dm2)


def mass_g(metal: Metal, charge_ah: float, efficiency: float = 1.0) -> float:
    """Mass that a charge deposits, g."""
    return require_finite("charge", charge_ah, "A·h") * g_per_ah(metal, efficiency)


def thickness_um(metal: Metal, charge_ah: float, area_dm2: float, efficiency: float = 1.0) -> float:
    """Mean thickness that a charge deposits on an area, µm."""
    return require_finite("charge", charge_ah, "A·h") * um_per_ah(metal, area_dm2, efficiency)


def charge_ah_for_mass(metal: Metal, mass_g: float, efficiency: float = 1.0) -> float:
    """Charge that deposits a mass of 0 g or more, A·h."""
    return require_not_negative("mass", mass_g, "g") / g_per_ah(metal, efficiency)


def charge_ah_for_thickness(
    metal: Metal, thickness_um: float, area_dm2: float, efficiency: float = 1.0
) -> float:
    """Charge that deposits a mean thickness of 0 µm or more on an area, A·h."""
    require_not_negative("thickness", thickness_um, "µm")
    return thickness_um / um_per_ah(metal, area_dm2, efficiency)


def duration_s_for_thickness(
    metal: Metal, thickness_um: float, current_density_a_dm2: float, efficiency: float = 1.0
) -> float:
    """Time in which a constant current density above 0 A/dm² deposits a thickness, s."""
    require_positive("current density", current_density_a_dm2, "A/dm²")
    charge_ah_on_one_dm2 = charge_ah_for_thickness(metal, thickness_um, 1.0, efficiency)
    return charge_ah_on_one_dm2 / current_density_a_dm2 * COULOMBS_PER_AH


def ramp_charge_ah(start_a: float, end_a: float, duration_s: float) -> float:
    """Charge of a current that goes in a straight line from start to end, A·h: the trapezoid.

    The duration is 0 s or more; the currents may have either sign.
    """
    require_finite("start current", start_a, "A")
    require_finite("end current", end_a, "A")
    require_not_negative("duration", duration_s, "s")
    return 0.5 * (start_a + end_a) * duration_s / COULOMBS_PER_AH
