"""What a mesh is: its edges, the bodies and closed cavities in it, its areas and volumes.

Vertices are (n, 3) in mm, facets (m, 3) their numbers, counter-clockwise as seen from outside.
"""

import math
from dataclasses import dataclass

import numpy as np

from daemon.bath.parts.depth import Floats, Ints


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """Facets that hang together: which, the volume that they enclose, mm³, and their box, mm.

    closed: no edge is open. A closed body of negative volume looks inward.
    """

    facets: Ints
    volume_mm3: float
    closed: bool
    low: Floats
    high: Floats

    def within(self, other: "Body") -> bool:
        """Whether it lies in the other's box."""
        return bool(np.all(self.low >= other.low) and np.all(self.high <= other.high))


@dataclass(frozen=True, slots=True)
class Edges:
    """The edges of a mesh.

    open: those of one facet, as pairs of vertices. ends: those of two, likewise; pairs: the two
    facets of each. alike: whether all facets look the same way as their neighbours, and no edge has
    more than two.
    """

    open: Ints
    ends: Ints
    pairs: Ints
    alike: bool


def cleaned(facets: Ints) -> tuple[Ints, int]:
    """The facets that have an area, each once; and how many were there twice."""
    a, b, c = facets.T
    real = facets[(a != b) & (b != c) & (c != a)]
    _, first = np.unique(np.sort(real, axis=1), axis=0, return_index=True)
    return real[np.sort(first)], len(real) - len(first)


def edges_of(facets: Ints) -> Edges:
    """The edges of a mesh."""
    ways = facets[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    key = np.sort(ways, axis=1)
    order = np.lexsort((key[:, 1], key[:, 0]))
    begins = np.flatnonzero(np.any(np.diff(key[order], axis=0, prepend=-1), axis=1))
    number = np.diff(np.append(begins, len(order)))
    first, second = order[begins[number == 2]], order[begins[number == 2] + 1]
    # Two facets that look the same way run along their edge in opposite ways.
    alike = bool(np.all(ways[first, 0] == ways[second, 1])) and not np.any(number > 2)
    pairs = np.stack([first // 3, second // 3], axis=1)
    return Edges(key[order[begins[number == 1]]], key[first], pairs, alike)


def labels(pairs: Ints, number: int) -> Ints:
    """Of `number` things, of which pairs hang together, the least that each hangs together with."""
    label = np.arange(number)
    while True:
        ends = label[pairs]
        low = ends.min(axis=1)
        hooked = label.copy()
        np.minimum.at(hooked, ends[:, 0], low)
        np.minimum.at(hooked, ends[:, 1], low)
        while np.any(hooked != (shorter := hooked[hooked])):
            hooked = shorter
        if np.array_equal(hooked, label):
            return label
        label = hooked


def bodies(vertices: Floats, facets: Ints, edges: Edges) -> list[Body]:
    """The mesh's bodies, the largest box first."""
    label = labels(edges.pairs, len(facets))
    is_open = np.zeros(len(vertices), dtype=bool)
    is_open[edges.open] = True
    order = np.argsort(label, kind="stable")
    begins = np.flatnonzero(np.diff(label[order], prepend=-1))
    found = []
    for which in np.split(order, begins[1:]):
        corners = vertices[facets[which]]
        low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
        open_here = is_open[facets[which]].any()
        found.append(Body(which, enclosed_mm3(corners), not open_here, low, high))
    return sorted(found, key=lambda body: -float(np.prod(body.high - body.low)))


def enclosed_mm3(triangles: Floats) -> float:
    """The volume within closed triangles (n, 3, 3), less than 0 where they look inward."""
    a, b, c = (triangles - triangles[0, 0]).transpose(1, 0, 2)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def areas_mm2(triangles: Floats) -> Floats:
    """The area of each triangle (n, 3, 3)."""
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    found: Floats = np.linalg.norm(normals, axis=1) / 2
    return found


def holes_mm2(vertices: Floats, open_edges: Ints) -> float:
    """The most that flat covers of all open rims can measure: L²/4π each (isoperimetric)."""
    if not len(open_edges):
        return 0.0
    names, ends = np.unique(open_edges, return_inverse=True)
    ends = ends.reshape(-1, 2)
    rim = labels(ends, len(names))[ends[:, 0]]
    lengths = np.linalg.norm(np.diff(vertices[open_edges], axis=1)[:, 0], axis=1)
    return float(np.sum(np.bincount(rim, weights=lengths) ** 2) / (4 * math.pi))


def shares_below(triangles: Floats, up: Floats, level_mm: float) -> Floats:
    """Of each triangle (n, 3, 3) the share of its area that lies below the level along `up`."""
    low, middle, high = np.sort(triangles @ up, axis=1).T
    with np.errstate(divide="ignore", invalid="ignore"):
        near_low = (level_mm - low) ** 2 / ((middle - low) * (high - low))
        near_high = 1 - (high - level_mm) ** 2 / ((high - middle) * (high - low))
    share = np.where(level_mm < middle, near_low, near_high)
    below: Floats = np.where(level_mm >= high, 1.0, np.where(level_mm <= low, 0.0, share))
    return below
