"""What a sensor makes of a spot of light, and how well the spot's centre can then be known.

Spots are round Gaussians integrated over square pixels. Pixel coordinates: the centre of a pixel
has whole coordinates. Levels are electrons [e⁻] unless a name says DN. Every function
broadcasts. Spots that overlap (a light and its glow on the wall) are in `mixture`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Array = NDArray[np.float64]

_CHUNK_PIXELS = 100_000  # small enough that one chunk's arrays stay in the processor's cache


def pixel_profiles(
    centre_px: ArrayLike, sigma_px: ArrayLike, half_window: int
) -> tuple[Array, Array, Array]:
    """How a Gaussian line falls into a row of pixels, and how that changes.

    Parameters
    ----------
    centre_px : (...) [px], from the middle pixel
    sigma_px : (...) [px], > 0
    half_window : int, pixels on either side of the middle one

    Returns
    -------
    share, d_centre, d_sigma : (..., n) each, n = 2 half_window + 1
        Share of the light in each pixel [1] and its derivatives [1/px].

    Notes
    -----
    Source: differences of the normal distribution at the pixel edges (computed here).

    Examples
    --------
    >>> share, _, _ = pixel_profiles(0.0, 0.5, 2)
    >>> print(np.round(share, 4))
    [0.0013 0.1573 0.6827 0.1573 0.0013]
    """
    sigma = np.asarray(sigma_px, float)[..., None]
    edge = np.arange(-half_window, half_window + 2) - 0.5 - np.asarray(centre_px, float)[..., None]
    z = edge / sigma
    density = np.exp(-0.5 * z**2) / (sigma * np.sqrt(2.0 * np.pi))
    share = np.diff(0.5 * special.erf(z / np.sqrt(2.0)), axis=-1)
    return share, -np.diff(density, axis=-1), -np.diff(z * density, axis=-1)


def spot_pixels(dx_px: ArrayLike, dy_px: ArrayLike, sigma_px: ArrayLike, half_window: int) -> Array:
    """Which share of a spot's light falls into each pixel round it.

    Parameters
    ----------
    dx_px, dy_px : (...) [px], centre of the spot from the middle pixel
    sigma_px : (...) [px], Gaussian radius, > 0
    half_window : int, pixels on either side of the middle one

    Returns
    -------
    (..., n, n) [1], indexed [row, column], n = 2 half_window + 1

    Notes
    -----
    Source: product of two `pixel_profiles` (computed here).

    Examples
    --------
    >>> print(round(float(spot_pixels(0.0, 0.0, 1.0, 7)[7, 7]), 4))
    0.1466
    """
    across = pixel_profiles(dx_px, sigma_px, half_window)[0]
    down = pixel_profiles(dy_px, sigma_px, half_window)[0]
    return np.asarray(down[..., :, None] * across[..., None, :])


def peak_share(sigma_px: ArrayLike) -> Array:
    """Which share of a spot's light the brightest pixel takes when the spot is centred on it.

    Parameters
    ----------
    sigma_px : (...) [px], > 0

    Returns
    -------
    (...) [1]

    Notes
    -----
    Source: erf(0.5/(σ√2))² (computed here).

    Examples
    --------
    >>> print(np.round(peak_share([1.0, 0.7]), 4))
    [0.1466 0.2756]
    """
    return np.asarray(special.erf(0.5 / (np.asarray(sigma_px, float) * np.sqrt(2.0))) ** 2)


def snr_emva(signal_e: ArrayLike, dark_noise_e: ArrayLike, quantisation_e: ArrayLike) -> Array:
    """How far one pixel's signal stands above its own noise.

    Parameters
    ----------
    signal_e : (...) [e⁻], mean, ≥ 0
    dark_noise_e : (...) [e⁻], temporal noise in the dark, ≥ 0
    quantisation_e : (...) [e⁻/DN], size of one digital step, ≥ 0

    Returns
    -------
    (...) [1]

    Notes
    -----
    Source: EMVA Standard 1288, SNR of the linear camera model, μ/√(σ_d² + q²/12 + μ); from
    memory.

    Examples
    --------
    >>> print(round(float(snr_emva(1000.0, 3.0, 1.0)), 2))
    31.48
    """
    signal = np.asarray(signal_e, float)
    variance = noise_floor_variance(dark_noise_e, quantisation_e) + signal
    return np.asarray(signal / np.sqrt(variance))


def snr_max(full_well_e: ArrayLike) -> Array:
    """How far a pixel's signal can stand above its noise at best, at saturation.

    Parameters
    ----------
    full_well_e : (...) [e⁻], > 0

    Returns
    -------
    (...) [1]

    Notes
    -----
    Source: EMVA Standard 1288, √(saturation capacity).

    Examples
    --------
    >>> print(round(float(snr_max(4300.0)), 1))
    65.6
    """
    return np.asarray(np.sqrt(np.asarray(full_well_e, float)))


def threshold_photons(dark_noise_e: ArrayLike, quantum_efficiency: ArrayLike) -> Array:
    """How many photons in one pixel give a signal as large as its noise.

    Parameters
    ----------
    dark_noise_e : (...) [e⁻], temporal noise in the dark with the quantisation's, ≥ 0
    quantum_efficiency : (...) [1], inside (0, 1]

    Returns
    -------
    (...) [photons]

    Notes
    -----
    Source: EMVA Standard 1288, absolute sensitivity threshold, (σ + ½)/η.

    Examples
    --------
    >>> print(round(float(threshold_photons(3.0, 0.25)), 1))
    14.0
    """
    noise = np.asarray(dark_noise_e, float)
    return np.asarray((noise + 0.5) / np.asarray(quantum_efficiency, float))


def noise_floor_variance(read_noise_e: ArrayLike, quantisation_e: ArrayLike) -> Array:
    """How large the noise of a pixel is that no light causes.

    Parameters
    ----------
    read_noise_e : (...) [e⁻], ≥ 0
    quantisation_e : (...) [e⁻/DN], size of one digital step, ≥ 0

    Returns
    -------
    (...) [e⁻²]

    Notes
    -----
    Source: read² + q²/12, the variance of rounding to steps of q (textbook; from memory).

    Examples
    --------
    >>> print(round(float(noise_floor_variance(3.0, 6.0)), 6))
    12.0
    """
    read, step = np.asarray(read_noise_e, float), np.asarray(quantisation_e, float)
    return np.asarray(read**2 + step**2 / 12.0)


def dn_from_electrons(
    electrons_e: ArrayLike, gain_e_per_dn: ArrayLike, offset_dn: ArrayLike, bits: int = 8
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Which number a pixel reads, and whether it stands at the top of its scale.

    Parameters
    ----------
    electrons_e : (...) [e⁻], with noise; may lie below 0
    gain_e_per_dn : (...) [e⁻/DN], > 0
    offset_dn : (...) [DN]
    bits : int, 1 to 32

    Returns
    -------
    reading : (...) int64 [DN], 0 to 2^bits − 1
    saturated : (...) bool, true where the reading is the highest there is

    Raises
    ------
    ValueError
        For electrons that are not finite, or bits outside 1 to 32.

    Notes
    -----
    Source: linear camera model of EMVA Standard 1288; rounding to the nearest step.

    Examples
    --------
    >>> reading, saturated = dn_from_electrons([0.0, 100.0, 1e6], 20.0, 5.0)
    >>> print(reading, saturated)
    [  5  10 255] [False False  True]
    """
    if not 1 <= bits <= 32:
        raise ValueError(f"bits must be 1 to 32; got {bits}")
    level = np.asarray(electrons_e, float) / np.asarray(gain_e_per_dn, float) + np.asarray(
        offset_dn, float
    )
    if not np.all(np.isfinite(level)):
        raise ValueError("electrons_e, gain_e_per_dn and offset_dn must give finite levels")
    top = 2**bits - 1
    reading = np.clip(np.rint(level), 0, top).astype(np.int64)
    return reading, np.asarray(reading == top)


