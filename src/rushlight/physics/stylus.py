"""How a stylus is held, and where its light then stands."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[Any]


def held_direction(tilt_rad: ArrayLike, lean_rad: ArrayLike) -> Array:
    """Which way does the body of a stylus run, from its tip backward?

    Parameters
    ----------
    tilt_rad : (...) [rad], from the surface's normal, 0 to below π/2
    lean_rad : (...) [rad], the side it leans toward, anticlockwise from the surface's x axis as
        the user sees it

    Returns
    -------
    (..., 3) unit vector in the surface frame

    Examples
    --------
    >>> held_direction(0.0, 0.0).tolist()
    [0.0, 0.0, 1.0]
    """
    tilt, lean = np.broadcast_arrays(np.asarray(tilt_rad, float), np.asarray(lean_rad, float))
    sine = np.sin(tilt)
    return np.stack([sine * np.cos(lean), sine * np.sin(lean), np.cos(tilt)], axis=-1)


def mean_direction(tilt_rad: ArrayLike, lean_rad: ArrayLike, lean_std_rad: ArrayLike) -> Array:
    """What is the mean of `held_direction` over how the stylus is held?

    The tilt is uniform over its range, the lean normal about its mean. The result is shorter
    than 1: it is where, on average, a light one metre from the tip stands. A registration
    absorbs it.

    Parameters
    ----------
    tilt_rad : (..., 2) [rad], least and greatest tilt
    lean_rad, lean_std_rad : (...) [rad]

    Returns
    -------
    (..., 3) [m/m]

    Notes
    -----
    Source: computed here; E[cos φ] of a normal angle is cos(mean)·exp(−variance/2).

    Examples
    --------
    >>> mean_direction([0.5, 0.5], 0.0, 0.0).round(6).tolist()
    [0.479426, 0.0, 0.877583]
    """
    tilt = np.asarray(tilt_rad, float)
    low, high = tilt[..., 0], tilt[..., 1]
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    shrink = np.sinc(half / np.pi)  # mean of a sine wave over ± half about its middle
    sine, cosine = np.sin(middle) * shrink, np.cos(middle) * shrink
    lean = np.asarray(lean_rad, float)
    spread = np.exp(-0.5 * np.asarray(lean_std_rad, float) ** 2)
    return np.stack(
        np.broadcast_arrays(sine * spread * np.cos(lean), sine * spread * np.sin(lean), cosine),
        axis=-1,
    )


def ways_of_holding(
    tilt_rad: ArrayLike,
    lean_rad: ArrayLike,
    lean_std_rad: ArrayLike,
    tilts: int = 3,
    leans: int = 5,
) -> tuple[Array, Array]:
    """Which few directions, with which weights, stand for all ways of holding a stylus?

    Gauss–Legendre nodes over the uniform tilt, Gauss–Hermite nodes over the normal lean: means
    and covariances of smooth functions of the direction come out nearly exact.

    Parameters
    ----------
    tilt_rad : (..., 2) [rad]
    lean_rad, lean_std_rad : (...) [rad]
    tilts, leans : number of nodes each way

    Returns
    -------
    directions : (..., N, 3) unit vectors, N = tilts × leans
    weights : (N,), adding up to 1

    Notes
    -----
    Source: numpy.polynomial's quadrature rules.

    Examples
    --------
    >>> directions, weights = ways_of_holding([0.2, 0.6], 0.0, 0.4)
    >>> mean = (weights[:, None] * directions).sum(axis=0)
    >>> bool(np.allclose(mean, mean_direction([0.2, 0.6], 0.0, 0.4), atol=1e-6))
    True
    """
    tilt = np.asarray(tilt_rad, float)
    tilt_nodes, tilt_weights = np.polynomial.legendre.leggauss(tilts)
    lean_nodes, lean_weights = np.polynomial.hermite_e.hermegauss(leans)
    middle, half = tilt.mean(axis=-1), np.diff(tilt, axis=-1)[..., 0] / 2.0
    angles = middle[..., None] + half[..., None] * tilt_nodes
    sides = (
        np.asarray(lean_rad, float)[..., None]
        + np.asarray(lean_std_rad, float)[..., None] * lean_nodes
    )
    directions = held_direction(angles[..., :, None], sides[..., None, :])
    weights = np.outer(tilt_weights / 2.0, lean_weights / lean_weights.sum()).ravel()
    return directions.reshape(*directions.shape[:-3], tilts * leans, 3), weights


def outermost_ways(
    tilt_rad: ArrayLike,
    lean_rad: ArrayLike,
    lean_std_rad: ArrayLike,
    tilts: int = 3,
    leans: int = 5,
    sigmas: float = 2.0,
) -> tuple[Array, Array]:
    """Which tilts and leans span all ways of holding, the outermost among them?

    Evenly spaced, ends included: for extremes, where `ways_of_holding` is for means.

    Parameters
    ----------
    tilt_rad, lean_rad, lean_std_rad : as in `ways_of_holding`
    tilts, leans : number each way, ≥ 2
    sigmas : how many standard deviations of the lean count as all

    Returns
    -------
    tilt, lean : (..., N) [rad], N = tilts × leans

    Examples
    --------
    >>> tilt, lean = outermost_ways([0.2, 0.6], 0.0, 0.4, 2, 3)
    >>> tilt.tolist(), lean.tolist()
    ([0.2, 0.2, 0.2, 0.6, 0.6, 0.6], [-0.8, 0.0, 0.8, -0.8, 0.0, 0.8])
    """
    ends = np.asarray(tilt_rad, float)
    share = np.linspace(0.0, 1.0, tilts)
    angles = ends[..., :1] * (1.0 - share) + ends[..., 1:] * share
    step = np.linspace(-sigmas, sigmas, leans)
    sides = (
        np.asarray(lean_rad, float)[..., None] + np.asarray(lean_std_rad, float)[..., None] * step
    )
    tilt, lean = np.broadcast_arrays(angles[..., :, None], sides[..., None, :])
    count = (tilts * leans,)
    return tilt.reshape(*tilt.shape[:-2], *count), lean.reshape(*lean.shape[:-2], *count)


def turned_onto(direction: ArrayLike, vector: ArrayLike) -> Array:
    """Where does a vector of the stylus's own frame point when the body runs along `direction`?

    The smallest rotation that takes z onto the direction; a direction shorter than 1 (as from
    `mean_direction`) shortens what lies along the body by as much.

    Parameters
    ----------
    direction : (..., 3), z component above −1
    vector : (..., 3)

    Returns
    -------
    (..., 3) in the surface frame

    Examples
    --------
    >>> turned_onto([0.6, 0.0, 0.8], [0.0, 0.0, 0.012]).round(6).tolist()
    [0.0072, 0.0, 0.0096]
    """
    a = np.asarray(direction, float)
    v = np.asarray(vector, float)
    length = np.linalg.norm(a, axis=-1, keepdims=True)
    unit = a / length
    across = np.concatenate([v[..., :2], np.zeros_like(v[..., 2:])], axis=-1)
    # Rodrigues' formula for the turn of z onto `unit`, applied to what lies across the body.
    along = np.sum(unit * across, axis=-1, keepdims=True)
    bent = unit + np.array([0.0, 0.0, 1.0])
    turned = across - along / (1.0 + unit[..., 2:]) * bent
    return np.asarray(turned + v[..., 2:] * a)
