"""Points in space seen by a camera, and how their pictures move with everything that is doubted.

The doubts of a camera are told as steps: of its lens by nine numbers in the order fx fy cx cy k1
k2 p1 p2 k3, of its place by six as in `rushlight.physics.geometry.rotation.pose_moved`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.lens import (
    distort,
    distortion_jacobian,
    distortion_jacobian_wrt_k,
    distortion_limit,
)
from rushlight.physics.geometry.pose import invert_transform, transform_points
from rushlight.physics.geometry.rotation import cross_matrix
from rushlight.physics.geometry.shapes import FloatArray, trailing

LENS_PARAMETERS = ("fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3")
"""Order of a lens's nine numbers, fx to cy [px]."""


class Sight(NamedTuple):
    """What cameras see of points, and its derivatives.

    Fields
    ------
    px : (..., 2) [px]; NaN behind the camera and where its lens model folds back
    by_point : (..., 2, 3) [px/m], with the point in the rig
    by_camera : (..., 2, 6) [px/m, px/rad], with the camera's place and angles in the rig
    by_lens : (..., 2, 9), with the lens's numbers
    """

    px: FloatArray
    by_point: FloatArray
    by_camera: FloatArray
    by_lens: FloatArray


def sight_of(
    points_m: ArrayLike,
    K: ArrayLike,
    k: ArrayLike,
    rig_from_camera: ArrayLike,
    limit: ArrayLike | None = None,
) -> Sight:
    """Where does a camera see points, and how does that move?

    Parameters
    ----------
    points_m : array_like, shape (..., 3)
        In the rig frame [m].
    K : array_like, shape (..., 3, 3)
        Camera matrix [px], without skew.
    k : array_like, shape (..., 5)
        Lens coefficients k1 k2 p1 p2 k3 [1].
    rig_from_camera : array_like, shape (..., 4, 4)
    limit : array_like, shape (...), or None
        What `distortion_limit` tells of `k`, where it is known already.

    Returns
    -------
    Sight

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Notes
    -----
    Source: the chain rule; held against numerical differences, and the pixels against OpenCV, in
    the tests.

    Examples
    --------
    >>> K = np.diag([800.0, 800.0, 1.0])
    >>> sight = sight_of([0.1, 0.0, 2.0], K, np.zeros(5), np.eye(4))
    >>> sight.px.tolist(), sight.by_point[0].tolist()
    ([40.0, 0.0], [400.0, 0.0, -20.0])
    """
    matrix, coefficients = trailing(K, (3, 3), "K"), trailing(k, (5,), "k")
    pose = trailing(rig_from_camera, (4, 4), "rig_from_camera")
    points = trailing(points_m, (3,), "points_m")
    seen = transform_points(invert_transform(pose), points)
    depth = np.where(seen[..., 2] > 0.0, seen[..., 2], np.nan)
    flat = seen[..., :2] / depth[..., None]
    radius = np.linalg.norm(flat, axis=-1)
    within = radius < (distortion_limit(coefficients) if limit is None else np.asarray(limit))
    flat = np.where(within[..., None], flat, np.nan)
    bent = distort(flat, coefficients)
    focal = np.stack([matrix[..., 0, 0], matrix[..., 1, 1]], axis=-1)
    px = bent * focal + matrix[..., :2, 2]
    shape = px.shape[:-1]

    scale = np.zeros((*shape, 2, 3))  # d(flat)/d(seen)
    scale[..., 0, 0] = scale[..., 1, 1] = 1.0 / depth
    scale[..., :, 2] = -flat / depth[..., None]
    by_flat = focal[..., None] * distortion_jacobian(flat, coefficients)
    by_seen = by_flat @ scale
    turn = np.swapaxes(pose[..., :3, :3], -1, -2)
    by_point = by_seen @ turn
    # The camera turned about its own centre: the point moves the other way round.
    arm = points - pose[..., :3, 3]
    by_camera = np.concatenate([-by_point, by_point @ cross_matrix(arm)], axis=-1)
    by_lens = np.zeros((*shape, 2, 9))
    by_lens[..., 0, 0], by_lens[..., 1, 1] = bent[..., 0], bent[..., 1]
    by_lens[..., 0, 2] = by_lens[..., 1, 3] = 1.0
    by_lens[..., :, 4:] = focal[..., None] * distortion_jacobian_wrt_k(flat)
    return Sight(px, by_point, by_camera, by_lens)
