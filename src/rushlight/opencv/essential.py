"""How two calibrated cameras stand to one another, by the points that both see; by OpenCV."""

from __future__ import annotations

import numpy as np

from rushlight.records.arrays import Array

_SURE, _SAMPLES = 0.999, 100


def relative_pose(one: Array, other: Array, within: float) -> Array:
    """How does a second camera stand to a first, but for the distance between them?

    Parameters
    ----------
    one, other
        (N, 2) the same points as undistorted normalised coordinates of each camera [1], N ≥ 5.
    within
        How far off its epipolar line a good point may lie [1].

    Returns
    -------
    (4, 4)
        ``other_from_one`` with a translation of length 1.

    Raises
    ------
    ValueError
        When the library finds no such pose.

    Notes
    -----
    OpenCV's `findEssentialMat` (five points, Nistér 2004) with random samples, and `recoverPose`.
    """
    import cv2

    cv2.setRNGSeed(1)
    a, b = (np.ascontiguousarray(each, np.float64).reshape(-1, 2) for each in (one, other))
    try:
        E, good = cv2.findEssentialMat(a, b, np.eye(3), cv2.RANSAC, _SURE, within, _SAMPLES)
        if E is None or np.shape(E) != (3, 3):
            raise ValueError("the library finds no essential matrix for these points")
        _, turn, shift, _ = cv2.recoverPose(E, a, b, np.eye(3), mask=good)
    except cv2.error as error:
        raise ValueError("the library finds no essential matrix for these points") from error
    pose = np.eye(4)
    pose[:3, :3] = np.asarray(turn, float).reshape(3, 3)
    pose[:3, 3] = np.asarray(shift, float).reshape(3)
    return pose
