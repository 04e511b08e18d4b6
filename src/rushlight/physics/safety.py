"""Estimates of how near a rig's infrared light comes to published limits for the eye.

Estimates only. They are no assessment: the standard itself (IEC/EN 62471), a qualified assessor
and the local rules decide. Directive 2006/25/EC protects workers, not pupils or visitors, and
several limits below stand as remembered. Data-sheet intensities are typical values and the
inverse-square law fails close to a lensed part, so a factor of two either way is ordinary.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

ASSESSMENT_DISTANCE_M = 0.2
"""Distance at which lamps not meant for lighting rooms are graded (IEC 62471; from memory)."""


def cornea_limit(duration_s: ArrayLike) -> Array:
    """How much infrared the front of the eye may receive for a stay of this length.

    Parameters
    ----------
    duration_s : (...) [s], > 0

    Returns
    -------
    (...) [W/m²], 780 nm to 3 µm

    Notes
    -----
    Source: Directive 2006/25/EC, Annex I, table 1.1 (and IEC 62471): 18 000 t^−0.75 up to
    1000 s, 100 beyond; the bound of 1000 s from memory.

    Examples
    --------
    >>> print(np.round(cornea_limit([10.0, 2000.0])))
    [3201.  100.]
    """
    duration = np.asarray(duration_s, float)
    return np.asarray(np.where(duration > 1000.0, 100.0, 18_000.0 * duration**-0.75))


def cornea_irradiance(intensity_w_sr: ArrayLike, distance_m: ArrayLike) -> Array:
    """How much infrared reaches the front of an eye at a distance.

    Parameters
    ----------
    intensity_w_sr : (...) [W/sr], time average of everything that shines that way, summed
    distance_m : (...) [m], > 0

    Returns
    -------
    (...) [W/m²]

    Notes
    -----
    Source: inverse-square law (textbook; from memory); fails close to a lensed part.

    Examples
    --------
    >>> print(round(float(cornea_irradiance(0.020, 0.2)), 3))
    0.5
    """
    return np.asarray(np.asarray(intensity_w_sr, float) / np.asarray(distance_m, float) ** 2)


def smallest_subtense(duration_s: ArrayLike) -> Array:
    """How small a source still counts as smaller, as the eye moves and blurs its image.

    Parameters
    ----------
    duration_s : (...) [s], > 0

    Returns
    -------
    (...) [rad], 1.7 mrad to 0.25 s, then growing with √t to 11 mrad beyond 10 s

    Notes
    -----
    Source: IEC 62471 as quoted second-hand.

    Examples
    --------
    >>> print(np.round(1e3 * smallest_subtense([0.1, 1.0, 100.0]), 2))
    [ 1.7  3.4 11. ]
    """
    duration = np.asarray(duration_s, float)
    growing = 1.7e-3 * np.sqrt(np.maximum(duration, 0.25) / 0.25)
    return np.asarray(np.where(duration > 10.0, 11e-3, growing))


def retina_thermal_limit(alpha_rad: ArrayLike, duration_s: ArrayLike) -> Array:
    """How much weighted radiance the retina may receive for a short stay or a single pulse.

    Parameters
    ----------
    alpha_rad : (...) [rad], of the source, between `smallest_subtense` and 100 mrad
    duration_s : (...) [s], 10 µs to 10 s; NaN outside

    Returns
    -------
    (...) [W·m⁻²·sr⁻¹]

    Notes
    -----
    Source: IEC 62471: 50 000/(α t^0.25), 10 µs to 10 s.

    Examples
    --------
    >>> print(f"{retina_thermal_limit(0.011, 10.0):.3e}")
    2.556e+06
    """
    duration = np.asarray(duration_s, float)
    known = np.where((duration >= 1e-5) & (duration <= 10.0), duration, np.nan)
    return np.asarray(50_000.0 / (np.asarray(alpha_rad, float) * known**0.25))


def retina_limit_weak_stimulus(alpha_rad: ArrayLike, duration_s: ArrayLike) -> Array:
    """How much weighted radiance the retina may receive from light too dim to turn away from.

    Parameters
    ----------
    alpha_rad : (...) [rad], of the source, between `smallest_subtense` and 100 mrad
    duration_s : (...) [s], ≥ 10 µs; NaN below

    Returns
    -------
    (...) [W·m⁻²·sr⁻¹]; up to 10 s the thermal limit

    Notes
    -----
    Source: Directive 2006/25/EC, Annex I, table 1.1 (and IEC 62471): 6000/α beyond 10 s.

    Examples
    --------
    >>> print(round(float(retina_limit_weak_stimulus(0.011, 1000.0))))
    545455
    """
    duration = np.asarray(duration_s, float)
    steady = 6000.0 / np.asarray(alpha_rad, float)
    short = retina_thermal_limit(alpha_rad, duration)
    return np.asarray(np.where(duration > 10.0, steady, short))


def retina_weight(wavelength_m: ArrayLike) -> Array:
    """How strongly a wavelength counts toward the burn hazard of the retina.

    Parameters
    ----------
    wavelength_m : (...) [m], 700 to 1050 nm; NaN outside

    Returns
    -------
    (...) [1]

    Notes
    -----
    Source: IEC 62471, R(λ) = 10^((700 − λ)/500), λ in nm; from memory.

    Examples
    --------
    >>> print(np.round(retina_weight([850e-9, 940e-9]), 3))
    [0.501 0.331]
    """
    nanometres = np.asarray(wavelength_m, float) * 1e9
    known = (nanometres >= 700.0 - 1e-6) & (nanometres <= 1050.0 + 1e-6)
    return np.asarray(np.where(known, 10.0 ** ((700.0 - nanometres) / 500.0), np.nan))
