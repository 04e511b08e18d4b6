"""Poses: against SciPy's rotations, and by their own inverses and definitions."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from rushlight.physics.geometry.pose import (
    invert_transform,
    matrix_from_quaternion,
    quaternion_from_matrix,
    rig_from_camera_looking_at,
    rig_from_camera_turned,
    transform_points,
    turn_of_camera,
)

coordinate = st.floats(-5.0, 5.0)
point = st.tuples(coordinate, coordinate, coordinate).map(np.array)


def test_quaternions_agree_with_scipy():
    turns = Rotation.random(500, rng=np.random.default_rng(1))
    wxyz = turns.as_quat(scalar_first=True, canonical=True).reshape(50, 10, 4)
    matrices = turns.as_matrix().reshape(50, 10, 3, 3)
    np.testing.assert_allclose(matrix_from_quaternion(3.0 * wxyz), matrices, atol=1e-14)
    np.testing.assert_allclose(quaternion_from_matrix(matrices), wxyz, atol=1e-14)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_half_turns_have_no_scalar_part(axis):
    wanted = np.zeros(4)
    wanted[1 + axis] = 1.0
    matrix = Rotation.from_rotvec(np.pi * np.eye(3)[axis]).as_matrix()
    np.testing.assert_allclose(np.abs(quaternion_from_matrix(matrix)), wanted, atol=1e-15)


def test_no_rotation_is_made_of_a_zero_quaternion():
    with pytest.raises(ValueError, match="length 0"):
        matrix_from_quaternion([[1.0, 0, 0, 0], [0, 0, 0, 0]])


def test_shapes_are_named_in_the_error():
    with pytest.raises(ValueError, match=r"q_wxyz must have shape \(\.\.\., 4\), not \(3,\)"):
        matrix_from_quaternion([1.0, 0, 0])
    with pytest.raises(ValueError, match=r"\(\.\.\., 4, 4\), not \(3, 3\)"):
        invert_transform(np.eye(3))


@settings(deadline=None)
@given(point, point, st.floats(-3.0, 3.0))
def test_a_looking_camera_has_its_target_ahead(position, target, roll_rad):
    distance = np.linalg.norm(target - position)
    if distance < 1e-3:
        return
    pose = rig_from_camera_looking_at(position, target, roll_rad)
    seen = transform_points(invert_transform(pose), target)
    np.testing.assert_allclose(seen, [0.0, 0.0, distance], atol=1e-9)
    np.testing.assert_allclose(pose[:3, :3].T @ pose[:3, :3], np.eye(3), atol=1e-12)
    assert np.linalg.det(pose[:3, :3]) == pytest.approx(1.0)


def test_a_camera_before_the_display_sees_it_upright():
    pose = rig_from_camera_looking_at([1.0, 0.8, 3.0], [1.0, 0.8, 0.0])
    camera_from_rig = invert_transform(pose)
    right, up = transform_points(camera_from_rig, [[1.5, 0.8, 0.0], [1.0, 1.3, 0.0]])
    np.testing.assert_allclose(right, [0.5, 0.0, 3.0], atol=1e-15)
    np.testing.assert_allclose(up, [0.0, -0.5, 3.0], atol=1e-15)


@pytest.mark.parametrize(("target_y", "tilt_rad"), [(5.0, np.pi / 2), (-5.0, -np.pi / 2)])
def test_straight_up_and_down_equal_a_tilt(target_y, tilt_rad):
    looking = rig_from_camera_looking_at([1.0, 1.0, 2.0], [1.0, target_y, 2.0])
    turned = rig_from_camera_turned([1.0, 1.0, 2.0], 0.0, tilt_rad)
    np.testing.assert_allclose(looking, turned, atol=1e-15)


def test_a_camera_cannot_look_at_itself():
    with pytest.raises(ValueError, match="own centre"):
        rig_from_camera_looking_at([[0.0, 0, 1], [0, 0, 2]], [0.0, 0, 2])


def test_signs_of_pan_tilt_and_roll():
    forward = rig_from_camera_turned(np.zeros(3), 0.1, 0.0)[:3, 2]
    assert forward[0] == pytest.approx(np.sin(0.1))
    forward = rig_from_camera_turned(np.zeros(3), 0.0, 0.1)[:3, 2]
    assert forward[1] == pytest.approx(np.sin(0.1))
    # Clockwise from behind: the camera's own right dips.
    right = rig_from_camera_turned(np.zeros(3), 0.0, 0.0, 0.1)[:3, 0]
    assert right[1] == pytest.approx(-np.sin(0.1))


@settings(deadline=None)
@given(st.floats(-3.1, 3.1), st.floats(-1.5, 1.5), st.floats(-3.1, 3.1))
def test_turn_of_camera_inverts_turning(pan, tilt, roll):
    again = turn_of_camera(rig_from_camera_turned([0.3, 0.2, 1.0], pan, tilt, roll))
    np.testing.assert_allclose(again, [pan, tilt, roll], atol=1e-9)


def test_looking_and_turning_agree():
    rng = np.random.default_rng(2)
    position, target = rng.uniform(-2, 2, (2, 40, 3))
    roll = rng.uniform(-1, 1, 40)
    pose = rig_from_camera_looking_at(position, target, roll)
    np.testing.assert_allclose(
        rig_from_camera_turned(position, *turn_of_camera(pose)), pose, atol=1e-12
    )


def test_batches_of_rigs_see_many_points():
    rng = np.random.default_rng(3)
    poses = rig_from_camera_looking_at(rng.uniform(-2, 2, (6, 3)), [0.0, 0.0, 9.0])
    points = rng.normal(size=(11, 3))
    moved = transform_points(poses[:, None], points)
    assert moved.shape == (6, 11, 3)
    np.testing.assert_allclose(moved[4, 7], (poses[4] @ np.append(points[7], 1.0))[:3])
    np.testing.assert_allclose(
        transform_points(invert_transform(poses)[:, None], moved),
        np.broadcast_to(points, (6, 11, 3)),
        atol=1e-12,
    )
