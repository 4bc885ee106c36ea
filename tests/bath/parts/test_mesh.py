"""Meshes against closed forms; what is read, cut by the liquid, hidden, doubted."""

import io
import math
import struct
import zipfile
import zlib

import numpy as np
import pytest
import trimesh

from daemon.bath.errors import PartError
from daemon.bath.parts import mesh as measuring
from daemon.bath.parts import visibility
from daemon.bath.parts.asked import Asked, Question
from daemon.bath.parts.curvature import missed_mm2
from daemon.bath.parts.facets import edges_of
from daemon.bath.parts.meshed import surface_of

C = trimesh.creation


@pytest.fixture
def measured(written, monkeypatch):
    """Measures a mesh with a coarse look at what is hidden, which takes a tenth of the time."""
    monkeypatch.setattr(visibility, "SIZE", 48)
    monkeypatch.setattr(visibility, "FINEST", 6)
    return _measure(written)


@pytest.fixture
def looked_at(written):
    """Measures a mesh as users have it."""
    return _measure(written)


def _measure(written):
    def measure(mesh, kind="stl", **asked):
        data = mesh if isinstance(mesh, bytes) else written(mesh, kind)
        found = measuring.measured(data, Asked("stl" if kind == "stl_ascii" else kind, **asked))
        assert not isinstance(found, Question), found
        return found

    return measure


@pytest.mark.parametrize("kind", ["stl", "stl_text", "obj", "ply"])
def test_files_written_by_hand(measured, by_hand, kind):
    data = getattr(by_hand, kind)()
    found = measured(data, kind.removesuffix("_text"))
    # A cube of 20 mm: 6·4 = 24 cm², 8 cm³.
    assert found.wet_mm2 == pytest.approx(2400.0)
    assert found.volume_mm3 == pytest.approx(8000.0)
    assert (found.triangles, found.open_edges, found.sound) == (12, 0, True)


@pytest.mark.parametrize("kind", ["stl", "stl_ascii", "obj", "ply", "3mf"])
def test_files_written_by_trimesh(measured, kind):
    found = measured(C.box([60, 40, 20]), kind)
    assert found.wet_mm2 == pytest.approx(8800.0)
    assert found.volume_mm3 == pytest.approx(48_000.0)
    assert found.extents_mm == pytest.approx((60.0, 40.0, 20.0))
    assert found.missed_mm2 == 0.0


@pytest.mark.parametrize(
    ("mesh", "true_mm2"),
    [
        *((C.icosphere(n, radius=40), 4 * math.pi * 1600) for n in (1, 2, 4)),
        *((C.uv_sphere(40, count=[n, n]), 4 * math.pi * 1600) for n in (16, 48)),
        *((C.cylinder(20, 80, sections=n), 4000 * math.pi) for n in (10, 24, 100)),
        *((C.torus(30, 8, major_sections=n, minor_sections=n), 960 * math.pi**2) for n in (16, 48)),
        (C.cone(20, 50, sections=24), math.pi * 20 * (20 + math.hypot(20, 50))),
        (C.annulus(10, 20, 30, sections=32), 2 * math.pi * 30 * (30 + 10)),
    ],
)
def test_the_surface_that_facets_stand_for_is_within_their_doubt(mesh, true_mm2):
    missed = _missed_mm2(mesh)
    assert mesh.area < true_mm2
    assert true_mm2 - mesh.area <= missed
    # And it is not made up: at most three times what is really missing.
    assert missed < 3 * (true_mm2 - mesh.area)


def _missed_mm2(mesh):
    facets = np.asarray(mesh.faces, dtype=np.int64)
    return missed_mm2(np.asarray(mesh.vertices), facets, edges_of(facets)).sum()


def test_the_doubt_of_a_sphere_s_facets_is_the_sphere_s():
    # n facets of an inscribed sphere's fine mesh: edge² = A·4/(√3·n), and 5/24·(edge/r)² is missing
    # (chord and sagitta of a spherical triangle), within what the mesh's uneven facets make of it.
    sphere = C.icosphere(3, radius=40)
    edge2 = 4 * math.pi * 1600 * 4 / (math.sqrt(3) * len(sphere.faces))
    assert _missed_mm2(sphere) / sphere.area == pytest.approx(5 / 24 * edge2 / 1600, rel=0.12)


def test_unit_and_scale(measured):
    assert measured(C.box([6, 4, 2]), unit="cm").wet_mm2 == pytest.approx(8800.0)
    assert measured(C.box([6, 4, 2]), unit="in").wet_mm2 == pytest.approx(88 * 25.4**2)
    assert measured(C.box([60, 40, 20]), scale=0.5).wet_mm2 == pytest.approx(2200.0)
    assert measured(C.box([60, 40, 20]), scale=0.5).volume_mm3 == pytest.approx(6000.0)


