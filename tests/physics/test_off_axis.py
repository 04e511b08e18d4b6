"""Pictures for an eye anywhere before a screen, against the published construction.

The construction is the source's, the numbers are our own: the steps of Kooima, "Generalized
Perspective Projection", 2008, revised 2013, are followed one by one in `by_construction`, and no
worked numbers of a source are copied. So it is with the entries of glFrustum in the OpenGL 2.1
reference. The other tests ask what must hold of any screen and eye.
"""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.physics.geometry.offaxis import (
    drawn_at,
    frustum_matrix,
    off_axis,
    parallax_jacobian,
)

UPRIGHT = [[-0.2, -0.15, 0.0], [0.2, -0.15, 0.0], [-0.2, 0.15, 0.0]]
TILTED = [[-0.5, 0.0, 0.3], [0.3, 0.0, -0.3], [-0.5, 0.6, 0.3]]


def by_construction(corners, eye, near):
    """Left, right, bottom and top of the frustum and the eye's distance, as the paper has them."""
    lower_left, lower_right, upper_left = (np.array(corner) for corner in corners)
    right = (lower_right - lower_left) / np.linalg.norm(lower_right - lower_left)
    up = (upper_left - lower_left) / np.linalg.norm(upper_left - lower_left)
    normal = np.cross(right, up)
    to_left, to_right, to_top = (np.array(each) - eye for each in corners)
    distance = -normal @ to_left
    return (
        right @ to_left * near / distance,
        right @ to_right * near / distance,
        up @ to_left * near / distance,
        up @ to_top * near / distance,
        distance,
    )


@pytest.mark.parametrize(
    ("screen", "eye"), [(UPRIGHT, [0.1, 0.05, 0.5]), (TILTED, [0.2, 0.4, 1.0])]
)
def test_frustum_by_the_papers_construction(screen, eye):
    drawn = off_axis(screen, eye, 0.1, 10.0)
    *sides, distance = by_construction(screen, np.array(eye), 0.1)
    # Both are the same few products: only the rounding of doubles is left.
    np.testing.assert_allclose(drawn.frustum[:4], sides, atol=1e-14)
    assert drawn.frustum.distance_m == pytest.approx(distance, abs=1e-14)
    np.testing.assert_allclose(drawn.projection, frustum_matrix(*sides, 0.1, 10.0), atol=1e-12)


def test_entries_of_the_reference():
    left, right, bottom, top, near, far = -0.3, 0.5, -0.2, 0.7, 0.4, 30.0
    expected = [
        [2 * near / (right - left), 0, (right + left) / (right - left), 0],
        [0, 2 * near / (top - bottom), (top + bottom) / (top - bottom), 0],
        [0, 0, -(far + near) / (far - near), -2 * far * near / (far - near)],
        [0, 0, -1, 0],
    ]
    np.testing.assert_allclose(
        frustum_matrix(left, right, bottom, top, near, far), expected, rtol=1e-14
    )


def _random_screens(n: int, rng: np.random.Generator):
    """Corners of any rectangles in space (n, 3, 3), and an eye before each (n, 3) [m]."""
    turned, _ = np.linalg.qr(rng.normal(size=(n, 3, 3)))
    right, up, out = np.moveaxis(turned, -1, 0)
    out = np.cross(right, up)
    wide, high = rng.uniform(0.1, 4.0, (2, n, 1))
    corner = rng.normal(scale=3.0, size=(n, 3))
    eye = (
        corner
        + rng.uniform(-2.0, 3.0, (n, 1)) * wide * right
        + rng.uniform(-2.0, 3.0, (n, 1)) * high * up
        + rng.uniform(0.05, 5.0, (n, 1)) * out
    )
    return np.stack([corner, corner + wide * right, corner + high * up], axis=1), eye


def test_corners_of_ten_thousand_screens_map_to_one():
    corners, eye = _random_screens(10_000, np.random.default_rng(3))
    fourth = corners[:, 1] + corners[:, 2] - corners[:, 0]
    every = np.concatenate([corners, fourth[:, None]], axis=1)
    both = off_axis(corners, eye, 0.05, 50.0).both
    clip = np.einsum("nij,ncj->nci", both, np.concatenate([every, np.ones((10_000, 4, 1))], -1))
    assert np.all(clip[..., 3] > 0.0)
    ndc = clip[..., :2] / clip[..., 3:]
    expected = [[-1, -1], [1, -1], [-1, 1], [1, 1]]
    np.testing.assert_allclose(ndc, np.broadcast_to(expected, ndc.shape), atol=1e-9)


