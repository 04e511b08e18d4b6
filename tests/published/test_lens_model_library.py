"""The lens model, order and sign of its coefficients, and pixels, against a library.

SOURCE: OpenCV 5.0.0 (`projectPoints` with its Jacobian, `undistortPoints`), as installed; the
model is that of Brown, "Close-range camera calibration", Photogrammetric Engineering 37(8),
1971 (from memory).
"""

import cv2
import numpy as np
import pytest

from rushlight.physics.geometry.lens import distortion_jacobian_wrt_k
from rushlight.physics.geometry.pinhole import camera_matrix, project, undistort_px
from rushlight.physics.geometry.pose import invert_transform, rig_from_camera_looking_at


def rig(seed):
    rng = np.random.default_rng(seed)
    K = camera_matrix(rng.uniform(400, 900), rng.uniform([300, 220], [340, 260]), 1.003)
    k = rng.uniform([-0.3, -0.05, -0.003, -0.003, -0.02], [0.1, 0.1, 0.003, 0.003, 0.02])
    pose = rig_from_camera_looking_at(
        rng.uniform([-0.5, 0, 2], [2.5, 2, 4]), [1.0, 0.7, 0.0], rng.uniform(-1, 1)
    )
    points = rng.uniform([0, 0, -0.1], [2, 1.4, 0.3], (50, 3))
    return K, k, pose, points


@pytest.mark.parametrize("seed", range(8))
def test_projection_and_its_derivative(seed):
    K, k, pose, points = rig(seed)
    camera_from_rig = invert_transform(pose)
    turn, _ = cv2.Rodrigues(camera_from_rig[:3, :3])
    theirs, derivative = cv2.projectPoints(points, turn, camera_from_rig[:3, 3], K, k)
    px, depth_m = project(points, K, k, pose)
    assert np.all(np.isfinite(px))
    np.testing.assert_allclose(px, theirs.reshape(-1, 2), atol=1e-9)
    seen = points @ camera_from_rig[:3, :3].T + camera_from_rig[:3, 3]
    np.testing.assert_allclose(depth_m, seen[:, 2], atol=1e-12)
    ours = K[:2, :2] @ distortion_jacobian_wrt_k(seen[:, :2] / seen[:, 2:])
    np.testing.assert_allclose(ours, derivative.reshape(50, 2, -1)[..., 10:15], atol=1e-8)


@pytest.mark.parametrize("seed", range(8))
def test_undistortion(seed):
    K, k, pose, points = rig(seed)
    px, _ = project(points, K, k, pose)
    stop = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 500, 1e-13)
    theirs = cv2.undistortPoints(px[:, None], K, k, None, np.eye(3), np.eye(3), stop)
    np.testing.assert_allclose(undistort_px(px, K, k), theirs.reshape(-1, 2), atol=1e-9)
