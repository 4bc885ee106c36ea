"""What the bath's composition and temperature decide: concentration, conductivity, limits."""

from bisect import bisect_right

from drivers.simulator.electrochemistry import (
    COPPER_ELECTRONS,
    COPPER_STANDARD_V,
    EXCHANGE_ACTIVATION_J_PER_MOL,
    Electrode,
    arrhenius,
    bath_diffusivity_m2_per_s,
    limiting_density_a_per_dm2,
    nernst_v,
)
from drivers.simulator.parameters import BathParameters

PENTAHYDRATE_G_PER_MOL = 249.685
SULFURIC_ACID_G_PER_MOL = 98.078
ANHYDROUS_SHARE = 0.639239
"""Grams of CuSO4 in one gram of CuSO4·5H2O."""
DENSITY_PER_G_PER_L = 0.6e-3
"""Bath density is 1 + this times the dissolved g/L; meets CRC's 10 wt % rows of CuSO4 (1.107) and
H2SO4 (1.066) to 0.3 %."""

COPPER_SULFATE_MS_PER_CM_20C = (
    (0.0, 0.0),
    (0.5, 2.9),
    (1.0, 5.4),
    (2.0, 9.3),
    (5.0, 19.0),
    (10.0, 32.2),
    (15.0, 42.3),
)
"""wt % of CuSO4 and mS/cm at 20 °C: CRC, electrical conductivity of aqueous solutions."""
SULFURIC_ACID_MS_PER_CM_18C = (
    (0.0, 0.0),
    (5.0, 209.0),
    (10.0, 392.0),
    (15.0, 543.0),
    (20.0, 653.0),
    (25.0, 717.0),
    (30.0, 739.0),
    (35.0, 724.0),
    (40.0, 680.0),
)
"""wt % of H2SO4 and mS/cm at 18 °C: Kohlrausch, International Critical Tables (from memory)."""
COPPER_HINDRANCE_L_PER_MOL = 0.2
"""Copper lowers the acid's conductivity (Minerals 6 (2016) 59); so much that 200 + 60 g/L comes to
200 mS/cm at 25 °C, an estimate."""


def interpolate(nodes: tuple[tuple[float, float], ...], x: float) -> float:
    """Straight lines between nodes of rising x; raises ValueError outside of them."""
    if not nodes[0][0] <= x <= nodes[-1][0]:
        raise ValueError(
            f"{x:g} is outside of the table, allowed {nodes[0][0]:g} to {nodes[-1][0]:g}"
        )
    right = min(bisect_right(nodes, x, key=lambda node: node[0]), len(nodes) - 1)
    (x0, y0), (x1, y1) = nodes[right - 1], nodes[right]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


def copper_sulfate_ms_per_cm(weight_percent: float) -> float:
    """Conductivity of CuSO4 (0 to 15 wt %) in water at 20 °C, mS/cm (CRC)."""
    return interpolate(COPPER_SULFATE_MS_PER_CM_20C, weight_percent)


def estimated_ms_per_cm(
    copper_sulfate_g_per_l: float, sulfuric_acid_g_per_l: float, percent_per_k: float
) -> float:
    """Conductivity of the mixed bath at 25 °C, mS/cm, to ±30 %.

    The acid's, lowered by the copper; never below what the copper sulfate alone would give.
    """
    density = 1.0 + DENSITY_PER_G_PER_L * (copper_sulfate_g_per_l + sulfuric_acid_g_per_l)
    salt_percent = ANHYDROUS_SHARE * copper_sulfate_g_per_l / (10.0 * density)
    acid_percent = sulfuric_acid_g_per_l / (10.0 * density)
    salt = copper_sulfate_ms_per_cm(salt_percent) * (1.0 + percent_per_k / 100.0 * 5.0)
    copper_mol_per_l = copper_sulfate_g_per_l / PENTAHYDRATE_G_PER_MOL
    acid = (
        interpolate(SULFURIC_ACID_MS_PER_CM_18C, acid_percent)
        * (1.0 + percent_per_k / 100.0 * 7.0)
        * (1.0 - COPPER_HINDRANCE_L_PER_MOL * copper_mol_per_l)
    )
    return max(salt, acid)


class Bath:
    """The bath's make-up; every method takes its temperature in °C."""

    def __init__(self, parameters: BathParameters) -> None:
        self.parameters = parameters
        self.copper_mol_per_l = parameters.copper_sulfate_g_per_l / PENTAHYDRATE_G_PER_MOL
        self._ms_per_cm_25 = parameters.conductivity_ms_per_cm or estimated_ms_per_cm(
            parameters.copper_sulfate_g_per_l,
            parameters.sulfuric_acid_g_per_l,
            parameters.conductivity_percent_per_k,
        )

    def conductivity_ms_per_cm(self, temperature_c: float) -> float:
        """Conductivity, linear in temperature about 25 °C, never below a tenth of that at 25 °C."""
        per_k = self.parameters.conductivity_percent_per_k / 100.0
        return self._ms_per_cm_25 * max(0.1, 1.0 + per_k * (temperature_c - 25.0))

    def gap_ohm_dm2(self, temperature_c: float) -> float:
        """Resistance between anode and one dm² of cathode, d/κ, Ω·dm²."""
        s_per_cm = self.conductivity_ms_per_cm(temperature_c) * 1e-3
        return self.parameters.electrode_gap_cm / s_per_cm / 100.0

    def limiting_a_per_dm2(self, temperature_c: float) -> float:
        """Greatest copper current density that diffusion feeds, A/dm²."""
        return limiting_density_a_per_dm2(
            bath_diffusivity_m2_per_s(temperature_c),
            self.copper_mol_per_l,
            self.parameters.diffusion_layer_um,
        )

    def electrode(self, temperature_c: float) -> Electrode:
        """Copper in this bath at this temperature."""
        exchange = self.parameters.exchange_a_per_dm2 * arrhenius(
            EXCHANGE_ACTIVATION_J_PER_MOL, 25.0, temperature_c
        )
        copper_v = nernst_v(
            COPPER_STANDARD_V, COPPER_ELECTRONS, self.copper_mol_per_l, temperature_c
        )
        # First dissociation only; without acid the bath still has the acidity of its salt, pH ~ 3.
        acid_mol_per_l = max(1e-3, self.parameters.sulfuric_acid_g_per_l / SULFURIC_ACID_G_PER_MOL)
        hydrogen_v = nernst_v(0.0, 1, acid_mol_per_l, temperature_c)
        return Electrode(
            exchange, self.limiting_a_per_dm2(temperature_c), copper_v - hydrogen_v, temperature_c
        )