def centre_variance_thompson(
    sigma_px: ArrayLike, flux_e: ArrayLike, background_variance_e2: ArrayLike
) -> Array:
    """How uncertain a spot's centre is by the oldest closed formula; optimistic.

    When not to use: with background it falls below what any unbiased fit can reach; use
    `centre_variance_ml` or `centre_cov_fisher` to plan.

    Parameters
    ----------
    sigma_px : (...) [px], > 0
    flux_e : (...) [e⁻], > 0
    background_variance_e2 : (...) [e⁻²/px], mean background plus read noise² and q²/12, ≥ 0

    Returns
    -------
    (...) [px²], along one axis

    Notes
    -----
    Source: Thompson, Larson and Webb, Biophys. J. 82:2775 (2002), two-dimensional case:
    (s² + a²/12)/N + 8π s⁴ b²/(a² N²), here with pixel a = 1.

    Examples
    --------
    >>> print(round(float(np.sqrt(centre_variance_thompson(1.0, 1000.0, 9.0))), 5))
    0.03619
    """
    square, flux = np.asarray(sigma_px, float) ** 2, np.asarray(flux_e, float)
    noise = np.asarray(background_variance_e2, float)
    return np.asarray((square + 1.0 / 12.0) / flux + 8.0 * np.pi * square**2 * noise / flux**2)


