"""Flexible copper wires: their resistance, and what they may carry.

Resistances are published maxima. What a wire may carry depends on its insulation, its room and its
neighbours; the figures here are from memory, not checked, and the local code decides.
"""

from collections.abc import Sequence
from dataclasses import dataclass

RESISTIVITY_20C_OHM_MM2_M = 1 / 58
"""Ω·mm²/m of annealed copper at 20 °C (IEC 60028)."""

TEMPERATURE_COEFFICIENT = 0.00393
"""By K, of copper's resistance at 20 °C (IEC 60028)."""

HOTTEST_C = 70.0
"""°C. What a conductor in PVC may come to (IEC 60364-5-52, from memory, not checked)."""


@dataclass(frozen=True, slots=True)
class Conductor:
    """One core of a flexible copper cable.

    ohm_per_km: the most at 20 °C, Ω/km (IEC 60228, class 5, plain wires). ampacity_a: what it may
    carry for ever, A, in PVC, two loaded cores in a conduit, 30 °C around (IEC 60364-5-52, method
    B1; 1 mm² common practice; all from memory, not checked: the local code decides).
    """

    area_mm2: float
    ohm_per_km: float
    ampacity_a: float

    def resistance_ohm(self, length_m: float, temperature_c: float = 20.0) -> float:
        """Of `length_m` of it, in Ω, at most."""
        warmer_k = temperature_c - 20.0
        return self.ohm_per_km * length_m / 1000 * (1 + TEMPERATURE_COEFFICIENT * warmer_k)


CONDUCTORS: Sequence[Conductor] = (
    Conductor(1.0, 19.5, 13.5),
    Conductor(1.5, 13.3, 17.5),
    Conductor(2.5, 7.98, 24.0),
    Conductor(4.0, 4.95, 32.0),
    Conductor(6.0, 3.30, 41.0),
    Conductor(10.0, 1.91, 57.0),
    Conductor(16.0, 1.21, 76.0),
    Conductor(25.0, 0.780, 101.0),
    Conductor(35.0, 0.554, 125.0),
    Conductor(50.0, 0.386, 151.0),
    Conductor(70.0, 0.272, 192.0),
)
"""By rising cross-section. IEC 60228:2004, Table 3, for the resistances."""
