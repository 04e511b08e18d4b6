"""Poses from three dots, by OpenCV, in fixed shapes."""

from __future__ import annotations

import numpy as np

from rushlight.opencv.calibrate import pose_of
from rushlight.records.arrays import Array


def three_point_poses(points_m: Array, px: Array, K: Array, k: Array) -> Array:
    """Where can a camera's three dots have come from?

    Parameters
    ----------
    points_m
        (3, 3) lights in the thing's frame [m].
    px
        (3, 2) their dots [px], in the same order.
    K, k
        (3, 3) [px] and (5,) of the camera.

    Returns
    -------
    (S, 4, 4)
        ``camera_from_thing``, none to four of them; those behind the camera are left out.

    Notes
    -----
    OpenCV `solveP3P`, by the method of Ke and Roumeliotis, 2017 (from memory); three points on
    a line have no pose that it finds.
    """
    import cv2

    try:
        count, turns, places = cv2.solveP3P(
            np.ascontiguousarray(points_m, np.float64).reshape(3, 1, 3),
            np.ascontiguousarray(px, np.float64).reshape(3, 1, 2),
            np.ascontiguousarray(K, np.float64),
            np.ascontiguousarray(k, np.float64),
            flags=cv2.SOLVEPNP_AP3P,
        )
    except cv2.error:
        return np.zeros((0, 4, 4))
    poses = [pose_of(turns[i], places[i]) for i in range(int(count))]
    ahead = [pose for pose in poses if np.isfinite(pose).all() and pose[2, 3] > 0.0]
    return np.array(ahead).reshape(-1, 4, 4)
