"""How a point moves: prediction, reaching, and what delay does to it.

The functions broadcast over leading axes, so that one call serves all trails of a frame. The
filters of `smoothing` are at hand here too.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.smoothing import OneEuro as OneEuro
from rushlight.physics.smoothing import alpha_beta as alpha_beta
from rushlight.physics.smoothing import kalata_gains as kalata_gains
from rushlight.physics.smoothing import one_euro as one_euro
from rushlight.physics.smoothing import tracking_index as tracking_index

Array = NDArray[np.float64]
NoiseKind = Literal["continuous", "piecewise"]


def transition(dt_s: ArrayLike) -> Array:
    """The matrix that carries position and velocity forward at constant velocity.

    Parameters
    ----------
    dt_s : (...) [s]

    Returns
    -------
    (..., 2, 2), for a state [m, m/s]

    Notes
    -----
    Source: the definition of constant velocity; common practice, no source.

    Examples
    --------
    >>> transition(0.1).tolist()
    [[1.0, 0.1], [0.0, 1.0]]
    """
    dt = np.asarray(dt_s, float)
    one = np.ones_like(dt)
    return _matrix(one, dt, 0 * one, one)


def process_noise(dt_s: ArrayLike, intensity: ArrayLike, kind: NoiseKind = "continuous") -> Array:
    """How much a constant-velocity prediction loses in one step.

    Parameters
    ----------
    dt_s : (...) [s], ≥ 0
    intensity : (...), ≥ 0
        For ``"continuous"``: spectral density of white acceleration [m²/s³]. The result then
        does not depend on how a span is cut into steps, so use it when frames come unevenly.
        For ``"piecewise"``: variance of an acceleration held constant for one step [m²/s⁴].
    kind : "continuous" or "piecewise"

    Returns
    -------
    (..., 2, 2), for a state [m, m/s]

    Notes
    -----
    Source: the integral of white acceleration, checked against the values
    printed in the documentation of filterpy 2.

    Examples
    --------
    >>> process_noise(0.1, 1.0, "piecewise").round(9).tolist()
    [[2.5e-05, 0.0005], [0.0005, 0.01]]
    """
    dt, q = np.broadcast_arrays(np.asarray(dt_s, float), np.asarray(intensity, float))
    if kind == "continuous":
        return _matrix(q * dt**3 / 3, q * dt**2 / 2, q * dt**2 / 2, q * dt)
    if kind == "piecewise":
        return _matrix(q * dt**4 / 4, q * dt**3 / 2, q * dt**3 / 2, q * dt**2)
    raise ValueError(f'kind must be "continuous" or "piecewise", got {kind!r}')


def _matrix(a: Array, b: Array, c: Array, d: Array) -> Array:
    """Stack four arrays into matrices [[a, b], [c, d]] on two new last axes."""
    return np.stack([np.stack([a, b], axis=-1), np.stack([c, d], axis=-1)], axis=-2)


def kalman_predict(
    mean: ArrayLike, cov: ArrayLike, transition_matrix: ArrayLike, noise: ArrayLike
) -> tuple[Array, Array]:
    """Where a state is expected after one step, and how surely.

    Parameters
    ----------
    mean : (..., n)
    cov : (..., n, n)
    transition_matrix, noise : (..., n, n)
        See `transition` and `process_noise`.

    Returns
    -------
    mean : (..., n)
    cov : (..., n, n)

    Notes
    -----
    Source: Kalman 1960, J. Basic Eng. 82 (from memory).

    Examples
    --------
    >>> mean, cov = kalman_predict([0.0, 2.0], np.eye(2), transition(0.5), np.zeros((2, 2)))
    >>> mean.tolist(), cov.tolist()
    ([1.0, 2.0], [[1.25, 0.5], [0.5, 1.0]])
    """
    x, p, f, q = (np.asarray(a, float) for a in (mean, cov, transition_matrix, noise))
    return (f @ x[..., None])[..., 0], f @ p @ np.swapaxes(f, -1, -2) + q


class KalmanUpdate(NamedTuple):
    """A state after a measurement, with what the measurement said beyond the prediction."""

    mean: Array
    cov: Array
    innovation: Array
    innovation_cov: Array


def kalman_update(
    mean: ArrayLike,
    cov: ArrayLike,
    measured: ArrayLike,
    observe: ArrayLike,
    measured_cov: ArrayLike,
) -> KalmanUpdate:
    """What a measurement makes of a predicted state.

    Parameters
    ----------
    mean : (..., n)
    cov : (..., n, n)
    measured : (..., m)
        A measurement with a NaN in it is none: that state comes back as it was predicted.
    observe : (..., m, n)
        ``measured = observe @ state + noise``.
    measured_cov : (..., m, m), positive definite

    Returns
    -------
    KalmanUpdate
        mean (..., n), cov (..., n, n), innovation (..., m), innovation_cov (..., m, m).

    Notes
    -----
    Source: Kalman 1960 (from memory); the covariance in Joseph's form, which stays positive
    under rounding (Bucy & Joseph 1968, from memory).

    Examples
    --------
    >>> after = kalman_update([0.0, 0.0], np.eye(2), [1.0], [[1.0, 0.0]], [[1.0]])
    >>> after.mean.tolist(), after.cov.tolist()
    ([0.5, 0.0], [[0.5, 0.0], [0.0, 1.0]])
    """
    x, p, z, h, r = (np.asarray(a, float) for a in (mean, cov, measured, observe, measured_cov))
    h_t = np.swapaxes(h, -1, -2)
    innovation = z - (h @ x[..., None])[..., 0]
    innovation_cov = h @ p @ h_t + r
    gain = np.swapaxes(np.linalg.solve(innovation_cov, h @ p), -1, -2)
    keep = np.eye(p.shape[-1]) - gain @ h
    new_cov = keep @ p @ np.swapaxes(keep, -1, -2) + gain @ r @ np.swapaxes(gain, -1, -2)
    known = np.isfinite(innovation).all(axis=-1)
    step = (gain @ np.where(known[..., None], innovation, 0.0)[..., None])[..., 0]
    return KalmanUpdate(
        x + step, np.where(known[..., None, None], new_cov, p), innovation, innovation_cov
    )


def prediction_std(
    position_std_m: ArrayLike,
    velocity_std_m_s: ArrayLike,
    horizon_s: ArrayLike,
    intensity: ArrayLike = 0.0,
    kind: NoiseKind = "continuous",
    position_velocity_cov: ArrayLike = 0.0,
) -> Array:
    """How uncertain a position is when carried on without new measurements.

    Answers both a light lost for a while and a point predicted to the moment of display.

    Parameters
    ----------
    position_std_m : (...) [m], ≥ 0
    velocity_std_m_s : (...) [m/s], ≥ 0
    horizon_s : (...) [s], ≥ 0
    intensity, kind
        See `process_noise`.
    position_velocity_cov : (...) [m²/s]

    Returns
    -------
    (...) [m]

    Notes
    -----
    Source: one step of `kalman_predict`, written out.

    Examples
    --------
    >>> print(f"{prediction_std(0.001, 0.1, 0.03):.5f}")
    0.00316
    """
    sigma, rate, horizon, cross = (
        np.asarray(a, float)
        for a in (position_std_m, velocity_std_m_s, horizon_s, position_velocity_cov)
    )
    lost = process_noise(horizon, intensity, kind)[..., 0, 0]
    variance: Array = sigma**2 + 2 * horizon * cross + (horizon * rate) ** 2 + lost
    return np.asarray(np.sqrt(variance))[()]


def minimum_jerk(
    start: ArrayLike, end: ArrayLike, duration_s: ArrayLike, t_s: ArrayLike
) -> tuple[Array, Array, Array]:
    """Where a hand is on a smooth reach from rest to rest.

    Parameters
    ----------
    start, end : (..., D) [m]
    duration_s : (...) [s], > 0
    t_s : (...) [s]
        Time since the start. Before 0 the hand rests at the start, after ``duration_s`` at the
        end.

    Returns
    -------
    position : (..., D) [m]
    velocity : (..., D) [m/s]
    acceleration : (..., D) [m/s²]

    Notes
    -----
    Source: Flash & Hogan 1985, J. Neurosci. 5(7), the polynomial 10τ³ − 15τ⁴ + 6τ⁵ (from
    memory). The top speed is 15/8 of the mean speed, computed here.

    Examples
    --------
    >>> position, velocity, _ = minimum_jerk([0.0, 0.0], [0.4, 0.0], 0.5, 0.25)
    >>> position.tolist(), velocity.round(6).tolist()
    ([0.2, 0.0], [1.5, 0.0])
    """
    a, b = np.asarray(start, float), np.asarray(end, float)
    duration, t = np.broadcast_arrays(np.asarray(duration_s, float), np.asarray(t_s, float))
    if not np.all(duration > 0):
        raise ValueError(f"duration must be > 0 s, got {np.min(duration)}")
    tau = np.clip(t / duration, 0.0, 1.0)
    share = tau**3 * (10 - 15 * tau + 6 * tau**2)
    rate = 30 * tau**2 * (1 - tau) ** 2 / duration
    bend = 60 * tau * (1 - tau) * (1 - 2 * tau) / duration**2
    way = b - a
    return a + share[..., None] * way, rate[..., None] * way, bend[..., None] * way


def delay_displacement(speed_m_s: ArrayLike, delay_s: ArrayLike) -> Array:
    """How far the shown point lags behind a moving hand.

    The lag lies along the motion and always behind it. It is no random error: state it beside
    the random error, and never add the two in quadrature.

    Parameters
    ----------
    speed_m_s : (...) [m/s], or velocity components of any shape
    delay_s : (...) [s]

    Returns
    -------
    (...) [m]

    Notes
    -----
    Source: distance = speed × time; computed here.

    Examples
    --------
    >>> print(f"{delay_displacement(1.0, 0.050):.3f}")
    0.050
    """
    return np.asarray(np.asarray(speed_m_s, float) * np.asarray(delay_s, float))[()]
