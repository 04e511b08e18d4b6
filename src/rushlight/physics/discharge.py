"""How a cell empties under a light: voltage, current and brightness over the hours.

The cell's curve is that of its data sheet: voltage against the share of its charge that is used,
at a modest load. Left out: self-discharge, cold, rest between presses (which gives some charge
back) and age.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

STEPS = 400
"""Steps of the integration; the time changes by less than 0.1 % with more (tested)."""


class Discharge(NamedTuple):
    """A discharge, step by step; the last step is the end of the cell or of the light.

    Fields
    ------
    used : (N,) [1], share of the charge drawn
    supply_v : (N,) [V], of all cells in series, under the light's own load
    current_a : (N,) [A], from the cells while lit
    hours : (N,) [h], since fresh, at the duty given
    """

    used: Array
    supply_v: Array
    current_a: Array
    hours: Array

    @property
    def runtime_h(self) -> float:
        """Until the cell is spent [h]."""
        return float(self.hours[-1])

    def hours_to_share(self, share: float) -> float:
        """Until the current has fallen to a share of the first [h]; infinite if it never does."""
        dim = self.current_a <= share * self.current_a[0]
        return float(self.hours[np.argmax(dim)]) if dim.any() else float("inf")


def cell_voltage(used: ArrayLike, curve_used: ArrayLike, curve_v: ArrayLike) -> Array:
    """Which voltage a cell gives when a share of its charge is used.

    Parameters
    ----------
    used : (...) [1], 0 to 1
    curve_used : (N,) [1], rising from 0 to 1
    curve_v : (N,) [V], not rising

    Returns
    -------
    (...) [V], straight between the points

    Raises
    ------
    ValueError
        When the curve does not run from 0 to 1, or its voltage rises.

    Notes
    -----
    Source: interpolation of our own; the points come from the cell's data sheet.

    Examples
    --------
    >>> print(cell_voltage([0.0, 0.25, 1.0], [0.0, 0.5, 1.0], [1.6, 1.3, 0.9]))
    [1.6  1.45 0.9 ]
    """
    shares, volts = np.asarray(curve_used, float), np.asarray(curve_v, float)
    if shares.ndim != 1 or shares.shape != volts.shape or shares.size < 2:
        raise ValueError(
            f"curve_used and curve_v must both be (N,) with N of 2 or more; got {shares.shape} "
            f"and {volts.shape}"
        )
    if shares[0] != 0.0 or shares[-1] != 1.0 or np.any(np.diff(shares) <= 0):
        raise ValueError("curve_used must rise from 0 to 1")
    if np.any(np.diff(volts) > 0):
        raise ValueError("curve_v must not rise")
    return np.asarray(np.interp(np.asarray(used, float), shares, volts))


def discharge(
    curve_used: ArrayLike,
    curve_v: ArrayLike,
    cells: int,
    capacity_ah: float,
    current_of: Callable[[Array], Array],
    duty: float = 1.0,
    end_v: float = 0.0,
    internal_ohm: float = 0.0,
) -> Discharge:
    """How cells in series empty under a light.

    Parameters
    ----------
    curve_used, curve_v
        As in `cell_voltage`, of one cell.
    cells
        In series, ≥ 1.
    capacity_ah
        Charge to the end of the curve at about this load [A h], > 0.
    current_of
        Supply voltage (...) [V] to current drawn while lit (...) [A].
    duty
        Share of the time lit, above 0 to 1.
    end_v
        Voltage of one cell at which it counts as spent [V].
    internal_ohm
        Of one cell [Ω]; lowers the voltage below the curve, which errs low in light and time.

    Returns
    -------
    Discharge

    Raises
    ------
    ValueError
        When the charge or the duty is not above 0, or the curve makes no sense.

    Notes
    -----
    Source: t = ∫ C dq / (duty · I(V(q))), C the charge and q the share used (conservation of
    charge; computed here by the trapezium rule).

    Examples
    --------
    >>> steady = discharge([0.0, 1.0], [1.5, 1.0], 2, 2.0, lambda v: np.full_like(v, 0.1))
    >>> print(round(steady.runtime_h, 6))
    20.0
    """
    if not capacity_ah > 0:
        raise ValueError(f"capacity_ah must be above 0; got {capacity_ah}")
    if not 0 < duty <= 1:
        raise ValueError(f"duty must be above 0 and at most 1; got {duty}")
    used = np.linspace(0.0, 1.0, STEPS + 1)
    own = cell_voltage(used, curve_used, curve_v)
    current = current_of(cells * own)
    for _ in range(3):  # the sag over the cells' own resistance is small: this settles at once
        supply = cells * (own - internal_ohm * current)
        current = current_of(supply)
    spent = own - internal_ohm * current <= end_v
    last = int(np.argmax(spent)) if spent.any() else STEPS
    with np.errstate(divide="ignore"):
        hours_a_share = capacity_ah / (duty * current)
    steps = np.diff(used) * (hours_a_share[1:] + hours_a_share[:-1]) / 2.0
    hours = np.concatenate([[0.0], np.cumsum(steps)])
    kept = slice(0, last + 1)
    return Discharge(used[kept], supply[kept], current[kept], hours[kept])
