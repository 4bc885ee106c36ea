"""The surface of a part by what was found of its mesh, with the doubt of each figure."""

from daemon.bath.parts.asked import Found
from daemon.bath.parts.shapes import MM2_PER_DM2, MM3_PER_CM3
from daemon.bath.parts.surface import Surface
from daemon.chemistry.uncertainty import Budget, Shape, Share, rectangular

ASKED_FROM = 0.02
"""Of the area in the liquid: inner walls that are less are not asked about, but doubted. Grooves
and inner corners hide as much on any part."""


def surface_of(found: Found) -> Surface:
    """The part's surface in the liquid, whole and without inner walls."""
    hidden_mm2 = found.wet_mm2 - found.outer_mm2
    asked = found.cavity_mm2 > 0 or hidden_mm2 >= ASKED_FROM * found.wet_mm2
    volume, displaced = found.volume_mm3, found.displaced_mm3
    return Surface(
        whole=_budget(
            found.wet_mm2,
            facets=found.missed_mm2,
            holes=found.holes_mm2,
            level=found.level_mm2,
            inner=0.0 if asked else hidden_mm2,
        ),
        outer=_budget(
            found.outer_mm2,
            facets=found.outer_missed_mm2,
            holes=found.holes_mm2,
            level=found.outer_level_mm2,
            inner=found.doubtful_mm2,
        )
        if asked
        else None,
        inner=_inner(found, hidden_mm2) if asked else "",
        volume_cm3=None if volume is None else volume / MM3_PER_CM3,
        displaced_cm3=None if displaced is None else displaced / MM3_PER_CM3,
    )


def _budget(area_mm2: float, *, facets: float, holes: float, level: float, inner: float) -> Budget:
    """An area, dm², of limits in mm²."""
    limits = {"facets": facets, "holes": holes, "liquid level": level, "inner walls": inner}
    shares = tuple(
        Share(name, rectangular(limit_mm2) / MM2_PER_DM2, Shape.FLAT)
        for name, limit_mm2 in limits.items()
        if limit_mm2 > 0
    )
    return Budget(area_mm2 / MM2_PER_DM2, shares)


def _inner(found: Found, hidden_mm2: float) -> str:
    said = []
    if found.cavity_mm2 > 0:
        number = "a closed cavity" if found.cavities == 1 else f"{found.cavities} closed cavities"
        said.append(f"{number} of {found.cavity_mm2 / MM2_PER_DM2:.3g} dm²")
    rest_mm2 = hidden_mm2 - found.cavity_mm2
    if rest_mm2 >= ASKED_FROM / 10 * found.wet_mm2:
        said.append(f"{rest_mm2 / MM2_PER_DM2:.3g} dm² that hardly any direction shows")
    return ", and ".join(said)
