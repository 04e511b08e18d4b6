"""Smoothing of a moving point: the one-euro filter and the alpha-beta filter of fixed gains.

Samples lie along the first axis (time); every later axis is a separate number. A filter lags
behind a moving hand, so smoothing need not lower the RMS error.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def _smoothing(period_s: Array, cutoff_hz: Array | float) -> Array:
    """Weight of the newest sample in a first-order low-pass of the given cut-off."""
    return 1.0 / (1.0 + 1.0 / (2.0 * np.pi * cutoff_hz * period_s))


class OneEuro:
    """The one-euro filter: steady at rest, quick in motion, one sample at a time.

    Parameters
    ----------
    min_cutoff_hz : float [Hz], > 0
        Cut-off at rest; lower is steadier and later.
    beta : float [Hz per (sample unit)/s], ≥ 0
        How fast the cut-off rises with speed.
    derivative_cutoff_hz : float [Hz], > 0
        Cut-off of the speed estimate.
    speed : "axis" or "norm"
        ``"axis"`` filters every number by itself, as published. ``"norm"`` takes the length of
        the speed along the last axis, so that the result does not depend on how the axes are
        turned; that mode is ours.

    Notes
    -----
    Source: Casiez, Roussel & Vogel, "1€ Filter", CHI 2012. The speed is taken from the previous
    *filtered* value, as in the authors' code; taking the previous raw value is a known mistake.
    A NaN sample (light lost) comes back as NaN and leaves the filter as it was.

    Examples
    --------
    >>> smooth = OneEuro(min_cutoff_hz=1.0, beta=0.0)
    >>> [round(float(smooth(k / 100, float(k > 0))), 4) for k in range(3)]
    [0.0, 0.0591, 0.1147]
    """

    def __init__(
        self,
        min_cutoff_hz: float = 1.0,
        beta: float = 0.0,
        derivative_cutoff_hz: float = 1.0,
        speed: Literal["axis", "norm"] = "axis",
    ) -> None:
        if not (min_cutoff_hz > 0 and derivative_cutoff_hz > 0 and beta >= 0):
            raise ValueError(
                "cut-offs must be > 0 Hz and beta ≥ 0, got "
                f"{min_cutoff_hz}, {derivative_cutoff_hz}, {beta}"
            )
        if speed not in ("axis", "norm"):
            raise ValueError(f'speed must be "axis" or "norm", got {speed!r}')
        self.min_cutoff_hz = min_cutoff_hz
        self.beta = beta
        self.derivative_cutoff_hz = derivative_cutoff_hz
        self.speed = speed
        self.reset()

    def reset(self) -> None:
        """Forget all samples; the next one passes unchanged."""
        self._value: Array | None = None

    def __call__(self, time_s: float, sample: ArrayLike) -> Array:
        """What the filtered value is after this sample.

        Parameters
        ----------
        time_s : float [s], later than the time of the sample before
        sample : (...), any unit, the same shape at every call

        Returns
        -------
        (...), the unit of the sample

        Raises
        ------
        ValueError
            When time does not advance or the shape changes.
        """
        x = np.asarray(sample, float)
        known = np.isfinite(x)
        if self.speed == "norm":
            known = np.broadcast_to(known.all(axis=-1, keepdims=True), x.shape)
        if self._value is None:
            self._value = np.where(known, x, np.nan)
            self._rate = np.zeros(x.shape)
            self._seen_s = np.where(known, time_s, np.nan)
            self._now_s = time_s
            return self._value.copy()
        if x.shape != self._value.shape:
            raise ValueError(f"sample: expected shape {self._value.shape}, got {x.shape}")
        if not time_s > self._now_s:
            raise ValueError(f"time must advance: {time_s} s after {self._now_s} s")
        self._now_s = time_s
        first = known & np.isnan(self._value)
        later = known & ~first
        period_s = np.where(later, time_s - self._seen_s, 1.0)
        rate = np.where(later, (x - self._value) / period_s, 0.0)
        weight = _smoothing(period_s, self.derivative_cutoff_hz)
        rate = weight * rate + (1.0 - weight) * self._rate
        magnitude = np.abs(rate)
        if self.speed == "norm":
            magnitude = np.linalg.norm(rate, axis=-1, keepdims=True)
        weight = _smoothing(period_s, self.min_cutoff_hz + self.beta * magnitude)
        value = weight * x + (1.0 - weight) * self._value
        self._value = np.where(later, value, np.where(first, x, self._value))
        self._rate = np.where(later, rate, self._rate)
        self._seen_s = np.where(known, time_s, self._seen_s)
        return np.where(known, self._value, np.nan)


def one_euro(
    samples: ArrayLike,
    times_s: ArrayLike,
    min_cutoff_hz: float = 1.0,
    beta: float = 0.0,
    derivative_cutoff_hz: float = 1.0,
    speed: Literal["axis", "norm"] = "axis",
) -> Array:
    """What the one-euro filter makes of a whole recording.

    Parameters
    ----------
    samples : (N, ...), any unit
    times_s : (N,) [s], rising
    min_cutoff_hz, beta, derivative_cutoff_hz, speed
        See `OneEuro`.

    Returns
    -------
    (N, ...), the unit of the samples

    Raises
    ------
    ValueError
        When the lengths differ or time does not advance.

    Notes
    -----
    Source: Casiez, Roussel & Vogel, CHI 2012.

    Examples
    --------
    >>> one_euro([0.0, 1.0, 1.0], [0.0, 0.01, 0.02]).round(4).tolist()
    [0.0, 0.0591, 0.1147]
    """
    x, t = _series(samples, times_s)
    smooth = OneEuro(min_cutoff_hz, beta, derivative_cutoff_hz, speed)
    return np.array([smooth(float(when), row) for when, row in zip(t, x, strict=True)])


def _series(samples: ArrayLike, times_s: ArrayLike) -> tuple[Array, Array]:
    """Samples and times as arrays of one length."""
    x, t = np.asarray(samples, float), np.asarray(times_s, float)
    if x.ndim == 0 or t.ndim != 1 or len(x) != len(t) or len(t) == 0:
        raise ValueError(f"expected samples (N, ...) and times (N,), got {x.shape} and {t.shape}")
    return x, t


def tracking_index(
    acceleration_std: ArrayLike, period_s: ArrayLike, position_std: ArrayLike
) -> Array:
    """How lively a motion is compared with the noise of its measurement: λ = σ_w T²/σ_v.

    Parameters
    ----------
    acceleration_std : (...) [m/s²], ≥ 0
    period_s : (...) [s], > 0
    position_std : (...) [m], > 0

    Returns
    -------
    (...) [1]

    Notes
    -----
    Source: Kalata 1984, "The tracking index", IEEE Trans. AES-20(2) (from memory).

    Examples
    --------
    >>> round(float(tracking_index(10.0, 0.01, 0.001)), 6)
    1.0
    """
    sigma_w, period, sigma_v = (
        np.asarray(a, float) for a in (acceleration_std, period_s, position_std)
    )
    return np.asarray(sigma_w * period**2 / sigma_v)[()]


def kalata_gains(index: ArrayLike) -> tuple[Array, Array]:
    """Which steady gains of an alpha-beta filter are best for a tracking index.

    Parameters
    ----------
    index : (...) [1], > 0
        See `tracking_index`.

    Returns
    -------
    alpha, beta : (...) [1] each
        The steady variance of the filtered position is ``alpha * position_std**2``.

    Notes
    -----
    Source: Kalata 1984, IEEE Trans. AES-20(2) (from memory); the tests confirm the gains by the
    steady state of a Kalman filter with piecewise-constant acceleration.

    Examples
    --------
    >>> alpha, beta = kalata_gains(1.0)
    >>> print(f"{alpha:.3f} {beta:.3f}")
    0.750 0.500
    """
    lam = np.asarray(index, float)
    r = (4.0 + lam - np.sqrt(8.0 * lam + lam**2)) / 4.0
    alpha = np.asarray(1.0 - r**2)[()]
    beta = 2.0 * (2.0 - alpha) - 4.0 * np.sqrt(1.0 - alpha)
    return alpha, beta


def alpha_beta(
    samples: ArrayLike, times_s: ArrayLike, alpha: float, beta: float
) -> tuple[Array, Array]:
    """What a filter of fixed gains makes of a recording: position and velocity.

    Parameters
    ----------
    samples : (N, ...) [m]
        NaN where the light was lost: the filter then coasts on its prediction.
    times_s : (N,) [s], rising
    alpha, beta : float [1], 0 < alpha ≤ 1, 0 ≤ beta < 4 − 2 alpha
        See `kalata_gains`.

    Returns
    -------
    position : (N, ...) [m]
    velocity : (N, ...) [m/s]
        Both NaN before the first known sample.

    Raises
    ------
    ValueError
        When time does not advance or the gains would let the filter run away.

    Notes
    -----
    Source of the stability limits: Jury's test of the filter's polynomial, computed here.

    Examples
    --------
    >>> position, velocity = alpha_beta([0.0, 1.0, 2.0], [0.0, 1.0, 2.0], 0.75, 0.5)
    >>> position.tolist(), velocity.tolist()
    ([0.0, 0.75, 1.8125], [0.0, 0.5, 0.875])
    """
    x, t = _series(samples, times_s)
    if not (0 < alpha <= 1 and 0 <= beta < 4 - 2 * alpha):
        raise ValueError(f"need 0 < alpha ≤ 1 and 0 ≤ beta < 4 − 2 alpha, got {alpha}, {beta}")
    if not np.all(np.diff(t) > 0):
        raise ValueError("times must rise")
    position, velocity = np.empty_like(x), np.empty_like(x)
    position[0], velocity[0] = x[0], np.where(np.isnan(x[0]), np.nan, 0.0)
    for k in range(1, len(t)):
        period_s = t[k] - t[k - 1]
        predicted = position[k - 1] + period_s * velocity[k - 1]
        residual = np.where(np.isnan(x[k]), 0.0, x[k] - predicted)
        first = np.isnan(predicted)
        position[k] = np.where(first, x[k], predicted + alpha * residual)
        coasting_start = np.where(np.isnan(x[k]), np.nan, 0.0)
        velocity[k] = np.where(first, coasting_start, velocity[k - 1] + beta / period_s * residual)
    return position, velocity
