"""Shapes against their closed forms worked out by hand, and against trimesh's own primitives."""

import math

import pytest
import trimesh

from daemon.bath.errors import PartError
from daemon.bath.parts.shapes import KINDS, shape, shell

C = trimesh.creation


@pytest.mark.parametrize(
    ("name", "mm", "cm2", "cm3"),
    [
        # 2·(6·4 + 4·2 + 2·6) = 88 cm².
        ("box", (60, 40, 20), 88.0, 48.0),
        # 2·(10·10 + 10·0.1 + 10·0.1) = 204 cm².
        ("plate", (100, 100, 1), 204.0, 10.0),
        # π·2·(5 + 1) = 37.699 cm²; π·1·5 = 15.708 cm³.
        ("cylinder", (20, 50), 37.699, 15.708),
        ("rod", (20, 50), 37.699, 15.708),
        ("disc", (20, 50), 37.699, 15.708),
        # π·(2 + 1.6)·5 + π/2·(4 - 2.56) = 56.549 + 2.262 cm²; π/4·(4 - 2.56)·5 = 5.6549 cm³.
        ("tube", (20, 16, 50), 58.811, 5.6549),
        # π·9 = 28.274 cm²; π/6·27 = 14.137 cm³.
        ("sphere", (30,), 28.274, 14.137),
        # 2·π·1.5² + π·1.5² = 21.206 cm².
        ("hemisphere", (30,), 21.206, 7.0686),
        # Radius 3, height 4, slant 5: π·3·(3 + 5) = 75.398 cm²; π/3·9·4 = 37.699 cm³.
        ("cone", (60, 40), 75.398, 37.699),
        # Radii 5 and 2, height 4, slant 5: π·(25 + 4 + 35) = 201.062; π/3·4·(25 + 10 + 4).
        ("frustum", (100, 40, 40), 201.062, 163.363),
        # Middle radius 2.5, wire radius 0.5: 4·π²·2.5·0.5 = 49.348; 2·π²·2.5·0.25 = 12.337.
        ("ring", (60, 10), 49.348, 12.337),
    ],
)
def test_areas_and_volumes_by_hand(name, mm, cm2, cm3):
    found = shape(name, mm, 0.2)
    assert 100 * found.whole.value == pytest.approx(cm2, rel=1e-4)
    assert found.volume_cm3 == pytest.approx(cm3, rel=1e-4)


def test_every_shape_is_checked_by_hand():
    cases = test_areas_and_volumes_by_hand.pytestmark[0].args[1]
    assert {case[0] for case in cases} == KINDS.keys()


@pytest.mark.parametrize(
    ("name", "mm", "mesh"),
    [
        ("box", (60, 40, 20), C.box([60, 40, 20])),
        ("cylinder", (40, 80), C.cylinder(20, 80, sections=720)),
        ("tube", (20, 16, 50), C.annulus(8, 10, 50, sections=720)),
        ("sphere", (80,), C.icosphere(6, radius=40)),
        ("cone", (40, 50), C.cone(20, 50, sections=720)),
        ("ring", (76, 16), C.torus(30, 8, major_sections=300, minor_sections=300)),
    ],
)
def test_shapes_agree_with_fine_meshes(name, mm, mesh):
    found = shape(name, mm, 0.2)
    assert found.whole.value == pytest.approx(mesh.area / 1e4, rel=3e-4)
    assert found.volume_cm3 == pytest.approx(mesh.volume / 1e3, rel=3e-4)


def test_the_bore_of_a_tube_is_its_inner_wall():
    found = shape("tube", (20, 16, 50), 0.2)
    assert found.outer is not None
    # π·1.6·5 = 25.133 cm² of bore.
    assert 100 * (found.whole.value - found.outer.value) == pytest.approx(25.133, rel=1e-4)


def test_the_doubt_of_a_dimension_is_that_of_the_area():
    # A cube of 20 mm, each side within ± 0.2 mm: dA/da = 4·a, u = 4·20·(0.2/√3)·√3 = 16 mm².
    found = shape("box", (20, 20, 20), 0.2)
    assert found.whole.u * 1e4 == pytest.approx(16.0, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "mm", "said"),
    [
        ("ball", (20,), "expected one of plate, box"),
        ("box", (60, 40), "expected length x width x height, got 2 dimensions"),
        ("box", (60, 40, 0), "height must be above 0 and at most 10000 mm, got 0 mm"),
        ("sphere", (20_000,), "got 20000 mm"),
        ("sphere", (math.nan,), "got nan mm"),
        ("tube", (16, 20, 50), "inner diameter must be less than the outer"),
        ("ring", (10, 6), "thinner than half"),
    ],
)
def test_what_is_no_shape_is_refused(name, mm, said):
    with pytest.raises(PartError, match=said):
        shape(name, mm, 0.2)


def test_a_shell_by_weight():
    # A hollow ball of 100 mm with a wall of 1.2 mm: outer radius 50, inner 48.8 mm.
    outer_cm2, inner_cm2 = 4 * math.pi * 5.0**2, 4 * math.pi * 4.88**2
    volume_cm3 = 4 / 3 * math.pi * (5.0**3 - 4.88**3)
    found = shell(1.24 * volume_cm3, 1.2, 1.24)
    assert found.outer is not None
    assert 100 * found.whole.value == pytest.approx(outer_cm2 + inner_cm2, rel=1e-3)
    assert 100 * found.outer.value == pytest.approx(outer_cm2, rel=1e-3)
    assert found.volume_cm3 == pytest.approx(volume_cm3, rel=1e-9)


def test_a_flat_shell_is_within_its_doubt():
    # A plate of 100 x 100 x 1.2 mm, one face 1 dm²: the sphere's curvature is too much for it.
    found = shell(1.24 * 10 * 10 * 0.12, 1.2, 1.24)
    assert found.outer is not None
    assert found.outer.value > 1.0
    assert abs(found.outer.value - 1.0) < found.outer.expanded(0.95)


@pytest.mark.parametrize(
    ("mass_g", "wall_mm", "density", "said"),
    [
        (0, 1.2, 1.24, "mass must be above 0 g"),
        (40, -1, 1.24, "wall must be above 0 mm"),
        (40, 1.2, math.inf, "density must be above 0"),
        (1, 8, 1.24, "too thick"),
    ],
)
def test_what_is_no_shell_is_refused(mass_g, wall_mm, density, said):
    with pytest.raises(PartError, match=said):
        shell(mass_g, wall_mm, density)
