"""The least uncertainty with which any fit can know a spot's centre (Cramér–Rao bounds).

Two bounds: `centre_cov_fisher` for planning, fast and without saturation, and
`centre_cov_quantised`, which counts every digital step of the sensor and is cut off at full scale.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rushlight.physics.sensing import (
    Array,
    in_chunks,
    noise_floor_variance,
    pixel_profiles,
    spot_model,
)

LEAST_APART_PX = 3.0
"""Dots nearer than this are one [px]: no dark pixel lies between them (our choice)."""

# A pixel that neither light nor sensor makes noisy would otherwise weigh infinitely.
_SMALLEST_VARIANCE_E2 = 1e-9


def _flat_batch(*values: ArrayLike) -> tuple[tuple[int, ...], tuple[Array, ...]]:
    """Broadcast against one another and lay the batch out in one axis."""
    spread = np.broadcast_arrays(*(np.asarray(value, float) for value in values))
    return spread[0].shape, tuple(array.reshape(-1) for array in spread)


def _phase(phase_px: ArrayLike) -> Array:
    """The phase as (..., 2), with plain 0 for a spot in the middle of its pixel."""
    phase = np.asarray(phase_px, float)
    if phase.ndim == 0 and phase == 0:
        return np.zeros(2)
    if phase.ndim == 0 or phase.shape[-1] != 2:
        raise ValueError(f"phase_px must be 0 or (..., 2); got {phase_px!r} of {phase.shape}")
    return phase


def _centre_block(information: Array) -> Array:
    """Covariance of x and y with the other parameters free; NaN where there is none."""
    scale = np.sqrt(np.diagonal(information, axis1=-2, axis2=-1))
    known = np.all(np.isfinite(scale) & (scale > 0), axis=-1)
    scale = np.where(known[..., None], scale, 1.0)
    both = scale[..., :, None] * scale[..., None, :]
    size = information.shape[-1]
    balanced = np.where(known[..., None, None], information / both, np.eye(size))
    with np.errstate(invalid="ignore"):
        sign, logarithm = np.linalg.slogdet(balanced)
    known = known & (sign > 0) & (logarithm > np.log(1e-14))
    balanced = np.where(known[..., None, None], balanced, np.eye(size))
    block = np.linalg.inv(balanced)[..., :2, :2] / both[..., :2, :2]
    return np.asarray(np.where(known[..., None, None], block, np.nan))


def _centred_variance(
    flux: Array, sigma: Array, background: Array, floor: Array, *, half_window: int
) -> tuple[Array]:
    """Variance of x for spots in the middle of a pixel, where x and y stand alone by symmetry.

    Only one quadrant is summed, each pixel as often as it has mirror images.
    """
    share, slope, _ = pixel_profiles(np.zeros_like(sigma), sigma, half_window)
    share, slope = share[:, half_window:], slope[:, half_window:]
    copies = np.where(np.arange(half_window + 1) > 0, 2.0, 1.0)
    light = flux[:, None, None] * share[:, :, None] * share[:, None, :]
    variance = np.maximum((floor + background)[:, None, None] + light, _SMALLEST_VARIANCE_E2)
    with np.errstate(divide="ignore", invalid="ignore"):
        weighted = (share**2 * copies)[:, :, None] * (slope**2 * copies)[:, None, :] / variance
        found = 1.0 / (flux**2 * np.sum(weighted, axis=(-2, -1)))
    return (np.where((flux > 0) & np.isfinite(found), found, np.nan),)


def centre_cov_fisher(
    flux_e: ArrayLike,
    sigma_px: ArrayLike,
    background_e: ArrayLike,
    read_noise_e: ArrayLike,
    quantisation_e: ArrayLike,
    half_window: int = 7,
    phase_px: ArrayLike = 0.0,
) -> Array:
    """How well the best fit can know a spot's centre when nothing saturates.

    Centre, flux, width and background are all unknown to the fit.

    Parameters
    ----------
    flux_e : (...) [e⁻], over the whole spot, > 0; NaN results otherwise
    sigma_px : (...) [px], > 0; the window should reach three of them
    background_e : (...) [e⁻/px], mean, ≥ 0
    read_noise_e : (...) [e⁻], ≥ 0
    quantisation_e : (...) [e⁻/DN], size of one digital step, ≥ 0
    half_window : int, pixels on either side of the middle one
    phase_px : (..., 2) [px], centre of the spot from the middle of its pixel, or 0 for none

    Returns
    -------
    (..., 2, 2) [px²], covariance of x and y

    Raises
    ------
    ValueError
        When phase_px is neither 0 nor (..., 2).

    Notes
    -----
    Source: inverse Fisher information of the pixel-integrated Gaussian with variance
    read² + q²/12 + mean in each pixel (computed here). This is the Poisson information with
    the sensor's floor added, exact where either rules. The real rounding to steps can do worse
    for spots of a few steps: see `centre_cov_quantised`.

    Examples
    --------
    >>> print(np.round(np.sqrt(centre_cov_fisher(1000.0, 1.0, 0.0, 3.0, 0.0)[0, 0]), 4))
    0.0404
    """
    phase = _phase(phase_px)
    floor_e2 = noise_floor_variance(read_noise_e, quantisation_e)
    side = 2 * half_window + 1
    if not np.any(phase):
        batch_of_phase = np.zeros(phase.shape[:-1])
        shape, flat = _flat_batch(flux_e, sigma_px, background_e, floor_e2, batch_of_phase)

        def centred(*arrays: Array) -> tuple[Array]:
            return _centred_variance(*arrays, half_window=half_window)

        (variance,) = in_chunks(centred, flat[:4], (half_window + 1) ** 2)
        variance = variance.reshape(shape)
        return np.asarray(np.where(np.eye(2, dtype=bool), variance[..., None, None], 0.0))
    shape, flat = _flat_batch(
        flux_e, sigma_px, background_e, floor_e2, phase[..., 0], phase[..., 1]
    )

    def anywhere(
        flux: Array, sigma: Array, background: Array, floor: Array, x: Array, y: Array
    ) -> tuple[Array]:
        light, slope = spot_model(flux, np.stack([x, y], -1), sigma, half_window)
        variance = np.maximum((floor + background)[:, None] + light, _SMALLEST_VARIANCE_E2)
        information = (slope / variance[:, None, :]) @ np.swapaxes(slope, -1, -2)
        block = _centre_block(information)
        return (np.where((flux > 0)[:, None, None], block, np.nan),)

    (cov,) = in_chunks(anywhere, flat, 5 * side**2)
    return cov.reshape(*shape, 2, 2)


def _step_information(mean_dn: Array, spread_dn: Array, bits: int) -> Array:
    """Fisher information about the mean in one digital reading, cut off at both ends [1/DN²]."""
    edge = np.arange(2**bits - 1) + 0.5
    z = (edge - mean_dn[..., None]) / spread_dn[..., None]
    density = np.exp(-0.5 * z**2) / (np.sqrt(2.0 * np.pi) * spread_dn[..., None])
    # The half line on which each step is small keeps its full precision.
    below, above = special.ndtr(z), special.ndtr(-z)
    ends = np.zeros_like(below[..., :1])
    rising = np.diff(np.concatenate([ends, below, ends + 1.0], axis=-1), axis=-1)
    falling = -np.diff(np.concatenate([ends + 1.0, above, ends], axis=-1), axis=-1)
    middle = np.concatenate([z, np.full_like(ends, np.inf)], axis=-1)
    chance = np.where(middle > 0, falling, rising)
    change = -np.diff(np.concatenate([ends, density, ends], axis=-1), axis=-1)
    useful = chance > 1e-200
    return np.asarray(np.sum(np.where(useful, change**2 / np.where(useful, chance, 1.0), 0.0), -1))


def centre_cov_quantised(
    flux_e: ArrayLike,
    sigma_px: ArrayLike,
    background_e: ArrayLike,
    read_noise_e: ArrayLike,
    gain_e_per_dn: ArrayLike,
    offset_dn: ArrayLike = 0.0,
    bits: int = 8,
    half_window: int = 7,
    phase_px: ArrayLike = 0.0,
) -> Array:
    """How well the best fit can know a spot's centre from whole digital steps, cut off at the top.

    Slow (milliseconds a spot): for tests and benchmarks, not for searching.

    Parameters
    ----------
    flux_e, sigma_px, background_e, read_noise_e : as in `centre_cov_fisher`; read noise > 0
    gain_e_per_dn : (...) [e⁻/DN], > 0
    offset_dn : (...) [DN], added before rounding
    bits : int, 1 to 12
    half_window : int
    phase_px : (..., 2) [px], or 0

    Returns
    -------
    (..., 2, 2) [px²]; NaN where saturation leaves too little to go by

    Raises
    ------
    ValueError
        For bits outside 1 to 12 or a phase that is neither 0 nor (..., 2).

    Notes
    -----
    Source: exact likelihood of the rounded reading, noise taken as normal with variance
    read² + mean, both ends of the scale open (computed here). The width of the noise is held
    while the mean moves, as the Poisson information has it.

    Examples
    --------
    >>> cov = centre_cov_quantised(4000.0, 1.0, 0.0, 16.0, 20.0, 5.0)
    >>> print(round(float(np.sqrt(cov[0, 0])), 3))
    0.031
    """
    if not 1 <= bits <= 12:
        raise ValueError(f"bits must be 1 to 12; got {bits}")
    phase = _phase(phase_px)
    shape, flat = _flat_batch(
        flux_e,
        sigma_px,
        background_e,
        read_noise_e,
        gain_e_per_dn,
        offset_dn,
        phase[..., 0],
        phase[..., 1],
    )

    def anywhere(
        flux: Array,
        sigma: Array,
        background: Array,
        read: Array,
        gain: Array,
        offset: Array,
        x: Array,
        y: Array,
    ) -> tuple[Array]:
        light, slope = spot_model(flux, np.stack([x, y], -1), sigma, half_window)
        mean_e = light + background[:, None]
        spread_dn = np.sqrt(read[:, None] ** 2 + mean_e) / gain[:, None]
        mean_dn = mean_e / gain[:, None] + offset[:, None]
        weight = _step_information(mean_dn, spread_dn, bits) / gain[:, None] ** 2
        information = (slope * weight[:, None, :]) @ np.swapaxes(slope, -1, -2)
        block = _centre_block(information)
        return (np.where((flux > 0)[:, None, None], block, np.nan),)

    (cov,) = in_chunks(anywhere, flat, (2 * half_window + 1) ** 2 * 2**bits)
    return cov.reshape(*shape, 2, 2)
