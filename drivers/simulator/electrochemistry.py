"""Copper electrodes: potentials, kinetics and transport, with the constants they need.

The simulated tank keeps constants of its own, so that its truth does not share a slip with the
code that counts. Current densities are A/dm², potentials and overpotentials V (both positive in
the direction of plating), temperatures °C, diffusivities m²/s.
"""

from math import exp, expm1, inf, log, log1p, sqrt

from drivers.simulator.solver import solve_increasing

FARADAY_C_PER_MOL = 96485.33212
"""CODATA 2018; exact since 2019."""
GAS_J_PER_MOL_K = 8.314462618
"""CODATA 2018; exact since 2019."""
ZERO_C_IN_K = 273.15

COPPER_G_PER_MOL = 63.546
"""IUPAC standard atomic weight."""
COPPER_ELECTRONS = 2
COPPER_G_PER_C = COPPER_G_PER_MOL / (COPPER_ELECTRONS * FARADAY_C_PER_MOL)
COPPER_G_PER_CM3 = 8.96
"""Wrought copper, CRC Handbook."""
COPPER_OHM_M = 1.68e-8
"""Resistivity at 20 °C, CRC Handbook (from memory, not checked)."""

COPPER_STANDARD_V = 0.3419
"""Cu2+/Cu against the hydrogen electrode, CRC Handbook (from memory, not checked)."""
TRANSFER_COEFFICIENT = 0.5
"""J. Electrochem. Soc. 134 (1987) 1389."""
EXCHANGE_ACTIVATION_J_PER_MOL = 66e3
"""Activation energy of the exchange current, J. Electrochem. Soc. 134 (1987) 1389."""
DIFFUSION_ACTIVATION_J_PER_MOL = 19.2e3
"""Of Cu2+ in strong baths, 40-65 °C: Moats et al., Hydrometallurgy 56 (2000) 255."""
COPPER_ION_CONDUCTANCE_S_CM2_PER_EQ = 53.6
"""Limiting equivalent conductance of Cu2+ at 25 °C, CRC limiting ionic conductivities."""
STRONG_BATH_DIFFUSION_SHARE = 0.77
"""Strong baths show 0.5-0.6e-9 m²/s, infinite dilution 0.714e-9 (from memory, not checked)."""

HYDROGEN_EXCHANGE_A_PER_DM2 = 1e-5
"""Hydrogen on copper in acid, about 1e-7 A/cm² (from memory, not checked)."""
NEGLIGIBLE_HYDROGEN_SHARE = 1e-7


def nernst_v(standard_v: float, electrons: int, activity: float, temperature_c: float) -> float:
    """Potential of a metal or gas electrode against its ions, by Nernst's equation, V.

    `activity` is that of the ions (here their mol/L); `electrons` are those taken by one ion.
    """
    kelvin = temperature_c + ZERO_C_IN_K
    return standard_v + GAS_J_PER_MOL_K * kelvin / (electrons * FARADAY_C_PER_MOL) * log(activity)


def tafel_slope_v(temperature_c: float, transfer_coefficient: float, electrons: int) -> float:
    """Overpotential per tenfold current far from equilibrium: ln 10 · RT/(αnF), V per decade.

    0.059 V at 300 K for α 0.5 and n 2: DoITPoMS, University of Cambridge, Tafel curve of copper.
    """
    kelvin = temperature_c + ZERO_C_IN_K
    return (
        log(10.0)
        * GAS_J_PER_MOL_K
        * kelvin
        / (transfer_coefficient * electrons * FARADAY_C_PER_MOL)
    )


def arrhenius(activation_j_per_mol: float, from_c: float, to_c: float) -> float:
    """Factor by which a rate with this activation energy changes between two temperatures."""
    return exp(
        activation_j_per_mol
        / GAS_J_PER_MOL_K
        * (1.0 / (from_c + ZERO_C_IN_K) - 1.0 / (to_c + ZERO_C_IN_K))
    )


def ion_diffusivity_m2_per_s(
    conductance_s_cm2_per_eq: float, charge: int, temperature_c: float
) -> float:
    """Diffusivity of an ion at infinite dilution from its limiting conductance: D = RTλ/(zF²)."""
    conductance_s_m2 = conductance_s_cm2_per_eq * 1e-4
    kelvin = temperature_c + ZERO_C_IN_K
    return GAS_J_PER_MOL_K * kelvin * conductance_s_m2 / (charge * FARADAY_C_PER_MOL**2)


def bath_diffusivity_m2_per_s(temperature_c: float) -> float:
    """Diffusivity of Cu2+ in a strong acid copper bath: 0.55e-9 m²/s at 25 °C, up with warmth."""
    at_25 = STRONG_BATH_DIFFUSION_SHARE * ion_diffusivity_m2_per_s(
        COPPER_ION_CONDUCTANCE_S_CM2_PER_EQ, COPPER_ELECTRONS, 25.0
    )
    return at_25 * arrhenius(DIFFUSION_ACTIVATION_J_PER_MOL, 25.0, temperature_c)


