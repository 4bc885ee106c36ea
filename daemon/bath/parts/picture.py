"""A small picture of a part as a PNG file, drawn by the depth buffer that looks for inner walls."""

import struct
import zlib

import numpy as np
import numpy.typing as npt

from daemon.bath.parts.depth import Floats, View, covered, depth_buffer

SIZE = 240
"""Pixels, wide and high."""

_EYE = np.array([0.55, -1.0, 0.6])
_LIGHT = np.array([-0.3, -0.7, 1.0]) / np.linalg.norm([-0.3, -0.7, 1.0])
_WET, _DRY = np.array([196.0, 122.0, 74.0]), np.array([170.0, 170.0, 170.0])
_SHADE = 0.35

Pixels = npt.NDArray[np.uint8]


def drawn(triangles: Floats, below: Floats, up: Floats) -> bytes:
    """The PNG of triangles (n, 3, 3), mm, with `up` above; `below` is which share of each is wet.

    What is wet is copper red, what hangs above the liquid grey, and where nothing is, transparent.
    """
    turned = triangles @ _upright(up).T
    low, high = turned.min(axis=(0, 1)), turned.max(axis=(0, 1))
    width_mm = 1.04 * float(np.linalg.norm(high - low))
    view = View.along(_EYE, (low + high) / 2, width_mm, SIZE)
    seen = view.of(turned)
    nearest = depth_buffer(seen, SIZE)
    owner = np.full(SIZE * SIZE, -1)
    for which, pixel, height in covered(seen, SIZE):
        front = height >= nearest[pixel]
        owner[pixel[front]] = which[front]
    normals = np.cross(turned[:, 1] - turned[:, 0], turned[:, 2] - turned[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-300)[:, None]
    light = _SHADE + (1 - _SHADE) * np.abs(normals @ _LIGHT)
    colours = np.where(below[:, None] > 0.5, _WET, _DRY) * light[:, None]
    image = np.zeros((SIZE * SIZE, 4), dtype=np.uint8)
    there = owner >= 0
    image[there, :3] = colours[owner[there]].astype(np.uint8)
    image[there, 3] = 255
    return png(image.reshape(SIZE, SIZE, 4)[::-1])


def _upright(up: Floats) -> Floats:
    """The rotation that brings `up`, along an axis, upwards."""
    right = np.roll(np.abs(up), 1)
    return np.stack([right, np.cross(up, right), up])


def png(image: Pixels) -> bytes:
    """An image (height, width, 4) of red, green, blue and opacity as a PNG file (ISO/IEC 15948)."""
    height, width, _ = image.shape
    rows = b"".join(b"\0" + row.tobytes() for row in np.ascontiguousarray(image))
    header = struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(rows, 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in chunks
    )
