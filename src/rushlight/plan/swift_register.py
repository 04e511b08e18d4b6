"""What the beacons tell of a map, for the swift evaluation: the estimator of `plan.error`, small.

Lights that touch one beacon share its two rows of the design, so that their weights add up before
anything is solved. Lens coefficients that are known exactly have columns of zeros; they are left
out.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from rushlight.plan.swift_fit import (
    STEADY,
)
from rushlight.plan.swift_map import (
    BENDS,
    PARAMETERS,
    PLANE,
    design,
)
from rushlight.plan.swift_nodes import (
    COV_XX,
    COV_XY,
    COV_YY,
    LOG_VARIANCE,
    MEAN_X,
    MEAN_Y,
    SHIFT2,
)
from rushlight.plan.swift_rows import (
    Limits,
    Rows,
)

Array = NDArray[Any]


@njit(**STEADY)
def register(
    view: Array,
    rows: Rows,
    m: int,
    limits: Limits,
    sight: Array,
    at_place: Array,
    maps: Array,
    grid: int,
    work: Array,
    columns: Array,
    variances: Array,
) -> int:
    """What the registration carries to the places (`rushlight.plan.error.error_field`).

    Returns how many touches are seen. The first row of the second of `columns` then holds by how
    much the lights' mean offsets, taken up by the registration, move each place [m].
    """
    emitters, places = sight.shape
    f, k, limit, spread = rows.focal_px[m], rows.k[m], rows.limit[m], rows.spread[m]
    count = PLANE + BENDS
    for i in range(5):
        if spread[i, i] > 0.0:
            count = PLANE + BENDS + i + 1
    information, noise, lower, inverse = work[0], work[1], work[2], work[3]
    information[:] = 0.0
    noise[:] = 0.0
    for p in range(PLANE, count):
        information[p, p] = 1.0
    first, second = np.empty(PARAMETERS), np.empty(PARAMETERS)
    feigned, pull = np.zeros(PARAMETERS), np.zeros(PARAMETERS)
    weight, doubt, inner = np.empty(3), np.empty(3), np.empty(3)
    touches = 0
    for p in range(grid, places - 1):
        x, y = rows.places_m[m, p, 0], rows.places_m[m, p, 1]
        design(view, f, k, limit, spread, rows.basis[m, p], x, y, rows.height_m[m], first, second)
        weight[:] = 0.0
        doubt[:] = 0.0
        gx, gy = 0.0, 0.0
        for e in range(emitters):
            if rows.registering[e] == 0.0:
                continue
            if sight[e, p] != 0:
                weight[0] += 1.0 / limits.unseen_m2
                weight[2] += 1.0 / limits.unseen_m2
                continue
            touches += 1
            t = at_place[e]
            _touch(rows, m, e, t, p, places - 1, maps[p], weight, doubt, inner)
            gx += inner[0] * t[MEAN_X, p] + inner[1] * t[MEAN_Y, p]
            gy += inner[1] * t[MEAN_X, p] + inner[2] * t[MEAN_Y, p]
        add_touch(information, first, second, weight, count)
        add_touch(noise, first, second, doubt, count)
        for i in range(count):
            pull[i] += gx * first[i] + gy * second[i]
    if not invert(information, count, lower, inverse):
        return 0
    for i in range(count):
        total = 0.0
        for j in range(count):
            total += inverse[i, j] * pull[j]
        feigned[i] = total
    at, moved = columns[0], columns[1]
    for p in range(grid):
        x, y = rows.places_m[m, p, 0], rows.places_m[m, p, 1]
        design(view, f, k, limit, spread, rows.basis[m, p], x, y, rows.height_m[m], first, second)
        for i in range(count):
            at[i, 2 * p], at[i, 2 * p + 1] = first[i], second[i]
    carried(inverse, noise, at, moved, count, 2 * grid, variances)
    moved[0, :] = 0.0
    for i in range(count):
        for g in range(2 * grid):
            moved[0, g] += feigned[i] * at[i, g]
    return touches


@njit(**STEADY)
def _touch(
    rows: Rows,
    m: int,
    e: int,
    t: Array,
    p: int,
    middle: int,
    j: Array,
    weight: Array,
    doubt: Array,
    inner: Array,
) -> None:
    """Add one touch's weight as supposed, and its true noise seen through that weight."""
    xx, xy, yy = j[0] ** 2 + j[1] ** 2, j[0] * j[2] + j[1] * j[3], j[2] ** 2 + j[3] ** 2
    stays = rows.stream[m, 5]
    varies = math.exp(t[LOG_VARIANCE, p]) + (1.0 - stays) * t[SHIFT2, p]
    read = varies / rows.frames[m] + stays * t[SHIFT2, p]
    hand = rows.beam[m, e, 3]
    supposed = hand + 0.5 * (t[COV_XX, middle] + t[COV_YY, middle])
    a, b, d = supposed + read * xx, read * xy, supposed + read * yy
    one = 1.0 / (a * d - b * b)
    wa, wb, wd = d * one, -b * one, a * one
    ta, td = hand + t[COV_XX, p] + read * xx, hand + t[COV_YY, p] + read * yy
    tb = t[COV_XY, p] + read * xy
    ua, ub, uc, ud = wa * ta + wb * tb, wa * tb + wb * td, wb * ta + wd * tb, wb * tb + wd * td
    inner[0], inner[1], inner[2] = wa, wb, wd
    weight[0] += wa
    weight[1] += wb
    weight[2] += wd
    doubt[0] += ua * wa + ub * wb
    doubt[1] += ua * wb + ub * wd
    doubt[2] += uc * wb + ud * wd