def test_a_mesh_in_inches_is_asked_about(written):
    # 4 x 2 x 1 in: read as mm it is 4 mm long.
    asked = measuring.measured(written(C.box([4, 2, 1])), Asked("stl"))
    assert isinstance(asked, Question)
    assert asked.about == "unit"
    assert "in (102 mm)" in asked.text
    assert {"mm", "in", "cm"} <= set(asked.choices)
    # As said, so taken: a part may be 4 mm long.
    told = measuring.measured(written(C.box([4, 2, 1])), Asked("stl", unit="mm"))
    assert not isinstance(told, Question)
    assert told.wet_mm2 == pytest.approx(28.0)


def test_a_3mf_says_its_unit_itself(written, measured):
    out = io.BytesIO()
    given = zipfile.ZipFile(io.BytesIO(written(C.box([4, 2, 1]), "3mf")))
    with given, zipfile.ZipFile(out, "w") as changed:
        for name in given.namelist():
            text = given.read(name).replace(b'unit="millimeter"', b'unit="inch"')
            changed.writestr(name, text)
    found = measured(out.getvalue(), "3mf")
    assert found.unit == "in"
    assert found.wet_mm2 == pytest.approx(28 * 25.4**2)


@pytest.mark.parametrize(
    ("up", "level_mm", "wet_mm2", "displaced_mm3"),
    [
        # A box of 60 x 40 x 20: four sides to the level, and the bottom.
        ("z", 15, 200 * 15 + 2400, 36_000),
        ("-z", 15, 200 * 15 + 2400, 36_000),
        ("x", 45, 120 * 45 + 800, 36_000),
        ("-y", 10, 160 * 10 + 1200, 12_000),
        ("z", 20, 8800, 48_000),
        ("z", 500, 8800, 48_000),
    ],
)
def test_what_hangs_above_the_liquid(measured, up, level_mm, wet_mm2, displaced_mm3):
    found = measured(C.box([60, 40, 20]), up=up, level_mm=level_mm)
    assert found.wet_mm2 == pytest.approx(wet_mm2)
    assert found.dry_mm2 == pytest.approx(8800 - wet_mm2)
    assert found.displaced_mm3 == pytest.approx(displaced_mm3)


def test_a_sphere_in_the_liquid(measured):
    # A cap of height h: 2·π·r·h and π·h²·(r - h/3).
    found = measured(C.icosphere(4, radius=40), level_mm=30)
    assert found.wet_mm2 == pytest.approx(2 * math.pi * 40 * 30, rel=2e-3)
    assert found.displaced_mm3 == pytest.approx(math.pi * 900 * (40 - 10), rel=3e-3)
    # ± 2 mm of level: 2·π·40·2.
    assert found.level_mm2 == pytest.approx(2 * math.pi * 40 * 2, rel=5e-3)


def test_a_turned_part_has_the_same_share_in_the_liquid(measured):
    cone = C.cone(20, 50, sections=90)
    flipped = cone.copy()
    flipped.apply_transform(trimesh.transformations.rotation_matrix(math.pi, [1, 0, 0]))
    one = measured(cone, up="z", level_mm=20)
    other = measured(flipped, up="-z", level_mm=20)
    assert one.wet_mm2 == pytest.approx(other.wet_mm2, rel=1e-5)


def test_a_closed_cavity_is_an_inner_wall_and_displaces(looked_at, hollow):
    found = looked_at(hollow.closed())
    assert (found.bodies, found.cavities) == (1, 1)
    inner_mm2, outer_mm2 = 4 * math.pi * 38**2, 4 * math.pi * 40**2
    assert found.cavity_mm2 == pytest.approx(inner_mm2, rel=6e-3)
    assert found.outer_mm2 == pytest.approx(outer_mm2, rel=6e-3)
    assert found.wet_mm2 == pytest.approx(inner_mm2 + outer_mm2, rel=6e-3)
    assert found.volume_mm3 == pytest.approx(4 / 3 * math.pi * (40**3 - 38**3), rel=2e-2)
    assert found.displaced_mm3 == pytest.approx(4 / 3 * math.pi * 40**3, rel=1e-2)
    surface = surface_of(found)
    assert surface.outer is not None
    assert "a closed cavity" in surface.inner


def test_a_cavity_behind_a_wall_of_foil_is_one_too(measured, hollow):
    # Beside it lies an open sheet, so that facets count from either side, and the wall is thinner
    # than sight can tell apart.
    sheet = trimesh.Trimesh([[60, 0, 0], [90, 0, 0], [60, 30, 0]], [[0, 1, 2]])
    found = measured(trimesh.util.concatenate([hollow.closed(40.0, 39.9), sheet]))
    assert (found.cavities, found.sound) == (1, False)
    assert found.outer_mm2 == pytest.approx(4 * math.pi * 40**2 + 450, rel=1e-2)


def test_walls_behind_a_small_hole_are_found_by_sight(looked_at, hollow):
    # Nothing is closed here: one body, all of whose walls hang together through the rim.
    found = looked_at(hollow.with_hole(3.0))
    assert (found.bodies, found.cavities, found.sound) == (1, 0, True)
    inner_mm2 = 4 * math.pi * 38**2
    assert found.wet_mm2 - found.outer_mm2 == pytest.approx(inner_mm2, rel=0.15)
    assert abs(found.outer_mm2 - (found.wet_mm2 - inner_mm2)) < 1.5 * found.doubtful_mm2
    assert "hardly any direction" in surface_of(found).inner


