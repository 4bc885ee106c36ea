"""The Hull cell: the current density along its slanted panel, and where on it a density lies.

i = I·(a - b·log10 L), with i in A/ft², I in A and L in inches from the panel's end of high density
(Metal Finishing Guidebook 2013, Hull cell: current distribution). The formula fits measurements on
several baths; a strongly polarised one deviates from it. Positions are cm here, densities A/dm².
"""

import math
from dataclasses import dataclass

from daemon.chemistry.checks import require_positive

CM_PER_IN = 2.54
"""Exact, by the length of the inch."""

FT2_PER_DM2 = 1 / 9.290304
"""1 ft² in dm²: exact, by the length of the foot. An A/ft² is this much of an A/dm²."""

LEAST_CM, GREATEST_CM = 0.25 * CM_PER_IN, 3.25 * CM_PER_IN
"""Where the formulas hold: 0.25 to 3.25 in (the Guidebook gives this one range). The panel of the
1000 mL cell is longer; nothing is known to us of what holds beyond, so it is refused there too."""

_ROUNDING = 1e-9  # of a position that was given in inches


@dataclass(frozen=True, slots=True)
class HullCell:
    """A cell by its volume, mL, and the two constants of its formula, A/ft² for 1 A."""

    volume_ml: int
    at_1_in: float
    each_decade: float

    def density_a_dm2(self, current_a: float, position_cm: float) -> float:
        """Current density there; ValueError for a current or position that is out of range."""
        require_positive("current", current_a, "A")
        _require_on_panel(position_cm)
        inches = position_cm / CM_PER_IN
        a_ft2 = current_a * (self.at_1_in - self.each_decade * math.log10(inches))
        return a_ft2 * FT2_PER_DM2

    def position_cm(self, current_a: float, density_a_dm2: float) -> float:
        """Where on the panel a density lies; ValueError where it is nowhere within the range."""
        require_positive("current", current_a, "A")
        require_positive("current density", density_a_dm2, "A/dm²")
        most = self.density_a_dm2(current_a, LEAST_CM)
        least = self.density_a_dm2(current_a, GREATEST_CM)
        if not least <= density_a_dm2 <= most:
            raise ValueError(
                f"at {current_a:g} A the panel shows {least:.3g} to {most:.3g} A/dm² where the "
                f"formula holds, and {density_a_dm2:.4g} A/dm² is not among them"
            )
        a_ft2 = density_a_dm2 / FT2_PER_DM2
        return CM_PER_IN * 10 ** ((self.at_1_in - a_ft2 / current_a) / self.each_decade)

    def range_a_dm2(self, current_a: float, from_cm: float, to_cm: float) -> tuple[float, float]:
        """The densities between two places on the panel, the lower first, as of a bright range.

        ValueError also for two places that are the same.
        """
        if from_cm == to_cm:
            raise ValueError(f"a range needs two places on the panel, got {from_cm:g} cm twice")
        ends = [self.density_a_dm2(current_a, place) for place in (from_cm, to_cm)]
        return min(ends), max(ends)


HULL_267_ML = HullCell(267, 27.7, 48.7)
HULL_1000_ML = HullCell(1000, 18.8, 28.3)
HULL_CELLS = {cell.volume_ml: cell for cell in (HULL_267_ML, HULL_1000_ML)}
"""The cells of both sizes, by their volume, mL."""


def _require_on_panel(position_cm: float) -> None:
    if not LEAST_CM * (1 - _ROUNDING) <= position_cm <= GREATEST_CM * (1 + _ROUNDING):
        raise ValueError(
            f"the formula holds from {LEAST_CM:.3f} to {GREATEST_CM:.3f} cm (0.25 to 3.25 in) from "
            f"the end of high density, got {position_cm:.4g} cm "
            f"({position_cm / CM_PER_IN:.4g} in)"
        )
