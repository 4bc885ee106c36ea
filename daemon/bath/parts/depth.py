"""A depth buffer: which triangles of a part are seen from a direction, each pixel's nearest.

Parallel rays, so that a part is as large from near as from far. Triangles come as (n, 3, 3) arrays:
n triangles, 3 corners, x and y in pixels and the height towards the eye in mm.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

MOST_AT_ONCE = 1_000_000
"""Pixels that are looked at in one go: some 100 MB of arrays."""

_EDGE_ON_PX2 = 1e-9


@dataclass(frozen=True, slots=True)
class View:
    """A square picture from a direction: `axes` are right, up and towards the eye, as rows.

    The picture's middle is at `centre`, mm; it is `size` pixels wide, each of `pixel_mm`.
    """

    axes: Floats
    centre: Floats
    pixel_mm: float
    size: int

    @staticmethod
    def along(towards_eye: Floats, centre: Floats, width_mm: float, size: int) -> "View":
        """The view with the eye in this direction, upright as far as it can be."""
        eye = towards_eye / np.linalg.norm(towards_eye)
        upright = np.array([0.0, 1.0, 0.0] if abs(eye[2]) > 0.99 else [0.0, 0.0, 1.0])
        right = np.cross(upright, eye)
        right /= np.linalg.norm(right)
        return View(np.stack([right, np.cross(eye, right), eye]), centre, width_mm / size, size)

    def of(self, points: Floats) -> Floats:
        """Points (..., 3) in mm as x and y in pixels and height in mm."""
        scaled = self.axes / np.array([[self.pixel_mm], [self.pixel_mm], [1.0]])
        middle = np.array([self.size / 2, self.size / 2, 0.0])
        seen: Floats = points.reshape(-1, 3) @ scaled.T
        seen += middle - scaled @ self.centre
        return seen.reshape(points.shape)


def covered(triangles: Floats, size: int) -> Iterator[tuple[Ints, Ints, Floats]]:
    """The pixels whose middle a triangle covers: triangle, pixel (row · size + column), height.

    In chunks, each triangle's pixels in one of them. Both faces count; edge-on ones cover nothing.
    """
    a, b, c = (triangles[:, corner, :2] for corner in range(3))
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    first = np.clip(np.ceil(low - 0.5), 0, size).astype(np.int64)
    last = np.clip(np.floor(high - 0.5), -1, size - 1).astype(np.int64)
    width, height = (np.maximum(last - first + 1, 0)).T
    twice = _cross(b - a, c - a)
    number = np.where(np.abs(twice) > _EDGE_ON_PX2, width * height, 0)
    chosen = np.flatnonzero(number)
    chunk = np.cumsum(number[chosen]) // MOST_AT_ONCE
    for which in np.split(chosen, np.flatnonzero(np.diff(chunk)) + 1):
        if len(which):
            yield _inside(triangles, which, number[which], first[which], width[which], size)


def _inside(
    triangles: Floats, which: Ints, number: Ints, first: Ints, width: Ints, size: int
) -> tuple[Ints, Ints, Floats]:
    """Of all pixels in the triangles' boxes those that lie inside, with their heights."""
    row = np.repeat(np.arange(len(which)), number)
    place = np.arange(len(row)) - np.repeat(np.cumsum(number) - number, number)
    down, across = np.divmod(place, width[row])
    x, y = first[row, 0] + across, first[row, 1] + down
    a, b, c = (triangles[which, corner] for corner in range(3))
    ab, ac = b - a, c - a
    twice = _cross(ab, ac)
    px, py = x + 0.5 - a[row, 0], y + 0.5 - a[row, 1]
    to_b = (px * ac[row, 1] - py * ac[row, 0]) / twice[row]
    to_c = (py * ab[row, 0] - px * ab[row, 1]) / twice[row]
    inside = (to_b >= 0) & (to_c >= 0) & (to_b + to_c <= 1)
    height = a[row, 2] + to_b * ab[row, 2] + to_c * ac[row, 2]
    return which[row[inside]], (y * size + x)[inside], height[inside]


def depth_buffer(triangles: Floats, size: int) -> Floats:
    """Of each pixel the height, mm, of what is nearest to the eye; -inf where nothing is."""
    nearest = np.full(size * size, -np.inf)
    for _, pixel, height in covered(triangles, size):
        np.maximum.at(nearest, pixel, height)
    return nearest


def _cross(a: Floats, b: Floats) -> Floats:
    product: Floats = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return product
