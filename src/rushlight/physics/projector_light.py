"""How bright it is to look into a projector's lens: estimates only.

People look at the picture; what hurts is the beam, above all children, whose eyes let more blue
light through (from memory). What counts is the standard for projectors (IEC 62471-5) and the
projector's own marking; this is an estimate beside it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

BLUE_W_LM = 1e-3
"""Blue-light-weighted watts in a lumen of a bluish white (about 6500 K; from memory, rounded
up)."""
BLUE_DOSE_J_M2_SR = 1e6
"""Dose of blue-light-weighted radiance that a look of up to 10 000 s may gather (IEC 62471; from
memory)."""
BLUE_STEADY_W_M2_SR = 100.0
"""Blue-light-weighted radiance that may be looked at for longer (IEC 62471; from memory)."""
GLANCE_S = 0.25
"""Until the eye turns away from bright light (IEC 62471; from memory); nobody should rely on it."""
_EYE_MOTION_RAD = 11e-3


def lens_luminance(flux_lm: ArrayLike, beam_sr: ArrayLike, lens_diameter_m: ArrayLike) -> Array:
    """How bright the projector's lens is to someone who looks into its beam.

    Parameters
    ----------
    flux_lm : (...) [lm], of a white picture, > 0
    beam_sr : (...) [sr], solid angle of the beam (`beam_solid_angle`)
    lens_diameter_m : (...) [m], of the lit part of the lens, > 0

    Returns
    -------
    (...) [cd/m²], averaged over the lens

    Notes
    -----
    Source: L = Φ/(Ω A) (textbook; from memory).

    Examples
    --------
    >>> print(f"{lens_luminance(3000.0, 0.3, 0.025):.2e}")
    2.04e+07
    """
    area = np.pi * np.asarray(lens_diameter_m, float) ** 2 / 4.0
    return np.asarray(np.asarray(flux_lm, float) / (np.asarray(beam_sr, float) * area))


def beam_solid_angle(width_m: ArrayLike, height_m: ArrayLike, throw_m: ArrayLike) -> Array:
    """Which solid angle a picture fills as the projector sees it.

    Parameters
    ----------
    width_m, height_m, throw_m : (...) [m], > 0

    Returns
    -------
    (...) [sr]

    Notes
    -----
    Source: solid angle of a rectangle straight ahead, 4 atan(w h / (2 d √(4 d² + w² + h²)))
    (textbook; from memory).

    Examples
    --------
    >>> print(f"{beam_solid_angle(2.4, 1.5, 1.2):.3f} {beam_solid_angle(0.01, 0.01, 1.0):.6f}")
    1.537 0.000100
    """
    w, h, d = (np.asarray(each, float) for each in (width_m, height_m, throw_m))
    return np.asarray(4.0 * np.arctan(w * h / (2.0 * d * np.sqrt(4.0 * d**2 + w**2 + h**2))))


def blue_radiance(
    luminance_cd_m2: ArrayLike, lens_diameter_m: ArrayLike, distance_m: ArrayLike
) -> Array:
    """How strongly the lens counts toward the blue-light hazard of the retina.

    Parameters
    ----------
    luminance_cd_m2 : (...) [cd/m²], from `lens_luminance`
    lens_diameter_m, distance_m : (...) [m], > 0

    Returns
    -------
    (...) [W·m⁻²·sr⁻¹], averaged over 11 mrad, over which the eye's motion spreads a small source

    Notes
    -----
    Source: `BLUE_W_LM`; averaging as IEC 62471 prescribes for looks beyond 10 s (second-hand).

    Examples
    --------
    >>> print(np.round(blue_radiance(2e7, 0.025, [1.0, 5.0])))
    [20000.  4132.]
    """
    angle = np.asarray(lens_diameter_m, float) / np.asarray(distance_m, float)
    filled = np.minimum(angle / _EYE_MOTION_RAD, 1.0) ** 2
    return np.asarray(BLUE_W_LM * np.asarray(luminance_cd_m2, float) * filled)


def blue_time_limit(radiance: ArrayLike) -> Array:
    """How long a look into the lens reaches the dose for the blue-light hazard.

    Parameters
    ----------
    radiance : (...) [W·m⁻²·sr⁻¹], from `blue_radiance`, ≥ 0

    Returns
    -------
    (...) [s]; infinite at the steady limit and below

    Notes
    -----
    Source: IEC 62471, L_B t ≤ 10⁶ J·m⁻²·sr⁻¹ up to 10 000 s, 100 W·m⁻²·sr⁻¹ beyond; from memory.

    Examples
    --------
    >>> print(blue_time_limit([20_000.0, 50.0]))
    [50. inf]
    """
    bright = np.asarray(radiance, float)
    with np.errstate(divide="ignore"):
        reached = BLUE_DOSE_J_M2_SR / bright
    return np.asarray(np.where(bright <= BLUE_STEADY_W_M2_SR, np.inf, reached))
