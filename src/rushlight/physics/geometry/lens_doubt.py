"""What the doubt of a lens calibration means for the rays that pixels stand for.

The parameters of a lens are fx fy cx cy [px] and k1 k2 p1 p2 k3 [1], in this order. Their single
deviations say little: k1, k2 and k3 offset one another, and the centre offsets p1 and p2. What
counts is how far the rays move, once everything that a later step finds anyway is taken out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.lens import (
    distortion_jacobian,
    distortion_jacobian_wrt_k,
)
from rushlight.physics.geometry.pinhole import undistort_px
from rushlight.physics.geometry.shapes import FloatArray, trailing

_ACROSS, _DOWN = 17, 13


def picture_grid(size_px: tuple[int, int], columns: int = _ACROSS, rows: int = _DOWN) -> FloatArray:
    """Which places stand for the whole picture?

    Parameters
    ----------
    size_px : (int, int)
        Columns and rows of the picture.
    columns, rows : int
        Number of places each way, from the middle of one outermost pixel to that of the other.

    Returns
    -------
    ndarray, shape (rows × columns, 2)
        Pixel coordinates [px].

    Examples
    --------
    >>> picture_grid((640, 480), 2, 2).tolist()
    [[0.0, 0.0], [639.0, 0.0], [0.0, 479.0], [639.0, 479.0]]
    """
    x = np.linspace(0.0, size_px[0] - 1.0, columns)
    y = np.linspace(0.0, size_px[1] - 1.0, rows)
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def ray_jacobian_wrt_lens(px: ArrayLike, K: ArrayLike, k: ArrayLike) -> FloatArray:
    """How does the ray of a pixel move with each parameter of the lens?

    Parameters
    ----------
    px : array_like, shape (..., 2)
        Pixel coordinates [px].
    K : array_like, shape (..., 3, 3)
        Camera matrix [px], without skew.
    k : array_like, shape (..., 5)
        Lens coefficients k1, k2, p1, p2, k3 [1].

    Returns
    -------
    ndarray, shape (..., 2, 9)
        d(undistorted normalised coordinates)/d(fx, fy, cx, cy, k1, k2, p1, p2, k3) [1/px for the
        first four, else 1]; NaN where `undistort_px` gives NaN.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Notes
    -----
    Source: computed here, by differentiating px = f · distort(n, k) + c at fixed px.

    Examples
    --------
    >>> K = [[500.0, 0, 320], [0, 500, 240], [0, 0, 1]]
    >>> ray_jacobian_wrt_lens([420.0, 240.0], K, np.zeros(5))[0, :4].round(6).tolist()
    [-0.0004, 0.0, -0.002, 0.0]
    """
    matrix = trailing(K, (3, 3), "K")
    place = trailing(px, (2,), "px")
    ray = undistort_px(place, matrix, k)
    focal = np.stack([matrix[..., 0, 0], matrix[..., 1, 1]], axis=-1)
    bent = (place - matrix[..., :2, 2]) / focal
    bent, focal = np.broadcast_arrays(bent, focal)
    pinhole = np.zeros((*bent.shape[:-1], 2, 4))
    for axis in (0, 1):
        pinhole[..., axis, axis] = -bent[..., axis] / focal[..., axis]
        pinhole[..., axis, 2 + axis] = -1.0 / focal[..., axis]
    change = np.concatenate([pinhole, -distortion_jacobian_wrt_k(ray)], axis=-1)
    slope = distortion_jacobian(ray, k)
    (a, b), (c, d) = (np.moveaxis(slope[..., row, :], -1, 0) for row in (0, 1))
    inverse = np.stack([np.stack([d, -b], axis=-1), np.stack([-c, a], axis=-1)], axis=-2)
    return np.asarray(inverse @ change / (a * d - b * c)[..., None, None])


def lens_doubt_px(px: ArrayLike, K: ArrayLike, k: ArrayLike, cov: ArrayLike) -> FloatArray:
    """How far may the rays of a picture be off, the camera's own turn aside?

    A turn of the camera is found whenever the camera is placed, so the part of the doubt that a
    small turn can take up, in least squares over the given pixels, is left out.

    Parameters
    ----------
    px : array_like, shape (G, 2)
        Pixel coordinates that stand for the picture [px], more than one.
    K : array_like, shape (3, 3)
        Camera matrix [px], without skew.
    k : array_like, shape (5,)
        Lens coefficients k1, k2, p1, p2, k3 [1].
    cov : array_like, shape (..., 9, 9)
        Covariance of fx, fy, cx, cy [px] and k1, k2, p1, p2, k3 [1].

    Returns
    -------
    ndarray, shape (..., G)
        Root-mean-square displacement, as a distance in the picture of a lens free of distortion
        [px]; NaN where the lens model does not reach.

    Raises
    ------
    ValueError
        If an axis has the wrong length.

    Notes
    -----
    Source: computed here, first order.

    Examples
    --------
    >>> K = [[500.0, 0, 320], [0, 500, 240], [0, 0, 1]]
    >>> only_k1 = np.diag([0, 0, 0, 0, 1e-4, 0, 0, 0, 0])
    >>> lens_doubt_px([[320.0, 240.0], [620.0, 240.0], [20.0, 240.0]], K, np.zeros(5),
    ...               only_k1).round(3).tolist()
    [0.0, 1.08, 1.08]
    """
    matrix, places = trailing(K, (3, 3), "K"), trailing(px, (None, 2), "px")
    spread = trailing(cov, (9, 9), "cov")
    ray = undistort_px(places, matrix, k)
    reached = np.all(np.isfinite(ray), axis=-1)
    x, y = ray[reached].T
    one = np.ones_like(x)
    # Rays under a small turn about the camera's x, y and z.
    turned = np.stack([-x * y, -(one + y * y), one + x * x, x * y, -y, x], axis=-1)
    turned = turned.reshape(-1, 3, 2).swapaxes(-1, -2).reshape(-1, 3)
    fields = ray_jacobian_wrt_lens(places[reached], matrix, k).reshape(-1, 9)
    left = fields - turned @ np.linalg.lstsq(turned, fields, rcond=None)[0]
    left = left.reshape(-1, 2, 9) * np.array([matrix[0, 0], matrix[1, 1]])[:, None]
    variance = np.einsum("gai,...ij,gaj->...g", left, spread, left)
    doubt = np.full((*spread.shape[:-2], len(places)), np.nan)
    doubt[..., reached] = np.sqrt(np.maximum(variance, 0.0))
    return doubt


def k_cov_behind_plane(
    K: ArrayLike, k: ArrayLike, cov: ArrayLike, size_px: tuple[int, int]
) -> FloatArray:
    """How well are the lens coefficients known to one who maps a plane with this lens?

    A registration to a plane finds eight parameters, and with them takes up almost all doubt
    about focal length and centre. What remains acts as a doubt about the five coefficients.

    Parameters
    ----------
    K : array_like, shape (3, 3)
        Camera matrix [px], without skew.
    k : array_like, shape (5,)
        Lens coefficients k1, k2, p1, p2, k3 [1].
    cov : array_like, shape (9, 9)
        Covariance of fx, fy, cx, cy [px] and k1, k2, p1, p2, k3 [1].
    size_px : (int, int)
        Columns and rows of the picture.

    Returns
    -------
    ndarray, shape (5, 5)
        Covariance [1] of the coefficients, the camera matrix taken as known.

    Raises
    ------
    ValueError
        If an axis has the wrong length.

    Notes
    -----
    Source: computed here, first order: the displacement of the rays by each parameter, over a
    grid of the picture, is explained in least squares by the eight of a plane map and the five
    coefficients; the share of the latter is kept.

    Examples
    --------
    >>> K = [[500.0, 0, 320], [0, 500, 240], [0, 0, 1]]
    >>> only_focal = np.diag([4.0, 4.0, 0, 0, 0, 0, 0, 0, 0])
    >>> np.abs(k_cov_behind_plane(K, np.zeros(5), only_focal, (640, 480))).max().round(12).item()
    0.0
    """
    matrix, lens = trailing(K, (3, 3), "K"), trailing(k, (5,), "k")
    spread = trailing(cov, (9, 9), "cov")
    places = picture_grid(size_px)
    ray = undistort_px(places, matrix, lens)
    reached = np.all(np.isfinite(ray), axis=-1)
    x, y = ray[reached].T
    one, none = np.ones_like(x), np.zeros_like(x)
    plane = np.stack(
        [
            np.stack([one, none, x, y, none, none, x * x, x * y], axis=-1),
            np.stack([none, one, none, none, x, y, x * y, y * y], axis=-1),
        ],
        axis=-2,
    ).reshape(-1, 8)
    fields = ray_jacobian_wrt_lens(places[reached], matrix, lens).reshape(-1, 9)
    explained = np.concatenate([plane, fields[:, 4:]], axis=-1)
    # Columns of one size, so that none is lost to the cut-off of the solver.
    scale = np.linalg.norm(explained, axis=0)
    share = np.linalg.lstsq(explained / scale, fields, rcond=None)[0] / scale[:, None]
    kept = share[8:]
    return np.asarray(kept @ spread @ kept.T)
