"""Mesh files: STL, OBJ, PLY and 3MF. Looked at first, then read by trimesh, then looked at again.

trimesh reads what it can and says little of what it cannot, so that how much there has to be is
worked out from the file beforehand. Everything here raises PartError with one clear reason.
"""

import io
import re
from dataclasses import dataclass

import numpy as np

from daemon.bath.errors import PartError
from daemon.bath.parts import threemf
from daemon.bath.parts.depth import Floats, Ints

MOST_TRIANGLES = 1_000_000
_STL_HEADER, _STL_TRIANGLE = 84, 50
_PLY_HEADER = 64 * 1024
_ELEMENT = re.compile(rb"^element\s+(\w+)\s+(\d+)\s*$", re.MULTILINE)
_FACE_LINE = re.compile(rb"^[ \t]*f[ \t]", re.MULTILINE)
_UNIT_NAMES = {
    "micron": "µm", "millimeter": "mm", "millimeters": "mm", "centimeter": "cm", "meter": "m",
    "inch": "in", "foot": "ft",
}  # fmt: skip


GREATEST = 1e9
"""Of a coordinate, in the file's unit: a metre in nanometres. Corners are merged by whole numbers
of 1e-8 of it, which do not reach further."""


@dataclass(frozen=True, slots=True)
class Mesh:
    """A mesh as its file has it, vertices merged; unit: what the file says, None if it does not."""

    vertices: Floats
    facets: Ints
    unit: str | None


@dataclass(frozen=True, slots=True)
class _Promised:
    """What a file says that it holds: so many facets, or that many at least."""

    facets: int
    exactly: bool


def read(data: bytes, kind: str) -> Mesh:
    """The mesh in a file's bytes; `kind` is "stl", "obj", "ply" or "3mf"."""
    promised = _LOOK[kind](data)
    if promised.facets == 0:
        raise PartError("there is no triangle in it")
    if promised.facets > MOST_TRIANGLES:
        raise PartError(
            f"{promised.facets} triangles, at most {MOST_TRIANGLES} are taken: simplify the mesh"
        )
    mesh = _loaded(data, kind)
    got = len(mesh.facets)
    if got < promised.facets or (promised.exactly and got != promised.facets):
        raise PartError(
            f"{promised.facets} facets are in it, and only {got} can be read: the file is damaged"
        )
    if got > MOST_TRIANGLES:
        raise PartError(f"{got} triangles, at most {MOST_TRIANGLES} are taken: simplify the mesh")
    return mesh


def _loaded(data: bytes, kind: str) -> Mesh:
    try:
        mesh = _parsed(data, kind)
    except MemoryError:
        raise
    except Exception as error:  # whatever a damaged file makes it raise
        raise PartError(f"cannot be read as {kind.upper()}: {error}") from error
    vertices, facets = mesh.vertices, mesh.facets
    if not len(facets):
        return mesh
    if vertices.shape[1:] != (3,) or facets.shape[1:] != (3,):
        raise PartError("a corner has not three coordinates, or a facet not three corners")
    if not 0 <= facets.min() <= facets.max() < len(vertices):
        raise PartError("a facet has a corner that is not there")
    if not np.isfinite(vertices).all():
        raise PartError("a coordinate is not a number")
    if np.abs(vertices).max() > GREATEST:
        raise PartError(f"a coordinate is beyond ±{GREATEST:g}")
    return _merged(mesh)


def _parsed(data: bytes, kind: str) -> Mesh:
    import trimesh

    scene = trimesh.load_scene(io.BytesIO(data), file_type=kind, process=False)
    whole = scene.to_mesh()
    return Mesh(
        np.asarray(whole.vertices, dtype=np.float64),
        np.asarray(whole.faces, dtype=np.int64),
        None if kind != "3mf" else _UNIT_NAMES.get(str(scene.units), "mm"),
    )


def _merged(mesh: Mesh) -> Mesh:
    """Corners that differ in colour or texture alone are one."""
    import trimesh

    merged = trimesh.Trimesh(mesh.vertices, mesh.facets, process=False)
    merged.merge_vertices(merge_tex=True, merge_norm=True)
    return Mesh(np.asarray(merged.vertices), np.asarray(merged.faces, dtype=np.int64), mesh.unit)


def _stl(data: bytes) -> _Promised:
    count = int.from_bytes(data[80:_STL_HEADER], "little")
    whole = len(data) >= _STL_HEADER and len(data) == _STL_HEADER + _STL_TRIANGLE * count
    start = data[:4096].lower().lstrip()
    if not whole and start.startswith(b"solid") and b"\0" not in start:
        low = data.lower()
        facets, corners = low.count(b"endfacet"), len(re.findall(rb"\bvertex\b", low))
        if corners != 3 * facets or low.count(b"endsolid") == 0:
            raise PartError(f"{facets} facets with {corners} corners: the file is damaged")
        return _Promised(facets, exactly=True)
    if len(data) < _STL_HEADER:
        raise PartError(f"not an STL file: {len(data)} bytes")
    if not whole:
        there = (len(data) - _STL_HEADER) / _STL_TRIANGLE
        raise PartError(
            f"its header promises {count} triangles, the file has {there:.10g}: it is damaged"
        )
    return _Promised(count, exactly=True)


def _obj(data: bytes) -> _Promised:
    return _Promised(len(_FACE_LINE.findall(data)), exactly=False)


def _ply(data: bytes) -> _Promised:
    end = data.find(b"end_header", 0, _PLY_HEADER)
    if not data.startswith(b"ply") or end < 0:
        raise PartError("not a PLY file: it has no header")
    elements = {name: int(number) for name, number in _ELEMENT.findall(data[:end])}
    # A vertex takes three bytes at least, and a facet four.
    least = 3 * elements.get(b"vertex", 0) + 4 * elements.get(b"face", 0)
    if least > len(data) - end:
        raise PartError(
            f"its header promises {elements.get(b'vertex', 0)} vertices and "
            f"{elements.get(b'face', 0)} facets, more than the file can hold: it is damaged"
        )
    return _Promised(elements.get(b"face", 0), exactly=False)


def _threemf(data: bytes) -> _Promised:
    return _Promised(threemf.triangles_in(data), exactly=True)


_LOOK = {"stl": _stl, "obj": _obj, "ply": _ply, "3mf": _threemf}
