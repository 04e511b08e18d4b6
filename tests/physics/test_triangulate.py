"""Triangulation against OpenCV on random scenes, and its doubt against many draws."""

import cv2
import numpy as np
import pytest

from rushlight.physics.geometry import (
    invert_transform,
    project,
    rig_from_camera_looking_at,
)
from rushlight.physics.geometry.triangulate import triangulate

LENS = np.array([-0.1, 0.03, 5e-4, -4e-4, 0.0])


def scene(seed, cameras=2):
    """Cameras round a middle, and a point near it."""
    draw = np.random.default_rng(seed)
    K = np.array([[900.0, 0.0, 640.0], [0.0, 905.0, 360.0], [0.0, 0.0, 1.0]])
    poses = np.stack(
        [
            rig_from_camera_looking_at(
                draw.uniform([-1.0, -0.5, -2.0], [1.0, 0.5, -1.5]), draw.uniform(-0.1, 0.1, 3)
            )
            for _ in range(cameras)
        ]
    )
    return K, poses, draw.uniform(-0.3, 0.3, 3), draw


def test_it_finds_what_opencv_finds_on_random_scenes():
    for seed in range(50):
        K, poses, point, draw = scene(seed)
        px = project(point, K, LENS, poses)[0] + draw.normal(0.0, 0.3, (2, 2))
        ours = triangulate(px, np.tile(np.eye(2), (2, 1, 1)), K, LENS, poses)
        matrices = [K @ invert_transform(pose)[:3] for pose in poses]
        flat = [cv2.undistortPoints(p.reshape(1, 1, 2), K, LENS, P=K).reshape(2) for p in px]
        four = cv2.triangulatePoints(*matrices, *[p.reshape(2, 1) for p in flat])
        theirs = (four[:3] / four[3]).ravel()
        # The library takes the smallest algebraic error, not the likeliest place: a tenth of
        # what the dots leave open separates the two at most.
        std = np.sqrt(np.trace(ours.cov) * 0.09)
        assert np.linalg.norm(ours.point_m - theirs) < 0.1 * std
        exact = project(point, K, LENS, poses)[0]
        assert triangulate(exact, np.tile(np.eye(2), (2, 1, 1)), K, LENS, poses).point_m == (
            pytest.approx(point, abs=1e-9)
        )


def test_doubt_and_misfit_are_those_of_many_draws():
    K, poses, point, draw = scene(7, cameras=3)
    std = np.array([0.1, 0.4, 0.2])
    covs = std[:, None, None] ** 2 * np.eye(2)
    exact = project(point, K, LENS, poses)[0]
    px = exact + std[:, None] * draw.standard_normal((4000, 3, 2))
    found = triangulate(px, covs, K, LENS, poses)
    assert np.cov(found.point_m.T) == pytest.approx(
        found.cov[0], rel=0.08, abs=0.03 * np.trace(found.cov[0])
    )
    assert np.mean(found.misfit) == pytest.approx(3.0, rel=0.06)


def test_what_cannot_be_told_is_nan():
    K, poses, point, _ = scene(3, cameras=3)
    px = project(point, K, LENS, poses)[0]
    covs = np.tile(np.eye(2), (3, 1, 1))
    one = np.where(np.arange(3)[:, None] == 0, px, np.nan)
    assert np.isnan(triangulate(one, covs, K, LENS, poses).point_m).all()
    two = np.where(np.arange(3)[:, None] < 2, px, np.nan)
    found = triangulate(two, covs, K, LENS, poses)
    assert found.point_m == pytest.approx(point, abs=1e-9) and found.cameras == 2
    same = triangulate(px[:1].repeat(2, 0), covs[:2], K, LENS, poses[:1].repeat(2, 0))
    assert np.isnan(same.point_m).all()
    assert triangulate(np.zeros((0, 3, 2)), covs, K, LENS, poses).point_m.shape == (0, 3)