def test_a_bowl_hides_nothing(looked_at, hollow):
    found = looked_at(hollow.with_hole(34.0))
    assert found.outer_mm2 > 0.95 * found.wet_mm2


@pytest.mark.parametrize(
    "mesh",
    [C.box([60, 40, 20]), C.icosphere(3, radius=40), C.torus(30, 8)],
)
def test_what_is_all_outside_is_not_asked_about(looked_at, mesh):
    found = looked_at(mesh)
    assert found.outer_mm2 == pytest.approx(found.wet_mm2)
    assert surface_of(found).outer is None


def test_a_body_within_another_is_hidden(looked_at):
    # A ball of 15 mm sticks out of a box of 20 mm height by two caps of 5 mm:
    # 8800 - 2·π·(15² - 10²) + 2·2·π·15·5 mm² are outside.
    both = trimesh.util.concatenate([C.box([60, 40, 20]), C.icosphere(4, radius=15)])
    found = looked_at(both)
    assert found.overlapping
    outside_mm2 = 8800 - 250 * math.pi + 300 * math.pi
    assert abs(found.outer_mm2 - outside_mm2) < found.doubtful_mm2


def test_a_mesh_that_looks_inward_is_turned(measured):
    box = C.box([60, 40, 20])
    box.invert()
    found = measured(box)
    assert (found.turned, found.cavities) == (1, 0)
    assert found.volume_mm3 == pytest.approx(48_000.0)
    assert found.outer_mm2 == pytest.approx(8800.0)


def test_holes_are_told_and_doubted(measured, by_hand):
    # One facet of the cube is missing, half a face of 20 x 20 mm: a rim of 20 + 20 + 28.28 mm.
    found = measured(by_hand.stl(by_hand.facets[1:]))
    assert (found.open_edges, found.sound) == (3, False)
    assert found.wet_mm2 == pytest.approx(2200.0)
    assert (found.volume_mm3, found.displaced_mm3) == (None, None)
    # A flat cover of that rim has at most L²/4π, and has 200 mm² in truth.
    assert found.holes_mm2 == pytest.approx(68.284**2 / (4 * math.pi), rel=1e-4)
    assert found.holes_mm2 > 200.0
    assert "holes" in [share.name for share in surface_of(found).whole.shares]


def test_a_sheet_has_doubt_as_large_as_itself(measured):
    corners = [(0, 0, 0), (50, 0, 0), (50, 50, 0), (0, 50, 0)]
    text = "".join(f"v {x} {y} {z}\n" for x, y, z in corners) + "f 1 2 3 4\n"
    found = measured(text.encode(), "obj")
    assert found.wet_mm2 == pytest.approx(2500.0)
    assert found.holes_mm2 == pytest.approx(2500.0)
    assert found.outer_mm2 == pytest.approx(2500.0)


def test_facets_that_are_there_twice_count_once(measured, by_hand):
    found = measured(by_hand.stl([*by_hand.facets, *by_hand.facets[:3]]))
    assert (found.twice, found.sound) == (3, True)
    assert found.wet_mm2 == pytest.approx(2400.0)


def test_slivers_and_lines_do_no_harm(measured, by_hand):
    found = measured(by_hand.stl([*by_hand.facets, (0, 0, 1), (3, 3, 3)]))
    assert found.wet_mm2 == pytest.approx(2400.0)
    assert found.sound


def test_the_longest_that_can_be(written):
    with pytest.raises(PartError, match="at most 10000 mm"):
        measuring.measured(written(C.box([60, 40, 20])), Asked("stl", unit="m"))


def test_a_mesh_of_nothing_but_lines(by_hand):
    with pytest.raises(PartError, match="no triangle in it that has an area"):
        measuring.measured(by_hand.stl([(0, 0, 1)]), Asked("stl"))


def test_the_picture_shows_the_part(measured):
    data = measured(C.box([60, 40, 20]), level_mm=10).picture
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    chunks, at = {}, 8
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        name, body = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        (check,) = struct.unpack(">I", data[at + 8 + length : at + 12 + length])
        assert check == zlib.crc32(name + body)
        chunks[name] = body
        at += 12 + length
    width, height, depth, colour = struct.unpack(">IIBB", chunks[b"IHDR"][:10])
    assert (width, height, depth, colour) == (240, 240, 8, 6)
    rows = np.frombuffer(zlib.decompress(chunks[b"IDAT"]), np.uint8).reshape(height, -1)
    assert not rows[:, 0].any()
    image = rows[:, 1:].reshape(height, width, 4)
    there = image[..., 3] > 0
    # The box fills a good part of the picture, not its border; dry is grey and lies above wet.
    assert 0.1 < there.mean() < 0.9
    assert not np.concatenate([there[0], there[-1], there[:, 0], there[:, -1]]).any()
    red, blue = image[..., 0].astype(int), image[..., 2].astype(int)
    wet = there & (red - blue > 20)
    dry = there & (red == blue)
    assert wet.any()
    assert dry.any()
    assert np.nonzero(dry)[0].mean() < np.nonzero(wet)[0].mean()
