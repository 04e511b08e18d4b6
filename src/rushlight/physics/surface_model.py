"""What can be wrong with a surface rig's map, as one linear model.

A registration estimates the map from camera to surface; a plan predicts how well it will. Both
stand on the same design: how the place where a light seems to stand moves with each parameter.
The parameters are the eight of a plane map [m], then the lens coefficients and the amplitudes
of the wall's bends, these two in units of their own standard deviation beforehand, so that
their prior precision is 1 and a perfectly known lens or wall simply has a column of zeros.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.geometry.lens import distortion_jacobian_wrt_k
from rushlight.physics.geometry.plane import flatness_modes, plane_tangent
from rushlight.physics.geometry.pose import invert_transform, transform_points
from rushlight.physics.geometry.view import surface_from_px_jacobian

Array = NDArray[Any]

PLANE = slice(0, 8)
LENS = slice(8, 13)
FLATNESS = slice(13, 20)
PARAMETERS: tuple[str, ...] = (
    *(f"plane-{index}" for index in range(8)),
    *("k1", "k2", "p1", "p2", "k3"),
    *(f"bend-{m}{n}" for m, n in ((2, 0), (1, 1), (0, 2), (3, 0), (2, 1), (1, 2), (0, 3))),
)
PRIOR_PRECISION: Array = np.concatenate([np.zeros(8), np.ones(12)])


def centred(xy_m: ArrayLike, size_m: ArrayLike) -> Array:
    """Where is a place on the surface in the coordinates of the plane parameters?

    Parameters
    ----------
    xy_m : (..., 2) [m]
    size_m : (..., 2) [m], width and height of the surface

    Returns
    -------
    (..., 2) [1], from the middle, in units of half the larger side

    Examples
    --------
    >>> centred([2.0, 1.0], [2.0, 1.0]).tolist()
    [1.0, 0.5]
    """
    size = np.asarray(size_m, float)
    return np.asarray(
        (np.asarray(xy_m, float) - size / 2.0) / (size.max(axis=-1, keepdims=True) / 2.0)
    )


def edge_to_edge(xy_m: ArrayLike, size_m: ArrayLike) -> Array:
    """Where is a place on the surface, counted −1 to 1 from edge to edge?

    Parameters
    ----------
    xy_m : (..., 2) [m]
    size_m : (..., 2) [m]

    Returns
    -------
    (..., 2) [1]

    Examples
    --------
    >>> edge_to_edge([2.0, 1.0], [2.0, 1.0]).tolist()
    [1.0, 1.0]
    """
    return np.asarray(2.0 * np.asarray(xy_m, float) / np.asarray(size_m, float) - 1.0)


def bend_amplitudes(flatness_rms_m: ArrayLike) -> Array:
    """How large is each bend of a wall of given overall departure, beforehand?

    Parameters
    ----------
    flatness_rms_m : (...) [m], root-mean-square departure from a plane

    Returns
    -------
    (..., 7) [m], standard deviation of each amplitude; their squares add up

    Examples
    --------
    >>> bool(np.isclose(np.sqrt((bend_amplitudes(0.003) ** 2).sum()), 0.003))
    True
    """
    rms = np.asarray(flatness_rms_m, float)[..., None]
    return np.asarray(rms * np.full(7, 7.0**-0.5))


def lens_spread(k_std: ArrayLike, k_corr: ArrayLike = 0.0) -> Array:
    """How do the lens coefficients follow from independent draws of unit variance?

    Parameters
    ----------
    k_std : (..., 5) [1], standard deviations of k1 k2 p1 p2 k3
    k_corr : (..., 5, 5) or 0 [1], their correlations; what stands on the diagonal is not looked
        at, and 0 off it means independent coefficients

    Returns
    -------
    (..., 5, 5) [1], lower triangle S with S Sᵀ the covariance of the coefficients

    Raises
    ------
    ValueError
        When the correlations are those of no covariance.

    Examples
    --------
    >>> bound = np.zeros((5, 5))
    >>> bound[0, 1] = bound[1, 0] = -0.6
    >>> lens_spread([0.1, 0.2, 0, 0, 0], bound)[:2, :2].round(3).tolist()
    [[0.1, 0.0], [-0.12, 0.16]]
    """
    std = np.asarray(k_std, float)
    corr = np.asarray(k_corr, float)
    one = np.eye(5)
    if corr.ndim == 0:
        corr = corr * one
    try:
        lower = np.linalg.cholesky(corr * (1.0 - one) + one)
    except np.linalg.LinAlgError:
        raise ValueError("k_corr holds correlations that no covariance has") from None
    return np.asarray(std[..., :, None] * lower)


def map_design(
    xy_m: ArrayLike,
    size_m: ArrayLike,
    K: ArrayLike,
    k: ArrayLike,
    k_std: ArrayLike,
    surface_from_camera: ArrayLike,
    flatness_rms_m: ArrayLike,
    height_m: ArrayLike = 0.0,
    k_corr: ArrayLike = 0.0,
) -> Array:
    """How does the apparent place of a light move with each parameter of the map?

    Parameters
    ----------
    xy_m : (..., G, 2) [m], places on the surface
    size_m : (..., 2) [m], width and height of the surface
    K : (..., 3, 3) [px]
    k, k_std : (..., 5) [1], lens coefficients k1 k2 p1 p2 k3 as assumed, and their standard
        deviations
    surface_from_camera : (..., 4, 4)
    flatness_rms_m : (...) [m]
    height_m : (...) [m], of the lights above the surface, on average
    k_corr : (..., 5, 5) or 0 [1], how the coefficients go together, as in `lens_spread`

    Returns
    -------
    (..., G, 2, 20) [m], in the order of `PARAMETERS`; NaN in the lens columns where the camera
        cannot see the place

    Notes
    -----
    Source: computed here. Lens: an error δk of the coefficients moves the picture by
    (∂distorted/∂k) δk, and so the place on the surface by the local map of pixels to metres.
    Flatness: similar triangles, as `apparent_shift`. First order in everything.

    Examples
    --------
    >>> from rushlight.physics.geometry import rig_from_camera_turned, camera_matrix
    >>> pose = rig_from_camera_turned([1.0, 0.5, 2.0], 0.0, 0.0)
    >>> D = map_design([[2.0, 0.5]], [2.0, 1.0], camera_matrix(500.0, [320.0, 240.0]),
    ...                np.zeros(5), [0.01, 0, 0, 0, 0], pose, 0.0)
    >>> (D[0, 0, LENS][:2] * 1e3).round(3).tolist()  # k1: 0.01 · 0.5³ · 2 m
    [2.5, 0.0]
    """
    xy = np.asarray(xy_m, float)
    size = np.asarray(size_m, float)[..., None, :]
    pose = np.asarray(surface_from_camera, float)
    height = np.asarray(height_m, float)
    matrix = np.asarray(K, float)[..., None, :, :]
    lens = np.asarray(k, float)[..., None, :]
    lifted = np.concatenate(
        [xy, np.broadcast_to(height[..., None, None], (*xy.shape[:-1], 1))], axis=-1
    )
    seen = transform_points(invert_transform(pose)[..., None, :, :], lifted)
    normalised = seen[..., :2] / seen[..., 2:]
    local = surface_from_px_jacobian(xy, matrix, lens, pose[..., None, :, :], height[..., None])
    bent = local @ matrix[..., :2, :2] @ distortion_jacobian_wrt_k(normalised)
    spread = lens_spread(k_std, k_corr)[..., None, :, :]
    # A lens coefficient that is known exactly must not spoil a place that the camera misses.
    idle = np.all(spread == 0.0, axis=-2)[..., None, :]
    lens_columns = np.where(idle, 0.0, bent @ spread)
    camera = pose[..., None, :3, 3]
    slope = (xy - camera[..., :2]) / (camera[..., 2:] - height[..., None, None])
    bends = flatness_modes(edge_to_edge(xy, size)) * bend_amplitudes(flatness_rms_m)[..., None, :]
    flat_columns = slope[..., :, None] * bends[..., None, :]
    return np.concatenate([plane_tangent(centred(xy, size)), lens_columns, flat_columns], axis=-1)
