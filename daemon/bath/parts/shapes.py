"""Simple shapes by closed forms, and shells by weight and wall: area and volume without a mesh.

The forms are those of any table of solids. Lengths are mm; what comes out is dm² and cm³.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from daemon.bath.errors import PartError
from daemon.bath.parts.surface import Surface
from daemon.chemistry.checks import require_positive
from daemon.chemistry.uncertainty import Budget, Shape, Share, propagate, rectangular

DIMENSION_LIMIT_MM = 0.2
"""By how much a print's dimension, or a caliper's word on it, may be off (common practice)."""

MASS_LIMIT, WALL_LIMIT, DENSITY_LIMIT = 0.01, 0.1, 0.03
"""Of a shell: kitchen scales, the width of a print's lines, its density by the filament's sheet
(common practice)."""

MOST_MM = 10_000.0
"""A longer dimension is a slip of the unit: no bench's tank is ten metres long."""

MM2_PER_DM2, MM3_PER_CM3 = 1e4, 1e3

_Form = Callable[[Sequence[float]], float]


@dataclass(frozen=True, slots=True)
class Kind:
    """A shape: its dimensions in their order, its area, volume and, if it has one, its bore's area.

    problem: what is wrong with dimensions that are each possible; None where nothing is.
    """

    dimensions: tuple[str, ...]
    area: _Form
    volume: _Form
    bore: _Form | None = None
    problem: Callable[[Sequence[float]], str | None] = lambda _: None


def _box(mm: Sequence[float]) -> float:
    a, b, c = mm
    return 2 * (a * b + b * c + c * a)


def _cylinder(mm: Sequence[float]) -> float:
    diameter, length = mm
    return math.pi * diameter * (length + diameter / 2)


def _tube(mm: Sequence[float]) -> float:
    outer, inner, length = mm
    return math.pi * ((outer + inner) * length + (outer**2 - inner**2) / 2)


def _frustum(mm: Sequence[float]) -> float:
    r1, r2, height = mm[0] / 2, mm[1] / 2, mm[2]
    slant = math.hypot(height, r1 - r2)
    return math.pi * (r1 * r1 + r2 * r2 + (r1 + r2) * slant)


def _frustum_volume(mm: Sequence[float]) -> float:
    r1, r2, height = mm[0] / 2, mm[1] / 2, mm[2]
    return math.pi / 3 * height * (r1 * r1 + r1 * r2 + r2 * r2)


def _ring(mm: Sequence[float]) -> float:
    outer, wire = mm
    return math.pi**2 * (outer - wire) * wire


def _tube_problem(mm: Sequence[float]) -> str | None:
    return None if mm[1] < mm[0] else "the inner diameter must be less than the outer one"


def _ring_problem(mm: Sequence[float]) -> str | None:
    return None if 2 * mm[1] < mm[0] else "the wire must be thinner than half the ring"


_ROUND = Kind(("diameter", "length"), _cylinder, lambda mm: math.pi / 4 * mm[0] ** 2 * mm[1])

KINDS: dict[str, Kind] = {
    "plate": Kind(("length", "width", "thickness"), _box, math.prod),
    "box": Kind(("length", "width", "height"), _box, math.prod),
    "cylinder": _ROUND,
    "rod": _ROUND,
    "disc": Kind(("diameter", "thickness"), _ROUND.area, _ROUND.volume),
    "tube": Kind(
        ("outer diameter", "inner diameter", "length"),
        _tube,
        lambda mm: math.pi / 4 * (mm[0] ** 2 - mm[1] ** 2) * mm[2],
        lambda mm: math.pi * mm[1] * mm[2],
        _tube_problem,
    ),
    "sphere": Kind(
        ("diameter",), lambda mm: math.pi * mm[0] ** 2, lambda mm: math.pi / 6 * mm[0] ** 3
    ),
    "hemisphere": Kind(
        ("diameter",), lambda mm: 3 / 4 * math.pi * mm[0] ** 2, lambda mm: math.pi / 12 * mm[0] ** 3
    ),
    "cone": Kind(
        ("diameter", "height"),
        lambda mm: _frustum((mm[0], 0.0, mm[1])),
        lambda mm: _frustum_volume((mm[0], 0.0, mm[1])),
    ),
    "frustum": Kind(("lower diameter", "upper diameter", "height"), _frustum, _frustum_volume),
    "ring": Kind(
        ("outer diameter", "diameter of the wire"),
        _ring,
        lambda mm: math.pi**2 / 4 * (mm[0] - mm[1]) * mm[1] ** 2,
        problem=_ring_problem,
    ),
}
"""All shapes by name. Ends and bases belong to their area."""


