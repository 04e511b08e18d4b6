"""A light-emitting diode on a resistor: voltage against current, and how parallel ones share.

Every function broadcasts. Room temperature is taken for the diode's curve; warm diodes need a
little less voltage (about −1.3 mV/K on a maker's data sheet of a 950 nm part, second-hand).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

THERMAL_V = 0.02585
"""k T / q at 300 K [V], from the exact SI values of k and q."""
IDEALITY = 2.0
"""Ideality factor of an infrared-emitting diode (typical, from memory)."""
_HALVINGS = 60
_LEAST_A, _MOST_A = 1e-12, 1e3


def forward_voltage(
    current_a: ArrayLike,
    test_current_a: ArrayLike,
    test_v: ArrayLike,
    series_ohm: ArrayLike = 0.0,
) -> Array:
    """Which voltage stands over a diode at a current, from one point of its data sheet.

    Parameters
    ----------
    current_a : (...) [A], > 0
    test_current_a, test_v : (...) [A], [V], a point of the curve
    series_ohm : (...) [Ω], resistance of the part itself, ≥ 0

    Returns
    -------
    (...) [V]

    Notes
    -----
    Source: Shockley's diode equation with series resistance (textbook; from memory).

    Examples
    --------
    >>> print(np.round(forward_voltage([0.02, 0.05], 0.05, 1.5, 1.8), 3))
    [1.399 1.5  ]
    """
    current, test = np.asarray(current_a, float), np.asarray(test_current_a, float)
    bend = IDEALITY * THERMAL_V * np.log(current / test)
    return np.asarray(
        np.asarray(test_v, float) + bend + np.asarray(series_ohm, float) * (current - test)
    )


def string_current(
    supply_v: ArrayLike,
    resistor_ohm: ArrayLike,
    in_series: ArrayLike,
    test_current_a: ArrayLike,
    test_v: ArrayLike,
    series_ohm: ArrayLike = 0.0,
) -> Array:
    """Which current flows through diodes in series with one resistor.

    Parameters
    ----------
    supply_v : (...) [V]
    resistor_ohm : (...) [Ω], ≥ 0
    in_series : (...) [1], diodes one after the other, ≥ 1
    test_current_a, test_v, series_ohm : as in `forward_voltage`

    Returns
    -------
    (...) [A]
        It fades away smoothly as the supply falls below what the diodes need; NaN where
        anything is unknown.

    Notes
    -----
    Source: Kirchhoff's voltage law with `forward_voltage`, solved by halving the range of the
    current's logarithm, in which the sum of voltages rises throughout.

    Examples
    --------
    >>> print(np.round(1e3 * string_current([3.2, 3.0, 1.8], 82.0, 1, 0.05, 1.5, 1.8), 2))
    [21.87 19.55  5.97]
    """
    supply, resistor, count = (np.asarray(v, float) for v in (supply_v, resistor_ohm, in_series))
    part = tuple(np.asarray(v, float) for v in (test_current_a, test_v, series_ohm))
    shape = np.broadcast_shapes(
        supply.shape, resistor.shape, count.shape, *(each.shape for each in part)
    )
    low = np.full(shape, np.log(_LEAST_A))
    high = np.full(shape, np.log(_MOST_A))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        current = np.exp(middle)
        needed = count * forward_voltage(current, *part) + resistor * current
        above = needed > supply
        high = np.where(above, middle, high)
        low = np.where(above, low, middle)
    known = np.isfinite(supply + resistor + count + sum(part))
    return np.asarray(np.where(known, np.exp((low + high) / 2.0), np.nan))


def parallel_shares(
    total_a: ArrayLike, difference_v: ArrayLike, series_ohm: ArrayLike = 0.0
) -> tuple[Array, Array]:
    """How two diodes side by side on one resistor share its current.

    Parameters
    ----------
    total_a : (...) [A], > 0
    difference_v : (...) [V], by how much one needs more voltage at equal current, ≥ 0
    series_ohm : (...) [Ω], resistance of each part itself, ≥ 0

    Returns
    -------
    (...) [A]
        Of the diode that needs less, and of the other.

    Notes
    -----
    Source: both carry the same voltage; `forward_voltage` for each (textbook; from memory).

    Examples
    --------
    >>> more, less = parallel_shares(0.040, 0.1, 1.8)
    >>> print(round(1e3 * float(more), 1), round(1e3 * float(less), 1))
    30.7 9.3
    """
    total, gap = np.asarray(total_a, float), np.asarray(difference_v, float)
    resistance = np.asarray(series_ohm, float)
    shape = np.broadcast_shapes(total.shape, gap.shape, resistance.shape)
    low, high = np.full(shape, 0.5), np.full(shape, 1.0 - 1e-12)
    for _ in range(_HALVINGS):
        share = (low + high) / 2.0
        bend = IDEALITY * THERMAL_V * np.log(share / (1.0 - share))
        above = bend + resistance * total * (2.0 * share - 1.0) > gap
        high = np.where(above, share, high)
        low = np.where(above, low, share)
    share = (low + high) / 2.0
    return np.asarray(total * share), np.asarray(total * (1.0 - share))
