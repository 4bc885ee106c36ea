"""What is left of the anodes, and the current that they bear. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from daemon.bath import kinds
from daemon.bath.account import Standing
from daemon.bath.description import Description
from daemon.chemistry.electrolysis import g_per_ah
from daemon.chemistry.metals import metal_named
from daemon.record.charge_at import Passed

COPPER_G_AH = g_per_ah(metal_named("Cu(II)"))
"""g of copper for each A·h, by Faraday's law."""

LOSS, LOSS_U = 0.02, 0.01
"""What anodes lose beyond Faraday's law, as a share of it: 1 to 3 % become sludge and what stays in
the bag (common practice)."""

COVERAGE = 1.96
"""Standard uncertainties of a 95 % interval, of the normal distribution (JCGM 100, table G.1)."""


@dataclass(frozen=True, slots=True)
class AnodesLeft:
    """The anodes now: mass left, g, with the half-width of its 95 % interval; None: never told.

    since_utc_ms: when they were hung or weighed. area_dm2: what faces the parts. greatest_a: the
    current that this area bears, A. worn: whether less is left than the settings' least mass.
    """

    mass_g: float | None
    half_width_g: float | None
    since_utc_ms: int | None
    area_dm2: float | None
    greatest_a: float | None
    worn: bool


def anodes_left(
    holding: Sequence[Standing], passed: Iterable[Passed], description: Description
) -> AnodesLeft:
    """The anodes by the newest entries that tell of them, else by their description.

    1 A·h takes 1.1855 g of copper from them (Faraday's law). What is told in the settings holds
    from the bath's first charge on.
    """
    told = description.anodes
    mass_g, area_dm2, since = told.mass_g, told.area_dm2, None
    for entry in holding:
        found_g, found_dm2 = _told(entry)
        if found_g is not None:
            mass_g, since = found_g, entry.at_utc_ms
        area_dm2 = area_dm2 if found_dm2 is None else found_dm2
    bears_a = None
    if area_dm2 is not None and told.greatest_a_dm2 is not None:
        bears_a = area_dm2 * told.greatest_a_dm2
    if mass_g is None:
        return AnodesLeft(None, None, since, area_dm2, bears_a, worn=False)
    charge_ah = sum(each.charge_ah for each in passed if since is None or each.utc_ms > since)
    gone_g = COPPER_G_AH * charge_ah
    left_g = max(0.0, mass_g - gone_g * (1 + LOSS))
    worn = told.least_mass_g is not None and left_g < told.least_mass_g
    return AnodesLeft(left_g, COVERAGE * LOSS_U * gone_g, since, area_dm2, bears_a, worn)


def _told(entry: Standing) -> tuple[float | None, float | None]:
    """Mass, g, and area, dm², of the anodes that an entry tells; None where it tells none."""
    facts = entry.facts or {}
    if entry.kind == kinds.ANODES:
        return facts.get("mass_g"), facts.get("area_dm2")
    if entry.kind == kinds.WEIGHING and facts.get("what") == kinds.ANODE:
        return facts.get("after_g", facts.get("before_g")), None
    return None, None
