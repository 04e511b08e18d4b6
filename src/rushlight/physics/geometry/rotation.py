"""Rotations as vectors, and as the turn, nod and lean of a thing that faces the display.

A rotation vector points along the axis, right-handed, and is as long as the angle [rad]. Small
ones add; they are what errors and covariances of a rotation are told in, in the axes of the rig.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.pose import quaternion_from_matrix
from rushlight.physics.geometry.shapes import FloatArray, floats, trailing

_SMALL_RAD = 1e-8


def cross_matrix(vectors: ArrayLike) -> FloatArray:
    """Which matrix does the vector product's work: ``cross_matrix(v) @ w == cross(v, w)``?

    Parameters
    ----------
    vectors : array_like, shape (..., 3)

    Returns
    -------
    ndarray, shape (..., 3, 3)
        Antisymmetric.

    Raises
    ------
    ValueError
        If the last axis is not 3 long.

    Examples
    --------
    >>> (cross_matrix([1.0, 0.0, 0.0]) @ [0.0, 1.0, 0.0]).tolist()
    [0.0, 0.0, 1.0]
    """
    v = trailing(vectors, (3,), "vectors")
    matrix = np.zeros((*v.shape, 3))
    matrix[..., 0, 1], matrix[..., 0, 2] = -v[..., 2], v[..., 1]
    matrix[..., 1, 0], matrix[..., 1, 2] = v[..., 2], -v[..., 0]
    matrix[..., 2, 0], matrix[..., 2, 1] = -v[..., 1], v[..., 0]
    return matrix


def matrix_from_rotation_vector(vectors_rad: ArrayLike) -> FloatArray:
    """Which rotation matrix does a rotation vector stand for?

    Parameters
    ----------
    vectors_rad : array_like, shape (..., 3) [rad]

    Returns
    -------
    ndarray, shape (..., 3, 3)

    Raises
    ------
    ValueError
        If the last axis is not 3 long.

    Notes
    -----
    Source: Rodrigues' formula (Shuster, "A survey of attitude representations", J. Astronautical
    Sciences 41(4), 1993; from memory); checked against SciPy in the tests.

    Examples
    --------
    >>> quarter_about_z = matrix_from_rotation_vector([0.0, 0.0, np.pi / 2])
    >>> (quarter_about_z @ [1.0, 0.0, 0.0]).round(12).tolist()
    [0.0, 1.0, 0.0]
    """
    v = trailing(vectors_rad, (3,), "vectors_rad")
    angle = np.linalg.norm(v, axis=-1)[..., None, None]
    safe = np.where(angle > _SMALL_RAD, angle, 1.0)
    first = np.where(angle > _SMALL_RAD, np.sin(safe) / safe, 1.0)
    second = np.where(angle > _SMALL_RAD, (1.0 - np.cos(safe)) / safe**2, 0.5)
    k = cross_matrix(v)
    return np.asarray(np.eye(3) + first * k + second * (k @ k))


def rotation_vector_from_matrix(rotation: ArrayLike) -> FloatArray:
    """Which rotation vector, of at most half a turn, stands for a rotation matrix?

    Parameters
    ----------
    rotation : array_like, shape (..., 3, 3)
        Orthonormal with determinant +1 (not checked).

    Returns
    -------
    ndarray, shape (..., 3) [rad]

    Raises
    ------
    ValueError
        If the last axes are not (3, 3).

    Examples
    --------
    >>> turned = matrix_from_rotation_vector([0.1, -0.2, 0.3])
    >>> rotation_vector_from_matrix(turned).round(12).tolist()
    [0.1, -0.2, 0.3]
    """
    q = quaternion_from_matrix(rotation)
    sine = np.linalg.norm(q[..., 1:], axis=-1, keepdims=True)
    angle = 2.0 * np.arctan2(sine, q[..., :1])
    scale = np.where(sine > _SMALL_RAD, angle / np.where(sine > _SMALL_RAD, sine, 1.0), 2.0)
    return np.asarray(q[..., 1:] * scale)


def rotation_of_facing(
    turn_rad: ArrayLike, nod_rad: ArrayLike = 0.0, lean_rad: ArrayLike = 0.0
) -> FloatArray:
    """Which rotation takes a thing that faces the display to one that is turned?

    Parameters
    ----------
    turn_rad, nod_rad, lean_rad : array_like, shape (...) [rad]
        About the rig's y, x and z axes, right-handed: the lean first, then the nod, then the
        turn. Positive angles turn the front to the left as the user sees it, raise it, and lean
        the top to the user's left.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        ``rig_from_thing``, rotation only.

    Examples
    --------
    >>> front = [0.0, 0.0, -1.0]
    >>> (rotation_of_facing(np.pi / 2) @ front).round(12).tolist()
    [-1.0, 0.0, -0.0]
    """
    turn, nod, lean = np.broadcast_arrays(floats(turn_rad), floats(nod_rad), floats(lean_rad))
    about = [
        matrix_from_rotation_vector(angle[..., None] * np.eye(3)[axis])
        for angle, axis in ((turn, 1), (nod, 0), (lean, 2))
    ]
    return np.asarray(about[0] @ about[1] @ about[2])


def facing_angles(rotation: ArrayLike) -> FloatArray:
    """Which turn, nod and lean make a rotation? Undoes `rotation_of_facing`.

    Parameters
    ----------
    rotation : array_like, shape (..., 3, 3)

    Returns
    -------
    ndarray, shape (..., 3)
        Turn, nod and lean [rad]; the nod from −π/2 to π/2.

    Examples
    --------
    >>> facing_angles(rotation_of_facing(0.1, 0.2, 0.3)).round(6).tolist()
    [0.1, 0.2, 0.3]
    """
    rotation = floats(rotation)
    turn = np.arctan2(rotation[..., 0, 2], rotation[..., 2, 2])
    nod = -np.arcsin(np.clip(rotation[..., 1, 2], -1.0, 1.0))
    lean = np.arctan2(rotation[..., 1, 0], rotation[..., 1, 1])
    return np.stack([turn, nod, lean], axis=-1)


def pose_matrix(rotation: ArrayLike, translation_m: ArrayLike) -> FloatArray:
    """Which rigid transform has this rotation and this translation?

    Parameters
    ----------
    rotation : array_like, shape (..., 3, 3)
    translation_m : array_like, shape (..., 3) [m]

    Returns
    -------
    ndarray, shape (..., 4, 4)

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> pose_matrix(np.eye(3), [1.0, 2.0, 3.0])[:3, 3].tolist()
    [1.0, 2.0, 3.0]
    """
    turned = trailing(rotation, (3, 3), "rotation")
    moved = trailing(translation_m, (3,), "translation_m")
    leading = np.broadcast_shapes(turned.shape[:-2], moved.shape[:-1])
    pose = np.zeros((*leading, 4, 4))
    pose[..., :3, :3], pose[..., :3, 3], pose[..., 3, 3] = turned, moved, 1.0
    return pose


def pose_moved(pose: ArrayLike, step: ArrayLike) -> FloatArray:
    """Where does a pose come to that is moved and turned by a small step, told in the outer axes?

    Parameters
    ----------
    pose : array_like, shape (..., 4, 4)
    step : array_like, shape (..., 6)
        Translation [m] and rotation vector about the pose's own origin [rad], both along the
        axes of the outer frame.

    Returns
    -------
    ndarray, shape (..., 4, 4)

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> pose_moved(np.eye(4), [1.0, 0, 0, 0, 0, np.pi / 2])[:3, :].round(12).tolist()
    [[0.0, -1.0, 0.0, 1.0], [1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]]
    """
    old = trailing(pose, (4, 4), "pose")
    six = trailing(step, (6,), "step")
    return pose_matrix(
        matrix_from_rotation_vector(six[..., 3:]) @ old[..., :3, :3], old[..., :3, 3] + six[..., :3]
    )


def pose_difference(pose: ArrayLike, reference: ArrayLike) -> FloatArray:
    """Which step takes `reference` to `pose`? The inverse of `pose_moved`.

    Parameters
    ----------
    pose, reference : array_like, shape (..., 4, 4)

    Returns
    -------
    ndarray, shape (..., 6)
        Translation [m] and rotation vector [rad].

    Raises
    ------
    ValueError
        If the last axes are not (4, 4).

    Examples
    --------
    >>> step = [0.1, 0.2, 0.3, 0.01, 0.02, 0.03]
    >>> pose_difference(pose_moved(np.eye(4), step), np.eye(4)).round(12).tolist()
    [0.1, 0.2, 0.3, 0.01, 0.02, 0.03]
    """
    here, there = trailing(pose, (4, 4), "pose"), trailing(reference, (4, 4), "reference")
    turned = here[..., :3, :3] @ np.swapaxes(there[..., :3, :3], -1, -2)
    return np.concatenate(
        [here[..., :3, 3] - there[..., :3, 3], rotation_vector_from_matrix(turned)], axis=-1
    )
