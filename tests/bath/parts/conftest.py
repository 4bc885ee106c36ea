"""Meshes as files: written by trimesh, and byte by byte."""

import struct
from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

CUBE_CORNERS = [(x, y, z) for x in (0, 20) for y in (0, 20) for z in (0, 20)]
CUBE_FACETS = [
    (0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1),
    (2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3),
]  # fmt: skip
"""A cube of 20 mm, written by hand: 24 cm², 8 cm³."""


def stl(facets=CUBE_FACETS, corners=CUBE_CORNERS):
    """A binary STL, byte by byte: header, number, and of each facet a normal, corners, and 2 bytes.

    The normals are left at zero, as the format allows.
    """
    body = b"".join(
        struct.pack("<12fH", 0, 0, 0, *(c for n in facet for c in corners[n]), 0)
        for facet in facets
    )
    return b"by hand".ljust(80) + struct.pack("<I", len(facets)) + body


def stl_text(facets=CUBE_FACETS, corners=CUBE_CORNERS):
    lines = ["solid by hand"]
    for facet in facets:
        lines += ["facet normal 0 0 0", "outer loop"]
        lines += ["vertex {} {} {}".format(*corners[n]) for n in facet]
        lines += ["endloop", "endfacet"]
    return "\n".join([*lines, "endsolid by hand", ""]).encode()


def obj(facets=CUBE_FACETS, corners=CUBE_CORNERS):
    lines = ["v {} {} {}".format(*c) for c in corners]
    lines += ["f " + " ".join(str(n + 1) for n in facet) for facet in facets]
    return "\n".join([*lines, ""]).encode()


def ply(facets=CUBE_FACETS, corners=CUBE_CORNERS):
    head = (
        f"ply\nformat ascii 1.0\nelement vertex {len(corners)}\nproperty float x\n"
        f"property float y\nproperty float z\nelement face {len(facets)}\n"
        "property list uchar int vertex_indices\nend_header\n"
    )
    lines = [" ".join(map(str, c)) for c in corners]
    lines += [" ".join(map(str, (len(facet), *facet))) for facet in facets]
    return (head + "\n".join([*lines, ""])).encode()


def shell(outer_mm=40.0, inner_mm=38.0, subdivisions=3):
    """A hollow ball."""
    outside = trimesh.creation.icosphere(subdivisions, radius=outer_mm)
    inside = trimesh.creation.icosphere(subdivisions, radius=inner_mm)
    inside.invert()
    return trimesh.util.concatenate([outside, inside])


def open_shell(hole_mm, outer_mm=40.0, inner_mm=38.0, steps=48):
    """A hollow ball with a round hole on top, closed all around: its section turned about z.

    The section runs up the outside to the hole's rim and down the inside.
    """
    angles = [np.linspace(-np.pi / 2, np.arccos(hole_mm / r), 40) for r in (outer_mm, inner_mm)]
    up = np.stack([outer_mm * np.cos(angles[0]), outer_mm * np.sin(angles[0])], axis=1)
    down = np.stack([inner_mm * np.cos(angles[1]), inner_mm * np.sin(angles[1])], axis=1)[::-1]
    section = np.concatenate([up, down])
    section[np.abs(section[:, 0]) < 1e-9, 0] = 0.0
    turned = trimesh.creation.revolve(section, sections=steps)
    if turned.volume < 0:
        turned.invert()
    return turned


@pytest.fixture
def written():
    """A trimesh as a file's bytes."""

    def write(mesh, kind="stl"):
        data = mesh.export(file_type=kind)
        return data.encode() if isinstance(data, str) else data

    return write


@pytest.fixture
def by_hand():
    """Files of a cube of 20 mm, byte by byte; its facets and corners."""
    return SimpleNamespace(
        stl=stl, stl_text=stl_text, obj=obj, ply=ply, facets=CUBE_FACETS, corners=CUBE_CORNERS
    )


@pytest.fixture
def hollow():
    """Hollow balls, closed all around and with a hole."""
    return SimpleNamespace(closed=shell, with_hole=open_shell)
