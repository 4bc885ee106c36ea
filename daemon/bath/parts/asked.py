"""What is asked of a mesh, what is found, and what has to be asked back: plain values.

Lengths are mm, areas mm², volumes mm³. They cross between two processes as JSON.
"""

from dataclasses import dataclass

LEVEL_LIMIT_MM = 2.0
"""By how much the liquid's level on a part may be off (common practice: it sinks as water
evaporates, and rises with what hangs in it)."""

KINDS = ("stl", "obj", "ply", "3mf")
AXES = ("x", "-x", "y", "-y", "z", "-z")


@dataclass(frozen=True, slots=True)
class Asked:
    """How a file is to be read and how the part hangs.

    kind: one of `KINDS`. unit: of its lengths, None where it was not said. scale: how many times as
    large the part is. up: which of `AXES` points upward. level_mm: how high the liquid stands above
    the part's lowest point, within ± level_limit_mm; None where it covers the part.
    """

    kind: str
    unit: str | None = None
    scale: float = 1.0
    up: str = "z"
    level_mm: float | None = None
    level_limit_mm: float = LEVEL_LIMIT_MM


@dataclass(frozen=True, slots=True)
class Question:
    """What has to be said before an answer is possible: about which option, and the choices."""

    about: str
    text: str
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """What a mesh is.

    unit: that was taken. bodies, cavities: solid bodies, and closed hollows in them. open_edges:
    edges of one facet alone. sound: closed, and every facet looks outward. twice: facets that were
    there twice and count once. turned: bodies that looked inward and were turned. overlapping:
    bodies that may lie in each other.

    wet_mm2: the area in the liquid, dry_mm2 above it; outer_mm2: of the wet what can be seen from
    outside, within ± doubtful_mm2; cavity_mm2: of the wet what belongs to closed cavities. The
    limits of the wet and the outer area: missed_mm2, by facets instead of curves; level_mm2, by the
    liquid's level; holes_mm2, by what is missing at open edges. volume_mm3: of the matter,
    displaced_mm3: of the liquid; None where the mesh is not sound. picture: a PNG file.
    """

    unit: str
    extents_mm: tuple[float, float, float]
    triangles: int
    bodies: int
    cavities: int
    open_edges: int
    sound: bool
    twice: int
    turned: int
    overlapping: bool
    dry_mm2: float
    wet_mm2: float
    outer_mm2: float
    cavity_mm2: float
    doubtful_mm2: float
    missed_mm2: float
    outer_missed_mm2: float
    holes_mm2: float
    level_mm2: float
    outer_level_mm2: float
    volume_mm3: float | None
    displaced_mm3: float | None
    picture: bytes
