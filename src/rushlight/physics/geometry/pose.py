"""Rigid poses: quaternions, cameras that look at a point or are turned, transforms.

Frames: the rig's x right, y up, z out of the display toward the user; the camera's x right,
y down, z forward. ``a_from_b`` takes coordinates in frame b to coordinates in frame a.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.shapes import FloatArray, floats, trailing

_UP = np.array([0.0, 1.0, 0.0])
_RIGHT = np.array([1.0, 0.0, 0.0])
# Below this sine between line of sight and vertical, the horizon gives no direction.
_VERTICAL_SINE = 1e-9


def matrix_from_quaternion(q_wxyz: ArrayLike) -> FloatArray:
    """Which rotation matrix does a quaternion stand for?

    Parameters
    ----------
    q_wxyz : array_like, shape (..., 4)
        Quaternion, scalar first [1]; any length but 0, it is normalised here.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        Rotation matrix [1].

    Raises
    ------
    ValueError
        If the last axis is not 4 long, or a quaternion has length 0.

    Notes
    -----
    Source: Shuster, "A survey of attitude representations", J. Astronautical Sciences 41(4),
    1993 (from memory); checked against SciPy in the tests.

    Examples
    --------
    >>> half_turn_about_z = [0.0, 0.0, 0.0, 2.0]
    >>> matrix_from_quaternion(half_turn_about_z).diagonal().tolist()
    [-1.0, -1.0, 1.0]
    """
    q = trailing(q_wxyz, (4,), "q_wxyz")
    length = np.linalg.norm(q, axis=-1, keepdims=True)
    if np.any(length == 0.0):
        raise ValueError("q_wxyz holds a quaternion of length 0, which is no rotation")
    w, x, y, z = np.moveaxis(q / length, -1, 0)
    return _matrix(
        [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
        [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
        [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
    )


def quaternion_from_matrix(rotation: ArrayLike) -> FloatArray:
    """Which quaternion stands for a rotation matrix?

    Parameters
    ----------
    rotation : array_like, shape (..., 3, 3)
        Rotation matrix [1]; orthonormal with determinant +1 (not checked).

    Returns
    -------
    ndarray, shape (..., 4)
        Unit quaternion, scalar first and not negative [1].

    Raises
    ------
    ValueError
        If the last axes are not (3, 3).

    Notes
    -----
    Source: Shepperd, "Quaternion from rotation matrix", J. Guidance and Control 1(3), 1978
    (from memory): divide by the largest of the four components, so nothing cancels.

    Examples
    --------
    >>> quaternion_from_matrix([[-1.0, 0, 0], [0, -1, 0], [0, 0, 1]]).tolist()
    [0.0, 0.0, 0.0, 1.0]
    """
    m = trailing(rotation, (3, 3), "rotation")
    xx, yy, zz = m[..., 0, 0], m[..., 1, 1], m[..., 2, 2]
    wx, wy, wz = (
        m[..., 2, 1] - m[..., 1, 2],
        m[..., 0, 2] - m[..., 2, 0],
        m[..., 1, 0] - m[..., 0, 1],
    )
    xy, xz, yz = (
        m[..., 1, 0] + m[..., 0, 1],
        m[..., 2, 0] + m[..., 0, 2],
        m[..., 2, 1] + m[..., 1, 2],
    )
    # Rows are 4 q_i q: each is the quaternion, scaled by one of its own components.
    four_qq = _matrix(
        [1 + xx + yy + zz, wx, wy, wz],
        [wx, 1 + xx - yy - zz, xy, xz],
        [wy, xy, 1 - xx + yy - zz, yz],
        [wz, xz, yz, 1 - xx - yy + zz],
    )
    largest = np.argmax(np.diagonal(four_qq, axis1=-2, axis2=-1), axis=-1)
    row = np.take_along_axis(four_qq, largest[..., None, None], axis=-2)[..., 0, :]
    q: FloatArray = row / np.linalg.norm(row, axis=-1, keepdims=True)
    # Adding 0 turns a negative zero into a plain one.
    return np.where(q[..., :1] < 0.0, -q, q) + 0.0


def rig_from_camera_looking_at(
    position_m: ArrayLike, target_m: ArrayLike, roll_rad: ArrayLike = 0.0
) -> FloatArray:
    """How does a camera stand that looks from one point at another, horizon level?

    Parameters
    ----------
    position_m : array_like, shape (..., 3)
        Camera centre in the rig frame [m].
    target_m : array_like, shape (..., 3)
        Point that falls on the optical axis [m]; not the camera centre.
    roll_rad : array_like, shape (...)
        Turn about the line of sight [rad]; positive is clockwise for someone behind the camera.

    Returns
    -------
    ndarray, shape (..., 4, 4)
        ``rig_from_camera``. At roll 0 the camera's x axis is level. Straight up or straight
        down, where no horizon exists, the camera's x axis is the rig's, as if it had been
        tilted from looking straight at the display.

    Raises
    ------
    ValueError
        If a camera stands at its own target, or a last axis is not 3 long.

    Examples
    --------
    >>> rig_from_camera_looking_at([1.0, 0.8, 3.0], [1.0, 0.8, 0.0])[:3, 2].round(12).tolist()
    [0.0, 0.0, -1.0]
    """
    position, target = np.broadcast_arrays(
        trailing(position_m, (3,), "position_m"), trailing(target_m, (3,), "target_m")
    )
    sight = target - position
    distance = np.linalg.norm(sight, axis=-1, keepdims=True)
    if np.any(distance == 0.0):
        raise ValueError("position_m equals target_m: a camera cannot look at its own centre")
    forward = sight / distance
    right = np.cross(forward, _UP)
    sine = np.linalg.norm(right, axis=-1, keepdims=True)
    vertical = sine < _VERTICAL_SINE
    right = np.where(vertical, _RIGHT, right / np.where(vertical, 1.0, sine))
    return _pose(position, right, forward, roll_rad)


def rig_from_camera_turned(
    position_m: ArrayLike,
    pan_rad: ArrayLike,
    tilt_rad: ArrayLike,
    roll_rad: ArrayLike = 0.0,
) -> FloatArray:
    """How does a camera stand that is panned, tilted and rolled on a levelled tripod?

    Parameters
    ----------
    position_m : array_like, shape (..., 3)
        Camera centre in the rig frame [m].
    pan_rad : array_like, shape (...)
        Turn about the vertical [rad]. 0 looks straight at the display (along −z); positive
        turns the camera to its own right, so from −z toward +x.
    tilt_rad : array_like, shape (...)
        Elevation of the line of sight [rad], −π/2 to π/2; positive looks up.
    roll_rad : array_like, shape (...)
        Turn about the line of sight [rad]; positive is clockwise for someone behind the camera.

    Returns
    -------
    ndarray, shape (..., 4, 4)
        ``rig_from_camera``.

    Raises
    ------
    ValueError
        If the last axis of `position_m` is not 3 long.

    Examples
    --------
    >>> import numpy as np
    >>> rig_from_camera_turned([0.0, 0.0, 2.0], np.pi / 2, 0.0)[:3, 2].round(12).tolist()
    [1.0, 0.0, -0.0]
    """
    position = trailing(position_m, (3,), "position_m")
    pan, tilt = np.broadcast_arrays(floats(pan_rad), floats(tilt_rad))
    forward = np.stack(
        [np.sin(pan) * np.cos(tilt), np.sin(tilt), -np.cos(pan) * np.cos(tilt)], axis=-1
    )
    right = np.stack([np.cos(pan), np.zeros_like(pan), np.sin(pan)], axis=-1)
    return _pose(position, right, forward, roll_rad)


def turn_of_camera(rig_from_camera: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
    """By which pan, tilt and roll does a camera stand as it does?

    The inverse of `rig_from_camera_turned`. Straight up or down, pan and roll cannot be told
    apart: pan is then given as 0.

    Parameters
    ----------
    rig_from_camera : array_like, shape (..., 4, 4)
        Rigid pose of the camera in the rig.

    Returns
    -------
    pan_rad, tilt_rad, roll_rad : ndarray, shape (...)
        Angles [rad], signs as in `rig_from_camera_turned`.

    Raises
    ------
    ValueError
        If the last axes are not (4, 4).

    Examples
    --------
    >>> turned = rig_from_camera_turned([0.0, 0.0, 2.0], 0.3, -0.2, 0.1)
    >>> [round(float(angle), 12) for angle in turn_of_camera(turned)]
    [0.3, -0.2, 0.1]
    """
    pose = trailing(rig_from_camera, (4, 4), "rig_from_camera")
    forward = pose[..., :3, 2]
    level = np.hypot(forward[..., 0], forward[..., 2])
    pan = np.where(level < _VERTICAL_SINE, 0.0, np.arctan2(forward[..., 0], -forward[..., 2]))
    tilt = np.arctan2(forward[..., 1], level)
    unrolled = rig_from_camera_turned(np.zeros(3), pan, tilt)
    right, down = unrolled[..., :3, 0], unrolled[..., :3, 1]
    roll = np.arctan2(
        np.sum(down * pose[..., :3, 0], axis=-1), np.sum(right * pose[..., :3, 0], axis=-1)
    )
    return pan, tilt, roll


def invert_transform(a_from_b: ArrayLike) -> FloatArray:
    """What is ``b_from_a``, given a rigid ``a_from_b``?

    Parameters
    ----------
    a_from_b : array_like, shape (..., 4, 4)
        Rigid transform: rotation and translation [m] (not checked).

    Returns
    -------
    ndarray, shape (..., 4, 4)
        The inverse, by transposition of the rotation.

    Raises
    ------
    ValueError
        If the last axes are not (4, 4).

    Examples
    --------
    >>> rig_from_camera = rig_from_camera_turned([1.0, 2.0, 3.0], 0.4, 0.1)
    >>> (invert_transform(rig_from_camera) @ rig_from_camera).round(12).diagonal().tolist()
    [1.0, 1.0, 1.0, 1.0]
    """
    pose = trailing(a_from_b, (4, 4), "a_from_b")
    inverse = np.zeros_like(pose)
    inverse[..., :3, :3] = np.swapaxes(pose[..., :3, :3], -1, -2)
    inverse[..., :3, 3] = -np.matvec(inverse[..., :3, :3], pose[..., :3, 3])
    inverse[..., 3, 3] = 1.0
    return inverse


def transform_points(a_from_b: ArrayLike, points_b: ArrayLike) -> FloatArray:
    """Where do points of frame b lie in frame a?

    Parameters
    ----------
    a_from_b : array_like, shape (..., 4, 4)
        Rigid transform.
    points_b : array_like, shape (..., 3)
        Points in frame b [m]; leading axes broadcast against those of `a_from_b`.

    Returns
    -------
    ndarray, shape (..., 3)
        The same points in frame a [m].

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> rig_from_camera = rig_from_camera_turned([0.0, 0.0, 2.0], 0.0, 0.0)
    >>> transform_points(rig_from_camera, [0.0, 0.0, 2.0]).tolist()
    [0.0, 0.0, 0.0]
    """
    pose = trailing(a_from_b, (4, 4), "a_from_b")
    points = trailing(points_b, (3,), "points_b")
    turned: FloatArray = np.matvec(pose[..., :3, :3], points)
    return turned + pose[..., :3, 3]


def _pose(
    position: FloatArray, right: FloatArray, forward: FloatArray, roll_rad: ArrayLike
) -> FloatArray:
    down = np.cross(forward, right)
    roll = floats(roll_rad)[..., None]
    axes = (
        np.cos(roll) * right + np.sin(roll) * down,
        np.cos(roll) * down - np.sin(roll) * right,
        forward,
        position,
    )
    shape = np.broadcast_shapes(*(axis.shape for axis in axes))
    pose = np.zeros((*shape[:-1], 4, 4))
    for column, axis in enumerate(axes):
        pose[..., :3, column] = axis
    pose[..., 3, 3] = 1.0
    return pose


def _matrix(*rows: list[FloatArray]) -> FloatArray:
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
