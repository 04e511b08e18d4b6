"""A thing's pose from the dots of its lights, in any number of cameras: the likeliest one.

Dots alone often do not tell a whole pose: two lights leave a turn about the line that joins them
open. What is known beforehand (how people face, how far they turn) therefore enters as a Gaussian
belief, and the answer is the likeliest pose given both, with its covariance.

Axes: any leading axes of poses, then O observations, each of one light by one camera.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.lens import distortion_limit
from rushlight.physics.geometry.rotation import cross_matrix, pose_difference, pose_moved
from rushlight.physics.geometry.shapes import FloatArray, trailing
from rushlight.physics.geometry.sight import sight_of

_STEPS = 60
_ENOUGH = 1e-10  # of a step, against the doubt of what it changes
_FIRST_DAMPING, _LEAST_DAMPING, _MOST_DAMPING = 1e-3, 1e-12, 1e12


class Belief(NamedTuple):
    """What is known of a pose before any dot is seen.

    Fields
    ------
    pose : (..., 4, 4) the likeliest
    information : (..., 6, 6) inverse covariance of steps from it, as in `pose_moved`; rows of 0
        where nothing is known
    """

    pose: FloatArray
    information: FloatArray


class Looks(NamedTuple):
    """Which camera makes each of O observations.

    Fields
    ------
    K : (..., O, 3, 3) [px]
    k : (..., O, 5)
    rig_from_camera : (..., O, 4, 4)
    """

    K: FloatArray
    k: FloatArray
    rig_from_camera: FloatArray


class PoseFit(NamedTuple):
    """The likeliest pose, and how well it is known.

    Fields
    ------
    pose : (..., 4, 4) ``rig_from_thing``; NaN where no fit was found
    cov : (..., 6, 6) of steps from it [m, rad]; NaN where dots and belief leave a direction open
    gain : (..., 6, O, 2) how the pose moves with each dot [m/px, rad/px]
    misfit : (...) sum of squares of dots and belief in units of their deviations
    dots_used : (...) how many observations counted
    """

    pose: FloatArray
    cov: FloatArray
    gain: FloatArray
    misfit: FloatArray
    dots_used: FloatArray


def no_belief(shape: tuple[int, ...] = ()) -> Belief:
    """A belief that says nothing: shape (...) of identity poses without information."""
    return Belief(np.broadcast_to(np.eye(4), (*shape, 4, 4)), np.zeros((*shape, 6, 6)))


LEAST_FACING_STD_RAD = 1e-4
"""How exactly a thing that is said not to turn at all is taken to keep still [rad] (our choice)."""


def belief_of_facing(ranges_rad: ArrayLike) -> Belief:
    """How is a thing supposed to be turned before it is seen? Of its place nothing is supposed.

    Parameters
    ----------
    ranges_rad : array_like, shape (3,) [rad]
        Greatest turn, nod and lean to either side, all values between equally likely.

    Returns
    -------
    Belief
        Facing straight ahead, with the deviations of those ranges.

    Examples
    --------
    >>> belief = belief_of_facing([0.2, 0.1, 0.05])
    >>> (1.0 / np.sqrt(np.diag(belief.information)[3:]) * np.sqrt(3.0)).round(6).tolist()
    [0.1, 0.2, 0.05]
    """
    ranges = trailing(ranges_rad, (3,), "ranges_rad")[..., [1, 0, 2]]
    std = np.maximum(ranges / np.sqrt(3.0), LEAST_FACING_STD_RAD)
    information = np.diag(np.concatenate([np.zeros(3), 1.0 / std**2]))
    return Belief(np.eye(4), information)


def fit_pose(
    lights_m: ArrayLike,
    px: ArrayLike,
    px_cov: ArrayLike,
    looks: Looks,
    start: ArrayLike,
    belief: Belief | None = None,
    steps: int = _STEPS,
) -> PoseFit:
    """Which pose is the likeliest, given where its lights are seen and what was believed?

    Parameters
    ----------
    lights_m : array_like, shape (..., O, 3)
        Place of each observed light in the thing's frame [m].
    px : array_like, shape (..., O, 2)
        Dots [px]; NaN where a light is not seen.
    px_cov : array_like, shape (..., O, 2, 2)
        Their covariance [px²].
    looks : Looks
        The camera of each observation.
    start : array_like, shape (..., 4, 4)
        From where the search begins; it finds the nearest optimum, not always the best.
    belief : Belief or None
        None when nothing is known beforehand.
    steps : int, ≥ 1
        At most so many.

    Returns
    -------
    PoseFit

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Notes
    -----
    Source: maximum a posteriori by Levenberg–Marquardt steps (Levenberg 1944; Marquardt 1963;
    from memory) on the rotation group, one damping for each pose of the batch; held against
    OpenCV's iterative solver and by Monte Carlo in the tests.
    """
    lights, dots = trailing(lights_m, (None, 3), "lights_m"), trailing(px, (None, 2), "px")
    covs = trailing(px_cov, (None, 2, 2), "px_cov")
    shape = np.broadcast_shapes(
        lights.shape[:-2], dots.shape[:-2], covs.shape[:-3], np.shape(start)[:-2]
    )
    pose = np.array(np.broadcast_to(trailing(start, (4, 4), "start"), (*shape, 4, 4)))
    if belief is None:
        belief = no_belief()
    seen = np.asarray(np.isfinite(dots).all(axis=-1) & np.isfinite(covs).all(axis=(-2, -1)))
    weight = np.zeros((*seen.shape, 2, 2))
    weight[seen] = np.linalg.inv(np.broadcast_to(covs, (*seen.shape, 2, 2))[seen])
    dots = np.where(seen[..., None], dots, 0.0)
    damping = np.full(shape, _FIRST_DAMPING)
    limit = distortion_limit(looks.k)
    here = _normal(pose, lights, dots, weight, looks, limit, belief)
    for _ in range(steps):
        normal, slope, loss = here.normal, here.slope, here.loss
        scale = np.einsum("...ii->...i", normal)
        damped = normal + damping[..., None, None] * _diagonal(np.maximum(scale, 1e-30))
        step = _solved(damped, slope)
        tried = pose_moved(pose, step)
        there = _normal(tried, lights, dots, weight, looks, limit, belief)
        better = there.loss <= loss
        pose = np.where(better[..., None, None], tried, pose)
        here = _Normal(
            *(
                np.where(better.reshape(better.shape + (1,) * (new.ndim - better.ndim)), new, old)
                for new, old in zip(there, here, strict=True)
            )
        )
        damping = np.clip(
            np.where(better, damping * 0.1, damping * 10.0), _LEAST_DAMPING, _MOST_DAMPING
        )
        moved = np.einsum("...i,...ij,...j->...", step, normal, step)
        if np.all((better & (moved < _ENOUGH)) | (damping >= _MOST_DAMPING) | ~np.isfinite(loss)):
            break
    cov = information_inverse(here.normal)
    lost = ~np.isfinite(here.loss)
    pose[lost] = np.nan
    cov[lost] = np.nan
    gain = np.einsum("...ab,...onb,...onm->...aom", cov, here.by_pose, weight)
    return PoseFit(pose, cov, gain, here.loss, seen.sum(axis=-1) + np.zeros(shape))


class _Normal(NamedTuple):
    """Normal equations of one step: matrix, right side, loss, and d(px)/d(pose)."""

    normal: FloatArray
    slope: FloatArray
    loss: FloatArray
    by_pose: FloatArray


def _normal(
    pose: FloatArray,
    lights: FloatArray,
    dots: FloatArray,
    weight: FloatArray,
    looks: Looks,
    limit: FloatArray,
    belief: Belief,
) -> _Normal:
    arm = np.matvec(pose[..., None, :3, :3], lights)
    sight = sight_of(arm + pose[..., None, :3, 3], looks.K, looks.k, looks.rig_from_camera, limit)
    by_pose = np.concatenate([sight.by_point, -sight.by_point @ cross_matrix(arm)], axis=-1)
    counts = np.any(weight != 0.0, axis=(-2, -1))
    by_pose = np.where(counts[..., None, None], by_pose, 0.0)
    miss = np.where(counts[..., None], dots - sight.px, 0.0)
    pulled = np.matvec(weight, miss)
    away = -pose_difference(pose, belief.pose)
    believed = np.matvec(belief.information, away)
    normal = np.einsum("...oia,...oij,...ojb->...ab", by_pose, weight, by_pose)
    slope = np.einsum("...oia,...oi->...a", by_pose, pulled)
    loss = np.einsum("...oi,...oi->...", miss, pulled) + np.einsum("...a,...a->...", away, believed)
    return _Normal(
        normal + belief.information,
        slope + believed,
        np.where(np.isfinite(loss), loss, np.inf),
        np.broadcast_to(by_pose, (*normal.shape[:-2], *by_pose.shape[-3:])),
    )


def _diagonal(values: FloatArray) -> FloatArray:
    return np.asarray(values[..., None] * np.eye(values.shape[-1]))


def _solved(matrix: FloatArray, right: FloatArray) -> FloatArray:
    """Solutions, 0 where there is no finite matrix."""
    finite = np.asarray(np.isfinite(matrix).all(axis=(-2, -1)) & np.isfinite(right).all(axis=-1))
    safe = np.where(finite[..., None, None], matrix, np.eye(matrix.shape[-1]))
    solved = np.linalg.solve(safe, np.where(finite[..., None], right, 0.0)[..., None])[..., 0]
    return np.asarray(solved)


def information_inverse(matrix: FloatArray) -> FloatArray:
    """Which covariances have these inverses?

    Parameters
    ----------
    matrix : ndarray, shape (..., N, N)
        Symmetric.

    Returns
    -------
    ndarray, shape (..., N, N)
        NaN where one is singular to working precision.

    Examples
    --------
    >>> information_inverse(np.diag([4.0, 1.0])).tolist()
    [[0.25, 0.0], [0.0, 1.0]]
    """
    scale: FloatArray = np.sqrt(np.maximum(np.einsum("...ii->...i", matrix), 0.0))
    known = np.asarray((scale > 0.0).all(axis=-1) & np.isfinite(matrix).all(axis=(-2, -1)))
    scale = np.asarray(np.where(known[..., None], scale, 1.0))
    unit = np.where(
        known[..., None, None],
        matrix / (scale[..., :, None] * scale[..., None, :]),
        np.eye(matrix.shape[-1]),
    )
    sound = np.asarray(known & (np.linalg.cond(unit) < 1e13))
    inverse = np.full(matrix.shape, np.nan)
    if np.any(sound):
        own: FloatArray = scale[sound]
        found = np.linalg.inv(unit[sound])
        inverse[sound] = found / (own[..., :, None] * own[..., None, :])
    return inverse
