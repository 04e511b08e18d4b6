"""The lens and the pinhole: inverses, limits, derivatives, and what must come back as NaN."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rushlight.physics.geometry.lens import (
    distort,
    distortion_jacobian,
    distortion_jacobian_wrt_k,
    distortion_limit,
    undistort,
)
from rushlight.physics.geometry.pinhole import (
    camera_matrix,
    project,
    px_from_normalised,
    ray_on_plane,
    undistort_px,
)
from rushlight.physics.geometry.pose import rig_from_camera_looking_at, rig_from_camera_turned

NO_LENS = np.zeros(5)
BARREL = np.array([-0.3, 0.1, 0.001, -0.0005, -0.02])


def numerical_jacobian(function, at, step=1e-6):
    columns = [
        (function(at + step * unit) - function(at - step * unit)) / (2 * step)
        for unit in np.eye(at.shape[-1])
    ]
    return np.stack(columns, axis=-1)


lens = st.tuples(
    st.floats(-0.4, 0.4),
    st.floats(-0.2, 0.2),
    st.floats(-0.005, 0.005),
    st.floats(-0.005, 0.005),
    st.floats(-0.1, 0.1),
).map(np.array)


@settings(deadline=None)
@given(lens, st.floats(0.0, 0.97), st.floats(-np.pi, np.pi))
def test_undistort_inverts_distort_up_to_near_the_limit(k, share, direction):
    radius = share * min(float(distortion_limit(k)), 1.5)
    point = radius * np.array([np.cos(direction), np.sin(direction)])
    again = undistort(distort(point, k), k)
    along = np.linspace(0.0, 1.0, 200)[:, None] * point
    if np.min(np.linalg.det(distortion_jacobian(along, k))) > 0.02:
        np.testing.assert_allclose(again, point, atol=1e-9)
    # Closer to a fold of the tangential terms NaN is honest.
    elif np.all(np.isfinite(again)):
        np.testing.assert_allclose(distort(again, k), distort(point, k), atol=2e-12)


@settings(deadline=None)
@given(lens, st.floats(-3.0, 3.0), st.floats(-3.0, 3.0))
def test_undistort_never_lies(k, x, y):
    found = undistort([x, y], k)
    if np.isnan(found[0]):
        assert np.isnan(found[1])
        return
    np.testing.assert_allclose(distort(found, k), [x, y], atol=2e-12)
    assert np.linalg.det(distortion_jacobian(found, k)) > 0.0
    assert np.hypot(*found) < distortion_limit(k)


def test_beyond_the_largest_picture_of_a_barrel_lens_is_nan():
    k = np.array([-0.2, 0, 0, 0, 0])
    limit = float(distortion_limit(k))
    largest = distort([limit, 0.0], k)[0]
    found = undistort([[0.999 * largest, 0.0], [1.001 * largest, 0.0]], k)
    assert 0.0 < found[0, 0] < limit
    assert np.all(np.isnan(found[1]))


def test_unknown_stays_unknown():
    assert np.all(np.isnan(undistort([np.nan, 0.1], BARREL)))
    assert np.all(np.isnan(undistort([0.1, 0.1], [np.nan, 0, 0, 0, 0])))
    assert undistort(np.empty((0, 2)), BARREL).shape == (0, 2)


@pytest.mark.parametrize(
    ("k", "limit"),
    [
        ([0, 0, 0, 0, 0], np.inf),
        ([0.1, 0, 0, 0, 0], np.inf),
        ([-0.3, 0, 0, 0, 0], 1 / np.sqrt(0.9)),
        ([0, -0.2, 0, 0, 0], 1.0),
        ([0, 0, 0, 0, -1 / 7], 1.0),
        # 1 − 3 s + 2 s² = (1 − s)(1 − 2 s): the nearer of two folds counts.
        ([-1.0, 0.4, 0, 0, 0], np.sqrt(0.5)),
    ],
)
def test_limit_is_the_first_fold(k, limit):
    assert float(distortion_limit(k)) == pytest.approx(limit, rel=1e-9)


@settings(deadline=None)
@given(lens, st.floats(-0.8, 0.8), st.floats(-0.8, 0.8))
def test_derivatives_of_the_lens(k, x, y):
    point = np.array([x, y])
    np.testing.assert_allclose(
        distortion_jacobian(point, k), numerical_jacobian(lambda p: distort(p, k), point), atol=1e-8
    )
    np.testing.assert_allclose(
        distortion_jacobian_wrt_k(point),
        numerical_jacobian(lambda c: distort(point, c), k),
        atol=1e-8,
    )


def test_batches_broadcast_lenses_against_points():
    rng = np.random.default_rng(4)
    lenses = BARREL * rng.uniform(0, 1, (7, 1, 1))
    points = rng.uniform(-0.4, 0.4, (1, 30, 2))
    distorted = distort(points, lenses)
    assert distorted.shape == (7, 30, 2)
    np.testing.assert_allclose(
        undistort(distorted, lenses), np.broadcast_to(points, (7, 30, 2)), atol=1e-11
    )
    one = undistort(distorted[3, 5], lenses[3, 0])
    np.testing.assert_allclose(one, points[0, 5], atol=1e-11)


def test_points_behind_or_folded_have_no_pixel():
    K = camera_matrix(600.0, [319.5, 239.5])
    pose = rig_from_camera_turned([0.0, 0.0, 2.0], 0.0, 0.0)
    points = [[0.0, 0.0, 0.0], [0.0, 0.0, 3.0], [0.0, 0.0, 2.0], [50.0, 0.0, 0.0]]
    px, depth_m = project(points, K, BARREL, pose)
    np.testing.assert_allclose(px[0], [319.5, 239.5])
    assert np.all(np.isnan(px[1:]))
    np.testing.assert_allclose(depth_m, [2.0, -1.0, 0.0, 2.0])


def test_pixels_go_back_to_the_surface_through_lens_and_skew():
    rng = np.random.default_rng(5)
    K = camera_matrix(rng.uniform(500, 900, (8, 1)), [330.0, 230.0], 1.01)
    K[..., 0, 1] = 1.5
    pose = rig_from_camera_looking_at(
        rng.uniform([-1, 0, 2], [3, 2, 4], (8, 1, 3)), [1.0, 0.7, 0.0], 0.2
    )
    xy = rng.uniform([0, 0], [2, 1.4], (8, 25, 2))
    height = rng.uniform(0.0, 0.1, (8, 25))
    px, _ = project(np.concatenate([xy, height[..., None]], axis=-1), K, BARREL, pose)
    np.testing.assert_allclose(
        ray_on_plane(undistort_px(px, K, BARREL), pose, height), xy, atol=1e-10
    )


def test_rays_that_miss_the_plane_are_nan():
    away = rig_from_camera_turned([0.0, 0.0, 2.0], np.pi, 0.0)
    along = rig_from_camera_turned([0.0, 0.0, 2.0], np.pi / 2, 0.0)
    assert np.all(np.isnan(ray_on_plane([0.0, 0.0], away)))
    assert np.all(np.isnan(ray_on_plane([0.0, 0.0], along)))


def test_normalised_to_pixel_and_back():
    K = camera_matrix([500.0, 600.0], [320.0, 240.0])
    points = np.random.default_rng(6).uniform(-0.5, 0.5, (9, 2, 2))
    again = undistort_px(px_from_normalised(points, K, BARREL), K, BARREL)
    np.testing.assert_allclose(again, points, atol=1e-11)
    np.testing.assert_allclose(px_from_normalised([0.1, 0.2], K[0], NO_LENS), [370.0, 340.0])
