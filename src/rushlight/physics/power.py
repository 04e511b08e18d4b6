"""Current, heat and battery life of an emitter's circuit: resistor, cell, running time.

Every function broadcasts. Values are first estimates for low-voltage direct current; mains
work is for licensed people.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

# IEC 60063, preferred number series, in tenths. A table: the old values are not 10^(n/24).
_E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
_E24 = tuple(sorted((*_E12, 11, 13, 16, 20, 24, 30, 36, 43, 51, 62, 75, 91)))
SERIES_TENTHS: dict[str, tuple[int, ...]] = {"E12": _E12, "E24": _E24}


RATINGS_W = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0)
"""Power ratings of resistors on sale (common practice, no source)."""


class LedResistor(NamedTuple):
    """The series resistor of one emitter, and what follows from it.

    Fields
    ------
    resistor_ohm : (...) [Ω], preferred value
    current_a : (...) [A], that truly flows
    dissipation_w : (...) [W], in the resistor
    rating_w : (...) [W], least power rating to buy
    """

    resistor_ohm: Array
    current_a: Array
    dissipation_w: Array
    rating_w: Array


def preferred_resistor(resistance_ohm: ArrayLike, series: str = "E24") -> Array:
    """Which resistor on sale is the next at or above the one computed.

    Rounding up keeps the current at or below its target.

    Parameters
    ----------
    resistance_ohm : (...) [Ω], > 0
    series : "E12" or "E24"

    Returns
    -------
    (...) [Ω]

    Raises
    ------
    ValueError
        For an unknown series, or a resistance that is not a number above 0.

    Notes
    -----
    Source: IEC 60063, series E12 and E24.

    Examples
    --------
    >>> print(preferred_resistor([36.5, 34.0, 91.1]))
    [ 39.  36. 100.]
    """
    if series not in SERIES_TENTHS:
        raise ValueError(f'series must be one of {sorted(SERIES_TENTHS)}; got "{series}"')
    ohms = np.asarray(resistance_ohm, float)
    if not np.all((ohms > 0) & np.isfinite(ohms)):
        raise ValueError("resistance_ohm must be finite and above 0 everywhere")
    table = np.array([*SERIES_TENTHS[series], 100])
    decade = np.floor(np.log10(ohms)).astype(int)
    # A value that a rounding error lifts above its own table entry still counts as that entry.
    tenths = ohms / 10.0**decade * 10.0 * (1.0 - 1e-12)
    chosen = table[np.searchsorted(table, tenths)].astype(float)
    shift = decade - 1
    return np.asarray(
        np.where(
            shift >= 0,
            chosen * 10.0 ** np.maximum(shift, 0),
            chosen / 10.0 ** -np.minimum(shift, 0),
        )
    )


def led_resistor(
    supply_v: ArrayLike, forward_v: ArrayLike, current_a: ArrayLike, series: str = "E24"
) -> LedResistor:
    """Which series resistor keeps an emitter at or below a current, and how warm it gets.

    Parameters
    ----------
    supply_v : (...) [V], highest that the supply gives, > forward_v
    forward_v : (...) [V], of the emitter (or string) at this current
    current_a : (...) [A], target, > 0
    series : "E12" or "E24"

    Returns
    -------
    LedResistor

    Raises
    ------
    ValueError
        When the supply does not exceed the forward voltage, or the current is not above 0.

    Notes
    -----
    Source: Ohm's law; resistors bought at twice the heat they carry (common practice, no
    source).

    Examples
    --------
    >>> chosen = led_resistor(5.0, 1.35, 0.100, "E12")
    >>> print(*(f"{value:.3g}" for value in chosen))
    39 0.0936 0.342 0.683
    """
    spare_v = np.asarray(supply_v, float) - np.asarray(forward_v, float)
    target = np.asarray(current_a, float)
    if not np.all(spare_v > 0):
        raise ValueError("supply_v must exceed forward_v everywhere")
    if not np.all(target > 0):
        raise ValueError("current_a must be above 0 everywhere")
    resistor = preferred_resistor(spare_v / target, series)
    current = spare_v / resistor
    heat = current**2 * resistor
    return LedResistor(resistor, current, heat, 2.0 * heat)


def rating_on_sale(needed_w: float) -> float | None:
    """The least rating on sale at or above what is needed [W]; None when none is that large.

    Examples
    --------
    >>> rating_on_sale(0.06), rating_on_sale(0.3), rating_on_sale(100.0)
    (0.25, 0.5, None)
    """
    return next((rating for rating in RATINGS_W if rating >= needed_w), None)


def mean_current(peak_a: ArrayLike, duty: ArrayLike, quiescent_a: ArrayLike = 0.0) -> Array:
    """How much current a switched circuit draws on average.

    Parameters
    ----------
    peak_a : (...) [A], while the light is on, ≥ 0
    duty : (...) [1], share of the time that it is on, 0 to 1
    quiescent_a : (...) [A], drawn always, ≥ 0

    Returns
    -------
    (...) [A]

    Notes
    -----
    Source: the time average (computed here).

    Examples
    --------
    >>> print(round(float(mean_current(0.100, 0.06)), 6))
    0.006
    """
    return np.asarray(
        np.asarray(peak_a, float) * np.asarray(duty, float) + np.asarray(quiescent_a, float)
    )


def runtime_h(
    capacity_ah: ArrayLike, peak_a: ArrayLike, duty: ArrayLike = 1.0, quiescent_a: ArrayLike = 0.0
) -> Array:
    """How many hours a cell keeps the light going.

    Parameters
    ----------
    capacity_ah : (...) [A h], at this load (see `capacity_at_load`), > 0
    peak_a, duty, quiescent_a : as in `mean_current`

    Returns
    -------
    (...) [h]; infinite when nothing is drawn

    Notes
    -----
    Source: charge over mean current (textbook; from memory); leaves out self-discharge, cold
    and the voltage at which the light goes dim.

    Examples
    --------
    >>> print(round(float(runtime_h(1.0, 0.047))))
    21
    """
    drawn = mean_current(peak_a, duty, quiescent_a)
    with np.errstate(divide="ignore"):
        return np.asarray(np.asarray(capacity_ah, float) / drawn)


def capacity_at_load(
    load_a: ArrayLike, data_load_a: ArrayLike, data_capacity_ah: ArrayLike
) -> Array:
    """How much charge a cell gives at a load between those of its data sheet.

    Parameters
    ----------
    load_a : (...) [A], > 0
    data_load_a : (N,) [A], rising, > 0, N ≥ 1
    data_capacity_ah : (N,) [A h]

    Returns
    -------
    (...) [A h]
        Straight in the logarithm of the load between the points. Below the smallest load its
        capacity is kept, which errs low; above the largest it is unknown, NaN.

    Raises
    ------
    ValueError
        When the two tables differ in length or the loads do not rise from above 0.

    Notes
    -----
    Source: interpolation of our own; the points come from the cell's data sheet.

    Examples
    --------
    >>> print(capacity_at_load([0.05, 0.1, 0.5, 1.0], [0.1, 0.5], [2.13, 1.30]))
    [2.13 2.13 1.3   nan]
    """
    loads = np.asarray(data_load_a, float)
    capacities = np.asarray(data_capacity_ah, float)
    if loads.ndim != 1 or loads.shape != capacities.shape or loads.size == 0:
        raise ValueError(
            f"data_load_a and data_capacity_ah must both be (N,) with N of 1 or more; "
            f"got {loads.shape} and {capacities.shape}"
        )
    if not np.all(np.diff(loads, prepend=0.0) > 0):
        raise ValueError("data_load_a must rise from above 0")
    load = np.asarray(load_a, float)
    with np.errstate(divide="ignore"):
        between = np.interp(np.log(load), np.log(loads), capacities)
    return np.asarray(np.where(load > loads[-1], np.nan, between))


def can_supply(
    peak_a: ArrayLike,
    mean_a: ArrayLike,
    continuous_limit_a: ArrayLike,
    pulse_limit_a: ArrayLike,
) -> NDArray[np.bool_]:
    """Whether a cell may give this current: the mean steadily and the peak in pulses.

    Parameters
    ----------
    peak_a, mean_a : (...) [A], mean ≤ peak
    continuous_limit_a, pulse_limit_a : (...) [A], of the cell's data sheet

    Returns
    -------
    (...) bool; false where a value is unknown (NaN)

    Notes
    -----
    Source: the two limits that coin-cell data sheets print. A coin cell that may give 3 mA
    steadily and 15 mA in pulses does not suit an emitter at 20 to 50 mA.

    Examples
    --------
    >>> print(can_supply([0.002, 0.050], [0.002, 0.003], 0.003, 0.015))
    [ True False]
    """
    steady = np.asarray(mean_a, float) <= np.asarray(continuous_limit_a, float)
    pulsed = np.asarray(peak_a, float) <= np.asarray(pulse_limit_a, float)
    return np.asarray(steady & pulsed)


def derated_power(
    ambient_c: ArrayLike,
    junction_max_c: ArrayLike,
    thermal_resistance_k_w: ArrayLike,
    rated_w: ArrayLike = np.inf,
) -> Array:
    """How much heat an emitter may carry in warm surroundings.

    Parameters
    ----------
    ambient_c : (...) [°C]
    junction_max_c : (...) [°C], highest that the part allows
    thermal_resistance_k_w : (...) [K/W], junction to surroundings, > 0
    rated_w : (...) [W], printed limit that holds however cool it is

    Returns
    -------
    (...) [W]; 0 where the surroundings are already too warm

    Notes
    -----
    Source: P = (T_j − T_a)/R_th (textbook; from memory).

    Examples
    --------
    >>> print(np.round(derated_power([25.0, 60.0, 85.0], 100.0, 300.0, 0.160), 3))
    [0.16  0.133 0.05 ]
    """
    spare_k = np.asarray(junction_max_c, float) - np.asarray(ambient_c, float)
    allowed = np.maximum(spare_k, 0.0) / np.asarray(thermal_resistance_k_w, float)
    return np.asarray(np.minimum(allowed, np.asarray(rated_w, float)))