def centre_variance_least_squares(
    sigma_px: ArrayLike, flux_e: ArrayLike, background_variance_e2: ArrayLike
) -> Array:
    """How uncertain a spot's centre is from an unweighted least-squares fit.

    Parameters
    ----------
    sigma_px, flux_e, background_variance_e2 : as in `centre_variance_thompson`

    Returns
    -------
    (...) [px²], along one axis

    Notes
    -----
    Source: Mortensen et al., Nat. Methods 7:377 (2010), unweighted least squares:
    (s_a²/N)(16/9 + 8π s_a² b²/(N a²)), s_a² = s² + a²/12, here with pixel a = 1.

    Examples
    --------
    >>> print(round(float(np.sqrt(centre_variance_least_squares(1.0, 1000.0, 9.0))), 5))
    0.04681
    """
    square, flux = np.asarray(sigma_px, float) ** 2 + 1.0 / 12.0, np.asarray(flux_e, float)
    noise = np.asarray(background_variance_e2, float)
    return np.asarray(square / flux * (16.0 / 9.0 + 8.0 * np.pi * square * noise / flux))


def centre_variance_ml(
    sigma_px: ArrayLike, flux_e: ArrayLike, background_variance_e2: ArrayLike
) -> Array:
    """How uncertain a spot's centre is from a maximum-likelihood fit, in closed form.

    Parameters
    ----------
    sigma_px, flux_e, background_variance_e2 : as in `centre_variance_thompson`

    Returns
    -------
    (...) [px²], along one axis

    Notes
    -----
    Source: Mortensen et al., Nat. Methods 7:377 (2010): (s_a²/N)/(−∫₀¹ t ln t/(t + ρ) dt),
    ρ = 2π s_a² b²/(N a²), here with pixel a = 1. The integral equals 1 + ρ Li₂(−1/ρ)
    (computed here), and for large ρ its series 1/(4ρ) − 1/(9ρ²) + 1/(16ρ³).

    Examples
    --------
    >>> print(round(float(np.sqrt(centre_variance_ml(1.0, 1000.0, 9.0))), 5))
    0.04039
    """
    square, flux = np.asarray(sigma_px, float) ** 2 + 1.0 / 12.0, np.asarray(flux_e, float)
    rho = 2.0 * np.pi * square * np.asarray(background_variance_e2, float) / flux
    near = np.clip(rho, 1e-12, 1e4)
    far = np.maximum(rho, 1e4)
    information = np.where(
        rho < 1e4,
        1.0 + near * special.spence(1.0 + 1.0 / near),
        1.0 / (4.0 * far) - 1.0 / (9.0 * far**2) + 1.0 / (16.0 * far**3),
    )
    return np.asarray(square / flux / information)


def spot_model(
    flux_e: Array, centre_px: Array, sigma_px: Array, half_window: int
) -> tuple[Array, Array]:
    """A spot's light in the pixels of a window, and how each parameter changes it.

    Parameters
    ----------
    flux_e : (...) [e⁻]
    centre_px : (..., 2) [px], x and y from the middle pixel
    sigma_px : (...) [px], > 0
    half_window : int

    Returns
    -------
    light : (..., n²) [e⁻/px], rows one after another
    slope : (..., 5, n²), by x [e⁻/px²], y, flux [1/px], ln sigma [e⁻/px], background [1]

    Notes
    -----
    Source: derivatives of `spot_pixels` (computed here).

    Examples
    --------
    >>> light, slope = spot_model(np.float64(100.0), np.zeros(2), np.float64(1.0), 1)
    >>> print(light.shape, slope.shape, round(float(light[4]), 2))
    (9,) (5, 9) 14.66
    """
    across, across_x, across_s = pixel_profiles(centre_px[..., 0], sigma_px, half_window)
    down, down_y, down_s = pixel_profiles(centre_px[..., 1], sigma_px, half_window)

    def outer(column: Array, row: Array) -> Array:
        product = column[..., :, None] * row[..., None, :]
        return np.asarray(product.reshape(*product.shape[:-2], -1))

    flux = np.asarray(flux_e, float)[..., None]
    share = outer(down, across)
    slope = np.stack(
        [
            flux * outer(down, across_x),
            flux * outer(down_y, across),
            share,
            flux
            * np.asarray(sigma_px, float)[..., None]
            * (outer(down, across_s) + outer(down_s, across)),
            np.ones_like(share),
        ],
        axis=-2,
    )
    return flux * share, slope


def in_chunks(
    work: Callable[..., tuple[Array, ...]], arrays: tuple[Array, ...], pixels_each: int
) -> tuple[Array, ...]:
    """Apply a function to long batches piece by piece, so that memory stays small.

    Parameters
    ----------
    work : takes arrays (B, ...), returns a tuple of arrays (B, ...)
    arrays : each (B, ...), the same B
    pixels_each : int, working pixels that one item needs

    Returns
    -------
    tuple of arrays (B, ...)

    Examples
    --------
    >>> print(in_chunks(lambda a: (2 * a,), (np.arange(3.0),), 400_000)[0])
    [0. 2. 4.]
    """
    count = arrays[0].shape[0]
    step = max(1, _CHUNK_PIXELS // pixels_each)
    parts = [
        work(*(array[first : first + step] for array in arrays))
        for first in range(0, max(count, 1), step)
    ]
    return tuple(np.concatenate(column) for column in zip(*parts, strict=True))
