"""How far a mesh's flat facets may miss the area of the curved surface that they stand for.

The corners of facets are taken to lie on the surface, as meshing programs put them. To the second
order in the angles between neighbours three things are missing:

- Over a facet the surface tilts, by half the angle θ to the neighbour at the middle of their edge:
  its area is larger by half the mean square of the tilt, Σ θ²/24 over three edges, since the mean
  of a square over a triangle is that at its edges' middles. For a cylinder that is chord and arc.
- Over an edge the surface rises by κ/8, κ the turn of the surface along the edge times its length
  L, and there the prisms over both facets leave a wedge: θ·(2/3)·L·κ/8.
- A rim that turns by φ from one edge to the next bulges by a segment of (2/3)·L·(L·φ/8).

All of it is taken as a limit either way: holes and hollows are too large by what bulges lack.
"""

import math

import numpy as np

from daemon.bath.parts.depth import Floats, Ints
from daemon.bath.parts.facets import Edges

SMOOTH_RAD = math.radians(40)
"""Facets that meet at less than this stand for a curved surface, else for an edge of the part: a
round of nine facets or fewer counts as the prism that it is."""

MARGIN = 1.05
"""For what the second order leaves out: 1.2 % of it on a round of ten facets."""


def missed_mm2(vertices: Floats, facets: Ints, edges: Edges) -> Floats:
    """Of each facet, how much area it may miss, mm²."""
    pairs = edges.pairs
    corners = vertices[facets]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    angle = _angles(corners.mean(axis=1), normals, pairs)
    twice = np.linalg.norm(normals, axis=1)
    length = np.linalg.norm(np.diff(vertices[edges.ends], axis=1)[:, 0], axis=1)
    sharp = np.abs(angle) >= SMOOTH_RAD
    rims = np.zeros(len(pairs))
    rims[sharp] = _segments_mm2(vertices, edges.ends[sharp])
    angle[sharp] = 0.0
    # The turn along an edge, times its length, is what the two other edges of a facet turn by.
    turns = twice[pairs] * (angle / length)[:, None]
    turn = np.zeros(len(facets))
    for side in range(2):
        np.add.at(turn, pairs[:, side], turns[:, side])
    along = (turn[pairs] - turns).mean(axis=1)
    wedges = np.abs(angle * length * along) / 12
    missed = np.zeros(len(facets))
    for side in range(2):
        tilted = twice[pairs[:, side]] / 2 * angle**2 / 24
        np.add.at(missed, pairs[:, side], tilted + (wedges + rims) / 2)
    return MARGIN * missed


def _angles(middles: Floats, normals: Floats, pairs: Ints) -> Floats:
    """The angle between the facets of each pair, above 0 where they bulge."""
    one, other = normals[pairs[:, 0]], normals[pairs[:, 1]]
    sine = np.linalg.norm(np.cross(one, other), axis=1)
    angle = np.arctan2(sine, np.einsum("ij,ij->i", one, other))
    across = middles[pairs[:, 1]] - middles[pairs[:, 0]]
    found: Floats = np.where(np.einsum("ij,ij->i", across, one) > 0, -angle, angle)
    return found


def _segments_mm2(vertices: Floats, ends: Ints) -> Floats:
    """The segment between each edge of a rim and the arc through its ends."""
    number = len(ends)
    here, there = ends.T.reshape(-1), ends[:, ::-1].T.reshape(-1)
    whose = np.tile(np.arange(number), 2)
    order = np.argsort(here, kind="stable")
    begins = np.flatnonzero(np.diff(here[order], prepend=-1))
    two = begins[np.diff(np.append(begins, len(order))) == 2]
    first, second = order[two], order[two + 1]
    onwards = vertices[there] - vertices[here]
    turned = np.arctan2(
        np.linalg.norm(np.cross(onwards[first], onwards[second]), axis=1),
        -np.einsum("ij,ij->i", onwards[first], onwards[second]),
    )
    turned[turned >= SMOOTH_RAD] = 0.0
    greatest = np.zeros(number)
    np.maximum.at(greatest, whose[first], turned)
    np.maximum.at(greatest, whose[second], turned)
    squares = np.einsum("ij,ij->i", onwards[:number], onwards[:number])
    found: Floats = squares * greatest / 12
    return found
