"""A mesh measured: its area, wet and seen, its volume, and all that makes one doubt them.

It runs in a process of its own (`daemon.bath.parts.apart`), the only one that loads numpy and
trimesh. Plain values go in and come out, so that they can cross over.
"""

from dataclasses import dataclass

import numpy as np

from daemon.bath.errors import PartError
from daemon.bath.parts import mesh_file, picture, visibility
from daemon.bath.parts.asked import Asked, Found, Question
from daemon.bath.parts.curvature import missed_mm2
from daemon.bath.parts.depth import Bools, Floats, Ints
from daemon.bath.parts.facets import (
    Body,
    Edges,
    areas_mm2,
    bodies,
    cleaned,
    edges_of,
    enclosed_mm3,
    holes_mm2,
    shares_below,
)
from daemon.bath.parts.units import UNITS_MM, likely, plausible

MOST_MM = 10_000.0
"""No tank is ten metres long; and squares of much more would have no digits left."""

BORDER_LIMIT = 0.1
"""Of the area that is hidden: how well pieces and pixels meet the border of what is seen. It was
6 % where a sphere sticks out of a box."""


@dataclass(frozen=True, slots=True)
class _Solid:
    """A mesh in mm whose facets look outward as far as that can be known; its bodies and edges."""

    vertices: Floats
    facets: Ints
    edges: Edges
    bodies: list[Body]
    turned: int

    @property
    def cavities(self) -> list[Body]:
        """Closed bodies that look inward: what they enclose is air."""
        return [body for body in self.bodies if body.closed and body.volume_mm3 < 0]

    @property
    def sound(self) -> bool:
        """Whether inside and outside are known everywhere."""
        return self.edges.alike and not len(self.edges.open)


def measured(data: bytes, asked: Asked) -> Found | Question:
    """Measure the mesh in a file's bytes, or ask what has to be known first. Raises PartError."""
    mesh = mesh_file.read(data, asked.kind)
    facets, twice = cleaned(mesh.facets)
    if not len(facets):
        raise PartError("there is no triangle in it that has an area")
    used = mesh.vertices[facets]
    longest = float((used.max(axis=(0, 1)) - used.min(axis=(0, 1))).max())
    unit = asked.unit or mesh.unit or "mm"
    longest_mm = longest * UNITS_MM[unit] * asked.scale
    if not asked.unit and not mesh.unit and not plausible(longest_mm):
        return _unit_question(longest * asked.scale)
    if not 0 < longest_mm <= MOST_MM:
        raise PartError(f"is {longest_mm:.3g} mm long, at most {MOST_MM:g} mm can be: which unit?")
    solid = _outward(mesh.vertices * UNITS_MM[unit] * asked.scale, facets)
    return _found(solid, asked, unit, twice)


def _unit_question(longest: float) -> Question:
    others = likely(longest) or tuple(unit for unit in UNITS_MM if unit != "mm")
    sizes = ", ".join(f"{unit} ({longest * UNITS_MM[unit]:.3g} mm)" for unit in others)
    return Question(
        "unit",
        f"its longest side is {longest:.3g}, and the file does not say of what. Is it mm, or "
        f"rather {sizes}?",
        ("mm", *others),
    )


def _outward(vertices: Floats, facets: Ints) -> _Solid:
    """The mesh with closed bodies turned that look inward and lie in no other."""
    edges = edges_of(facets)
    found = bodies(vertices, facets, edges)
    solid = [body for body in found if body.closed and body.volume_mm3 > 0]
    turned = 0
    facets = facets.copy()
    for number, body in enumerate(found):
        inward = body.closed and body.volume_mm3 < 0
        if inward and not any(body.within(other) for other in solid):
            facets[body.facets] = facets[body.facets][:, ::-1]
            found[number] = Body(body.facets, -body.volume_mm3, True, body.low, body.high)
            solid.append(found[number])
            turned += 1
    return _Solid(vertices, facets, edges, found, turned)


