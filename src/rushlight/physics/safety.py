"""Estimates of how near a rig's infrared light comes to published limits for the eye.

Estimates only. They are no assessment: the standard itself (IEC/EN 62471), a qualified assessor
and the local rules decide. Directive 2006/25/EC protects workers, not pupils or visitors, and
several limits below stand as remembered. Data-sheet intensities are typical values and the
inverse-square law fails close to a lensed part, so a factor of two either way is ordinary.
"""

from __future__ import annotations

from typing import NamedTuple

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


def time_limit(irradiance_w_m2: ArrayLike) -> Array:
    """How long a stay reaches the limit for the front of the eye.

    Parameters
    ----------
    irradiance_w_m2 : (...) [W/m²], ≥ 0

    Returns
    -------
    (...) [s]; infinite at 100 W/m² and below, 1000 at most above

    Notes
    -----
    Source: Directive 2006/25/EC, Annex I, table 1.1, solved for t: (18 000/E)^(4/3).

    Examples
    --------
    >>> print(round(float(time_limit(200.0))))
    403
    """
    irradiance = np.asarray(irradiance_w_m2, float)
    with np.errstate(divide="ignore"):
        reached = np.minimum((18_000.0 / irradiance) ** (4.0 / 3.0), 1000.0)
    return np.asarray(np.where(irradiance <= 100.0, np.inf, reached))


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


def angular_subtense(size_m: ArrayLike, distance_m: ArrayLike, duration_s: ArrayLike) -> Array:
    """Which angle of the source enters the limits for the retina.

    Parameters
    ----------
    size_m : (...) [m], apparent width of one emitting face, > 0
    distance_m : (...) [m], to the eye, > 0
    duration_s : (...) [s], > 0

    Returns
    -------
    (...) [rad], between `smallest_subtense` and 100 mrad as the standard prescribes

    Notes
    -----
    Source: IEC 62471, α_min and α_max as quoted second-hand.

    Examples
    --------
    >>> print(np.round(1e3 * angular_subtense([0.3e-3, 5e-3, 0.1], 0.2, 100.0), 1))
    [ 11.  25. 100.]
    """
    angle = np.asarray(size_m, float) / np.asarray(distance_m, float)
    return np.asarray(np.minimum(np.maximum(angle, smallest_subtense(duration_s)), 0.1))


