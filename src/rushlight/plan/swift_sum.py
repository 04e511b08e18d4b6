"""What a candidate's places come to: mean and greatest error, and coverage within the shadow."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from rushlight.plan.shadow_lattice import ShadowLattice
from rushlight.plan.swift_fit import STEADY

Array = NDArray[Any]

UNCOVERED = np.uint8(255 & ~64)
"""Bits by which a place is not covered: coverage asks what the camera can do, not who reaches."""


class Shade(NamedTuple):
    """A room's shadow as the kernel reads it (`rushlight.plan.shadow_lattice.ShadowLattice`).

    Fields
    ------
    low_m, step_m : (3,); hidden : (X, Y, Z, E, G)
    """

    low_m: Array
    step_m: Array
    hidden: Array


class Sums(NamedTuple):
    """What the kernel fills in, a row a candidate.

    Fields
    ------
    error_rms_m, worst_m : (R,)
    covered, lit : (R,) covered places of all lights, and the same by the chance that each is lit
    """

    error_rms_m: Array
    worst_m: Array
    covered: Array
    lit: Array


def shade_of(lattice: ShadowLattice | None, emitters: int, places: int) -> Shade:
    """The lattice, or two nodes a side at which nobody is hidden."""
    if lattice is None:
        return Shade(np.zeros(3), np.ones(3), np.zeros((2, 2, 2, emitters, places)))
    told = (lattice.low_m, lattice.step_m, lattice.hidden)
    return Shade(*(np.array(one, float, order="C") for one in told))


@njit(**STEADY)
def sum_up(
    begin: int, end: int, cameras_m: Array, shade: Shade, lost: Array, error_m: Array, sums: Sums
) -> None:
    """Sum up the candidates from `begin` to `end`, with cameras at (R, 3) [m]."""
    emitters, places = lost.shape[1], lost.shape[2]
    low, share = np.empty(3, np.int64), np.empty(3)
    for r in range(begin, end):
        for axis in range(3):
            last = shade.hidden.shape[axis] - 1
            along = (cameras_m[r, axis] - shade.low_m[axis]) / shade.step_m[axis]
            along = min(max(along, 0.0), float(last))
            low[axis] = min(int(along), last - 1)
            share[axis] = along - low[axis]
        square, worst, count, covered, lit = 0.0, -math.inf, 0, 0, 0.0
        for e in range(emitters):
            marks, errors = lost[r, e], error_m[r, e]
            for p in range(places):
                covered += (marks[p] & UNCOVERED) == 0
                seen = errors[p] == errors[p]
                square += errors[p] * errors[p] if seen else 0.0
                worst = max(worst, errors[p] if seen else worst)
                count += seen
            for corner in range(8):
                i, j, k = corner & 1, corner >> 1 & 1, corner >> 2
                weight = share[0] if i else 1.0 - share[0]
                weight *= share[1] if j else 1.0 - share[1]
                weight *= share[2] if k else 1.0 - share[2]
                node = shade.hidden[low[0] + i, low[1] + j, low[2] + k, e]
                clear = 0.0
                for p in range(places):
                    clear += 1.0 - node[p] if (marks[p] & UNCOVERED) == 0 else 0.0
                lit += weight * clear
        sums.error_rms_m[r] = math.sqrt(square / count) if count else math.nan
        sums.worst_m[r] = worst if count else math.nan
        sums.covered[r] = covered
        sums.lit[r] = lit
