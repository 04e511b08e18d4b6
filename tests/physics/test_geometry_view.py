"""What a camera sees: sharpness from first principles, millimetres a pixel by projection."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rushlight.physics.geometry.pinhole import camera_matrix, project
from rushlight.physics.geometry.pose import rig_from_camera_looking_at, rig_from_camera_turned
from rushlight.physics.geometry.view import (
    corners_of_view_on_plane,
    defocus_circle,
    depth_of_field,
    hyperfocal,
    incidence,
    metres_per_pixel,
    motion_blur_px,
    rolling_skew_m,
    surface_from_px_jacobian,
)

LENS = np.array([-0.25, 0.06, 0.001, -0.0008, -0.01])


@settings(deadline=None)
@given(st.floats(2e-3, 0.1), st.floats(1.2, 16.0), st.floats(1e-6, 5e-5), st.floats(0.15, 20.0))
def test_depth_of_field_ends_where_the_blur_circle_is_reached(focal, f_number, circle, focus):
    near, far = depth_of_field(hyperfocal(focal, f_number, circle), focal, focus)
    assert near < focus < far
    assert defocus_circle(focal, f_number, focus, near) == pytest.approx(circle, rel=1e-6)
    if np.isfinite(far):
        assert defocus_circle(focal, f_number, focus, far) == pytest.approx(circle, rel=1e-6)
    else:
        assert defocus_circle(focal, f_number, focus, 1e9) <= circle * (1 + 1e-6)


def test_blur_circle_is_the_cone_of_rays_cut_by_the_sensor():
    focal, f_number, focus, distance = 6e-3, 2.0, 1.5, 0.9
    sensor = 1 / (1 / focal - 1 / focus)
    image = 1 / (1 / focal - 1 / distance)
    cone = focal / f_number * abs(sensor - image) / image
    assert defocus_circle(focal, f_number, focus, distance) == pytest.approx(cone, rel=1e-12)


def test_at_the_hyperfocal_distance_all_from_half_of_it_is_sharp():
    hyper = hyperfocal(6e-3, 2.0, 6.9e-6)
    near, far = depth_of_field(hyper, 6e-3, hyper)
    assert near == pytest.approx(hyper / 2)
    assert far == np.inf


def test_focus_within_the_focal_length_is_no_focus():
    near, far = depth_of_field(1.6, 3.6e-3, 3e-3)
    assert np.isnan(near)
    assert np.isnan(far)
    assert np.isnan(defocus_circle(3.6e-3, 2.0, 3e-3, 1.0))


def test_incidence_counts_from_the_normal():
    camera = [0.0, 0.0, 2.0]
    points = [[0.0, 0, 0], [2.0, 0, 0], [0.0, 0, 4.0], [0.0, 0, 2.0]]
    np.testing.assert_allclose(
        incidence(points, camera), [0.0, np.pi / 4, np.pi, np.nan], atol=1e-15
    )
    assert incidence([0.0, 0, 0], [0.0, 3.0, 3.0], [0.0, 2.0, 0.0]) == pytest.approx(np.pi / 4)


@pytest.fixture
def rigs():
    rng = np.random.default_rng(1)
    poses = rig_from_camera_looking_at(
        rng.uniform([-0.5, 0, 1.8], [2.5, 2, 3], (6, 3)), [1.0, 0.7, 0.0], rng.uniform(-1, 1, 6)
    )
    return camera_matrix(rng.uniform(500, 800, 6), [315.0, 245.0], 1.02), poses


def test_jacobian_is_the_inverse_of_the_projections_derivative(rigs):
    K, poses = rigs
    xy = np.random.default_rng(2).uniform([0.3, 0.3], [1.7, 1.1], (10, 2))
    step, z_m = 1e-6, 0.04

    def pixel(points):
        full = np.concatenate([points, np.full((len(points), 1), z_m)], axis=1)
        return project(full, K[:, None], LENS, poses[:, None])[0]

    forward = np.stack(
        [(pixel(xy + step * unit) - pixel(xy - step * unit)) / (2 * step) for unit in np.eye(2)],
        axis=-1,
    )
    local = surface_from_px_jacobian(xy, K[:, None], LENS, poses[:, None], z_m)
    assert local.shape == (6, 10, 2, 2)
    np.testing.assert_allclose(local @ forward, np.broadcast_to(np.eye(2), local.shape), atol=1e-6)
    axes = metres_per_pixel(xy, K[:, None], LENS, poses[:, None], z_m)
    np.testing.assert_allclose(axes, np.linalg.svd(local, compute_uv=False), rtol=1e-12)


def test_obliquely_a_pixel_is_longer_by_the_cosine():
    position = [2.0 * np.tan(1.0), 0.0, 2.0]
    pose = rig_from_camera_looking_at(position, [0.0, 0.0, 0.0])
    K = camera_matrix(600.0, [320.0, 240.0])
    range_m = 2.0 / np.cos(1.0)
    axes = metres_per_pixel([0.0, 0.0], K, np.zeros(5), pose)
    np.testing.assert_allclose(axes, [range_m / 600 / np.cos(1.0), range_m / 600], rtol=1e-12)


def test_what_is_not_seen_has_no_scale():
    K = camera_matrix(600.0, [320.0, 240.0])
    behind = rig_from_camera_turned([0.0, 0.0, 2.0], np.pi, 0.0)
    edge_on = rig_from_camera_turned([-2.0, 0.0, 0.0], np.pi / 2, 0.0)
    facing = rig_from_camera_turned([0.0, 0.0, 2.0], 0.0, 0.0)
    poses = np.stack([behind, edge_on, facing])
    axes = metres_per_pixel([[0.0, 0], [0, 0], [30, 0]], K, LENS, poses)
    assert np.all(np.isnan(axes))


def test_corners_of_the_view_project_to_the_corners_of_the_picture(rigs):
    K, poses = rigs
    corners = corners_of_view_on_plane([640, 480], K, LENS, poses, 0.1)
    assert corners.shape == (6, 4, 2)
    full = np.concatenate([corners, np.full((6, 4, 1), 0.1)], axis=-1)
    px, _ = project(full, K[:, None], LENS, poses[:, None])
    wanted = [[-0.5, -0.5], [639.5, -0.5], [639.5, 479.5], [-0.5, 479.5]]
    seen = np.all(np.isfinite(corners), axis=-1)
    assert seen.sum() >= 12
    np.testing.assert_allclose(px[seen], np.broadcast_to(wanted, px.shape)[seen], atol=1e-8)


def test_a_level_camera_sees_its_upper_corners_miss_the_floor():
    down = rig_from_camera_turned([0.0, 0.0, 1.0], 0.0, np.radians(80))
    corners = corners_of_view_on_plane(
        [640, 480], camera_matrix(600.0, [319.5, 239.5]), np.zeros(5), down
    )
    assert np.all(np.isnan(corners[:2]))
    assert np.all(np.isfinite(corners[2:]))


def test_smear_and_skew_broadcast():
    np.testing.assert_allclose(
        motion_blur_px([0.5, 1.0], 0.01, [[0.005], [0.002]]), [[1, 2], [2.5, 5]]
    )
    np.testing.assert_allclose(rolling_skew_m([0.0, 3e-5], 100, 2.0), [0.0, 0.006])
