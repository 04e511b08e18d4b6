"""Pictures for an eye that stands anywhere before a screen, and how they move when it does.

A screen is told by three corners, lower left, lower right and upper left as the user sees it,
shape (3, 3). The eye has to stand before it; what an eye in or behind the screen's plane would
see comes back as NaN.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.parallax import drawn_place
from rushlight.physics.geometry.shapes import FloatArray, floats, trailing

_SQUARE = 1e-6  # greatest cosine between the sides of what still counts as a rectangle


class ScreenFrame(NamedTuple):
    """A screen's own axes.

    Fields
    ------
    corner_m : (..., 3) lower left [m]
    axes : (..., 3, 3) rows: to the right, up, and out of the screen toward the user
    size_m : (..., 2) width and height [m]
    """

    corner_m: FloatArray
    axes: FloatArray
    size_m: FloatArray


class Frustum(NamedTuple):
    """What an eye sees through a screen, as an asymmetric pyramid.

    Fields
    ------
    left, right, bottom, top : (...) sides on the plane at `near_m` from the eye [m]
    distance_m : (...) of the eye from the screen's plane [m]
    """

    left: FloatArray
    right: FloatArray
    bottom: FloatArray
    top: FloatArray
    distance_m: FloatArray


class OffAxis(NamedTuple):
    """How a scene is drawn for one eye on one screen.

    Fields
    ------
    frustum : Frustum
    projection : (..., 4, 4) ``clip_from_eye``
    view : (..., 4, 4) ``eye_from_rig``: x right, y up, z out of the screen, the eye at 0
    """

    frustum: Frustum
    projection: FloatArray
    view: FloatArray

    @property
    def both(self) -> FloatArray:
        """(..., 4, 4) ``clip_from_rig``."""
        return np.asarray(self.projection @ self.view)


def screen_frame(corners_m: ArrayLike) -> ScreenFrame:
    """Which axes and size does a screen have?

    Parameters
    ----------
    corners_m : array_like, shape (..., 3, 3)
        Lower left, lower right, upper left [m].

    Returns
    -------
    ScreenFrame

    Raises
    ------
    ValueError
        If the last axes are not (3, 3), or the corners span no rectangle.

    Examples
    --------
    >>> frame = screen_frame([[0.0, 0.0, 0.0], [0.6, 0.0, 0.0], [0.0, 0.3, 0.0]])
    >>> frame.axes[2].tolist(), frame.size_m.tolist()
    ([0.0, 0.0, 1.0], [0.6, 0.3])
    """
    corners = trailing(corners_m, (3, 3), "corners_m")
    sides = corners[..., 1:, :] - corners[..., :1, :]
    size = np.linalg.norm(sides, axis=-1)
    if np.any(size <= 0.0):
        raise ValueError("corners_m must hold three corners that lie apart")
    right, up = np.moveaxis(sides / size[..., None], -2, 0)
    if np.any(np.abs(np.einsum("...i,...i->...", right, up)) > _SQUARE):
        raise ValueError("corners_m must span a rectangle: its sides are not at right angles")
    axes = np.stack([right, up, np.cross(right, up)], axis=-2)
    return ScreenFrame(corners[..., 0, :], axes, size)


def in_screen_frame(points_m: ArrayLike, frame: ScreenFrame) -> FloatArray:
    """Where do points lie, told from a screen's lower left corner along its axes?

    Parameters
    ----------
    points_m : array_like, shape (..., 3)
        In the rig [m].
    frame : ScreenFrame

    Returns
    -------
    ndarray, shape (..., 3)
        To the right, up, and before the screen [m].
    """
    points = trailing(points_m, (3,), "points_m")
    return np.asarray(np.matvec(frame.axes, points - frame.corner_m))


def off_axis(
    corners_m: ArrayLike, eye_m: ArrayLike, near_m: ArrayLike, far_m: ArrayLike
) -> OffAxis:
    """How must a scene be drawn on a screen, so that one eye sees it where it is?

    Parameters
    ----------
    corners_m : array_like, shape (..., 3, 3)
        Lower left, lower right, upper left of the screen [m]; several screens as a leading axis.
    eye_m : array_like, shape (..., 3)
        [m]
    near_m, far_m : array_like, shape (...), 0 < near < far
        Distances from the eye between which things are drawn [m].

    Returns
    -------
    OffAxis
        NaN where the eye stands in or behind the screen's plane.

    Raises
    ------
    ValueError
        If a last axis has the wrong length, the corners span no rectangle, or near and far are
        not in order.

    Notes
    -----
    Source: Kooima, "Generalized Perspective Projection", 2008, revised 2013; matrix entries as
    the OpenGL 2.1 reference states them for glFrustum.

    Examples
    --------
    >>> drawn = off_axis([[-0.2, -0.15, 0], [0.2, -0.15, 0], [-0.2, 0.15, 0]],
    ...                  [0.1, 0.05, 0.5], 0.1, 10.0)
    >>> [round(float(side), 12) for side in drawn.frustum[:4]]
    [-0.06, 0.02, -0.04, 0.02]
    >>> (drawn.both @ [0.2, -0.15, 0.0, 1.0]).round(12)[:2].tolist()  # times the distance, 0.5
    [0.5, -0.5]
    """
    frame = screen_frame(corners_m)
    near, far = floats(near_m), floats(far_m)
    if np.any(near <= 0.0) or np.any(far <= near):
        raise ValueError("near_m and far_m must be distances, 0 < near_m < far_m")
    eye = in_screen_frame(eye_m, frame)
    distance = np.where(eye[..., 2] > 0.0, eye[..., 2], np.nan)
    scale = near / distance
    frustum = Frustum(
        -eye[..., 0] * scale,
        (frame.size_m[..., 0] - eye[..., 0]) * scale,
        -eye[..., 1] * scale,
        (frame.size_m[..., 1] - eye[..., 1]) * scale,
        distance,
    )
    projection = frustum_matrix(*frustum[:4], near, far)
    projection[np.broadcast_to(np.isnan(distance), projection.shape[:-2])] = np.nan
    shape = projection.shape[:-2]
    view = np.zeros((*shape, 4, 4))
    view[..., :3, :3] = frame.axes
    view[..., :3, 3] = -np.matvec(frame.axes, trailing(eye_m, (3,), "eye_m"))
    view[..., 3, 3] = 1.0
    view[np.broadcast_to(np.isnan(distance), shape)] = np.nan
    return OffAxis(frustum, projection, view)


def frustum_matrix(
    left: ArrayLike,
    right: ArrayLike,
    bottom: ArrayLike,
    top: ArrayLike,
    near_m: ArrayLike,
    far_m: ArrayLike,
) -> FloatArray:
    """Which matrix takes an asymmetric pyramid before the eye to a cube of ±1?

    Parameters
    ----------
    left, right, bottom, top : array_like, shape (...)
        Sides on the plane at `near_m` [m].
    near_m, far_m : array_like, shape (...)
        [m]

    Returns
    -------
    ndarray, shape (..., 4, 4)
        For column vectors; the eye looks along −z.

    Notes
    -----
    Source: OpenGL 2.1 reference, glFrustum.

    Examples
    --------
    >>> frustum_matrix(-0.06, 0.02, -0.04, 0.02, 0.1, 10.0)[0].round(6).tolist()
    [2.5, 0.0, -0.5, 0.0]
    """
    sides = np.broadcast_arrays(*map(floats, (left, right, bottom, top, near_m, far_m)))
    le, ri, bo, to, near, far = sides
    matrix = np.zeros((*le.shape, 4, 4))
    matrix[..., 0, 0], matrix[..., 0, 2] = 2.0 * near / (ri - le), (ri + le) / (ri - le)
    matrix[..., 1, 1], matrix[..., 1, 2] = 2.0 * near / (to - bo), (to + bo) / (to - bo)
    matrix[..., 2, 2] = -(far + near) / (far - near)
    matrix[..., 2, 3] = -2.0 * far * near / (far - near)
    matrix[..., 3, 2] = -1.0
    return matrix


def drawn_at(points_m: ArrayLike, corners_m: ArrayLike, eye_m: ArrayLike) -> FloatArray:
    """Where on a screen must points be drawn, so that an eye sees them where they are?

    Parameters
    ----------
    points_m : array_like, shape (..., 3)
        Behind the screen or before it, in the rig [m].
    corners_m : array_like, shape (..., 3, 3)
        Of the screen [m].
    eye_m : array_like, shape (..., 3)
        [m]

    Returns
    -------
    ndarray, shape (..., 2)
        Right and up from the screen's lower left corner [m], also beyond its edges; NaN where
        the eye stands in or behind the screen's plane, and for points not before the eye.

    Raises
    ------
    ValueError
        If a last axis has the wrong length, or the corners span no rectangle.

    Examples
    --------
    >>> stage = [[0.0, 0.0, 0.0], [0.6, 0.0, 0.0], [0.0, 0.3, 0.0]]
    >>> drawn_at([0.3, 0.1, -1.0], stage, [0.1, 0.1, 1.0]).round(12).tolist()
    [0.2, 0.1]
    """
    frame = screen_frame(corners_m)
    return drawn_place(in_screen_frame(eye_m, frame), in_screen_frame(points_m, frame)).place_m


def parallax_jacobian(points_m: ArrayLike, corners_m: ArrayLike, eye_m: ArrayLike) -> FloatArray:
    """How does the place at which points are drawn move with the eye?

    Parameters
    ----------
    points_m, corners_m, eye_m
        As in `drawn_at`.

    Returns
    -------
    ndarray, shape (..., 2, 3)
        [m/m], with the eye in the rig; times an error of the eye it is the parallax error on
        the screen, to first order. Content on the screen does not move.

    Raises
    ------
    ValueError
        If a last axis has the wrong length, or the corners span no rectangle.

    Notes
    -----
    Source: `rushlight.physics.geometry.parallax.drawn_place`, turned into the rig.

    Examples
    --------
    >>> stage = [[0.0, 0.0, 0.0], [0.6, 0.0, 0.0], [0.0, 0.3, 0.0]]
    >>> parallax_jacobian([0.1, 0.1, -0.25], stage, [0.1, 0.1, 1.0]).round(12).tolist()
    [[0.2, 0.0, 0.0], [0.0, 0.2, 0.0]]
    """
    frame = screen_frame(corners_m)
    drawn = drawn_place(in_screen_frame(eye_m, frame), in_screen_frame(points_m, frame))
    return np.asarray(drawn.by_eye @ frame.axes)
