"""From a pixel to a place on the surface, once a registration has found the map.

A pixel is freed of the lens's distortion, taken to the plane by the map, and the parallax of
the wall's bends is taken off. The map speaks of the plane in which the lights stood on average
while they touched, so its camera position is told from that plane.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.geometry.lens import distortion_jacobian
from rushlight.physics.geometry.pinhole import undistort_px
from rushlight.physics.geometry.plane import (
    apparent_shift,
    apply_homography,
    flatness_modes,
    homography_jacobian,
)
from rushlight.physics.surface_model import edge_to_edge

Array = NDArray[Any]

_STEP_M = 1e-4  # for the slope of the wall, a cubic: exact to 1e-8


def wall_height(xy_m: ArrayLike, flatness_m: ArrayLike, size_m: ArrayLike) -> Array:
    """How high does the wall rise above its mean plane at a place?

    Parameters
    ----------
    xy_m : (..., 2) [m]
    flatness_m : (..., 7) [m], amplitudes of `flatness_modes`
    size_m : (..., 2) [m], width and height of the surface

    Returns
    -------
    (...) [m]

    Examples
    --------
    >>> round(float(wall_height([1.0, 0.5], [0.002, 0, 0, 0, 0, 0, 0], [2.0, 1.0])), 6)
    -0.002236
    """
    modes = flatness_modes(edge_to_edge(xy_m, size_m))
    return np.asarray(np.sum(modes * np.asarray(flatness_m, float), axis=-1))


def surface_from_px(
    px: ArrayLike,
    K: ArrayLike,
    k: ArrayLike,
    surface_from_normalised: ArrayLike,
    flatness_m: ArrayLike,
    size_m: ArrayLike,
    camera_position_m: ArrayLike,
    iterations: int = 3,
) -> Array:
    """Which place on the surface does a pixel show?

    Parameters
    ----------
    px : (..., 2) [px]
    K : (..., 3, 3) [px]
    k : (..., 5) [1], lens coefficients k1 k2 p1 p2 k3
    surface_from_normalised : (..., 3, 3), from undistorted normalised coordinates to metres
    flatness_m : (..., 7) [m], amplitudes of `flatness_modes`; zeros for a plane
    size_m : (..., 2) [m], width and height of the surface
    camera_position_m : (..., 3) [m], from the plane of the map; its z above every bend
    iterations : int, each shrinks the parallax left over about a hundredfold

    Returns
    -------
    (..., 2) [m]; NaN where the lens model does not reach or the map goes to infinity

    Notes
    -----
    Source: computed here. The place q that the plane map tells is the true place and its
    parallax, q = xy + `apparent_shift` (xy); solved for xy by repeated substitution.

    Examples
    --------
    >>> K = [[500.0, 0, 320], [0, 500, 240], [0, 0, 1]]
    >>> H = [[2.0, 0, 1], [0, -2, 0.5], [0, 0, 1]]  # a camera 2 m before the middle
    >>> surface_from_px([420.0, 240.0], K, np.zeros(5), H, np.zeros(7), [2.0, 1.0],
    ...                 [1.0, 0.5, 2.0]).round(9).tolist()
    [1.4, 0.5]
    """
    seen = apply_homography(surface_from_normalised, undistort_px(px, K, k))
    flatness = np.asarray(flatness_m, float)
    if not np.any(flatness):
        return np.asarray(seen)
    xy = seen
    for _ in range(iterations):
        height = wall_height(xy, flatness, size_m)
        xy = seen - apparent_shift(xy, height, camera_position_m)
    return np.asarray(xy)


def surface_px_jacobian(
    px: ArrayLike,
    K: ArrayLike,
    k: ArrayLike,
    surface_from_normalised: ArrayLike,
    flatness_m: ArrayLike,
    size_m: ArrayLike,
    camera_position_m: ArrayLike,
) -> Array:
    """How does the place on the surface move with the pixel?

    Parameters
    ----------
    px, K, k, surface_from_normalised, flatness_m, size_m, camera_position_m
        As in `surface_from_px`.

    Returns
    -------
    (..., 2, 2) [m/px]; NaN where `surface_from_px` is

    Notes
    -----
    Source: computed here, chain rule; the wall's slope by central differences.

    Examples
    --------
    >>> K = [[500.0, 0, 320], [0, 500, 240], [0, 0, 1]]
    >>> H = [[2.0, 0, 1], [0, -2, 0.5], [0, 0, 1]]
    >>> surface_px_jacobian([420.0, 240.0], K, np.zeros(5), H, np.zeros(7), [2.0, 1.0],
    ...                     [1.0, 0.5, 2.0]).round(9).tolist()
    [[0.004, 0.0], [0.0, -0.004]]
    """
    return _place_and_jacobian(
        px, K, k, surface_from_normalised, flatness_m, size_m, camera_position_m
    )[1]


def map_px(
    px: ArrayLike,
    px_cov: ArrayLike,
    K: ArrayLike,
    k: ArrayLike,
    surface_from_normalised: ArrayLike,
    flatness_m: ArrayLike,
    size_m: ArrayLike,
    camera_position_m: ArrayLike,
) -> tuple[Array, Array]:
    """Where is a dot on the surface, and how far does its own doubt reach there?

    The registration's doubt is not in it: that is common to all dots at a place, see
    `transferred_cov`.

    Parameters
    ----------
    px : (..., 2) [px]
    px_cov : (..., 2, 2) [px²]
    K, k, surface_from_normalised, flatness_m, size_m, camera_position_m
        As in `surface_from_px`.

    Returns
    -------
    xy_m : (..., 2) [m]
    cov_m2 : (..., 2, 2) [m²]

    Examples
    --------
    >>> K = [[500.0, 0, 320], [0, 500, 240], [0, 0, 1]]
    >>> H = [[2.0, 0, 1], [0, -2, 0.5], [0, 0, 1]]
    >>> xy, cov = map_px([420.0, 240.0], 0.01 * np.eye(2), K, np.zeros(5), H, np.zeros(7),
    ...                  [2.0, 1.0], [1.0, 0.5, 2.0])
    >>> xy.round(9).tolist(), (cov * 1e6).round(9).tolist()
    ([1.4, 0.5], [[0.16, 0.0], [0.0, 0.16]])
    """
    place, local = _place_and_jacobian(
        px, K, k, surface_from_normalised, flatness_m, size_m, camera_position_m
    )
    return place, np.asarray(local @ np.asarray(px_cov, float) @ np.swapaxes(local, -1, -2))


def transferred_cov(design: ArrayLike, parameter_cov: ArrayLike) -> Array:
    """How uncertain does a registration leave places on the surface?

    Parameters
    ----------
    design : (..., 2, P) [m], `map_design` at those places
    parameter_cov : (..., P, P), of the parameters in the same order

    Returns
    -------
    (..., 2, 2) [m²]

    Examples
    --------
    >>> transferred_cov([[2.0], [0.0]], [[0.25]]).tolist()
    [[1.0, 0.0], [0.0, 0.0]]
    """
    rows = np.asarray(design, float)
    return np.asarray(rows @ np.asarray(parameter_cov, float) @ np.swapaxes(rows, -1, -2))


def followed_by(surface_from_normalised: ArrayLike, step_m: ArrayLike, size_m: ArrayLike) -> Array:
    """Which map is a map followed by a small change of the plane?

    Parameters
    ----------
    surface_from_normalised : (..., 3, 3)
    step_m : (..., 8) [m], plane parameters in the order of `plane_tangent`, in coordinates
        `centred` on the surface
    size_m : (..., 2) [m], width and height of the surface

    Returns
    -------
    (..., 3, 3)

    Examples
    --------
    >>> moved = followed_by(np.eye(3), [0, 0, 0.01, 0, 0, 0, 0, 0], [2.0, 1.0])
    >>> apply_homography(moved, [0.7, 0.2]).round(9).tolist()
    [0.71, 0.2]
    """
    size = np.asarray(size_m, float)
    extent = size.max(axis=-1) / 2.0
    step = np.asarray(step_m, float)
    change = np.zeros((*step.shape[:-1], 3, 3))
    change.reshape(*step.shape[:-1], 9)[..., :8] = step / extent[..., None]
    change = change + np.eye(3)
    forth = np.zeros((*size.shape[:-1], 3, 3))
    forth[..., 0, 0] = forth[..., 1, 1] = 1.0 / extent
    forth[..., :2, 2] = -size / 2.0 / extent[..., None]
    forth[..., 2, 2] = 1.0
    return np.asarray(
        np.linalg.inv(forth) @ change @ forth @ np.asarray(surface_from_normalised, float)
    )


def camera_of_plane_map(surface_from_normalised: ArrayLike, size_m: ArrayLike) -> Array:
    """From where does a camera see a plane in the way that a map says?

    Parameters
    ----------
    surface_from_normalised : (..., 3, 3), invertible
    size_m : (..., 2) [m], width and height of the surface, whose middle the camera sees

    Returns
    -------
    (..., 4, 4), surface_from_camera: the pose nearest to the map; its z is negative where the
        picture is mirrored or the camera stands behind the surface

    Notes
    -----
    Source: Zhang, "A Flexible New Technique for Camera Calibration", IEEE PAMI 22(11), 2000,
    section 3.1 (from memory): the first two columns of the inverse map are those of the
    rotation up to scale.

    Examples
    --------
    >>> camera_of_plane_map([[2.0, 0, 1], [0, -2, 0.5], [0, 0, 1]], [2.0, 1.0]).tolist()[2]
    [0.0, 0.0, -1.0, 2.0]
    """
    inverse = np.linalg.inv(np.asarray(surface_from_normalised, float))
    size = np.asarray(size_m, float)
    middle = np.concatenate([size / 2.0, np.ones_like(size[..., :1])], axis=-1)
    ahead = np.sum(inverse[..., 2, :] * middle, axis=-1)
    lengths = np.linalg.norm(inverse[..., :2], axis=-2)
    scale = np.sign(ahead) / np.sqrt(lengths[..., 0] * lengths[..., 1])
    columns = inverse * scale[..., None, None]
    third = np.cross(columns[..., 0], columns[..., 1])
    left, _, right = np.linalg.svd(
        np.stack([columns[..., 0], columns[..., 1], third], axis=-1), full_matrices=False
    )
    turn = np.swapaxes(left @ right, -1, -2)
    pose = np.zeros((*turn.shape[:-2], 4, 4))
    pose[..., :3, :3] = turn
    pose[..., :3, 3] = -np.matvec(turn, columns[..., 2])
    pose[..., 3, 3] = 1.0
    return pose + 0.0


def _place_and_jacobian(
    px: ArrayLike,
    K: ArrayLike,
    k: ArrayLike,
    surface_from_normalised: ArrayLike,
    flatness_m: ArrayLike,
    size_m: ArrayLike,
    camera_position_m: ArrayLike,
) -> tuple[Array, Array]:
    """Places (..., 2) [m] and their derivative by the pixel (..., 2, 2) [m/px]."""
    matrix = np.asarray(K, float)
    normalised = undistort_px(px, matrix, k)
    bent = matrix[..., :2, :2] @ distortion_jacobian(normalised, k)
    local = homography_jacobian(surface_from_normalised, normalised) @ _inverse(bent)
    place = apply_homography(surface_from_normalised, normalised)
    flatness = np.asarray(flatness_m, float)
    if not np.any(flatness):
        return np.asarray(place), np.asarray(local)
    seen = place
    for _ in range(3):
        height = wall_height(place, flatness, size_m)
        place = seen - apparent_shift(place, height, camera_position_m)
    # One step forth and back along each axis, all four at once.
    around = place[..., None, :] + _STEP_M * np.concatenate([np.eye(2), -np.eye(2)])
    height = wall_height(around, flatness[..., None, :], np.asarray(size_m, float)[..., None, :])
    shift = apparent_shift(around, height, np.asarray(camera_position_m, float)[..., None, :])
    slope = np.swapaxes(shift[..., :2, :] - shift[..., 2:, :], -1, -2) / (2.0 * _STEP_M)
    return place, np.asarray(_inverse(np.eye(2) + slope) @ local)


def _inverse(matrix: Array) -> Array:
    """Inverse of (..., 2, 2), NaN where there is none; a library's would stop there."""
    a, b, c, d = matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 1, 0], matrix[..., 1, 1]
    det = a * d - b * c
    det = np.where(det == 0.0, np.nan, det)
    turned = np.stack([np.stack([d, -b], axis=-1), np.stack([-c, a], axis=-1)], axis=-2)
    return np.asarray(turned / det[..., None, None])
