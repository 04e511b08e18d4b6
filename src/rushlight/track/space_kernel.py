"""The likeliest pose of one thing at one moment, compiled: for following live.

The same steps as `rushlight.physics.geometry.pose_fit.fit_pose`, without its batches; a test holds
both to the same answers.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from rushlight.physics.geometry import distortion_limit
from rushlight.physics.geometry.pose_fit import Belief, PoseFit, information_inverse
from rushlight.records.arrays import Array

_STEPS = 60
_ENOUGH = 1e-10
_FIRST_DAMPING, _LEAST_DAMPING, _MOST_DAMPING = 1e-3, 1e-12, 1e12
_SMALL_RAD = 1e-8


@njit(cache=True, nogil=True)
def _see(point, K, k, limit, pose, px, by):  # type: ignore[no-untyped-def]
    """Pixel of a point and its derivatives by the point; False where it is not seen."""
    d0 = point[0] - pose[0, 3]
    d1 = point[1] - pose[1, 3]
    d2 = point[2] - pose[2, 3]
    x = pose[0, 0] * d0 + pose[1, 0] * d1 + pose[2, 0] * d2
    y = pose[0, 1] * d0 + pose[1, 1] * d1 + pose[2, 1] * d2
    z = pose[0, 2] * d0 + pose[1, 2] * d1 + pose[2, 2] * d2
    if not z > 0.0:
        return False
    u, v = x / z, y / z
    square = u * u + v * v
    if not math.sqrt(square) < limit:
        return False
    k1, k2, p1, p2, k3 = k[0], k[1], k[2], k[3], k[4]
    stretch = 1.0 + square * (k1 + square * (k2 + square * k3))
    slope = k1 + square * (2.0 * k2 + 3.0 * square * k3)  # of the stretch by the square
    px[0] = K[0, 0] * (u * stretch + 2.0 * p1 * u * v + p2 * (square + 2.0 * u * u)) + K[0, 2]
    px[1] = K[1, 1] * (v * stretch + p1 * (square + 2.0 * v * v) + 2.0 * p2 * u * v) + K[1, 2]
    uu = stretch + 2.0 * u * u * slope + 2.0 * p1 * v + 6.0 * p2 * u
    uv = 2.0 * u * v * slope + 2.0 * p1 * u + 2.0 * p2 * v
    vv = stretch + 2.0 * v * v * slope + 6.0 * p1 * v + 2.0 * p2 * u
    for axis in range(3):
        du = (pose[axis, 0] - u * pose[axis, 2]) / z
        dv = (pose[axis, 1] - v * pose[axis, 2]) / z
        by[0, axis] = K[0, 0] * (uu * du + uv * dv)
        by[1, axis] = K[1, 1] * (uv * du + vv * dv)
    return True


@njit(cache=True, nogil=True)
def _turn_vector(matrix, out):  # type: ignore[no-untyped-def]
    """The rotation vector, of at most half a turn, of a rotation matrix."""
    trace = matrix[0, 0] + matrix[1, 1] + matrix[2, 2]
    q = np.empty(4)
    q[0] = max(0.0, 1.0 + trace)
    for i in range(3):
        q[i + 1] = max(0.0, 1.0 - trace + 2.0 * matrix[i, i])
    best = int(np.argmax(q))
    r = math.sqrt(q[best])
    if best == 0:
        q[0] = r
        q[1] = (matrix[2, 1] - matrix[1, 2]) / r
        q[2] = (matrix[0, 2] - matrix[2, 0]) / r
        q[3] = (matrix[1, 0] - matrix[0, 1]) / r
    else:
        a = best - 1
        b, c = (a + 1) % 3, (a + 2) % 3
        q[0] = (matrix[c, b] - matrix[b, c]) / r
        q[1 + a] = r
        q[1 + b] = (matrix[b, a] + matrix[a, b]) / r
        q[1 + c] = (matrix[c, a] + matrix[a, c]) / r
        if q[0] < 0.0:
            q = -q
    sine = math.sqrt(q[1] ** 2 + q[2] ** 2 + q[3] ** 2)
    # Here q is twice the quaternion.
    scale = 2.0 * math.atan2(sine, q[0]) / sine if sine > 2.0 * _SMALL_RAD else 1.0
    for i in range(3):
        out[i] = q[i + 1] * scale


@njit(cache=True, nogil=True)
def _turned(vector, rotation):  # type: ignore[no-untyped-def]
    """A rotation matrix turned on by a rotation vector (Rodrigues)."""
    angle = math.sqrt(vector[0] ** 2 + vector[1] ** 2 + vector[2] ** 2)
    first, second = 1.0, 0.5
    if angle > _SMALL_RAD:
        first, second = math.sin(angle) / angle, (1.0 - math.cos(angle)) / angle**2
    k = np.zeros((3, 3))
    k[0, 1], k[0, 2], k[1, 2] = -vector[2], vector[1], -vector[0]
    k[1, 0], k[2, 0], k[2, 1] = vector[2], -vector[1], vector[0]
    return (np.eye(3) + first * k + second * (k @ k)) @ rotation


@njit(cache=True, nogil=True)
def _normal(  # type: ignore[no-untyped-def]
    pose, lights, dots, weight, K, k, limit, stand, believed, information, normal, slope, by_pose
):
    """Normal equations about a pose; the loss, infinite where a light cannot be seen."""
    normal[:] = information
    away = np.empty(6)
    away[:3] = believed[:3, 3] - pose[:3, 3]
    turn = np.empty(3)
    _turn_vector(
        np.ascontiguousarray(pose[:3, :3]) @ np.ascontiguousarray(believed[:3, :3].T), turn
    )
    away[3:] = -turn
    pulled_back = information @ away
    slope[:] = pulled_back
    loss = away @ pulled_back
    px, by = np.empty(2), np.empty((2, 3))
    arm, point = np.empty(3), np.empty(3)
    for o in range(len(lights)):
        for i in range(3):
            arm[i] = (
                pose[i, 0] * lights[o, 0] + pose[i, 1] * lights[o, 1] + pose[i, 2] * lights[o, 2]
            )
            point[i] = arm[i] + pose[i, 3]
        if not _see(point, K[o], k[o], limit[o], stand[o], px, by):
            return math.inf
        for n in range(2):
            by_pose[o, n, 0], by_pose[o, n, 1], by_pose[o, n, 2] = by[n, 0], by[n, 1], by[n, 2]
            by_pose[o, n, 3] = by[n, 2] * arm[1] - by[n, 1] * arm[2]
            by_pose[o, n, 4] = by[n, 0] * arm[2] - by[n, 2] * arm[0]
            by_pose[o, n, 5] = by[n, 1] * arm[0] - by[n, 0] * arm[1]
        miss0, miss1 = dots[o, 0] - px[0], dots[o, 1] - px[1]
        pulled0 = weight[o, 0, 0] * miss0 + weight[o, 0, 1] * miss1
        pulled1 = weight[o, 1, 0] * miss0 + weight[o, 1, 1] * miss1
        loss += miss0 * pulled0 + miss1 * pulled1
        for a in range(6):
            first, second = by_pose[o, 0, a], by_pose[o, 1, a]
            slope[a] += first * pulled0 + second * pulled1
            weighed0 = first * weight[o, 0, 0] + second * weight[o, 1, 0]
            weighed1 = first * weight[o, 0, 1] + second * weight[o, 1, 1]
            for b in range(6):
                normal[a, b] += weighed0 * by_pose[o, 0, b] + weighed1 * by_pose[o, 1, b]
    return loss if math.isfinite(loss) else math.inf


@njit(cache=True, nogil=True)
def _fit(lights, dots, weight, K, k, limit, stand, start, believed, information):  # type: ignore[no-untyped-def]
    """Levenberg–Marquardt steps from a start: pose, normal matrix, derivatives and loss."""
    count = len(lights)
    pose = start.copy()
    normal, slope, by_pose = np.zeros((6, 6)), np.zeros(6), np.zeros((count, 2, 6))
    tried_normal, tried_slope, tried_by = np.zeros((6, 6)), np.zeros(6), np.zeros((count, 2, 6))
    loss = _normal(
        pose, lights, dots, weight, K, k, limit, stand, believed, information,
        normal, slope, by_pose,
    )  # fmt: skip
    damping = _FIRST_DAMPING
    if math.isinf(loss):
        return pose, normal, by_pose, loss
    tried = pose.copy()
    for _ in range(_STEPS):
        damped = normal.copy()
        for a in range(6):
            damped[a, a] += damping * max(normal[a, a], 1e-30)
        step = np.linalg.solve(damped, slope)
        tried[:3, :3] = _turned(step[3:], np.ascontiguousarray(pose[:3, :3]))
        tried[:3, 3] = pose[:3, 3] + step[:3]
        there = _normal(
            tried, lights, dots, weight, K, k, limit, stand, believed, information,
            tried_normal, tried_slope, tried_by,
        )  # fmt: skip
        moved = step @ (normal @ step)
        if there <= loss:
            pose, tried = tried, pose
            normal, tried_normal = tried_normal, normal
            slope, tried_slope = tried_slope, slope
            by_pose, tried_by = tried_by, by_pose
            loss = there
            damping = max(damping * 0.1, _LEAST_DAMPING)
            if moved < _ENOUGH:
                break
        else:
            damping = min(damping * 10.0, _MOST_DAMPING)
            if damping >= _MOST_DAMPING:
                break
    return pose, normal, by_pose, loss


def fit_one(
    lights_m: Array,
    px: Array,
    px_cov: Array,
    cameras: tuple[Array, Array, Array, Array],
    start: Array,
    belief: Belief,
) -> PoseFit:
    """The likeliest pose of one thing, as `fit_pose` finds it.

    Parameters
    ----------
    lights_m, px, px_cov
        (O, 3), (O, 2), (O, 2, 2): each seen light, its dot and the dot's covariance; all finite.
    cameras
        Of each observation K (O, 3, 3), k (O, 5), where its lens model folds back (O,), and
        ``rig_from_camera`` (O, 4, 4).
    start : (4, 4)
    belief
        Of one pose.

    Returns
    -------
    PoseFit
    """
    weight = np.linalg.inv(px_cov)
    K, k, limit, stand = cameras
    pose, normal, by_pose, loss = _fit(
        np.ascontiguousarray(lights_m, float),
        np.ascontiguousarray(px, float),
        weight,
        K,
        k,
        limit,
        stand,
        np.ascontiguousarray(start, float),
        np.ascontiguousarray(belief.pose, float),
        np.ascontiguousarray(belief.information, float),
    )
    cov = information_inverse(normal)
    if not np.isfinite(loss):
        pose, cov = np.full((4, 4), np.nan), np.full((6, 6), np.nan)
    carried = np.einsum("onb,onm->bom", by_pose, weight)
    gain = (cov @ carried.reshape(6, -1)).reshape(6, -1, 2)
    return PoseFit(pose, cov, gain, np.asarray(loss), np.asarray(len(px)))


def fold_limits(k: Array) -> Array:
    """(C,) normalised radius at which each lens model folds back."""
    return np.array([float(distortion_limit(each)) for each in k])
