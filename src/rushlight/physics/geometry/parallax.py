"""Where on a display a point beyond or before it must be drawn for an eye, and how that moves."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.shapes import FloatArray, floats, trailing


class Drawn(NamedTuple):
    """A place on the display, and how it moves with the eye.

    Fields
    ------
    place_m : (..., 2) [m]; NaN where the content is not between the display and the eye or behind
    by_eye : (..., 2, 3) [m/m]
    """

    place_m: FloatArray
    by_eye: FloatArray


def drawn_place(eye_m: ArrayLike, content_m: ArrayLike) -> Drawn:
    """Where does the line from an eye to a point of the content meet the display?

    Parameters
    ----------
    eye_m, content_m : array_like, shape (..., 3)
        In the display's own frame: x and y in it, z toward the eye [m].

    Returns
    -------
    Drawn

    Raises
    ------
    ValueError
        If a last axis is not 3 long.

    Notes
    -----
    Source: similar triangles; held against numerical differences in the tests. For content a
    distance d behind the display and an eye a distance h before it, a sideways error of the eye
    moves the picture by d/(h + d) of itself.

    Examples
    --------
    >>> drawn = drawn_place([0.1, 0.0, 1.0], [0.0, 0.0, -0.25])
    >>> drawn.place_m.round(9).tolist(), float(drawn.by_eye[0, 0].round(9))
    ([0.02, 0.0], 0.2)
    """
    eye, content = trailing(eye_m, (3,), "eye_m"), trailing(content_m, (3,), "content_m")
    fall = eye[..., 2] - content[..., 2]
    fall = np.where((fall > 0.0) & (eye[..., 2] > 0.0), fall, np.nan)
    way = content[..., :2] - eye[..., :2]
    place = eye[..., :2] + way * (eye[..., 2] / fall)[..., None]
    by_eye = np.zeros((*place.shape[:-1], 2, 3))
    by_eye[..., 0, 0] = by_eye[..., 1, 1] = -content[..., 2] / fall
    by_eye[..., :, 2] = way * (-content[..., 2] / fall**2)[..., None]
    return Drawn(place, by_eye)


def content_beyond(eye_m: ArrayLike, seen_m: ArrayLike, height_m: ArrayLike) -> FloatArray:
    """Which point of the content does an eye see at a place of the display?

    Parameters
    ----------
    eye_m : array_like, shape (..., 3)
        In the display's own frame [m].
    seen_m : array_like, shape (..., 2)
        The place on the display [m].
    height_m : array_like, shape (...)
        Of the content before the display, negative behind it [m].

    Returns
    -------
    ndarray, shape (..., 3) [m]

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> content_beyond([0.1, 0.0, 1.0], [0.02, 0.0], -0.25).round(9).tolist()
    [0.0, 0.0, -0.25]
    """
    eye, seen = trailing(eye_m, (3,), "eye_m"), trailing(seen_m, (2,), "seen_m")
    height = floats(height_m)
    share = ((eye[..., 2] - height) / eye[..., 2])[..., None]
    flat = eye[..., :2] + (seen - eye[..., :2]) * share
    return np.asarray(
        np.concatenate([flat, np.broadcast_to(height[..., None], (*flat.shape[:-1], 1))], axis=-1)
    )