def shape(name: str, dimensions_mm: Sequence[float], limit_mm: float) -> Surface:
    """A shape's surface, each dimension within ± `limit_mm`; a tube's bore is its inner wall.

    Raises PartError for an unknown name, a wrong number of dimensions, or ones that cannot be.
    """
    kind = KINDS.get(name)
    if kind is None:
        raise PartError(f"shape: expected one of {', '.join(KINDS)}, got {name!r}")
    wanted = " x ".join(kind.dimensions)
    if len(dimensions_mm) != len(kind.dimensions):
        raise PartError(f"{name}: expected {wanted}, got {len(dimensions_mm)} dimensions")
    for dimension, mm in zip(kind.dimensions, dimensions_mm, strict=True):
        if not 0 < mm <= MOST_MM:
            raise PartError(
                f"{name}: {dimension} must be above 0 and at most {MOST_MM:g} mm, got {mm:g} mm"
            )
    if (problem := kind.problem(dimensions_mm)) is not None:
        raise PartError(f"{name}, {wanted}: {problem}")
    whole = _sure(kind.area, dimensions_mm, limit_mm)
    volume_cm3 = kind.volume(dimensions_mm) / MM3_PER_CM3
    bore = kind.bore
    if bore is None:
        return Surface(whole, volume_cm3=volume_cm3, displaced_cm3=volume_cm3)
    outer = _sure(lambda mm: kind.area(mm) - bore(mm), dimensions_mm, limit_mm)
    return Surface(whole, outer, "the bore", volume_cm3, volume_cm3)


def _sure(form: _Form, mm: Sequence[float], limit_mm: float) -> Budget:
    """The form's area, dm², with what the doubt of the dimensions makes of it."""
    u_mm = [rectangular(min(limit_mm, each / 2)) for each in mm]
    u_dm2 = propagate(form, mm, u_mm) / MM2_PER_DM2
    kind = Shape.FLAT if len(mm) == 1 else Shape.NORMAL
    return Budget(form(mm) / MM2_PER_DM2, (Share("dimensions", u_dm2, kind),))


def shell(
    mass_g: float, wall_mm: float, density_g_cm3: float, wall_limit: float = WALL_LIMIT
) -> Surface:
    """A shell by its mass, its wall and its density: m = ρ·t·A of the wall's middle.

    Outer and inner face together are 2·A, whatever the shape. The outer one alone is A + t·M, M the
    integral of the mean curvature (Steiner's formula); a convex body has at least that of the
    sphere, √(4π·A) (Minkowski), which stands here for all, within ± itself. Raises PartError.
    """
    try:
        for name, value, unit in (
            ("mass", mass_g, "g"), ("wall", wall_mm, "mm"), ("density", density_g_cm3, "g/cm³"),
        ):  # fmt: skip
            require_positive(name, value, unit)
    except ValueError as error:
        raise PartError(f"shell: {error}") from error
    volume_cm3 = mass_g / density_g_cm3
    middle_dm2 = volume_cm3 * MM3_PER_CM3 / wall_mm / MM2_PER_DM2
    wall_dm = wall_mm / 100
    outwards_dm2 = wall_dm * math.sqrt(4 * math.pi * middle_dm2)
    if outwards_dm2 > middle_dm2 / 4:
        raise PartError(
            f"shell: a wall of {wall_mm:g} mm is too thick for {mass_g:g} g to be a thin shell: "
            "take a shape or a mesh"
        )
    limits = (("mass", MASS_LIMIT), ("wall", wall_limit), ("density", DENSITY_LIMIT))

    def shares(area_dm2: float) -> tuple[Share, ...]:
        return tuple(
            Share(name, rectangular(limit * area_dm2), Shape.FLAT) for name, limit in limits
        )

    outer_dm2 = middle_dm2 + outwards_dm2
    curved = Share("curvature", rectangular(outwards_dm2), Shape.FLAT)
    return Surface(
        Budget(2 * middle_dm2, shares(2 * middle_dm2)),
        Budget(outer_dm2, (*shares(outer_dm2), curved)),
        "the shell's inside",
        volume_cm3,
    )