def _found(solid: _Solid, asked: Asked, unit: str, twice: int) -> Found:
    triangles = solid.vertices[solid.facets]
    up = np.zeros(3)
    up["xyz".index(asked.up[-1])] = -1.0 if asked.up.startswith("-") else 1.0
    heights = triangles @ up
    floor_mm, top_mm = float(heights.min()), float(heights.max())
    level_mm = top_mm + 1 if asked.level_mm is None else floor_mm + asked.level_mm
    extents = triangles.max(axis=(0, 1)) - triangles.min(axis=(0, 1))
    cut, whose = visibility.pieces(triangles, float(np.linalg.norm(extents)) / visibility.FINEST)
    seen = visibility.times_seen(cut, both_faces=not solid.sound)
    of_cavity = np.zeros(len(triangles), dtype=bool)
    for body in solid.cavities:
        of_cavity[body.facets] = True
    seen[of_cavity[whose]] = 0
    area = areas_mm2(cut)

    def wet_mm2(at_mm: float) -> Floats:
        return area * shares_below(cut, up, at_mm)

    wet = wet_mm2(level_mm)
    visible = 1 - _hidden(seen)
    outer = wet * visible
    missed = _missed(solid, whose, area)
    limit_mm = 0.0 if asked.level_mm is None else asked.level_limit_mm
    around = (wet_mm2(level_mm + limit_mm) - wet_mm2(level_mm - limit_mm)) / 2
    return Found(
        unit=unit,
        extents_mm=(float(extents[0]), float(extents[1]), float(extents[2])),
        triangles=len(solid.facets),
        bodies=len(solid.bodies) - len(solid.cavities),
        cavities=len(solid.cavities),
        open_edges=len(solid.edges.open),
        sound=solid.sound,
        twice=twice,
        turned=solid.turned,
        overlapping=_overlapping(solid),
        dry_mm2=float((area - wet).sum()),
        wet_mm2=float(wet.sum()),
        outer_mm2=float(outer.sum()),
        cavity_mm2=float(wet[of_cavity[whose]].sum()),
        doubtful_mm2=_doubtful_mm2(wet, seen, of_cavity[whose]),
        missed_mm2=float((missed * wet).sum()),
        outer_missed_mm2=float((missed * outer).sum()),
        holes_mm2=min(holes_mm2(solid.vertices, solid.edges.open), float(wet.sum())),
        level_mm2=float(around.sum()),
        outer_level_mm2=float((around * visible).sum()),
        volume_mm3=sum(body.volume_mm3 for body in solid.bodies) if solid.sound else None,
        displaced_mm3=_displaced_mm3(solid, up, level_mm) if solid.sound else None,
        picture=picture.drawn(cut, shares_below(cut, up, level_mm), up),
    )


def _hidden(seen: Ints) -> Floats:
    """How much of a piece counts as inner wall: all, or half where few directions show it."""
    return np.where(seen == 0, 1.0, np.where(seen <= visibility.FEW, 0.5, 0.0))


def _doubtful_mm2(wet: Floats, seen: Ints, of_cavity: Bools) -> float:
    """By how much the area that is seen may be off: what few directions show, and its border."""
    few = float(wet[(seen > 0) & (seen <= visibility.FEW)].sum()) / 2
    return few + BORDER_LIMIT * float(wet[(seen == 0) & ~of_cavity].sum())


def _missed(solid: _Solid, whose: Ints, area: Floats) -> Floats:
    """Of each piece, which share of its area its facet may miss."""
    missed = missed_mm2(solid.vertices, solid.facets, solid.edges)
    whole = np.bincount(whose, weights=area, minlength=len(missed))
    share = np.divide(missed, whole, out=np.zeros_like(missed), where=whole > 0)
    found: Floats = share[whose]
    return found


def _overlapping(solid: _Solid) -> bool:
    """Whether two bodies are in each other's way, as far as their boxes tell."""
    outer = [body for body in solid.bodies if body not in solid.cavities]
    outer = outer[:100]  # the largest: more are a print's supports or a damaged file
    return any(
        bool(np.all(a.low < b.high) and np.all(b.low < a.high))
        for number, a in enumerate(outer)
        for b in outer[:number]
    )


def _displaced_mm3(solid: _Solid, up: Floats, level_mm: float) -> float:
    """The liquid that the part takes the place of: its bodies below the level, cavities and all.

    ∫ (height - level)·n·up dA over what is wet is that volume, since the cut itself adds nothing.
    """
    from trimesh import intersections

    displaced = 0.0
    for body in solid.bodies:
        enclosed = any(body is not cavity and body.within(cavity) for cavity in solid.cavities)
        if body.volume_mm3 < 0 or enclosed:
            continue
        facets = solid.facets[body.facets]
        heights = (solid.vertices @ up)[facets]
        if heights.max() <= level_mm:
            displaced += enclosed_mm3(solid.vertices[facets])
            continue
        vertices, kept, _ = intersections.slice_faces_plane(  # type: ignore[no-untyped-call]
            solid.vertices, facets, plane_normal=-up, plane_origin=up * level_mm
        )
        corners = vertices[kept]
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) / 2
        depth = (corners @ up).mean(axis=1) - level_mm
        displaced += float((depth * (normals @ up)).sum())
    return displaced
