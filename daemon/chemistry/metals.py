"""The metals that are plated, each with the valence of its bath.

Atomic weights and densities are those of the `periodictable` package (a test compares them); both
can be replaced in a plan, since deposits are often less dense than wrought metal.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Metal:
    """A metal in one valence: molar mass in g/mol, electrons per ion, density in g/cm³."""

    symbol: str
    valence: int
    molar_mass_g: float
    density_g_cm3: float
