"""Points in space from their dots in several cameras: the likeliest place, and its doubt."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.pinhole import undistort_px
from rushlight.physics.geometry.shapes import FloatArray, trailing
from rushlight.physics.geometry.sight import sight_of

_STEPS = 12
_ENOUGH_M = 1e-10


class Triangulated(NamedTuple):
    """Points in space.

    Fields
    ------
    point_m : (..., 3) [m]; NaN where fewer than two cameras see it, or where their rays run
        alongside or meet behind a camera
    cov : (..., 3, 3) [m²] of the dots' doubt alone
    misfit : (...) sum of squares of what is left, in units of the dots' deviations; its degrees
        of freedom are twice the cameras less three
    cameras : (...) how many saw it
    """

    point_m: FloatArray
    cov: FloatArray
    misfit: FloatArray
    cameras: FloatArray


def triangulate(
    px: ArrayLike, px_cov: ArrayLike, K: ArrayLike, k: ArrayLike, rig_from_camera: ArrayLike
) -> Triangulated:
    """Where is a point that several cameras see?

    Parameters
    ----------
    px : array_like, shape (..., C, 2)
        Its dot in each camera [px]; NaN where it is not seen.
    px_cov : array_like, shape (..., C, 2, 2)
        Covariance of the dots [px²].
    K, k, rig_from_camera : array_like, shapes (..., C, 3, 3) [px], (..., C, 5), (..., C, 4, 4)
        The cameras.

    Returns
    -------
    Triangulated

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Notes
    -----
    Source: the place nearest to all rays, then Gauss–Newton steps on the distances in the
    pictures (Hartley and Sturm, "Triangulation", Computer Vision and Image Understanding 68,
    1997; from memory); held against OpenCV in the tests.

    Examples
    --------
    >>> K = np.diag([800.0, 800.0, 1.0])
    >>> beside = np.eye(4)
    >>> beside[0, 3] = 0.5
    >>> found = triangulate(
    ...     [[0.0, 0.0], [-200.0, 0.0]],
    ...     [np.eye(2)] * 2,
    ...     K,
    ...     np.zeros(5),
    ...     [np.eye(4), beside],
    ... )
    >>> found.point_m.round(9).tolist()
    [0.0, 0.0, 2.0]
    """
    dots, covs = trailing(px, (None, 2), "px"), trailing(px_cov, (None, 2, 2), "px_cov")
    matrix, lens = trailing(K, (3, 3), "K"), trailing(k, (5,), "k")
    pose = trailing(rig_from_camera, (4, 4), "rig_from_camera")
    seen = np.asarray(np.isfinite(dots).all(axis=-1) & np.isfinite(covs).all(axis=(-2, -1)))
    weight = np.zeros((*seen.shape, 2, 2))
    weight[seen] = np.linalg.inv(np.broadcast_to(covs, (*seen.shape, 2, 2))[seen])
    count = seen.sum(axis=-1)
    flat = undistort_px(dots, matrix, lens)
    ray = np.concatenate([flat, np.ones((*flat.shape[:-1], 1))], axis=-1)
    ray = np.matvec(pose[..., :3, :3], ray / np.linalg.norm(ray, axis=-1, keepdims=True))
    seen = np.asarray(seen & np.isfinite(ray).all(axis=-1))
    ray = np.where(seen[..., None], ray, 0.0)
    centre = np.broadcast_to(pose[..., :3, 3], ray.shape)
    across = np.where(seen[..., None, None], np.eye(3) - ray[..., :, None] * ray[..., None, :], 0.0)
    point = _solved(across.sum(axis=-3), np.matvec(across, centre).sum(axis=-2))
    for _ in range(_STEPS):
        sight = sight_of(point[..., None, :], matrix, lens, pose)
        by_point = np.where(seen[..., None, None], sight.by_point, 0.0)
        missed = np.where(seen[..., None], dots - sight.px, 0.0)
        normal = np.einsum("...cia,...cij,...cjb->...ab", by_point, weight, by_point)
        slope = np.einsum("...cia,...cij,...cj->...a", by_point, weight, missed)
        step = _solved(normal, slope)
        point = point + step
        if not np.any(np.abs(step) > _ENOUGH_M):
            break
    sight = sight_of(point[..., None, :], matrix, lens, pose)
    missed = np.where(seen[..., None], dots - sight.px, 0.0)
    misfit = np.einsum("...ci,...cij,...cj->...", missed, weight, missed)
    good = np.asarray((count >= 2) & np.isfinite(misfit) & np.isfinite(point).all(axis=-1))
    by_point = np.where(seen[..., None, None], sight.by_point, 0.0)
    normal = np.einsum("...cia,...cij,...cjb->...ab", by_point, weight, by_point)
    cov = np.full((*good.shape, 3, 3), np.nan)
    cov[good] = np.linalg.pinv(normal[good], hermitian=True)
    return Triangulated(
        np.where(good[..., None], point, np.nan),
        cov,
        np.where(good, misfit, np.nan),
        np.asarray(count, float),
    )


def _solved(matrix: FloatArray, right: FloatArray) -> FloatArray:
    """Solutions, NaN where there is none to working precision."""
    sound = np.asarray(np.isfinite(matrix).all(axis=(-2, -1)) & np.isfinite(right).all(axis=-1))
    safe = np.where(sound[..., None, None], matrix, np.eye(3))
    scale = np.trace(safe, axis1=-2, axis2=-1)
    sound = np.asarray(sound & (np.linalg.det(safe) > 1e-15 * scale**3) & (scale > 0.0))
    safe = np.where(sound[..., None, None], safe, np.eye(3))
    solved = np.linalg.solve(safe, np.where(sound[..., None], right, 0.0)[..., None])[..., 0]
    return np.asarray(np.where(sound[..., None], solved, np.nan))
