"""The depth buffer and what it sees, against geometry that is worked out by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from daemon.bath.parts import depth, visibility
from daemon.bath.parts.depth import View, depth_buffer
from daemon.bath.parts.facets import areas_mm2, shares_below

SQUARE = np.array([[[0, 0, 0], [8, 0, 0], [8, 8, 0]], [[0, 0, 0], [8, 8, 0], [0, 8, 0]]], float)


def moved(*by):
    return SQUARE + np.array(by, float)


def test_a_square_covers_its_pixels_and_no_other():
    nearest = depth_buffer(moved(2, 2, 5), 12).reshape(12, 12)
    wanted = np.full((12, 12), -np.inf)
    wanted[2:10, 2:10] = 5.0
    assert np.array_equal(nearest, wanted)


def test_the_nearest_is_seen_whatever_the_order():
    near, far = moved(0, 0, 3), moved(4, 4, 1)
    for triangles in (np.concatenate([near, far]), np.concatenate([far, near])):
        nearest = depth_buffer(triangles, 12).reshape(12, 12)
        assert (nearest[:8, :8] == 3).all()
        assert (nearest[8:, 8:] == 1).all()
        assert np.isinf(nearest[0, 11])


def test_heights_of_a_slope_are_those_of_its_plane():
    slope = SQUARE.copy()
    slope[..., 2] = 2 * slope[..., 0] + 0.5 * slope[..., 1]
    nearest = depth_buffer(slope, 8).reshape(8, 8)
    rows, columns = np.mgrid[0:8, 0:8] + 0.5
    assert nearest == pytest.approx(2 * columns + 0.5 * rows)


def test_what_is_edge_on_or_outside_covers_nothing():
    assert np.isinf(depth_buffer(moved(0, 0, 3)[..., [0, 2, 1]], 8)).all()
    assert np.isinf(depth_buffer(moved(100, 0, 0), 8)).all()
    assert np.isinf(depth_buffer(moved(-100, 0, 0), 8)).all()


def test_large_pictures_come_in_chunks(monkeypatch):
    whole = depth_buffer(SQUARE, 8)
    monkeypatch.setattr(depth, "MOST_AT_ONCE", 10)
    assert np.array_equal(depth_buffer(SQUARE, 8), whole)


def test_a_view_is_a_turn_and_a_scale():
    eye = np.array([1.0, 2.0, 3.0])
    view = View.along(eye, np.array([5.0, 5.0, 5.0]), width_mm=100, size=200)
    assert view.axes @ view.axes.T == pytest.approx(np.eye(3))
    assert np.linalg.det(view.axes) == pytest.approx(1.0)
    # Twice as many pixels as mm; the centre is in the middle, and a step to the eye is height.
    points = np.array([[5.0, 5.0, 5.0], [5.0, 5.0, 5.0] + 7 * eye / np.linalg.norm(eye)])
    assert view.of(points) == pytest.approx(np.array([[100, 100, 0], [100, 100, 7]]))


def test_directions_are_all_around():
    found = visibility.directions(96)
    assert len(found) == 96
    assert np.linalg.norm(found, axis=1) == pytest.approx(np.ones(96))
    # None is further than 25° from the next, wherever one looks.
    anywhere = np.random.default_rng(1).normal(size=(2000, 3))
    anywhere /= np.linalg.norm(anywhere, axis=1)[:, None]
    assert (anywhere @ found.T).max(axis=1).min() > np.cos(np.radians(25))


TRIANGLES = arrays.arrays(
    float, (4, 3, 3), elements=st.floats(-50, 50, allow_subnormal=False).map(lambda x: round(x, 3))
)


@given(TRIANGLES, st.floats(3, 40))
@settings(max_examples=60, deadline=None)
def test_pieces_are_small_and_make_up_the_whole(triangles, longest):
    cut, whose = visibility.pieces(triangles, longest)
    sides = np.linalg.norm(cut - np.roll(cut, 1, axis=1), axis=2)
    assert sides.max(initial=0) <= longest * (1 + 1e-9)
    total = np.bincount(whose, weights=areas_mm2(cut), minlength=len(triangles))
    assert total == pytest.approx(areas_mm2(triangles), rel=1e-9, abs=1e-9)


@given(TRIANGLES, st.floats(-60, 60))
@settings(max_examples=60, deadline=None)
def test_the_share_below_a_level_is_that_of_small_pieces(triangles, level):
    up = np.array([0.0, 0.0, 1.0])
    cut, whose = visibility.pieces(triangles, 4.0)
    area = areas_mm2(cut)
    below = np.bincount(
        whose, weights=area * (cut[..., 2].mean(axis=1) < level), minlength=len(triangles)
    )
    whole = areas_mm2(triangles)
    # Pieces at the level count as a whole here: a strip of at most 4 mm along at most 180 mm.
    assert np.abs(below - whole * shares_below(triangles, up, level)).max() < 4 * 180
    assert shares_below(triangles, up, -100.0) == pytest.approx(np.zeros(4))
    assert shares_below(triangles, up, 100.0) == pytest.approx(np.ones(4))


@pytest.mark.parametrize(
    ("level", "share"),
    # A triangle of height 4 with its tip up: what is above h is ((4 - h)/4)² of it.
    [(0.0, 0.0), (1.0, 1 - 9 / 16), (2.0, 0.75), (3.0, 1 - 1 / 16), (4.0, 1.0)],
)
def test_the_share_below_a_level_by_hand(level, share):
    tip_up = np.array([[[0, 0, 0], [6, 0, 0], [3, 0, 4]]], float)
    up = np.array([0.0, 0.0, 1.0])
    assert shares_below(tip_up, up, level)[0] == pytest.approx(share)
    # And with its tip down, below h is (h/4)².
    assert shares_below(-tip_up, up, level - 4)[0] == pytest.approx((level / 4) ** 2)