@njit(**STEADY)
def add_touch(information: Array, first: Array, second: Array, weight: Array, count: int) -> None:
    """Add a beacon's two rows, weighed by (xx, xy, yy), to the lower half of an information."""
    for p in range(count):
        px, py = (
            weight[0] * first[p] + weight[1] * second[p],
            weight[1] * first[p] + weight[2] * second[p],
        )
        for q in range(p + 1):
            information[p, q] += px * first[q] + py * second[q]


@njit(**STEADY)
def invert(matrix: Array, count: int, lower: Array, inverse: Array) -> bool:
    """Fill in the whole inverse of a symmetric matrix whose lower half is given (Cholesky).

    False where it is not positive definite.
    """
    for i in range(count):
        for j in range(i + 1):
            total = matrix[i, j]
            for p in range(j):
                total -= lower[i, p] * lower[j, p]
            if i == j:
                if not total > 0.0:
                    return False
                lower[i, i] = 1.0 / math.sqrt(total)
            else:
                lower[i, j] = total * lower[j, j]
    # The inverse of the lower triangle, kept in the upper half of `inverse` for the while.
    for j in range(count):
        inverse[j, j] = lower[j, j]
        for i in range(j + 1, count):
            total = 0.0
            for p in range(j, i):
                total -= lower[i, p] * inverse[j, p]
            inverse[j, i] = total * lower[i, i]
    for i in range(count):
        for j in range(i + 1):
            total = 0.0
            for p in range(i, count):
                total += inverse[i, p] * inverse[j, p]
            lower[i, j] = total
    for i in range(count):
        for j in range(i + 1):
            inverse[i, j] = inverse[j, i] = lower[i, j]
    return True


@njit(**STEADY)
def carried(
    inverse: Array, noise: Array, at: Array, moved: Array, count: int, wide: int, found: Array
) -> None:
    """Variances that a registration carries to places.

    Parameters
    ----------
    inverse, noise
        (20, 20) covariance of the parameters; lower half of the noise's information.
    at
        (20, W) columns of design rows, W = 2 a place.
    moved
        (20, W) filled in: covariance times design.
    count, wide
        Parameters and columns in use.
    found
        (3, W) filled in: by the touches' noise, by the lens, by the bends [m²].
    """
    for p in range(count):
        row = moved[p]
        for g in range(wide):
            row[g] = 0.0
        for q in range(count):
            share, column = inverse[p, q], at[q]
            for g in range(wide):
                row[g] += share * column[g]
    for i in range(3):
        for g in range(wide):
            found[i, g] = 0.0
    for p in range(count):
        row = moved[p]
        for q in range(p):
            share, other = 2.0 * noise[p, q], moved[q]
            for g in range(wide):
                found[0, g] += share * row[g] * other[g]
        share = noise[p, p]
        for g in range(wide):
            found[0, g] += share * row[g] * row[g]
        if p >= PLANE:
            kind = 2 if p < PLANE + BENDS else 1
            for g in range(wide):
                found[kind, g] += row[g] * row[g]