def retina_thermal_limit(alpha_rad: ArrayLike, duration_s: ArrayLike) -> Array:
    """How much weighted radiance the retina may receive for a short stay or a single pulse.

    Parameters
    ----------
    alpha_rad : (...) [rad], from `angular_subtense`
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
    alpha_rad : (...) [rad], from `angular_subtense`
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


def burn_hazard_radiance(
    intensity_w_sr: ArrayLike, source_area_m2: ArrayLike, wavelength_m: ArrayLike
) -> Array:
    """How bright one emitting face is, weighted for the burn hazard of the retina.

    Parameters
    ----------
    intensity_w_sr : (...) [W/sr], of one emitter: faces of an array lie apart on the retina
    source_area_m2 : (...) [m²], apparent emitting face, > 0
    wavelength_m : (...) [m], 700 to 1050 nm

    Returns
    -------
    (...) [W·m⁻²·sr⁻¹]

    Notes
    -----
    Source: IEC 62471, L_IR = R(λ) I/A for a single wavelength.

    Examples
    --------
    >>> print(round(float(burn_hazard_radiance(0.020, 0.3e-3**2, 850e-9)), -2))
    111400.0
    """
    radiance = np.asarray(intensity_w_sr, float) / np.asarray(source_area_m2, float)
    return np.asarray(retina_weight(wavelength_m) * radiance)


def risk_band(cornea_w_m2: ArrayLike, retina_ratio: ArrayLike = 0.0) -> NDArray[np.str_]:
    """In which band of published limits an estimate falls, in plain words.

    Parameters
    ----------
    cornea_w_m2 : (...) [W/m²], at the distance asked about, ≥ 0
    retina_ratio : (...) [1], weighted radiance over its limit for a long stay, ≥ 0

    Returns
    -------
    (...) text
        "well below" is under a tenth of the exempt limit, "close to" is from half of it: the
        estimate itself may be a factor of two out. "not known" where a value is NaN.

    Notes
    -----
    Source: IEC 62471 risk groups at 200 mm for the front of the eye, 100, 570 and 3200 W/m²
    (exempt, 1, 2), from memory; tenth and half are our own caution.

    Examples
    --------
    >>> print(*risk_band([0.5, 80.0, 120.0, np.nan]), sep="; ")
    well below the exempt limit; close to the exempt limit; above the exempt limit; not known
    """
    cornea = np.asarray(cornea_w_m2, float)
    retina = np.asarray(retina_ratio, float)
    ratio = np.maximum(cornea / 100.0, retina)
    cornea, ratio = np.broadcast_arrays(cornea, ratio)
    bands = [
        (np.isnan(ratio), "not known"),
        (cornea > 3200.0, "above the limit of risk group 2"),
        (cornea > 570.0, "above the limit of risk group 1"),
        (ratio > 1.0, "above the exempt limit"),
        (ratio >= 0.5, "close to the exempt limit"),
        (ratio >= 0.1, "below the exempt limit"),
    ]
    return np.select(
        [where for where, _ in bands], [words for _, words in bands], "well below the exempt limit"
    )


class EyeEstimate(NamedTuple):
    """How near the light of one emitter or array comes to the limits; always with the caution.

    Fields
    ------
    cornea_w_m2 : (...) [W/m²], summed over the array, at the distance asked about
    cornea_ratio : (...) [1], of that to its limit for the stay
    retina_w_m2_sr : (...) [W·m⁻²·sr⁻¹], weighted radiance of one emitter
    retina_ratio : (...) [1], of that to its limit for the stay
    time_limit_s : (...) [s], until the limit for the front of the eye is reached
    band : (...) text, see `risk_band`
    """

    cornea_w_m2: Array
    cornea_ratio: Array
    retina_w_m2_sr: Array
    retina_ratio: Array
    time_limit_s: Array
    band: NDArray[np.str_]


def eye_estimate(
    intensity_w_sr: ArrayLike,
    count: ArrayLike,
    source_size_m: ArrayLike,
    wavelength_m: ArrayLike,
    distance_m: ArrayLike = ASSESSMENT_DISTANCE_M,
    duration_s: ArrayLike = 30_000.0,
) -> EyeEstimate:
    """How near an emitter or an array comes to the published limits for the eye.

    Ask twice: at 200 mm, where lamps are graded, and at the nearest distance people truly come
    to, which for worn and hand-held emitters is shorter.

    Parameters
    ----------
    intensity_w_sr : (...) [W/sr], time average on axis of one emitter
    count : (...) [1], emitters that shine the same way
    source_size_m : (...) [m], width of one square emitting face; the bare chip errs high
    wavelength_m : (...) [m], 700 to 1050 nm
    distance_m : (...) [m], > 0
    duration_s : (...) [s], of the stay; by default a working day of 8 h 20 min

    Returns
    -------
    EyeEstimate

    Notes
    -----
    Source: as in the single functions; the sum of the array for the front of the eye and one
    emitter for the retina. For pulses judge each single pulse by `retina_thermal_limit` too.

    Examples
    --------
    >>> near = eye_estimate(0.020, 1, 0.3e-3, 850e-9)
    >>> print(round(float(near.cornea_w_m2), 2), round(float(near.retina_ratio), 2), near.band)
    0.5 0.2 below the exempt limit
    """
    one = np.asarray(intensity_w_sr, float)
    cornea = cornea_irradiance(one * np.asarray(count, float), distance_m)
    retina = burn_hazard_radiance(one, np.asarray(source_size_m, float) ** 2, wavelength_m)
    alpha = angular_subtense(source_size_m, distance_m, duration_s)
    retina_ratio = retina / retina_limit_weak_stimulus(alpha, duration_s)
    return EyeEstimate(
        cornea,
        cornea / cornea_limit(duration_s),
        retina,
        retina_ratio,
        time_limit(cornea),
        risk_band(cornea, retina_ratio),
    )
