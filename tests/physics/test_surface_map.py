"""Pixels to places: inverse of the projection, derivatives, and the pose of a map."""

import numpy as np
import pytest

from rushlight.physics.geometry import (
    apply_homography,
    camera_matrix,
    invert_transform,
    plane_tangent,
    project,
    rig_from_camera_looking_at,
)
from rushlight.physics.surface_map import (
    camera_of_plane_map,
    followed_by,
    map_px,
    surface_from_px,
    surface_px_jacobian,
    wall_height,
)
from rushlight.physics.surface_model import centred

SIZE = np.array([2.4, 1.5])
K = camera_matrix(560.0, [319.5, 239.5])
LENS = np.array([-0.2, 0.03, 0.001, -0.001, 0.0])
POSE = rig_from_camera_looking_at([0.7, 2.1, 2.7], [1.2, 0.75, 0.0])
BENDS = np.array([0.004, -0.003, 0.002, 0.001, 0.002, -0.002, 0.003])
PLANE = np.linalg.inv(invert_transform(POSE)[:3][:, [0, 1, 3]])
XY = np.stack(np.meshgrid(np.linspace(0, 2.4, 6), np.linspace(0, 1.5, 5)), axis=-1)


def seen(xy, bends=BENDS):
    height = wall_height(xy, bends, SIZE)
    return project(np.concatenate([xy, height[..., None]], axis=-1), K, LENS, POSE)[0]


@pytest.mark.parametrize("bends", [BENDS, np.zeros(7)])
def test_the_map_undoes_the_projection(bends):
    """The plane map is exact for points on the plane; off it, the parallax is first to third."""
    px = seen(XY, bends)
    found = surface_from_px(px, K, LENS, PLANE, bends, SIZE, POSE[:3, 3], iterations=6)
    assert np.allclose(found, XY, atol=1e-9)


def test_the_usual_number_of_iterations_leaves_less_than_a_micrometre():
    found = surface_from_px(seen(XY), K, LENS, PLANE, BENDS, SIZE, POSE[:3, 3])
    assert np.max(np.abs(found - XY)) < 1e-6


@pytest.mark.parametrize("bends", [BENDS, np.zeros(7)])
def test_the_jacobian_is_the_slope_of_the_map(bends):
    px = seen(XY, bends)
    rest = (K, LENS, PLANE, bends, SIZE, POSE[:3, 3])
    local = surface_px_jacobian(px, *rest)
    for axis in range(2):
        step = 1e-3 * np.eye(2)[axis]
        slope = (
            surface_from_px(px + step, *rest, iterations=6)
            - surface_from_px(px - step, *rest, iterations=6)
        ) / 2e-3
        assert np.allclose(local[..., axis], slope, atol=1e-8)


def test_the_covariance_of_a_mapped_dot_is_its_scatter():
    rng = np.random.default_rng(1)
    px, cov = seen(np.array([1.9, 0.3])), np.array([[0.04, 0.01], [0.01, 0.02]])
    rest = (K, LENS, PLANE, BENDS, SIZE, POSE[:3, 3])
    _, stated = map_px(px, cov, *rest)
    cloud = surface_from_px(px + rng.multivariate_normal(np.zeros(2), cov, 20000), *rest)
    assert np.allclose(np.cov(cloud.T), stated, rtol=0.05, atol=1e-8)


def test_a_camera_is_found_again_from_its_map():
    assert np.allclose(camera_of_plane_map(PLANE, SIZE), POSE, atol=1e-12)
    assert np.allclose(camera_of_plane_map(-3.0 * PLANE, SIZE), POSE, atol=1e-12)


def test_a_small_change_of_the_plane_moves_places_by_its_tangent():
    step = 1e-5 * np.array([1.0, -2, 3, 1, 2, -1, 2, 1])
    normalised = np.array([[0.1, 0.2], [-0.3, 0.1]])
    before = apply_homography(PLANE, normalised)
    after = apply_homography(followed_by(PLANE, step, SIZE), normalised)
    assert np.allclose(after - before, plane_tangent(centred(before, SIZE)) @ step, atol=1e-9)


def test_unknown_pixels_and_batches():
    px = seen(XY)
    px[0, 0] = np.nan
    rest = (K, LENS, PLANE, BENDS, SIZE, POSE[:3, 3])
    found, cov = map_px(px, 0.01 * np.eye(2), *rest)
    assert np.all(np.isnan(found[0, 0])) and np.all(np.isfinite(found[1:]))
    assert cov.shape == (5, 6, 2, 2)
    many = surface_from_px(px[None], K, LENS, np.stack([PLANE, PLANE])[:, None, None], *rest[3:])
    assert many.shape == (2, 5, 6, 2)