def test_depths_run_from_near_to_far():
    corners, eye = _random_screens(200, np.random.default_rng(4))
    drawn = off_axis(corners, eye, 0.1, 20.0)
    for depth, end in ((0.1, -1.0), (20.0, 1.0)):
        clip = drawn.projection @ np.array([0.0, 0.0, -depth, 1.0])
        np.testing.assert_allclose(clip[:, 2] / clip[:, 3], end, atol=1e-9)


def test_points_are_drawn_on_the_line_of_sight():
    """The drawn place, the eye and the point lie in line: by cross products, no projection."""
    rng = np.random.default_rng(5)
    corners, eye = _random_screens(500, rng)
    right = corners[:, 1] - corners[:, 0]
    up = corners[:, 2] - corners[:, 0]
    out = np.cross(right, up)
    out /= np.linalg.norm(out, axis=-1, keepdims=True)
    target = (
        corners[:, 0] + rng.uniform(-1, 2, (500, 1)) * right + rng.uniform(-1, 2, (500, 1)) * up
    )
    point = eye + rng.uniform(0.2, 3.0, (500, 1)) * (target - eye)
    place = drawn_at(point, corners, eye)
    spot = corners[:, 0] + (
        place[:, :1] * right / np.linalg.norm(right, axis=-1, keepdims=True)
        + place[:, 1:] * up / np.linalg.norm(up, axis=-1, keepdims=True)
    )
    away = np.linalg.norm(np.cross(spot - eye, point - eye), axis=-1)
    assert np.all(away < 1e-9 * np.linalg.norm(point - eye, axis=-1) * 100)
    ndc = np.einsum(
        "nij,nj->ni",
        off_axis(corners, eye, 0.01, 90.0).both,
        np.concatenate([point, np.ones((500, 1))], -1),
    )
    size = np.linalg.norm(corners[:, 1:] - corners[:, :1], axis=-1)
    np.testing.assert_allclose((ndc[:, :2] / ndc[:, 3:] + 1) / 2 * size, place, atol=1e-8)


def test_parallax_is_the_slope_of_the_drawn_place():
    rng = np.random.default_rng(6)
    corners, eye = _random_screens(300, rng)
    eye += 0.3 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    point = corners[:, 0] + rng.normal(scale=0.4, size=(300, 3))
    slope = parallax_jacobian(point, corners, eye)
    step = 1e-6
    numeric = np.stack(
        [
            (drawn_at(point, corners, eye + step * a) - drawn_at(point, corners, eye - step * a))
            / (2 * step)
            for a in np.eye(3)
        ],
        axis=-1,
    )
    known = np.isfinite(numeric).all(axis=(1, 2)) & (np.abs(numeric) < 1e3).all(axis=(1, 2))
    assert known.sum() > 150
    np.testing.assert_allclose(slope[known], numeric[known], rtol=1e-4, atol=1e-6)


def test_content_on_the_screen_stays_where_it_is():
    on_it = np.array([[-0.1, 0.05, 0.0], [0.15, -0.1, 0.0]])
    np.testing.assert_allclose(parallax_jacobian(on_it, UPRIGHT, [0.3, 0.2, 0.4]), 0.0, atol=1e-15)


@pytest.mark.parametrize("depth", [0.0, -0.3, np.nan])
def test_no_picture_for_an_eye_in_or_behind_the_plane(depth):
    drawn = off_axis(UPRIGHT, [0.1, 0.0, depth], 0.1, 10.0)
    assert np.isnan(drawn.both).any() and np.isnan(drawn.frustum.left)
    assert np.isnan(drawn_at([0.0, 0.0, -1.0], UPRIGHT, [0.1, 0.0, depth])).all()


def test_no_place_for_points_behind_the_eye():
    assert np.isnan(drawn_at([0.0, 0.0, 0.6], UPRIGHT, [0.1, 0.0, 0.5])).all()


def test_several_screens_at_once():
    each = [off_axis(screen, [0.1, 0.2, 1.0], 0.1, 9.0).both for screen in (UPRIGHT, TILTED)]
    np.testing.assert_array_equal(off_axis([UPRIGHT, TILTED], [0.1, 0.2, 1.0], 0.1, 9.0).both, each)


@pytest.mark.parametrize(
    ("corners", "near", "far", "words"),
    [
        ([[0, 0, 0], [1, 0, 0], [0.3, 1, 0]], 0.1, 1.0, "rectangle"),
        ([[0, 0, 0], [0, 0, 0], [0, 1, 0]], 0.1, 1.0, "apart"),
        (UPRIGHT, 0.0, 1.0, "near_m"),
        (UPRIGHT, 2.0, 1.0, "near_m"),
    ],
)
def test_what_is_no_screen_is_refused(corners, near, far, words):
    with pytest.raises(ValueError, match=words):
        off_axis(corners, [0.0, 0.0, 1.0], near, far)
