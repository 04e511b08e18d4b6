"""The lens: how it moves a point of the picture away from where a pinhole would put it.

Normalised image coordinates are (X/Z, Y/Z) in the camera frame. The model is that of Brown,
"Close-range camera calibration", Photogrammetric Engineering 37(8), 1971 (from memory), with
coefficients in the order k1, k2, p1, p2, k3 of OpenCV 5.0's camera model (checked against that
library in the tests).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.geometry.shapes import FloatArray, trailing

_NEWTON_STEPS = 60
_NEWTON_TOLERANCE = 1e-12
_SEGMENT_SAMPLES = np.linspace(0.1, 1.0, 10)


def distort(normalised: ArrayLike, k: ArrayLike) -> FloatArray:
    """Where does the lens put a ray that a pinhole would put at `normalised`?

    Parameters
    ----------
    normalised : array_like, shape (..., 2)
        Undistorted normalised image coordinates [1].
    k : array_like, shape (..., 5)
        Lens coefficients k1, k2, p1, p2, k3 [1].

    Returns
    -------
    ndarray, shape (..., 2)
        Distorted normalised image coordinates [1]. The polynomial is evaluated wherever it is
        asked; beyond `distortion_limit` it folds back and means nothing.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Notes
    -----
    Source: Brown 1971, in OpenCV 5.0's order and sign.

    Examples
    --------
    >>> distort([0.5, 0.0], [-0.2, 0.0, 0.0, 0.0, 0.0]).tolist()
    [0.475, 0.0]
    """
    x, y = _xy(normalised, "normalised")
    k1, k2, p1, p2, k3 = np.moveaxis(trailing(k, (5,), "k"), -1, 0)
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    return np.stack(
        np.broadcast_arrays(
            x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
            y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y,
        ),
        axis=-1,
    )


def distortion_jacobian(normalised: ArrayLike, k: ArrayLike) -> FloatArray:
    """How does the distorted point move with the undistorted one?

    Parameters
    ----------
    normalised : array_like, shape (..., 2)
        Undistorted normalised image coordinates [1].
    k : array_like, shape (..., 5)
        Lens coefficients k1, k2, p1, p2, k3 [1].

    Returns
    -------
    ndarray, shape (..., 2, 2)
        d(distorted)/d(normalised) [1]; symmetric for this model.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> distortion_jacobian([0.5, 0.0], [-0.2, 0.0, 0.0, 0.0, 0.0]).round(12).tolist()
    [[0.85, 0.0], [0.0, 0.95]]
    """
    x, y = _xy(normalised, "normalised")
    k1, k2, p1, p2, k3 = np.moveaxis(trailing(k, (5,), "k"), -1, 0)
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    slope = 2 * (k1 + r2 * (2 * k2 + r2 * 3 * k3))
    across = slope * x * y + 2 * p1 * x + 2 * p2 * y
    along_x = radial + slope * x * x + 2 * p1 * y + 6 * p2 * x
    along_y = radial + slope * y * y + 6 * p1 * y + 2 * p2 * x
    parts = np.stack(np.broadcast_arrays(along_x, across, across, along_y), axis=-1)
    return parts.reshape(*parts.shape[:-1], 2, 2)


def distortion_jacobian_wrt_k(normalised: ArrayLike) -> FloatArray:
    """How does the distorted point move with each lens coefficient?

    The model is linear in its coefficients, so the answer does not depend on them.

    Parameters
    ----------
    normalised : array_like, shape (..., 2)
        Undistorted normalised image coordinates [1].

    Returns
    -------
    ndarray, shape (..., 2, 5)
        d(distorted)/d(k1, k2, p1, p2, k3) [1].

    Raises
    ------
    ValueError
        If the last axis is not 2 long.

    Examples
    --------
    >>> distortion_jacobian_wrt_k([0.5, 0.0]).tolist()[0]
    [0.125, 0.03125, 0.0, 0.75, 0.0078125]
    """
    x, y = _xy(normalised, "normalised")
    r2 = x * x + y * y
    rows = [
        [x * r2, x * r2**2, 2 * x * y, r2 + 2 * x * x, x * r2**3],
        [y * r2, y * r2**2, r2 + 2 * y * y, 2 * x * y, y * r2**3],
    ]
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)


def distortion_limit(k: ArrayLike) -> FloatArray:
    """Out to which radius is the radial lens model one-to-one?

    Parameters
    ----------
    k : array_like, shape (..., 5)
        Lens coefficients k1, k2, p1, p2, k3 [1].

    Returns
    -------
    ndarray, shape (...)
        Smallest undistorted radius at which the distorted radius stops growing [1]; infinite
        if it never does. NaN for coefficients that are not finite.

    Raises
    ------
    ValueError
        If the last axis is not 5 long.

    Examples
    --------
    >>> float(distortion_limit([-0.2, 0.0, 0.0, 0.0, 0.0])) == (1 / 0.6) ** 0.5
    True
    >>> float(distortion_limit([0.2, 0.0, 0.0, 0.0, 0.0]))
    inf
    """
    coefficients = trailing(k, (5,), "k")
    finite = np.all(np.isfinite(coefficients), axis=-1)
    k1, k2, _, _, k3 = np.moveaxis(np.where(finite[..., None], coefficients, 0.0), -1, 0)
    # 1 + 3 k1 s + 5 k2 s² + 7 k3 s³ = 0 with s = r² is monic in 1/s: the largest real 1/s
    # is the smallest s, whichever coefficients vanish.
    companion = np.zeros((*k1.shape, 3, 3))
    companion[..., 0, :] = np.stack([-3 * k1, -5 * k2, -7 * k3], axis=-1)
    companion[..., 1, 0] = companion[..., 2, 1] = 1.0
    roots = np.linalg.eigvals(companion)
    real = np.abs(roots.imag) <= 1e-8 * np.abs(roots)
    inverse_s = np.abs(np.max(np.where(real, roots.real, 0.0), axis=-1, initial=0.0))
    with np.errstate(divide="ignore"):
        limit = 1.0 / np.sqrt(inverse_s)
    return np.where(finite, limit, np.nan)


def undistort(normalised_distorted: ArrayLike, k: ArrayLike) -> FloatArray:
    """Which undistorted point does the lens put at `normalised_distorted`?

    Parameters
    ----------
    normalised_distorted : array_like, shape (..., 2)
        Distorted normalised image coordinates [1].
    k : array_like, shape (..., 5)
        Lens coefficients k1, k2, p1, p2, k3 [1].

    Returns
    -------
    ndarray, shape (..., 2)
        Undistorted normalised image coordinates [1], to 1e-12 in the distorted point. NaN
        where the lens model has no one-to-one inverse: beyond `distortion_limit`, where the
        model folds along the way from the image centre, or where no such point exists.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Notes
    -----
    Damped Newton iteration, held inside the limit; common practice, no source.

    Examples
    --------
    >>> undistort([0.475, 0.0], [-0.2, 0.0, 0.0, 0.0, 0.0]).round(12).tolist()
    [0.5, 0.0]
    >>> undistort([2.0, 0.0], [-0.2, 0.0, 0.0, 0.0, 0.0]).tolist()
    [nan, nan]
    """
    goal = trailing(normalised_distorted, (2,), "normalised_distorted")
    coefficients = trailing(k, (5,), "k")
    shape = np.broadcast_shapes(goal.shape[:-1], coefficients.shape[:-1])
    limit = np.broadcast_to(distortion_limit(coefficients), shape).reshape(-1)
    goals = np.broadcast_to(goal, (*shape, 2)).reshape(-1, 2)
    lenses = np.broadcast_to(coefficients, (*shape, 5)).reshape(-1, 5)
    result = np.full(goals.shape, np.nan)
    askable = np.all(np.isfinite(goals), axis=-1) & ~np.isnan(limit)
    # A trial step from close to the fold may overflow; it is then refused.
    with np.errstate(over="ignore", invalid="ignore"):
        result[askable] = _newton(goals[askable], lenses[askable], limit[askable])
    return result.reshape(*shape, 2)


def _newton(goal: FloatArray, k: FloatArray, limit: FloatArray) -> FloatArray:
    """The inverse of the lens for flat lists of points; NaN where there is none."""
    radius = np.hypot(goal[:, 0], goal[:, 1])
    inside = np.minimum(1.0, 0.9 * limit / np.where(radius > 0.0, radius, 1.0))
    guess = goal * inside[:, None]
    residual = goal - distort(guess, k)
    error = np.hypot(residual[:, 0], residual[:, 1])
    for _ in range(_NEWTON_STEPS):
        busy = np.flatnonzero(error > 0.1 * _NEWTON_TOLERANCE)
        if busy.size == 0:
            break
        step = _solve_2x2(distortion_jacobian(guess[busy], k[busy]), residual[busy])
        open_, share = busy, 1.0
        for _ in range(12):
            trial = guess[open_] + share * step
            left = goal[open_] - distort(trial, k[open_])
            size = np.hypot(left[:, 0], left[:, 1])
            better = (size < error[open_]) & (np.hypot(*trial.T) < limit[open_])
            taken = open_[better]
            guess[taken], residual[taken], error[taken] = trial[better], left[better], size[better]
            open_, step, share = open_[~better], step[~better], share / 2
            if open_.size == 0:
                break
        if open_.size == busy.size:
            break
    return np.where(_one_to_one(guess, error, k)[:, None], guess, np.nan)


def _one_to_one(guess: FloatArray, error: FloatArray, k: FloatArray) -> NDArray[np.bool_]:
    """Converged, and not reached across a fold of the lens model."""
    along = guess[:, None, :] * _SEGMENT_SAMPLES[:, None]
    slope = distortion_jacobian(along, k[:, None, :])
    area = slope[..., 0, 0] * slope[..., 1, 1] - slope[..., 0, 1] * slope[..., 1, 0]
    unfolded = np.all(area > 0.0, axis=-1)
    return np.asarray((error <= _NEWTON_TOLERANCE) & unfolded)


def _solve_2x2(matrix: FloatArray, right: FloatArray) -> FloatArray:
    a, b, c, d = matrix[:, 0, 0], matrix[:, 0, 1], matrix[:, 1, 0], matrix[:, 1, 1]
    det = a * d - b * c
    det = np.where(det == 0.0, np.finfo(np.float64).tiny, det)
    first = (d * right[:, 0] - b * right[:, 1]) / det
    second = (a * right[:, 1] - c * right[:, 0]) / det
    return np.stack([first, second], axis=-1)


def _xy(values: ArrayLike, name: str) -> tuple[FloatArray, FloatArray]:
    array = trailing(values, (2,), name)
    return array[..., 0], array[..., 1]
