"""Light from an emitter to electrons in a pixel; what comes by way of walls is in `reflection`.

Radiometric quantities throughout: radiant intensity [W/sr], irradiance [W/m²], flux [W].
Every function broadcasts its arguments against one another.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import constants

Array = NDArray[np.float64]

SUNLIGHT_BAND_W_M2: dict[tuple[int, int], float] = {
    (400, 700): 429.83,
    (700, 1100): 328.63,
    (800, 1000): 150.84,
    (825, 875): 48.16,
    (915, 965): 22.22,
}
"""Direct and sky sunlight on a 37° tilted plane by band in nm [W/m²].

Source: ASTM G173-03, hemispherical ("global") spectrum, integrated over each band; the whole
spectrum carries 1000.37 W/m².
"""


def photon_energy(wavelength_m: ArrayLike) -> Array:
    """How much energy one photon carries.

    Parameters
    ----------
    wavelength_m : (...) [m], > 0

    Returns
    -------
    (...) [J]

    Notes
    -----
    Source: E = h c/λ with the exact h and c of the SI (BIPM, SI Brochure, 9th ed., 2019),
    as given by `scipy.constants`.

    Examples
    --------
    >>> print(f"{photon_energy(940e-9):.4e}")
    2.1132e-19
    """
    return np.asarray(constants.h * constants.c / np.asarray(wavelength_m, float))


def beam_exponent(half_angle_rad: ArrayLike) -> Array:
    """Which exponent m makes the lobe I₀ cosᵐθ fall to half at the given angle.

    Parameters
    ----------
    half_angle_rad : (...) [rad], angle from the axis to half intensity, inside (0, π/2)

    Returns
    -------
    (...) [1]

    Raises
    ------
    ValueError
        When an angle lies outside (0, π/2), as a full angle in place of a half angle may.

    Notes
    -----
    Source: m = ln ½/ln cos θ½, the generalised Lambertian lobe (textbook; from memory).

    Examples
    --------
    >>> print(round(float(beam_exponent(np.radians(60.0))), 6))
    1.0
    """
    angle = np.asarray(half_angle_rad, float)
    if np.any((angle <= 0) | (angle >= np.pi / 2)):
        raise ValueError(
            f"half_angle_rad must lie inside (0, pi/2); got values from "
            f"{np.nanmin(angle):.4g} to {np.nanmax(angle):.4g}"
        )
    return np.asarray(np.log(0.5) / np.log(np.cos(angle)))


def beam_intensity(on_axis_w_sr: ArrayLike, angle_rad: ArrayLike, exponent: ArrayLike) -> Array:
    """How strong a cosᵐ lobe is at an angle from its axis; nothing leaves beyond 90°.

    Parameters
    ----------
    on_axis_w_sr : (...) [W/sr], ≥ 0
    angle_rad : (...) [rad], 0 to π
    exponent : (...) [1], > 0

    Returns
    -------
    (...) [W/sr]

    Notes
    -----
    Source: I₀ cosᵐθ (textbook; from memory).

    Examples
    --------
    >>> print(round(float(beam_intensity(0.02, np.radians(60.0), 1.0)), 6))
    0.01
    """
    cosine = np.maximum(np.cos(np.asarray(angle_rad, float)), 0.0)
    return np.asarray(np.asarray(on_axis_w_sr, float) * cosine ** np.asarray(exponent, float))


def beam_flux(on_axis_w_sr: ArrayLike, exponent: ArrayLike) -> Array:
    """How much power a cosᵐ lobe carries in all.

    Parameters
    ----------
    on_axis_w_sr : (...) [W/sr], ≥ 0
    exponent : (...) [1], > 0

    Returns
    -------
    (...) [W]

    Notes
    -----
    Source: the integral of I₀ cosᵐθ over the half space, 2π I₀/(m + 1) (computed here).

    Examples
    --------
    >>> print(round(float(beam_flux(0.036, 7.046)), 4))
    0.0281
    """
    return 2.0 * np.pi * np.asarray(on_axis_w_sr, float) / (np.asarray(exponent, float) + 1.0)


def emitter_intensity(
    on_axis_w_sr: ArrayLike,
    exponent: ArrayLike,
    side_share: ArrayLike,
    transmission: ArrayLike,
    angle_rad: ArrayLike,
) -> Array:
    """How strong an emitter is in a direction when part of its light leaves sideways.

    A share of the flux leaves evenly in all directions: what leaks sideways from a bare part,
    or what a diffusing cap scatters. The rest keeps the cosᵐ lobe.

    Parameters
    ----------
    on_axis_w_sr : (...) [W/sr], on-axis intensity of the bare part, ≥ 0
    exponent : (...) [1], lobe exponent, > 0
    side_share : (...) [1], share of the flux that leaves evenly over 4π, 0 to 1
    transmission : (...) [1], of cap or tip, applied to both parts, 0 to 1
    angle_rad : (...) [rad], from the emitter's axis, 0 to π

    Returns
    -------
    (...) [W/sr]

    Notes
    -----
    Source: a two-part model of our own that keeps the flux of the bare part; the side share of
    a real tip must be measured or drawn widely.

    Examples
    --------
    >>> bare = emitter_intensity(0.02, 11.143, 0.0, 1.0, np.radians(60.0))
    >>> capped = emitter_intensity(0.02, 11.143, 0.5, 0.9, np.radians(60.0))
    >>> print(f"{bare:.1e} {capped:.1e}")
    8.8e-06 3.7e-04
    """
    share = np.asarray(side_share, float)
    even = share * beam_flux(on_axis_w_sr, exponent) / (4.0 * np.pi)
    lobe = (1.0 - share) * beam_intensity(on_axis_w_sr, angle_rad, exponent)
    return np.asarray(transmission, float) * (even + lobe)


def irradiance_at_lens(
    intensity_w_sr: ArrayLike, range_m: ArrayLike, off_axis_rad: ArrayLike = 0.0
) -> Array:
    """How much light of a small source falls on each square metre of the lens.

    Parameters
    ----------
    intensity_w_sr : (...) [W/sr], toward the lens, ≥ 0
    range_m : (...) [m], source to lens, > 0
    off_axis_rad : (...) [rad], between the ray and the lens axis, 0 to π/2

    Returns
    -------
    (...) [W/m²]

    Notes
    -----
    Source: E = I cos θ/d² (textbook; from memory). Holds from about ten source or lens widths.

    Examples
    --------
    >>> print(round(float(irradiance_at_lens(0.02, 2.0)), 6))
    0.005
    """
    cosine = np.maximum(np.cos(np.asarray(off_axis_rad, float)), 0.0)
    return np.asarray(np.asarray(intensity_w_sr, float) * cosine / np.asarray(range_m, float) ** 2)


def pupil_area(focal_m: ArrayLike, f_number: ArrayLike) -> Array:
    """How large the opening is that the lens collects through.

    Parameters
    ----------
    focal_m : (...) [m], > 0
    f_number : (...) [1], > 0

    Returns
    -------
    (...) [m²]

    Notes
    -----
    Source: π (f/N)²/4, entrance pupil of a distant object (textbook; from memory).

    Examples
    --------
    >>> print(f"{pupil_area(3.6e-3, 2.9):.3e}")
    1.210e-06
    """
    diameter = np.asarray(focal_m, float) / np.asarray(f_number, float)
    return np.asarray(np.pi * diameter**2 / 4.0)


def electrons(
    irradiance_w_m2: ArrayLike,
    pupil_area_m2: ArrayLike,
    transmission: ArrayLike,
    exposure_s: ArrayLike,
    wavelength_m: ArrayLike,
    quantum_efficiency: ArrayLike,
) -> Array:
    """How many electrons one small light leaves in the sensor during one exposure.

    Parameters
    ----------
    irradiance_w_m2 : (...) [W/m²], at the lens, ≥ 0
    pupil_area_m2 : (...) [m²], > 0
    transmission : (...) [1], of lens and filter together, 0 to 1
    exposure_s : (...) [s], while the light is on, ≥ 0
    wavelength_m : (...) [m], > 0
    quantum_efficiency : (...) [1], electrons per photon, 0 to 1

    Returns
    -------
    (...) [e⁻], over the whole spot

    Notes
    -----
    Source: P t λ/(h c) times the quantum efficiency (textbook; from memory).

    Examples
    --------
    >>> count = electrons(5e-3, pupil_area(3.6e-3, 2.9), 0.9 * 0.85, 1e-3, 940e-9, 0.10)
    >>> print(f"{count:.2e}")
    2.19e+06
    """
    power = (
        np.asarray(irradiance_w_m2, float)
        * np.asarray(pupil_area_m2, float)
        * np.asarray(transmission, float)
    )
    photons = power * np.asarray(exposure_s, float) / photon_energy(wavelength_m)
    return np.asarray(photons * np.asarray(quantum_efficiency, float))


def ambient_electrons(
    irradiance_wall_w_m2: ArrayLike,
    reflectance: ArrayLike,
    f_number: ArrayLike,
    pixel_m: ArrayLike,
    transmission: ArrayLike,
    exposure_s: ArrayLike,
    wavelength_m: ArrayLike,
    quantum_efficiency: ArrayLike,
) -> Array:
    """How many electrons the lit wall behind the lights leaves in each pixel.

    Parameters
    ----------
    irradiance_wall_w_m2 : (...) [W/m²], within the filter's band, ≥ 0
    reflectance : (...) [1], of a matt wall, 0 to 1
    f_number : (...) [1], > 0
    pixel_m : (...) [m], pitch of a square pixel, > 0
    transmission : (...) [1], of lens and filter within the band, 0 to 1
    exposure_s : (...) [s], ≥ 0
    wavelength_m : (...) [m], middle of the band, > 0
    quantum_efficiency : (...) [1], 0 to 1

    Returns
    -------
    (...) [e⁻/px], on the lens axis; multiply by cos⁴ of the field angle away from it

    Notes
    -----
    Source: camera equation E = π L τ/(4 N²) for a distant scene, with L = ρ E/π of a matt wall
    (textbook; from memory).

    Examples
    --------
    >>> print(round(float(ambient_electrons(1.0, 0.8, 2.0, 3e-6, 0.7, 1e-3, 850e-9, 0.25))))
    337
    """
    on_sensor = (
        np.asarray(reflectance, float)
        * np.asarray(irradiance_wall_w_m2, float)
        / (4.0 * np.asarray(f_number, float) ** 2)
    )
    area = np.asarray(pixel_m, float) ** 2
    return electrons(on_sensor, area, transmission, exposure_s, wavelength_m, quantum_efficiency)


def black_body_share(temperature_k: ArrayLike, low_m: ArrayLike, high_m: ArrayLike) -> Array:
    """Which share of a glowing body's power lies between two wavelengths.

    Parameters
    ----------
    temperature_k : (...) [K], > 0
    low_m, high_m : (...) [m], 0 < low ≤ high

    Returns
    -------
    (...) [1]

    Notes
    -----
    Source: Planck's law integrated in x = h c/(λ k T): 15/π⁴ ∫ x³/(eˣ − 1) dx. Beyond x = 60
    lies less than 1e-20 of the power, so the integral may stop there.

    Examples
    --------
    >>> print(round(float(black_body_share(2856.0, 800e-9, 1000e-9)), 3))
    0.124
    """
    second_constant = constants.h * constants.c / constants.k
    scale = second_constant / np.asarray(temperature_k, float)
    upper = np.minimum(scale / np.asarray(low_m, float), 60.0)
    lower = np.minimum(scale / np.asarray(high_m, float), 60.0)
    node, weight = np.polynomial.legendre.leggauss(96)
    half = np.asarray((upper - lower) / 2.0)[..., None]
    x = np.asarray((upper + lower) / 2.0)[..., None] + half * node
    return np.asarray(15.0 / np.pi**4 * np.sum(half * weight * x**3 / np.expm1(x), axis=-1))


def filter_centre_at_angle(
    centre_m: ArrayLike, angle_rad: ArrayLike, effective_index: ArrayLike
) -> Array:
    """Where an interference filter's band lies for light that comes in at an angle.

    Parameters
    ----------
    centre_m : (...) [m], band centre straight on
    angle_rad : (...) [rad], of incidence in air, 0 to π/2
    effective_index : (...) [1], of the coating, usually 1.5 to 2.1

    Returns
    -------
    (...) [m], never longer than straight on

    Notes
    -----
    Source: λ₀ √(1 − sin²θ/n²) (textbook; from memory).

    Examples
    --------
    >>> print(round(float(filter_centre_at_angle(940e-9, np.radians(30.0), 1.8)) * 1e9))
    903
    """
    ratio = np.sin(np.asarray(angle_rad, float)) / np.asarray(effective_index, float)
    return np.asarray(np.asarray(centre_m, float) * np.sqrt(1.0 - ratio**2))