def limiting_density_a_per_dm2(
    diffusivity_m2_per_s: float, copper_mol_per_l: float, diffusion_layer_um: float
) -> float:
    """Greatest copper current that diffusion feeds, i_L = nFDc/δ, A/dm².

    The layer δ is what agitation decides: about 200 µm still, 50 µm with air, 10 µm in a jet
    (common practice).
    """
    mol_per_m3 = copper_mol_per_l * 1e3
    layer_m = diffusion_layer_um * 1e-6
    a_per_m2 = COPPER_ELECTRONS * FARADAY_C_PER_MOL * diffusivity_m2_per_s * mol_per_m3 / layer_m
    return a_per_m2 / 100.0


class Electrode:
    """Copper against the bath at one temperature: overpotential for a current density.

    Butler-Volmer with α 0.5 and two electrons, the ions' depletion (cathode) or enrichment
    (anode) at the surface included: i = i0·[(1 - i/iL)·u - 1/u] at the cathode and
    i = i0·[u - (1 + i/iL)/u] at the anode, u = exp(Fη/RT) (Bard and Faulkner, Electrochemical
    Methods, current-overpotential equation; from memory, not checked). α 0.5 makes both quadratic
    in u, so η is in closed form. Near and above i_L the rest of the current makes hydrogen, by
    Tafel's law counted from the copper's rest potential.
    """

    __slots__ = ("_e_fold_v", "_exchange", "_hydrogen_at_0", "_hydrogen_e_fold_v", "_limit")

    def __init__(
        self,
        exchange_a_per_dm2: float,
        limiting_a_per_dm2: float,
        hydrogen_gap_v: float,
        temperature_c: float,
    ) -> None:
        """`hydrogen_gap_v` is how far the copper's rest potential lies above hydrogen's."""
        self._exchange = exchange_a_per_dm2
        self._limit = limiting_a_per_dm2
        slope_v = tafel_slope_v(temperature_c, TRANSFER_COEFFICIENT, COPPER_ELECTRONS)
        self._e_fold_v = slope_v / log(10.0)
        # One electron per hydrogen ion decides hydrogen's rate: 0.118 V per decade.
        self._hydrogen_e_fold_v = tafel_slope_v(temperature_c, 0.5, 1) / log(10.0)
        self._hydrogen_at_0 = HYDROGEN_EXCHANGE_A_PER_DM2 * exp(
            -hydrogen_gap_v / self._hydrogen_e_fold_v
        )

    def anode(self, density: float) -> tuple[float, float]:
        """(overpotential V, its slope V per A/dm²) of dissolving copper at `density` >= 0."""
        exchange = self._exchange
        ratio = exchange / self._limit
        u = (density + sqrt(density * density + 4.0 * exchange * (exchange + ratio * density))) / (
            2.0 * exchange
        )
        damping = 1.0 + ratio / u
        slope = self._e_fold_v * damping * damping / (exchange * (u + 1.0 / u + 2.0 * ratio))
        return self._e_fold_v * log(u), slope

    def cathode(self, density: float) -> tuple[float, float, float]:
        """(overpotential V, its slope V per A/dm², copper's share of it) at `density` >= 0."""
        exchange = self._exchange
        left = 1.0 - density / self._limit
        if left > 0.0:
            u = (density + sqrt(density * density + 4.0 * exchange * exchange * left)) / (
                2.0 * exchange * left
            )
            eta = self._e_fold_v * log(u)
            hydrogen = self._hydrogen_at_0 * expm1(eta / self._hydrogen_e_fold_v)
            if hydrogen <= NEGLIGIBLE_HYDROGEN_SHARE * density:
                ratio = exchange / self._limit
                damping = 1.0 + ratio * u
                slope = (
                    self._e_fold_v * damping * damping / (exchange * (u + 1.0 / u + 2.0 * ratio))
                )
                return eta, slope, 1.0
        else:
            eta = inf
        return self._with_hydrogen(density, eta)

    def _with_hydrogen(self, density: float, copper_alone_v: float) -> tuple[float, float, float]:
        hydrogen_alone_v = self._hydrogen_e_fold_v * log1p(density / self._hydrogen_at_0)
        # Either reaction alone needs more overpotential than both together.
        most_v = min(copper_alone_v, hydrogen_alone_v)
        eta = solve_increasing(self._total, density, 0.0, most_v, most_v, 1e-9 * density)
        copper, _ = self._copper(eta)
        _, slope = self._total(eta)
        return eta, 1.0 / slope, copper / density

    def _copper(self, eta: float) -> tuple[float, float]:
        u = exp(eta / self._e_fold_v)
        ratio = self._exchange / self._limit
        damping = 1.0 + ratio * u
        density = self._exchange * (u - 1.0 / u) / damping
        slope = self._exchange * (u + 1.0 / u + 2.0 * ratio) / (self._e_fold_v * damping * damping)
        return density, slope

    def _total(self, eta: float) -> tuple[float, float]:
        copper, copper_slope = self._copper(eta)
        hydrogen = self._hydrogen_at_0 * expm1(eta / self._hydrogen_e_fold_v)
        hydrogen_slope = (hydrogen + self._hydrogen_at_0) / self._hydrogen_e_fold_v
        return copper + hydrogen, copper_slope + hydrogen_slope
