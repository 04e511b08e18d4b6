"""Poses from dots: derivatives, covariance by Monte Carlo, and OpenCV's own solver."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from rushlight.physics.geometry import project, rig_from_camera_looking_at
from rushlight.physics.geometry.pose_fit import Belief, Looks, fit_pose, no_belief
from rushlight.physics.geometry.rotation import (
    matrix_from_rotation_vector,
    pose_difference,
    pose_matrix,
    pose_moved,
    rotation_of_facing,
)
from rushlight.physics.geometry.sight import sight_of

K = np.array([[800.0, 0.0, 320.0], [0.0, 790.0, 240.0], [0.0, 0.0, 1.0]])
LENS = np.array([-0.2, 0.05, 0.001, -0.001, 0.01])
CAMERA = rig_from_camera_looking_at([0.3, 0.5, 0.1], [0.2, 0.2, 1.5])
STD_PX = 0.1


def looks_of(count: int, camera: np.ndarray = CAMERA) -> Looks:
    return Looks(
        np.broadcast_to(K, (count, 3, 3)),
        np.broadcast_to(LENS, (count, 5)),
        np.broadcast_to(camera, (count, 4, 4)),
    )


def some_poses(rng: np.random.Generator, count: int) -> np.ndarray:
    turned = rotation_of_facing(*rng.uniform(-0.5, 0.5, (3, count)))
    return pose_matrix(turned, rng.uniform([0.0, 0.0, 1.2], [0.4, 0.4, 1.8], (count, 3)))


def dots_of(poses: np.ndarray, lights: np.ndarray) -> np.ndarray:
    points = np.matvec(poses[:, None, :3, :3], lights) + poses[:, None, :3, 3]
    return sight_of(points, K, LENS, CAMERA).px


def noise(count: int) -> np.ndarray:
    return np.broadcast_to(STD_PX**2 * np.eye(2), (count, 2, 2))


def test_pixels_are_those_of_the_pinhole_module():
    points = np.random.default_rng(0).uniform([0, 0, 1], [0.5, 0.5, 2], (50, 3))
    assert np.allclose(sight_of(points, K, LENS, CAMERA).px, project(points, K, LENS, CAMERA)[0])


@pytest.mark.parametrize("what", ["point", "camera", "lens"])
def test_derivatives_against_differences(what):
    points = np.random.default_rng(1).uniform([0, 0, 1], [0.5, 0.5, 2], (30, 3))
    sight = sight_of(points, K, LENS, CAMERA)
    ours = {"point": sight.by_point, "camera": sight.by_camera, "lens": sight.by_lens}[what]
    for axis in range(ours.shape[-1]):
        step = np.zeros(ours.shape[-1])
        step[axis] = 1e-6
        ends = []
        for sign in (1.0, -1.0):
            if what == "point":
                moved = sight_of(points + sign * step, K, LENS, CAMERA)
            elif what == "camera":
                moved = sight_of(points, K, LENS, pose_moved(CAMERA, sign * step))
            else:
                matrix = K + sign * np.array(
                    [[step[0], 0, step[2]], [0, step[1], step[3]], [0, 0, 0]]
                )
                moved = sight_of(points, matrix, LENS + sign * step[4:], CAMERA)
            ends.append(moved.px)
        assert np.allclose((ends[0] - ends[1]) / 2e-6, ours[..., axis], rtol=1e-5, atol=1e-4)


def test_what_is_behind_the_camera_is_not_seen():
    assert np.isnan(sight_of([0.3, 0.5, -2.0], K, LENS, CAMERA).px).all()


def test_exact_dots_give_the_exact_pose():
    rng = np.random.default_rng(2)
    lights, true = rng.uniform(-0.1, 0.1, (5, 3)), some_poses(rng, 20)
    found = fit_pose(lights, dots_of(true, lights), noise(5), looks_of(5), START)
    assert np.abs(pose_difference(found.pose, true)).max() < 1e-7


START = pose_matrix(np.eye(3), [0.2, 0.2, 1.5])


def test_covariance_holds_by_monte_carlo():
    rng = np.random.default_rng(3)
    lights, true = rng.uniform(-0.1, 0.1, (6, 3)), some_poses(rng, 400)
    px = dots_of(true, lights) + STD_PX * rng.standard_normal((400, 6, 2))
    found = fit_pose(lights, px, noise(6), looks_of(6), START)
    step = pose_difference(found.pose, true)
    squares = np.einsum("na,nab,nb->n", step, np.linalg.inv(found.cov), step)
    # Mean of 400 chi-squares of six and of 12 − 6 degrees of freedom, at five deviations.
    assert squares.mean() == pytest.approx(6.0, abs=5 * np.sqrt(12 / 400))
    assert found.misfit.mean() == pytest.approx(6.0, abs=5 * np.sqrt(12 / 400))


def test_no_pose_fits_better_than_opencvs():
    """OpenCV minimises the same sum of squares; from its answer nothing is to be gained."""
    rng = np.random.default_rng(4)
    lights, true = rng.uniform(-0.1, 0.1, (6, 3)), some_poses(rng, 30)
    px = dots_of(true, lights) + STD_PX * rng.standard_normal((30, 6, 2))
    found = fit_pose(lights, px, noise(6), looks_of(6), START)
    for i in range(30):
        _, turn, move = cv2.solvePnP(lights, px[i], K, LENS, flags=cv2.SOLVEPNP_ITERATIVE)
        theirs = CAMERA @ pose_matrix(matrix_from_rotation_vector(turn[:, 0]), move[:, 0])
        away = pose_difference(found.pose[i], theirs)
        assert np.abs(away[:3]).max() < 2e-5
        assert np.abs(away[3:]).max() < 2e-4


def test_several_cameras_agree_on_one_pose():
    rng = np.random.default_rng(5)
    lights, true = rng.uniform(-0.1, 0.1, (3, 3)), some_poses(rng, 1)[0]
    other = rig_from_camera_looking_at([1.2, 0.4, 0.5], [0.2, 0.2, 1.5])
    cameras = np.concatenate([np.broadcast_to(c, (3, 4, 4)) for c in (CAMERA, other)])
    looks = Looks(*looks_of(6)[:2], cameras)
    both = np.concatenate([lights, lights])
    px = sight_of(both @ true[:3, :3].T + true[:3, 3], K, LENS, cameras).px
    found = fit_pose(both, px, noise(6), looks, START)
    assert np.abs(pose_difference(found.pose, true)).max() < 1e-7
    alone = fit_pose(lights, px[:3], noise(3), looks_of(3), true)
    assert np.all(np.diag(found.cov) < np.diag(alone.cov))


def test_two_lights_leave_a_turn_open_that_belief_closes():
    lights = np.array([[-0.075, 0.0, 0.0], [0.075, 0.0, 0.0]])
    px = dots_of(START[None], lights)[0]
    bare = fit_pose(lights, px, noise(2), looks_of(2), START)
    assert np.isnan(bare.cov).all()
    facing = Belief(START, np.diag([0.0, 0.0, 0.0, *[1 / 0.1**2] * 3]))
    held = fit_pose(lights, px, noise(2), looks_of(2), START, facing)
    assert np.isfinite(held.cov).all()
    # About the line through the lights only the belief speaks.
    assert held.cov[3, 3] == pytest.approx(0.1**2, rel=0.02)


def test_an_unseen_light_counts_for_nothing():
    rng = np.random.default_rng(6)
    lights, true = rng.uniform(-0.1, 0.1, (6, 3)), some_poses(rng, 1)
    px = dots_of(true, lights)[0]
    px[5] = np.nan
    found = fit_pose(lights, px, noise(6), looks_of(6), START)
    fewer = fit_pose(lights[:5], px[:5], noise(5), looks_of(5), START)
    assert found.dots_used == 5
    assert np.allclose(found.cov, fewer.cov)
    assert np.all(found.gain[:, 5] == 0.0)


def test_without_dots_only_the_belief_is_left():
    belief = Belief(START, np.eye(6))
    unseen = np.full((2, 2), np.nan)
    found = fit_pose(np.zeros((2, 3)), unseen, noise(2), looks_of(2), START, belief)
    assert np.allclose(found.pose, START)
    assert np.allclose(found.cov, np.eye(6))
    nothing = fit_pose(np.zeros((2, 3)), unseen, noise(2), looks_of(2), START)
    assert np.isnan(nothing.cov).all()
    assert no_belief((3,)).information.shape == (3, 6, 6)


def test_gain_tells_how_the_pose_follows_a_dot():
    rng = np.random.default_rng(7)
    lights, true = rng.uniform(-0.1, 0.1, (5, 3)), some_poses(rng, 1)
    px = dots_of(true, lights)[0]
    found = fit_pose(lights, px, noise(5), looks_of(5), START)
    moved = px.copy()
    moved[2, 0] += 0.01
    again = fit_pose(lights, moved, noise(5), looks_of(5), START)
    step = pose_difference(again.pose, found.pose)
    assert np.allclose(step, found.gain[:, 2, 0] * 0.01, rtol=1e-2, atol=1e-8)
