"""How warm resistors and emitters get, and whether a hand may rest on them: estimates only."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

RESISTOR_RISE_K = 85.0
"""Rise of a resistor's hottest spot at its full rating [K]: rated at 70 °C and derated to nothing
at 155 °C, as film resistors' data sheets print it (IEC 60115-1; from memory)."""

TOUCH_C = ((43.0, "for hours"), (48.0, "for ten minutes"), (51.0, "for a minute"))
"""Highest surface temperature [°C] that bare skin bears for so long, whatever the material
(ISO 13732-1, burn thresholds; from memory). For healthy adults; children burn sooner."""


def resistor_temperature(heat_w: ArrayLike, rating_w: ArrayLike, ambient_c: ArrayLike) -> Array:
    """How hot the hottest spot of a resistor gets in free air.

    Parameters
    ----------
    heat_w : (...) [W], that it carries, ≥ 0
    rating_w : (...) [W], its rating, > 0
    ambient_c : (...) [°C]

    Returns
    -------
    (...) [°C]; inside a closed stylus it gets hotter

    Notes
    -----
    Source: rise in proportion to heat, `RESISTOR_RISE_K` at the full rating.

    Examples
    --------
    >>> print(resistor_temperature([0.0, 0.125, 0.25], 0.25, 30.0))
    [ 30.   72.5 115. ]
    """
    share = np.asarray(heat_w, float) / np.asarray(rating_w, float)
    return np.asarray(np.asarray(ambient_c, float) + RESISTOR_RISE_K * share)


def junction_temperature(
    heat_w: ArrayLike, thermal_resistance_k_w: ArrayLike, ambient_c: ArrayLike
) -> Array:
    """How hot the chip inside an emitter gets; its case stays cooler.

    Parameters
    ----------
    heat_w : (...) [W], all electrical power counted as heat, ≥ 0
    thermal_resistance_k_w : (...) [K/W], junction to surroundings
    ambient_c : (...) [°C]

    Returns
    -------
    (...) [°C]

    Notes
    -----
    Source: T_j = T_a + P R_th (textbook; from memory).

    Examples
    --------
    >>> print(junction_temperature(0.030, 270.0, 35.0))
    43.1
    """
    rise = np.asarray(heat_w, float) * np.asarray(thermal_resistance_k_w, float)
    return np.asarray(np.asarray(ambient_c, float) + rise)


def touch_words(temperature_c: float) -> str:
    """Whether a hand may rest on something this warm, in plain words.

    Examples
    --------
    >>> print(touch_words(40.0), touch_words(49.0), touch_words(80.0), sep="; ")
    no warmer than skin bears for hours; warmer than skin bears for ten minutes; hot enough to burn
    """
    if not np.isfinite(temperature_c):
        return "not known"
    if temperature_c <= TOUCH_C[0][0]:
        return f"no warmer than skin bears {TOUCH_C[0][1]}"
    if temperature_c > TOUCH_C[-1][0]:
        return "hot enough to burn"
    longest = max(bound for bound in TOUCH_C if temperature_c > bound[0])
    return f"warmer than skin bears {longest[1]}"
