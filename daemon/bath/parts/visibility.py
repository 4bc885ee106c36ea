"""Which of a part's walls can be seen from outside, in any of many directions.

What no direction shows is an inner wall: of a closed cavity, or one that is reached through a small
hole only. A wall that few directions show is in doubt.
"""

import numpy as np

from daemon.bath.parts.depth import Bools, Floats, Ints, View, depth_buffer

SIZE = 192
"""Pixels along a picture: a hole narrower than about a hundredth of the part is no way in."""

DIRECTIONS, LEAST_DIRECTIONS = 96, 24
MOST_LOOKS = 12_000_000
"""Triangles times directions: large meshes are looked at from fewer sides."""

FINEST = 24
"""Triangles are cut until no edge is longer than this share of the part's diagonal, so that walls
are judged piece by piece."""

LEAST_COSINE = 0.2
"""A wall that is seen at a flatter angle, beyond 78°, is not judged by it."""

FEW = 2
"""Directions of all that show a wall only by chance: whether it counts as inner is in doubt."""


def pieces(triangles: Floats, longest_mm: float) -> tuple[Floats, Ints]:
    """Triangles (n, 3, 3) cut in halves until no edge is longer; the triangle that each is of."""
    done, whose_done = [], []
    whose = np.arange(len(triangles))
    while len(triangles):
        sides = triangles - np.roll(triangles, -1, axis=1)
        lengths = np.einsum("ijk,ijk->ij", sides, sides)
        longest = lengths.argmax(axis=1)
        long = lengths.max(axis=1) > longest_mm**2
        done.append(triangles[~long])
        whose_done.append(whose[~long])
        # Turned so that the longest side runs from the first corner to the second.
        turn = (longest[long, None] + np.arange(3)) % 3
        turned = np.take_along_axis(triangles[long], turn[..., None], axis=1)
        a, b, c = turned[:, 0], turned[:, 1], turned[:, 2]
        middle = (a + b) / 2
        triangles = np.concatenate([np.stack([a, middle, c], 1), np.stack([middle, b, c], 1)])
        whose = np.tile(whose[long], 2)
    return np.concatenate(done), np.concatenate(whose_done)


def directions(number: int) -> Floats:
    """Unit vectors all around, evenly: the axes, and a spiral by the golden angle."""
    axes = np.concatenate([np.eye(3), -np.eye(3)])
    count = number - len(axes)
    z = 1 - (2 * np.arange(count) + 1) / count
    turn = np.arange(count) * np.pi * (3 - np.sqrt(5))
    flat = np.sqrt(1 - z * z)
    return np.concatenate([axes, np.stack([flat * np.cos(turn), flat * np.sin(turn), z], axis=1)])


def times_seen(triangles: Floats, *, both_faces: bool) -> Ints:
    """From how many directions each triangle (n, 3, 3), mm, is seen; more than `FEW` is FEW + 1.

    With `both_faces` it is there from either side; without, the mesh has to be closed and to look
    outward.
    """
    low, high = triangles.min(axis=(0, 1)), triangles.max(axis=(0, 1))
    width_mm = 1.02 * float(np.linalg.norm(high - low))
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    length = np.linalg.norm(normals, axis=1)
    normals /= np.where(length > 0, length, 1)[:, None]
    middles = triangles.mean(axis=1)
    number = int(np.clip(MOST_LOOKS // len(triangles), LEAST_DIRECTIONS, DIRECTIONS))
    seen = np.zeros(len(triangles), dtype=np.int64)
    for eye in directions(number):
        if seen.min() > FEW:
            break
        view = View.along(eye, (low + high) / 2, width_mm, SIZE)
        cosine = normals @ view.axes[2]
        facing = np.abs(cosine) if both_faces else cosine
        # What faces away lies behind something that does not.
        nearest = depth_buffer(view.of(triangles[facing > 0]), SIZE)
        which = np.flatnonzero((facing > LEAST_COSINE) & (seen <= FEW))
        seen[which] += _is_nearest(view, middles[which], normals[which], nearest)
    return seen


def _is_nearest(view: View, middles: Floats, normals: Floats, nearest: Floats) -> Bools:
    """Whether at the pixel of its middle a triangle's own plane is what the eye meets."""
    at = view.of(middles)
    column, row = np.clip(np.floor(at[:, :2]).astype(np.int64), 0, view.size - 1).T
    slope = normals @ view.axes.T
    aside = np.stack([column, row], axis=1) + 0.5 - at[:, :2]
    own = at[:, 2] - view.pixel_mm * np.einsum("ij,ij->i", aside, slope[:, :2]) / slope[:, 2]
    met: Bools = np.abs(nearest[row * view.size + column] - own) < view.pixel_mm / 2
    return met
