"""How much of an emitter's light a filter lets through, straight on and at an angle.

An emitter shines over some tens of nanometres, and an interference filter's band shifts to
shorter wavelengths for light that comes in aslant: towards the corners of a wide lens the two
part. A filter that colours by absorption does not shift. Every function broadcasts its
arguments against one another.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from rushlight.physics.light import filter_centre_at_angle

Array = NDArray[np.float64]

FULL_WIDTHS_PER_SIGMA = 2.0 * math.sqrt(2.0 * math.log(2.0))
"""Full width at half maximum of a Gaussian, in standard deviations."""

ANGLES_RAD = tuple(np.radians(np.arange(0.0, 90.0, 2.5)).tolist())
"""Angles at which a camera's filter is tabulated for each light, evenly spaced."""


_LINE_M = 1e-13  # a spectrum narrower than this is one wavelength


def share_within(
    low_m: ArrayLike, high_m: ArrayLike, wavelength_m: ArrayLike, full_width_m: ArrayLike
) -> Array:
    """Which share of an emitter's light lies between two wavelengths.

    Parameters
    ----------
    low_m, high_m : (...) [m], low ≤ high; either may be infinite
    wavelength_m : (...) [m], peak of the spectrum
    full_width_m : (...) [m], of the spectrum at half its peak, ≥ 0; 0 for a single line

    Returns
    -------
    (...) [1]

    Notes
    -----
    Source: a Gaussian spectrum, a model of ours: the real one has a longer tail toward long
    wavelengths (from memory). A line upon an edge counts as within.

    Examples
    --------
    >>> print(round(float(share_within(825e-9, 875e-9, 850e-9, 50e-9)), 4))
    0.761
    """
    sigma = np.asarray(full_width_m, float) / FULL_WIDTHS_PER_SIGMA
    peak = np.asarray(wavelength_m, float)
    low, high = np.asarray(low_m, float), np.asarray(high_m, float)
    spread = sigma > _LINE_M
    wide = np.where(spread, sigma, 1.0)
    share = special.ndtr((high - peak) / wide) - special.ndtr((low - peak) / wide)
    line = (low <= peak) & (peak <= high)
    return np.asarray(np.where(spread, share, line))


def filter_share(
    low_m: ArrayLike,
    high_m: ArrayLike,
    transmission: ArrayLike,
    leak: ArrayLike,
    effective_index: ArrayLike,
    wavelength_m: ArrayLike,
    full_width_m: ArrayLike,
    angle_rad: ArrayLike = 0.0,
) -> Array:
    """Which share of an emitter's light a filter lets through at an angle.

    Parameters
    ----------
    low_m, high_m : (...) [m], ends of what the filter passes straight on; the upper end of a
        long pass is infinite
    transmission, leak : (...) [1], within and outside that, 0 to 1
    effective_index : (...) [1], of an interference filter's coating; infinite for a filter that
        does not shift
    wavelength_m, full_width_m : as in `share_within`
    angle_rad : (...) [rad], of incidence in air, 0 to π/2

    Returns
    -------
    (...) [1]

    Notes
    -----
    Source: both ends shifted as `filter_centre_at_angle` (textbook; from memory), so that a band
    keeps its width as a share of its wavelength; edges taken as sharp, and transmission and
    width as unchanged with the angle, which holds to some 30° (from memory).

    Examples
    --------
    >>> band = (915e-9, 965e-9, 0.88, 0.001, 1.8, 940e-9, 45e-9)
    >>> print(np.round(filter_share(*band, np.radians([0.0, 15.0, 30.0])), 2))
    [0.71 0.66 0.22]
    """
    low, high = np.asarray(low_m, float), np.asarray(high_m, float)
    ends = [filter_centre_at_angle(end, angle_rad, effective_index) for end in (low, high)]
    inside = share_within(ends[0], ends[1], wavelength_m, full_width_m)
    through, outside = np.asarray(transmission, float), np.asarray(leak, float)
    return np.asarray(outside + (through - outside) * inside)


def share_at(table: ArrayLike, angle_rad: ArrayLike) -> Array:
    """What a table of `ANGLES_RAD` says of an angle, by straight lines, level beyond its end.

    Parameters
    ----------
    table : (..., K) [1], one value for each of `ANGLES_RAD`; or K = 1 for one that holds always
    angle_rad : (...) [rad], NaN stays NaN

    Returns
    -------
    (...) [1]

    Examples
    --------
    >>> print(float(share_at(np.cos(ANGLES_RAD), np.radians(31.0)).round(3)))
    0.857
    """
    values, angle = np.asarray(table, float), np.asarray(angle_rad, float)
    if values.shape[-1] == 1 or np.all(values == 1.0):
        return np.asarray(np.broadcast_arrays(values[..., 0], angle)[0])
    step = ANGLES_RAD[1]
    place = np.clip(np.nan_to_num(angle) / step, 0.0, len(ANGLES_RAD) - 1.0)
    left = np.minimum(place.astype(int), len(ANGLES_RAD) - 2)
    spread = np.broadcast_to(
        values, (*np.broadcast_shapes(values.shape[:-1], angle.shape), len(ANGLES_RAD))
    )
    left = np.broadcast_to(left, spread.shape[:-1])[..., None]
    low = np.take_along_axis(spread, left, axis=-1)[..., 0]
    high = np.take_along_axis(spread, left + 1, axis=-1)[..., 0]
    return np.asarray(low + (place - left[..., 0]) * (high - low) + 0.0 * angle)
