"""Light that reaches the camera by way of something else: lit patches on a wall, markers.

A stylus points its emitter at the surface, so the camera sees the lit wall beside the part.
Every function broadcasts its arguments against one another.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from rushlight.physics.light import beam_flux

Array = NDArray[np.float64]

HALF_POWER_RADII_PER_SIGMA = float(np.sqrt(2.0 * np.log(2.0)))
"""A round Gaussian holds half its power within 1.17741 standard deviations."""


class WallPatch(NamedTuple):
    """The glow that an emitter leaves on a wall, as a round Gaussian source.

    Fields
    ------
    intensity_w_sr : (...) [W/sr], toward the camera
    offset_m : (...) [m], from the wall point below the emitter, along the tilt
    sigma_m : (...) [m], Gaussian radius that holds the same half of the power
    """

    intensity_w_sr: Array
    offset_m: Array
    sigma_m: Array


def share_on_wall(exponent: ArrayLike, tilt_rad: ArrayLike) -> Array:
    """Which share of a cosᵐ lobe falls on an endless wall.

    Parameters
    ----------
    exponent : (...) [1], > 0
    tilt_rad : (...) [rad], between the lobe's axis and the way straight into the wall, 0 to π

    Returns
    -------
    (...) [1], 1 straight on, ½ along the wall, 0 straight away

    Notes
    -----
    Source: computed here. In angles (β out of, φ within the plane of tilt) the lobe is
    cosᵐφ · cosᵐ⁺¹β, so the share is a regularised incomplete beta function of cos² tilt.

    Examples
    --------
    >>> print(round(float(share_on_wall(1.0, np.radians(60.0))), 6))
    0.75
    """
    cosine = np.cos(np.asarray(tilt_rad, float))
    inner = special.betainc(0.5, (np.asarray(exponent, float) + 1.0) / 2.0, cosine**2)
    return np.asarray(0.5 * (1.0 + np.sign(cosine) * inner))


def patch_of_lobe(
    on_axis_w_sr: ArrayLike,
    exponent: ArrayLike,
    side_share: ArrayLike,
    transmission: ArrayLike,
    height_m: ArrayLike,
    tilt_rad: ArrayLike,
    reflectance: ArrayLike,
    view_angle_rad: ArrayLike,
) -> WallPatch:
    """What a camera sees of the patch that an emitter's lobe lights on a matt wall.

    Parameters
    ----------
    on_axis_w_sr, exponent, side_share, transmission : as in `emitter_intensity`
    height_m : (...) [m], of the emitter above the wall, > 0
    tilt_rad : (...) [rad], of the axis from the way straight into the wall, 0 to π/2
    reflectance : (...) [1], of the wall at this wavelength, 0 to 1
    view_angle_rad : (...) [rad], of the camera from the wall's normal, 0 to π/2

    Returns
    -------
    WallPatch
        Offset and width are NaN where the axis does not meet the wall (tilt ≥ π/2).

    Notes
    -----
    Source: Lambertian wall, I = ρ Φ cosψ/π (textbook; from memory); the rest computed here.
    The offset h·tan tilt, where the axis meets the wall, is the median of the patch along the
    tilt, exact while the whole lobe falls on the wall; the mean lies farther out. The
    half-power radius (h/cos tilt)·tan ψ, cosψ = ½^(1/(m+1)), is exact straight on; at 30°
    the true one differs by −6 % (m = 1) to +7 % (m = 45), at 45° by −13 % to +19 %.

    Examples
    --------
    >>> patch = patch_of_lobe(0.02, 7.0, 0.2, 0.9, 0.03, np.radians(30.0), 0.8, 0.0)
    >>> print(*(f"{value:.3g}" for value in patch))
    0.00288 0.0173 0.0128
    """
    tilt = np.asarray(tilt_rad, float)
    power = np.asarray(exponent, float)
    height = np.asarray(height_m, float)
    cosine = np.where(tilt < np.pi / 2, np.cos(tilt), np.nan)
    flux = (
        np.asarray(transmission, float)
        * (1.0 - np.asarray(side_share, float))
        * beam_flux(on_axis_w_sr, power)
        * share_on_wall(power, tilt)
    )
    half_power = 0.5 ** (1.0 / (power + 1.0))
    radius = height / cosine * np.sqrt(1.0 - half_power**2) / half_power
    intensity = diffuse_intensity(flux, reflectance, view_angle_rad)
    offset = height * np.sin(tilt) / cosine
    return WallPatch(*np.broadcast_arrays(intensity, offset, radius / HALF_POWER_RADII_PER_SIGMA))


def patch_of_side_light(
    on_axis_w_sr: ArrayLike,
    exponent: ArrayLike,
    side_share: ArrayLike,
    transmission: ArrayLike,
    height_m: ArrayLike,
    reflectance: ArrayLike,
    view_angle_rad: ArrayLike,
) -> WallPatch:
    """What a camera sees of the patch that an emitter's even side light leaves on a matt wall.

    Half of the even share falls on the wall, round the foot below the emitter.

    Parameters
    ----------
    on_axis_w_sr, exponent, side_share, transmission : as in `emitter_intensity`
    height_m, reflectance, view_angle_rad : as in `patch_of_lobe`

    Returns
    -------
    WallPatch
        The offset is 0: the patch is centred on the foot whatever the tilt.

    Notes
    -----
    Source: computed here: half of the light that reaches the wall leaves within 60° of the
    normal, a circle of √3 h. The tails are far wider than a Gaussian's.

    Examples
    --------
    >>> patch = patch_of_side_light(0.02, 7.0, 0.2, 0.9, 0.03, 0.8, 0.0)
    >>> print(*(f"{value:.3g}" for value in patch))
    0.00036 0 0.0441
    """
    flux = (
        np.asarray(transmission, float)
        * np.asarray(side_share, float)
        * beam_flux(on_axis_w_sr, exponent)
        / 2.0
    )
    intensity = diffuse_intensity(flux, reflectance, view_angle_rad)
    sigma = np.sqrt(3.0) * np.asarray(height_m, float) / HALF_POWER_RADII_PER_SIGMA
    return WallPatch(*np.broadcast_arrays(intensity, np.zeros(()), sigma))


def diffuse_intensity(
    flux_w: ArrayLike, reflectance: ArrayLike, view_angle_rad: ArrayLike
) -> Array:
    """How strong a matt surface shines back when a given flux falls on it.

    Parameters
    ----------
    flux_w : (...) [W], falling on the surface, ≥ 0
    reflectance : (...) [1], 0 to 1
    view_angle_rad : (...) [rad], from the surface's normal; none is seen beyond π/2

    Returns
    -------
    (...) [W/sr]

    Notes
    -----
    Source: Lambert's law, ρ Φ cosψ/π (textbook; from memory).

    Examples
    --------
    >>> print(round(float(diffuse_intensity(np.pi, 0.5, 0.0)), 6))
    0.5
    """
    cosine = np.maximum(np.cos(np.asarray(view_angle_rad, float)), 0.0)
    return np.asarray(np.asarray(reflectance, float) * np.asarray(flux_w, float) * cosine / np.pi)


def retro_intensity(
    illuminator_w_sr: ArrayLike,
    range_m: ArrayLike,
    coefficient_cd_lx_m2: ArrayLike,
    area_m2: ArrayLike,
) -> Array:
    """How strong a small retro-reflective marker shines back to the lens.

    Parameters
    ----------
    illuminator_w_sr : (...) [W/sr], of the light beside the lens toward the marker, ≥ 0
    range_m : (...) [m], illuminator to marker, > 0
    coefficient_cd_lx_m2 : (...) [cd·lx⁻¹·m⁻²], R_A at the true observation and entrance angles
    area_m2 : (...) [m²], of the marker's own face, > 0

    Returns
    -------
    (...) [W/sr]

    Notes
    -----
    Source: coefficient of retro-reflection R_A, CIE International Lighting Vocabulary; the
    ratio of intensity to irradiance serves radiometric units alike. R_A falls steeply with the
    angle between light and lens: 20 mm apart at 2 m is already 0.57°.

    Examples
    --------
    >>> print(f"{retro_intensity(0.48, 2.0, 250.0, np.pi * 0.005**2):.3e}")
    2.356e-03
    """
    at_marker = np.asarray(illuminator_w_sr, float) / np.asarray(range_m, float) ** 2
    return np.asarray(
        np.asarray(coefficient_cd_lx_m2, float) * np.asarray(area_m2, float) * at_marker
    )
