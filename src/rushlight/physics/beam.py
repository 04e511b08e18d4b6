"""The beam of a projector that stands before its wall: what is in it, and where shadows fall.

The beam is a pyramid from the middle of the lens to the four corners of the picture. The lens is
taken as a point, so that shadows have sharp edges.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.geometry.shapes import floats, trailing

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


def shadow_place(lens_m: ArrayLike, point_m: ArrayLike) -> Array:
    """Where on the wall z = 0 does the shadow of a point fall?

    Parameters
    ----------
    lens_m, point_m : array_like, shape (..., 3)
        The projector's lens and the point [m].

    Returns
    -------
    ndarray, shape (..., 2)
        x and y [m]; NaN for a point that is not between lens and wall.

    Raises
    ------
    ValueError
        If a last axis is not 3 long.

    Notes
    -----
    Source: similar triangles.

    Examples
    --------
    >>> shadow_place([1.0, 1.0, 2.0], [1.2, 0.9, 1.0]).round(9).tolist()
    [1.4, 0.8]
    """
    lens, point = trailing(lens_m, (3,), "lens_m"), trailing(point_m, (3,), "point_m")
    between = (point[..., 2] < lens[..., 2]) & (point[..., 2] >= 0.0)
    gap = np.where(between, lens[..., 2] - point[..., 2], np.nan)
    share = (lens[..., 2] / gap)[..., None]
    return np.asarray(lens[..., :2] + share * (point[..., :2] - lens[..., :2]))


def in_beam(
    lens_m: ArrayLike, point_m: ArrayLike, size_m: ArrayLike, radius_m: ArrayLike = 0.0
) -> Mask:
    """Is a ball, or a point, at least partly in the light that goes to the picture?

    Parameters
    ----------
    lens_m, point_m : array_like, shape (..., 3)
        The projector's lens and the middle of the ball [m].
    size_m : array_like, shape (..., 2)
        Width and height of the picture, whose lower-left corner is the origin [m].
    radius_m : array_like, shape (...)
        Of the ball [m], ≥ 0; its shadow is taken as round, which is nearly so.

    Returns
    -------
    ndarray of bool, shape (...)

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> in_beam([1.0, 1.0, 2.0], [[1.2, 0.9, 1.0], [1.2, 0.9, 3.0]], [2.0, 1.5]).tolist()
    [True, False]
    """
    lens = trailing(lens_m, (3,), "lens_m")
    foot = shadow_place(lens, point_m)
    size = trailing(size_m, (2,), "size_m")
    gap = lens[..., 2] - trailing(point_m, (3,), "point_m")[..., 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        wide = floats(radius_m) * lens[..., 2] / gap
        aside = np.maximum(np.maximum(-foot, foot - size), 0.0)
        return np.asarray(np.hypot(aside[..., 0], aside[..., 1]) <= wide)
