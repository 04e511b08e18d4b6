"""Which exposures, and how much light of the room, leave a dot neither clipped nor lost in noise.

A dot's peak grows with the exposure, and so does what the room leaves in the pixels around it.
Every function broadcasts its arguments against one another.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def least_exposure(
    peak_rate_e_s: ArrayLike,
    background_rate_e_s: ArrayLike,
    noise_floor_e2: ArrayLike,
    peak_over_noise: ArrayLike,
) -> Array:
    """From which exposure on does a dot's peak stand far enough above the noise beside it?

    Parameters
    ----------
    peak_rate_e_s : (...) [e⁻/s], of the dot's brightest pixel, background left out, ≥ 0
    background_rate_e_s : (...) [e⁻/s], of the room's light in a pixel, ≥ 0
    noise_floor_e2 : (...) [e⁻²], of reading and rounding, ≥ 0
    peak_over_noise : (...) [1], wanted, > 0

    Returns
    -------
    (...) [s], infinite for a dot without light

    Notes
    -----
    Source: p t = k √(v + b t) solved for t (computed here); noise of a pixel beside the dot as
    in EMVA Standard 1288's linear camera model (from memory).

    Examples
    --------
    >>> t = least_exposure(1e6, 2e5, 100.0, 10.0)
    >>> print(round(float(1e6 * t / np.sqrt(100.0 + 2e5 * t)), 6))
    10.0
    """
    peak = np.asarray(peak_rate_e_s, float)
    background = np.asarray(background_rate_e_s, float)
    square = np.asarray(peak_over_noise, float) ** 2
    linear = square * background
    root = np.sqrt(linear**2 + 4.0 * peak**2 * square * np.asarray(noise_floor_e2, float))
    with np.errstate(divide="ignore", invalid="ignore"):
        time = (linear + root) / (2.0 * peak**2)
    return np.asarray(np.where(peak > 0.0, time, np.inf))


def greatest_exposure(
    peak_rate_e_s: ArrayLike,
    background_rate_e_s: ArrayLike,
    full_scale_e: ArrayLike,
    share: ArrayLike = 1.0,
) -> Array:
    """Up to which exposure does a dot's brightest pixel stay below a share of full scale?

    Parameters
    ----------
    peak_rate_e_s, background_rate_e_s : as in `least_exposure`
    full_scale_e : (...) [e⁻], at which a pixel reads its highest level, > 0
    share : (...) [1], of full scale, > 0

    Returns
    -------
    (...) [s], infinite where nothing shines

    Notes
    -----
    Source: (p + b) t = s S (computed here); expected levels, shot noise left out.

    Examples
    --------
    >>> print(float(greatest_exposure(0.9e6, 0.1e6, 10_000.0)))
    0.01
    """
    rate = np.asarray(peak_rate_e_s, float) + np.asarray(background_rate_e_s, float)
    level = np.asarray(share, float) * np.asarray(full_scale_e, float)
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(rate > 0.0, level / np.where(rate > 0, rate, 1.0), np.inf))


def background_that_hides(
    peak_rate_e_s: ArrayLike,
    exposure_s: ArrayLike,
    noise_floor_e2: ArrayLike,
    peak_over_noise: ArrayLike,
) -> Array:
    """How strong may the room's light grow until a dot is too weak, the exposure held?

    Parameters
    ----------
    peak_rate_e_s, noise_floor_e2, peak_over_noise : as in `least_exposure`
    exposure_s : (...) [s], > 0

    Returns
    -------
    (...) [e⁻/s] in a pixel, 0 where the dot is too weak in the dark already

    Notes
    -----
    Source: `least_exposure`'s condition solved for the background (computed here).

    Examples
    --------
    >>> print(round(float(background_that_hides(1e6, 1e-3, 100.0, 10.0))))
    9900000
    """
    time = np.asarray(exposure_s, float)
    signal = np.asarray(peak_rate_e_s, float) * time / np.asarray(peak_over_noise, float)
    return np.asarray(np.maximum(signal**2 - np.asarray(noise_floor_e2, float), 0.0) / time)


def background_that_closes(
    weakest_e_s: ArrayLike,
    strongest_e_s: ArrayLike,
    noise_floor_e2: ArrayLike,
    full_scale_e: ArrayLike,
    peak_over_noise: ArrayLike,
) -> Array:
    """From which light of the room on does no exposure serve the weakest and strongest dots both?

    Parameters
    ----------
    weakest_e_s, strongest_e_s : (...) [e⁻/s], peaks of the two dots, 0 < weakest ≤ strongest
    noise_floor_e2, peak_over_noise : as in `least_exposure`
    full_scale_e : (...) [e⁻], > 0

    Returns
    -------
    (...) [e⁻/s] in a pixel, 0 where no exposure serves both in the dark either

    Notes
    -----
    Source: computed here. Where both ends of the window meet, x electrons of background leave
    S − x for the strongest peak, and r (S − x) = k √(v + x) for the weakest, r the ratio of the
    peaks: a quadratic in x, of which the smaller root counts.

    Examples
    --------
    >>> b = background_that_closes(1e5, 1e6, 100.0, 10_000.0, 10.0)
    >>> ends = (least_exposure(1e5, b, 100.0, 10.0), greatest_exposure(1e6, b, 10_000.0))
    >>> print(f"{ends[0]:.6f} {ends[1]:.6f}")
    0.006225 0.006225
    """
    strongest = np.asarray(strongest_e_s, float)
    ratio2 = (np.asarray(weakest_e_s, float) / strongest) ** 2
    full, floor = np.asarray(full_scale_e, float), np.asarray(noise_floor_e2, float)
    square = np.asarray(peak_over_noise, float) ** 2
    # ratio2·x² − linear·x + constant = 0, its smaller root written so that it does not cancel.
    linear = 2.0 * ratio2 * full + square
    constant = ratio2 * full**2 - square * floor
    root = np.sqrt(np.maximum(linear**2 - 4.0 * ratio2 * constant, 0.0))
    electrons = np.where(constant > 0.0, 2.0 * constant / (linear + root), 0.0)
    return np.asarray(electrons * strongest / (full - electrons))


def pulse_gain(
    exposure_s: ArrayLike,
    frame_rate_hz: ArrayLike,
    readout_s: ArrayLike = 0.0,
    current_a: ArrayLike = 1.0,
    greatest_a: ArrayLike = np.inf,
) -> tuple[Array, Array]:
    """How much brighter may a light shine that is lit only while every row is exposed?

    Parameters
    ----------
    exposure_s : (...) [s], > 0
    frame_rate_hz : (...) [Hz], > 0
    readout_s : (...) [s], from the first row's exposure to the last's; 0 for a global shutter
    current_a : (...) [A], mean current to be held
    greatest_a : (...) [A], that the part bears in such pulses

    Returns
    -------
    gain : (...) [1], of the current while lit over the mean current; 0 where no moment is
        common to all rows
    duty : (...) [1], share of the time lit

    Notes
    -----
    Source: computed here; light in proportion to the current (that it grows somewhat less in
    truth, with the warmth of the part, is left out).

    Examples
    --------
    >>> gain, duty = pulse_gain(1e-3, 100.0, current_a=0.02, greatest_a=0.1)
    >>> print(float(gain), float(duty))
    5.0 0.1
    """
    common = np.asarray(exposure_s, float) - np.asarray(readout_s, float)
    duty = np.clip(common * np.asarray(frame_rate_hz, float), 0.0, 1.0)
    ceiling = np.asarray(greatest_a, float) / np.asarray(current_a, float)
    with np.errstate(divide="ignore"):
        gain = np.where(duty > 0.0, 1.0 / np.where(duty > 0.0, duty, 1.0), 0.0)
    return np.asarray(np.minimum(gain, ceiling)), np.asarray(duty)
