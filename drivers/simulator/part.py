"""A part on the cathode: bare metal, or paint that copper has to cover first."""

from math import exp

from drivers.simulator.electrochemistry import COPPER_G_PER_CM3, COPPER_OHM_M, Electrode
from drivers.simulator.parameters import PartParameters

COVERED = 1.0 - 1e-6
"""From here on the last specks of paint carry no current worth counting."""


class Part:
    """One part with its own copper, coverage and resistance.

    A lumped model of the front that spreads from the contacts. The way from a contact to the far
    end is a strip that gives its current away evenly, so that at the share x of the way the
    current is 1 - x of the whole and the strip acts as the resistance ∫ r(x)·(1 - x)² dx (from
    the heat in it). Copper covers it up to the coverage c, paint is left beyond: per contact
    R = squares/3 · [film·(1 - (1 - c)³) + paint·(1 - c)³], Ω, film being copper beside paint.
    Coverage follows the mean thickness t: c = 1 - (1 - c0)·exp(-t/t_cover).
    """

    __slots__ = (
        "_active_dm2",
        "_cover_g",
        "_film_siemens_per_g",
        "_paint_ohm_per_sq",
        "_squares_per_feed",
        "_start_bare",
        "area_dm2",
        "coverage",
        "deposited_g",
        "resistance_ohm",
    )

    def __init__(self, parameters: PartParameters) -> None:
        self.area_dm2 = parameters.area_dm2
        self._paint_ohm_per_sq = parameters.paint_ohm_per_sq
        self._squares_per_feed = parameters.paint_squares / (3.0 * parameters.contacts)
        self._start_bare = 1.0 - parameters.start_coverage
        g_per_um = COPPER_G_PER_CM3 * parameters.area_dm2 * 100.0 * 1e-4
        self._cover_g = parameters.covering_um * g_per_um
        self._film_siemens_per_g = 1e-6 / COPPER_OHM_M / g_per_um
        self.deposited_g = 0.0
        self.coverage = 1.0
        self.resistance_ohm = 0.0
        self._active_dm2 = parameters.area_dm2
        if parameters.paint_ohm_per_sq > 0.0:
            self.coverage = parameters.start_coverage
            self._spread()

    def deposit(self, copper_g: float) -> None:
        """Add copper, and let it cover paint."""
        self.deposited_g += copper_g
        if self._paint_ohm_per_sq > 0.0:
            self._spread()

    def _spread(self) -> None:
        bare = 1.0 - self.coverage
        if self.coverage < COVERED:
            bare = self._start_bare * exp(-self.deposited_g / self._cover_g)
            self.coverage = 1.0 - bare
            self._active_dm2 = self.area_dm2 * self.coverage
        paint_ohm = self._paint_ohm_per_sq
        film_siemens = self.deposited_g * self._film_siemens_per_g / self.coverage
        film_ohm = paint_ohm / (1.0 + paint_ohm * film_siemens)
        paint_share = bare * bare * bare
        self.resistance_ohm = self._squares_per_feed * (
            film_ohm + (paint_ohm - film_ohm) * paint_share
        )

    def ohmic_ohm(self, gap_ohm_dm2: float) -> float:
        """The part's own resistance and that of the bath before it, Ω."""
        return self.resistance_ohm + gap_ohm_dm2 / self.area_dm2

    def voltage_at(
        self, current_a: float, electrode: Electrode, gap_ohm_dm2: float
    ) -> tuple[float, float, float]:
        """(V from bath to hook, its slope in Ω, copper's share of the current)."""
        active = self._active_dm2
        eta, slope, copper_share = electrode.cathode(current_a / active)
        ohm = self.resistance_ohm + gap_ohm_dm2 / self.area_dm2
        return eta + current_a * ohm, slope / active + ohm, copper_share
