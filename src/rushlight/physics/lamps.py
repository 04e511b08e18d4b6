"""Lamps that light a room: how much near infrared they send out.

All figures are for planning: lamps of one kind differ by several times. A dark picture by the
camera itself, with the lamps on, tells what they do.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.daylight import EDGES_M, bins_within
from rushlight.physics.geometry.shapes import floats, trailing
from rushlight.physics.light import black_body_share

Array = NDArray[np.float64]

FILAMENT_K = {"incandescent": 2700.0, "halogen": 2900.0}
"""Temperature of the glowing wire [K] (common practice, no source)."""
RADIATED = 0.9
"""Share of a filament lamp's electric power that leaves as radiation (from memory)."""
LEVEL_SHARE = {"led": (780e-9, 1000e-9, 0.001), "fluorescent": (800e-9, 1000e-9, 0.01)}
"""From, to [m] and share of the electric power that is spread evenly there. White diodes send
out almost nothing beyond 780 nm, fluorescent tubes some lines of their filling gas, most while
they warm up (from memory); the shares are our own choice, set to err on the bright side."""
LUMENS_A_WATT = {"incandescent": 12.0, "halogen": 16.0, "led": 90.0, "fluorescent": 75.0}
"""Light by electric power [lm/W] (common practice, no source)."""
KINDS = tuple(LUMENS_A_WATT)


def lamp_watts(kind: str, lumens: ArrayLike) -> Array:
    """How much electric power a lamp takes that gives so much light.

    Parameters
    ----------
    kind : "incandescent", "halogen", "led" or "fluorescent"
    lumens : (...) [lm], ≥ 0

    Returns
    -------
    (...) [W]

    Raises
    ------
    ValueError
        When there is no such kind.

    Notes
    -----
    Source: `LUMENS_A_WATT` (common practice, no source).

    Examples
    --------
    >>> float(lamp_watts("led", 900.0))
    10.0
    """
    if kind not in LUMENS_A_WATT:
        raise ValueError(f"kind must be one of {', '.join(KINDS)}, got {kind!r}")
    return np.asarray(floats(lumens) / LUMENS_A_WATT[kind])


def lamp_spectrum(kind: str, watts: float) -> Array:
    """How much of a lamp's electric power leaves it as light in each bin of wavelength.

    Parameters
    ----------
    kind : "incandescent", "halogen", "led" or "fluorescent"
    watts : float [W], ≥ 0

    Returns
    -------
    ndarray, shape (55,)
        [W] in the bins of `daylight.EDGES_M`. Of diodes and tubes only what lies beyond 780 nm:
        a camera without a filter sees their visible light as well.

    Raises
    ------
    ValueError
        When there is no such kind.

    Notes
    -----
    Source: Planck's law for filaments; the constants of this module for the others.

    Examples
    --------
    >>> from rushlight.physics.daylight import bins_within, in_band
    >>> near = bins_within(800e-9, 1000e-9)
    >>> [round(float(in_band(lamp_spectrum(kind, 40.0), near)), 2) for kind in ("halogen", "led")]
    [4.56, 0.04]
    """
    if kind in FILAMENT_K:
        share = black_body_share(FILAMENT_K[kind], EDGES_M[:-1], EDGES_M[1:])
        return np.asarray(watts * RADIATED * share)
    if kind not in LEVEL_SHARE:
        raise ValueError(f"kind must be one of {', '.join(KINDS)}, got {kind!r}")
    low_m, high_m, share_of_power = LEVEL_SHARE[kind]
    parts = bins_within(low_m, high_m) * np.diff(EDGES_M)
    return np.asarray(watts * share_of_power * parts / (high_m - low_m))


def lamp_irradiance(place_m: ArrayLike, lamp_m: ArrayLike, flux_w: ArrayLike) -> Array:
    """How much light falls straight from a lamp on a wall in the plane z = 0.

    Parameters
    ----------
    place_m : array_like, shape (..., 2)
        Places of the wall, x and y [m]; it faces toward larger z.
    lamp_m : array_like, shape (..., 3)
        [m]
    flux_w : array_like, shape (...)
        What the lamp sends out, evenly all round [W].

    Returns
    -------
    ndarray, shape (...)
        [W/m²]; 0 from a lamp in the wall or behind it.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Notes
    -----
    Source: Φ cos θ/(4π r²) (textbook; from memory).

    Examples
    --------
    >>> print(f"{float(lamp_irradiance([0, 0], [0, 3, 4], 4 * np.pi)):.3f}")
    0.032
    """
    place, lamp = trailing(place_m, (2,), "place_m"), trailing(lamp_m, (3,), "lamp_m")
    away = np.maximum(lamp[..., 2], 0.0)
    range2 = np.sum((lamp[..., :2] - place) ** 2, axis=-1) + away**2
    with np.errstate(divide="ignore", invalid="ignore"):
        each = np.where(range2 > 0.0, away / range2**1.5, 0.0)
    return np.asarray(floats(flux_w) / (4.0 * np.pi) * each)
