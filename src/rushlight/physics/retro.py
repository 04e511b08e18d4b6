"""Light out and back: a lamp beside the lens, a retro-reflective marker, and the wall behind it.

A retro-reflective sheet sends light back toward where it came from, the more of it the nearer
the lens stands to the lamp as seen from the marker (observation angle) and the straighter the
sheet faces them (entrance angle). Every function broadcasts its arguments.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.light import beam_intensity

Array = NDArray[np.float64]

OBSERVATION_RAD = (float(np.radians(0.2)), float(np.radians(0.5)))
"""Observation angles at which sheets are graded (ASTM D4956, second-hand)."""
ENTRANCE_RAD = (float(np.radians(4.0)), float(np.radians(30.0)))
"""Entrance angles at which sheets are graded; −4° counts as 4° (ASTM D4956, second-hand)."""

_OBSERVATION_STEP = OBSERVATION_RAD[1] - OBSERVATION_RAD[0]
_ENTRANCE_STEP = ENTRANCE_RAD[1] - ENTRANCE_RAD[0]
_BALL_NODES = 8  # in each of three smooth pieces


def coefficient_at(
    graded_cd_lx_m2: ArrayLike, observation_rad: ArrayLike, entrance_rad: ArrayLike
) -> Array:
    """How strongly a sheet returns light at other angles than those at which it is graded.

    Parameters
    ----------
    graded_cd_lx_m2 : (..., 2, 2) [cd·lx⁻¹·m⁻²], R_A at `OBSERVATION_RAD` (rows) and
        `ENTRANCE_RAD` (columns), > 0; or 0 throughout for no sheet
    observation_rad : (...) [rad], between the ways from the marker to lamp and to lens, ≥ 0
    entrance_rad : (...) [rad], between the sheet's normal and the way to the lamp, ≥ 0

    Returns
    -------
    (...) [cd·lx⁻¹·m⁻²], 0 from 90° of entrance on

    Notes
    -----
    Source: the graded values as given; between them straight lines over the logarithm, and level
    below the lower angles (no more is promised than was graded). Beyond 0.5° the same decline
    goes on, and beyond 30° too, times cos β/cos 30°: a continuation of ours, which real sheets
    undercut or exceed several times over. Measure where much hangs on it.

    Examples
    --------
    >>> sheet = [[250.0, 150.0], [95.0, 65.0]]
    >>> print(np.round(coefficient_at(sheet, np.radians([0.1, 0.2, 0.5, 1.0]), 0.0), 1))
    [250.  250.   95.   18.9]
    """
    graded = np.asarray(graded_cd_lx_m2, float)
    none = graded[..., 0, 0] <= 0.0
    log = np.log(np.where(graded > 0.0, graded, 1.0))
    down = (np.asarray(observation_rad, float) - OBSERVATION_RAD[0]) / _OBSERVATION_STEP
    aside = (np.asarray(entrance_rad, float) - ENTRANCE_RAD[0]) / _ENTRANCE_STEP
    down, aside = np.maximum(down, 0.0), np.maximum(aside, 0.0)
    first = log[..., 0, 0] + aside * (log[..., 0, 1] - log[..., 0, 0])
    last = log[..., 1, 0] + aside * (log[..., 1, 1] - log[..., 1, 0])
    cosine = np.cos(np.asarray(entrance_rad, float)) / np.cos(ENTRANCE_RAD[1])
    beyond = np.clip(cosine, 0.0, 1.0)
    return np.asarray(np.where(none, 0.0, np.exp(first + down * (last - first)) * beyond))


def ball_coefficient(graded_cd_lx_m2: ArrayLike, observation_rad: ArrayLike) -> Array:
    """How strongly a ball covered with sheet returns light, per area of its outline.

    Parameters
    ----------
    graded_cd_lx_m2, observation_rad : as in `coefficient_at`

    Returns
    -------
    (...) [cd·lx⁻¹·m⁻²], to be multiplied by the area of the ball's outline, π d²/4

    Notes
    -----
    Source: computed here: 2 ∫ R_A(β) sin β dβ over the half that faces the lamp, R_A counting
    per area of sheet; by Gauss–Legendre quadrature.

    Examples
    --------
    >>> print(round(float(ball_coefficient(np.full((2, 2), 100.0), 0.0)), 1))
    113.4
    """
    graded = np.asarray(graded_cd_lx_m2, float)
    observation = np.asarray(observation_rad, float)
    total = np.zeros(np.broadcast_shapes(graded.shape[:-2], observation.shape))
    node, weight = np.polynomial.legendre.leggauss(_BALL_NODES)
    # In pieces that meet where the model bends.
    for low, high in ((0.0, ENTRANCE_RAD[0]), ENTRANCE_RAD, (ENTRANCE_RAD[1], np.pi / 2)):
        for x, w in zip(node, weight, strict=True):
            angle = (low + high) / 2.0 + (high - low) / 2.0 * x
            share = (high - low) * w * np.sin(angle)
            total += share * coefficient_at(graded, observation, angle)
    return total


def returned_intensity(
    lamp_w_sr: ArrayLike,
    lamp_exponent: ArrayLike,
    lamp_angle_rad: ArrayLike,
    range_m: ArrayLike,
    coefficient_cd_lx_m2: ArrayLike,
    area_m2: ArrayLike,
) -> Array:
    """How strong a marker shines back that a lamp beside the lens lights.

    Parameters
    ----------
    lamp_w_sr, lamp_exponent : (...) [W/sr], [1], of the lamp's cosᵐ lobe on its axis
    lamp_angle_rad : (...) [rad], of the way to the marker from that axis
    range_m : (...) [m], lamp to marker, > 0
    coefficient_cd_lx_m2 : (...), as from `coefficient_at` or `ball_coefficient`
    area_m2 : (...) [m²], of the sheet, or of the ball's outline

    Returns
    -------
    (...) [W/sr]

    Notes
    -----
    Source: R_A = I/(E⊥ A), coefficient of retro-reflection of the CIE International Lighting
    Vocabulary; E⊥ = I_lamp/d². It serves radiometric units alike.

    Examples
    --------
    >>> print(f"{returned_intensity(0.48, 1.0, 0.0, 2.0, 250.0, np.pi * 0.005**2):.3e}")
    2.356e-03
    """
    toward = beam_intensity(lamp_w_sr, lamp_angle_rad, lamp_exponent)
    at_marker = toward / np.asarray(range_m, float) ** 2
    return np.asarray(
        at_marker * np.asarray(coefficient_cd_lx_m2, float) * np.asarray(area_m2, float)
    )


def wall_irradiance(
    lamp_w_sr: ArrayLike,
    lamp_exponent: ArrayLike,
    lamp_angle_rad: ArrayLike,
    range_m: ArrayLike,
    incidence_rad: ArrayLike,
) -> Array:
    """How strongly a lamp beside the lens lights the wall behind the markers.

    Parameters
    ----------
    lamp_w_sr, lamp_exponent, lamp_angle_rad, range_m : as in `returned_intensity`
    incidence_rad : (...) [rad], of the light from the wall's normal

    Returns
    -------
    (...) [W/m²]

    Notes
    -----
    Source: I cos ψ/d² (textbook; from memory).

    Examples
    --------
    >>> print(round(float(wall_irradiance(0.48, 1.0, 0.0, 2.0, 0.0)), 6))
    0.12
    """
    toward = beam_intensity(lamp_w_sr, lamp_angle_rad, lamp_exponent)
    cosine = np.maximum(np.cos(np.asarray(incidence_rad, float)), 0.0)
    return np.asarray(toward * cosine / np.asarray(range_m, float) ** 2)
