"""Who hides a light from a camera: a person at work as capsules, and lines of sight past them.

A capsule is every point within a radius of a straight piece of axis. Eight of them stand for
someone who touches a wall: trunk with legs (three, side by side, so that it is as deep as half
its breadth), neck, head, upper arm, forearm and the hand around the stylus. The idle arm hangs
within the breadth of the shoulders. The stylus itself, hair and clothes hide nothing here.

When not to use it: for whole postures (kneeling, stooping), for a wheelchair or a chair, and for
the body of any one person: the proportions are those of groups.

Sources of the proportions, all as shares of stature: lengths of upper arm, forearm, hand and of
the head above the chin after Drillis & Contini 1966 (from memory); thicknesses are our own
choice, set so that an adult's come out like common tape measures (no source).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.geometry.shapes import floats, trailing

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

UPPER_ARM_SHARE = 0.186
FOREARM_SHARE = 0.146
HAND_SHARE = 0.108
HEAD_SHARE = 0.130
"""Lengths over stature: Drillis & Contini 1966 (from memory)."""

UPPER_ARM_RADIUS_SHARE = 0.028
FOREARM_RADIUS_SHARE = 0.022
HAND_RADIUS_SHARE = 0.025
HEAD_RADIUS_SHARE = 0.050
NECK_RADIUS_SHARE = 0.035
"""Radii over stature (our own choice, no source)."""

TRUNK_DEPTH_SHARE = 0.5
"""Depth of the trunk over the breadth of the shoulders (our own choice, no source)."""

ELBOW_OUT = 0.5
"""How far the bent elbow points away from the trunk, to one part down (our own choice)."""

CAPSULES = (
    "trunk, idle side",
    "trunk, middle",
    "trunk, working side",
    "neck",
    "head",
    "upper arm",
    "forearm",
    "hand",
)
"""What each capsule of `body_capsules` stands for."""


def arm_to_grip(stature_m: ArrayLike) -> Array:
    """How far from the shoulder joint does a stretched arm hold a stylus?

    Parameters
    ----------
    stature_m : array_like, shape (...)
        Stature [m], above 0.

    Returns
    -------
    ndarray, shape (...)
        Upper arm, forearm and half the hand [m].

    Notes
    -----
    Source: segment lengths of Drillis & Contini 1966 (from memory); that a stylus lies at half
    the hand is our own choice.

    Examples
    --------
    >>> round(float(arm_to_grip(1.70)), 3)
    0.656
    """
    share = UPPER_ARM_SHARE + FOREARM_SHARE + HAND_SHARE / 2.0
    return np.asarray(share * floats(stature_m))


def working_shoulder(
    standing_m: ArrayLike,
    floor_y_m: ArrayLike,
    stature_m: ArrayLike,
    shoulder_m: ArrayLike,
    breadth_m: ArrayLike,
    hand_sign: ArrayLike,
    turn_rad: ArrayLike,
) -> Array:
    """Where is the joint of the shoulder whose hand works?

    Parameters
    ----------
    standing_m : array_like, shape (..., 2)
        x and z of the middle of the trunk [m], surface frame.
    floor_y_m : array_like, shape (...)
        Where the floor lies in the surface frame [m].
    stature_m, shoulder_m, breadth_m : array_like, shape (...)
        Stature; height of the shoulder's top above the floor; breadth over both shoulders [m].
    hand_sign : array_like, shape (...)
        1 for the right hand, −1 for the left.
    turn_rad : array_like, shape (...)
        How far the trunk is turned from facing the wall toward larger x [rad].

    Returns
    -------
    ndarray, shape (..., 3)
        Place in the surface frame [m].

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> working_shoulder([1.0, 0.5], -0.8, 1.7, 1.4, 0.44, 1.0, 0.0).round(3).tolist()
    [1.172, 0.552, 0.5]
    """
    foot = trailing(standing_m, (2,), "standing_m")
    radius = UPPER_ARM_RADIUS_SHARE * floats(stature_m)
    out = floats(hand_sign) * (floats(breadth_m) / 2.0 - radius)
    turn = floats(turn_rad)
    # Facing the wall is looking along −z; turned toward larger x, the right side goes back.
    return _stacked(
        foot[..., 0] + out * np.cos(turn),
        floats(floor_y_m) + floats(shoulder_m) - radius,
        foot[..., 1] + out * np.sin(turn),
    )


def elbow_place(
    shoulder_m: ArrayLike,
    grip_m: ArrayLike,
    upper_m: ArrayLike,
    fore_m: ArrayLike,
    outward: ArrayLike,
) -> Array:
    """Where is the elbow of an arm of two pieces, hanging down as far as the arm allows?

    Parameters
    ----------
    shoulder_m, grip_m : array_like, shape (..., 3)
        Both ends of the arm [m].
    upper_m, fore_m : array_like, shape (...)
        Lengths of the pieces from the shoulder and to the grip [m], above 0.
    outward : array_like, shape (..., 3)
        Direction away from the trunk, to which the elbow gives way by `ELBOW_OUT`.

    Returns
    -------
    ndarray, shape (..., 3)
        Place [m]. Beyond the arm's length it lies on the straight line between the ends, which
        is so divided as the pieces are: the arm is stretched, as by someone who leans. Nearer
        than the pieces' difference the forearm is that much longer than given.

    Raises
    ------
    ValueError
        If a last axis is not 3 long.

    Notes
    -----
    Source: law of cosines.

    Examples
    --------
    >>> elbow_place([0, 0, 0], [0.3, 0.0, 0.4], 0.3, 0.4, [0, 0, 0]).round(9).tolist()
    [0.108, -0.24, 0.144]
    """
    start, end = trailing(shoulder_m, (3,), "shoulder_m"), trailing(grip_m, (3,), "grip_m")
    upper, fore = floats(upper_m), floats(fore_m)
    way = end - start
    apart = np.linalg.norm(way, axis=-1)
    span = np.where(apart > 0.0, apart, 1.0)
    along_way = way / span[..., None]
    stretched = np.maximum(apart / (upper + fore), 1.0)
    upper, fore = upper * stretched, fore * stretched
    along = (apart**2 + upper**2 - fore**2) / (2.0 * span)
    along = np.minimum(np.maximum(along, -upper), upper)
    aside = np.sqrt(np.maximum(upper**2 - along**2, 0.0))
    sag = ELBOW_OUT * trailing(outward, (3,), "outward") + np.array([0.0, -1.0, 0.0])
    sag = sag - np.sum(sag * along_way, axis=-1, keepdims=True) * along_way
    length = np.linalg.norm(sag, axis=-1, keepdims=True)
    sag = np.divide(sag, length, out=np.zeros_like(sag), where=length > 1e-9)
    return np.asarray(start + along[..., None] * along_way + aside[..., None] * sag)


def body_capsules(
    grip_m: ArrayLike,
    standing_m: ArrayLike,
    floor_y_m: ArrayLike,
    stature_m: ArrayLike,
    shoulder_m: ArrayLike,
    breadth_m: ArrayLike,
    hand_sign: ArrayLike,
    turn_rad: ArrayLike = 0.0,
    top_m: ArrayLike | None = None,
) -> Array:
    """Which capsules stand for someone who holds a stylus at a place?

    Parameters
    ----------
    grip_m : array_like, shape (..., 3)
        Middle of the hand [m], surface frame.
    standing_m, floor_y_m, stature_m, shoulder_m, breadth_m, hand_sign, turn_rad
        As in `working_shoulder`.
    top_m : array_like, shape (...), optional
        Height of the head's top above the floor [m]; the stature where left out. Give it for
        someone who sits.

    Returns
    -------
    ndarray, shape (..., 8, 7)
        For each of `CAPSULES` both ends of its axis and its radius [m].

    Raises
    ------
    ValueError
        If a last axis has the wrong length, or a stature, shoulder height or breadth is not
        positive.

    Notes
    -----
    Source: see the module.

    Examples
    --------
    >>> body = body_capsules([1.2, 0.6, 0.1], [1.0, 0.5], -0.8, 1.7, 1.4, 0.44, 1.0)
    >>> body.shape, body[4].round(3).tolist()
    ((8, 7), [1.0, 0.764, 0.5, 1.0, 0.815, 0.5, 0.085])
    """
    grip = trailing(grip_m, (3,), "grip_m")
    foot = trailing(standing_m, (2,), "standing_m")
    shape = np.broadcast_shapes(
        grip.shape[:-1],
        foot.shape[:-1],
        *(
            np.shape(value)
            for value in (floor_y_m, stature_m, shoulder_m, breadth_m, hand_sign, turn_rad)
        ),
        () if top_m is None else np.shape(top_m),
    )
    floor, stature, shoulder, breadth, hand, turn, top = (
        np.broadcast_to(floats(value), shape)
        for value in (
            floor_y_m,
            stature_m,
            shoulder_m,
            breadth_m,
            hand_sign,
            turn_rad,
            stature_m if top_m is None else top_m,
        )
    )
    if np.any(stature <= 0) or np.any(shoulder <= 0) or np.any(breadth <= 0):
        raise ValueError("stature_m, shoulder_m and breadth_m must be above 0")
    body = np.empty((*shape, len(CAPSULES), 7))
    _trunk_and_head(body, foot, floor, stature, shoulder, breadth, hand, turn, top)
    joint = working_shoulder(foot, floor, stature, shoulder, breadth, hand, turn)
    outward = _stacked(hand * np.cos(turn), 0.0, hand * np.sin(turn))
    half_hand = HAND_SHARE / 2.0 * stature
    fore = FOREARM_SHARE * stature + half_hand
    elbow = elbow_place(joint, grip, UPPER_ARM_SHARE * stature, fore, outward)
    back = elbow - grip
    whole = np.linalg.norm(back, axis=-1)
    part = np.divide(half_hand, whole, out=np.zeros_like(whole), where=whole > 0.0)
    wrist = grip + part[..., None] * back
    for row, first, last, radius in (
        (5, joint, elbow, UPPER_ARM_RADIUS_SHARE),
        (6, elbow, wrist, FOREARM_RADIUS_SHARE),
        (7, wrist, grip, HAND_RADIUS_SHARE),
    ):
        body[..., row, :3], body[..., row, 3:6], body[..., row, 6] = first, last, radius * stature
    return body


def _trunk_and_head(
    body: Array,
    foot: Array,
    floor: Array,
    stature: Array,
    shoulder: Array,
    breadth: Array,
    hand: Array,
    turn: Array,
    top: Array,
) -> None:
    """Fill the first five capsules: trunk with legs, neck, head."""
    thick = TRUNK_DEPTH_SHARE * breadth / 2.0
    for row, side in enumerate((-1.0, 0.0, 1.0)):
        out = side * hand * (breadth / 2.0 - thick)
        x, z = foot[..., 0] + out * np.cos(turn), foot[..., 1] + out * np.sin(turn)
        _upright(body[..., row, :], x, z, floor, shoulder + floor - thick, thick)
    head = HEAD_RADIUS_SHARE * stature
    crown = floor + top - head
    chin = np.minimum(floor + top - HEAD_SHARE * stature + head, crown)
    x, z = foot[..., 0], foot[..., 1]
    _upright(body[..., 3, :], x, z, floor + shoulder - thick, chin, NECK_RADIUS_SHARE * stature)
    _upright(body[..., 4, :], x, z, chin, crown, head)


def _upright(row: Array, x: Array, z: Array, low: Array, high: Array, radius: Array) -> None:
    for index, value in enumerate((x, low, z, x, high, z, radius)):
        row[..., index] = value


def segment_gap(
    start_m: ArrayLike, end_m: ArrayLike, first_m: ArrayLike, last_m: ArrayLike
) -> Array:
    """How near do two straight pieces of line come to each other?

    Parameters
    ----------
    start_m, end_m, first_m, last_m : array_like, shape (..., 3)
        Ends of the one and of the other [m]; a piece may be a point.

    Returns
    -------
    ndarray, shape (...)
        Least distance [m]; NaN where an end is unknown.

    Raises
    ------
    ValueError
        If a last axis is not 3 long.

    Notes
    -----
    Source: nearest points of two segments, Ericson, Real-Time Collision Detection, 2005, §5.1.9
    (from memory); tested against sampling and an independent ray caster.

    Examples
    --------
    >>> float(segment_gap([0, 0, 0], [2, 0, 0], [1, 1, 3], [1, -1, 3]))
    3.0
    """
    start, end = trailing(start_m, (3,), "start_m"), trailing(end_m, (3,), "end_m")
    first, last = trailing(first_m, (3,), "first_m"), trailing(last_m, (3,), "last_m")
    # Coordinate by coordinate: several times faster than sums over a last axis of three.
    d1 = [end[..., i] - start[..., i] for i in range(3)]
    d2 = [last[..., i] - first[..., i] for i in range(3)]
    r = [start[..., i] - first[..., i] for i in range(3)]
    a, e, b = _dot(d1, d1), _dot(d2, d2), _dot(d1, d2)
    c, f = _dot(d1, r), _dot(d2, r)
    across = a * e - b * b
    s = _within(_ratio(b * f - c * e, across, 1e-12 * a * e))
    t = _within(_ratio(b * s + f, e))
    # The nearest point of the other piece, pulled onto it, is met anew.
    s = _within(_ratio(b * t - c, a))
    gap = [r[i] + d1[i] * s - d2[i] * t for i in range(3)]
    return np.asarray(np.sqrt(_dot(gap, gap)))


def hidden_by(light_m: ArrayLike, camera_m: ArrayLike, capsules_m: ArrayLike) -> Mask:
    """Does any of some capsules stand between a light and a camera?

    Parameters
    ----------
    light_m, camera_m : array_like, shape (..., 3)
        Both ends of the line of sight [m].
    capsules_m : array_like, shape (..., N, 7)
        Ends of each axis and radius [m], as from `body_capsules`.

    Returns
    -------
    ndarray of bool, shape (...)
        True where the line touches a capsule, also when an end lies inside one; False where a
        number is unknown.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> body = body_capsules([1.2, 0.6, 0.1], [1.0, 0.5], -0.8, 1.7, 1.4, 0.44, 1.0)
    >>> hidden_by([1.15, 0.55, 0.01], [[1.0, 0.3, 3.0], [-0.6, 1.7, 2.8]], body).tolist()
    [True, False]
    """
    light = trailing(light_m, (3,), "light_m")
    camera = trailing(camera_m, (3,), "camera_m")
    capsules = trailing(capsules_m, (None, 7), "capsules_m")
    shape = np.broadcast_shapes(light.shape[:-1], camera.shape[:-1], capsules.shape[:-2])
    hidden = np.zeros(shape, bool)
    for row in range(capsules.shape[-2]):
        one = capsules[..., row, :]
        hidden |= segment_gap(light, camera, one[..., :3], one[..., 3:6]) <= one[..., 6]
    return hidden


def _stacked(x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Array:
    return np.stack(np.broadcast_arrays(floats(x), floats(y), floats(z)), axis=-1)


def _dot(a: list[Array], b: list[Array]) -> Array:
    return np.asarray(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


def _ratio(above: Array, below: Array, least: Array | float = 0.0) -> Array:
    """The quotient, 0 where the lower part is not above `least`."""
    good = below > least
    return np.asarray(np.where(good, above / np.where(good, below, 1.0), 0.0))


def _within(share: Array) -> Array:
    return np.asarray(np.minimum(np.maximum(share, 0.0), 1.0))
