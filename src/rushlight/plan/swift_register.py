"""What the beacons tell of a map, for the swift evaluation: the estimator of `plan.error`, small.

Lights that touch one beacon share its two rows of the design, so that their weights add up before
anything is solved. Lens coefficients that are known exactly have columns of zeros, which change
nothing.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from rushlight.plan.swift_fit import (
    STEADY,
    ZERO,
    F,
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

AT_ONCE = 5
"""Rows of a product that are summed at once; the parameters are whole times as many."""


@njit(**STEADY)
def register(
    view: Array,
    rows: Rows,
    m: int,
    limits: Limits,
    sides_m: Array,
    bends: Array,
    sight: Array,
    at_place: Array,
    maps: Array,
    grid: int,
    work: Array,
    columns: Array,
    told: Array,
) -> int:
    """What the registration carries to the places (`rushlight.plan.error.error_field`).

    Parameters
    ----------
    sides_m, bends
        (2, P) and (7, P) of the candidate's places [m].
    work
        (3, 20, 20) room to work in.
    columns
        (20, 2, W) of the design, single precision; the plane's are filled in already.
    told
        (5, 2, W) filled in at the grid's places: variances by the touches' noise, by the lens and
        by the bends [m²], how far the lights' mean offsets, taken up by the registration, move
        each place [m], and room to work in.

    Returns how many touches are seen.
    """
    emitters, places = sight.shape
    design(
        view,
        rows.focal_px[m],
        rows.k[m],
        rows.limit[m],
        rows.spread[m],
        sides_m,
        bends,
        rows.height_m[m],
        columns,
    )
    inverse, noise = work[0], work[1]
    inverse[:] = 0.0
    noise[:] = 0.0
    for i in range(PLANE, PARAMETERS):
        inverse[i, i] = 1.0
    # Two rows of the design a beacon, filled up to whole `AT_ONCE`, and the same weighed.
    count = (2 * (places - 1 - grid) + AT_ONCE - 1) // AT_ONCE * AT_ONCE
    touched, weighed = np.zeros((count, PARAMETERS)), np.zeros((count, PARAMETERS))
    # Of each beacon the weight, the true noise seen through it, and the weighed mean offset.
    of_beacon = np.zeros((count // 2 + 1, 8))
    inner = np.empty(3)
    touches = 0
    stays, frames = rows.stream[m, 5], rows.frames[m]
    for beacon in range(places - 1 - grid):
        p, b = grid + beacon, of_beacon[beacon]
        for e in range(emitters):
            if rows.registering[e] == 0.0:
                continue
            # Of a dark light nobody can tell a place.
            if sight[e, p] != 0 or not math.isfinite(at_place[e, LOG_VARIANCE, p]):
                b[0] += 1.0 / limits.unseen_m2
                b[2] += 1.0 / limits.unseen_m2
                continue
            touches += 1
            t = at_place[e]
            _touch(stays, frames, rows.beam[m, e, 3], t, p, places - 1, maps[p], b, inner)
            b[6] += inner[0] * t[MEAN_X, p] + inner[1] * t[MEAN_Y, p]
            b[7] += inner[1] * t[MEAN_X, p] + inner[2] * t[MEAN_Y, p]
        first, second = touched[2 * beacon], touched[2 * beacon + 1]
        for i in range(PARAMETERS):
            first[i], second[i] = columns[i, 0, p], columns[i, 1, p]
        _weigh(touched, beacon, b[0], b[1], b[2], weighed)
    _add_products(touched, weighed, count, PARAMETERS, inverse)
    if not invert(inverse, work[2, 0]):
        return 0
    upright = np.empty((PARAMETERS, count))
    for i in range(PARAMETERS):
        for r in range(count):
            upright[i, r] = touched[r, i]
    touched[:] = 0.0
    _add_products(upright, inverse, PARAMETERS, count, touched)
    shift = np.zeros(PARAMETERS)
    for beacon in range(places - 1 - grid):
        b, first, second = of_beacon[beacon], touched[2 * beacon], touched[2 * beacon + 1]
        for i in range(PARAMETERS):
            shift[i] += b[6] * first[i] + b[7] * second[i]
        _weigh(touched, beacon, b[3], b[4], b[5], weighed)
    _add_products(touched, weighed, count, PARAMETERS, noise)
    carried(inverse, noise, shift, columns, told)
    return touches


@njit(**STEADY)
def _weigh(touched: Array, beacon: int, xx: float, xy: float, yy: float, found: Array) -> None:
    """Fill in a beacon's two rows times a symmetric matrix."""
    first, second = touched[2 * beacon], touched[2 * beacon + 1]
    across, up = found[2 * beacon], found[2 * beacon + 1]
    for i in range(PARAMETERS):
        across[i] = xx * first[i] + xy * second[i]
        up[i] = xy * first[i] + yy * second[i]


@njit(**STEADY)
def _add_products(one: Array, other: Array, count: int, high: int, into: Array) -> None:
    """Add oneᵀ · other to a matrix of `high` rows; `count` rows, in whole `AT_ONCE`, are summed."""
    for i in range(high):
        row = into[i]
        for r in range(0, count, AT_ONCE):
            s0, s1, s2 = one[r, i], one[r + 1, i], one[r + 2, i]
            s3, s4 = one[r + 3, i], one[r + 4, i]
            r0, r1, r2, r3, r4 = other[r], other[r + 1], other[r + 2], other[r + 3], other[r + 4]
            for j in range(PARAMETERS):
                row[j] += s0 * r0[j] + s1 * r1[j] + s2 * r2[j] + s3 * r3[j] + s4 * r4[j]


@njit(**STEADY)
def _touch(
    stays: float,
    frames: float,
    hand: float,
    t: Array,
    p: int,
    middle: int,
    j: Array,
    b: Array,
    inner: Array,
) -> None:
    """Add one touch's weight as supposed to a beacon, and its true noise seen through that."""
    xx, xy, yy = j[0] ** 2 + j[1] ** 2, j[0] * j[2] + j[1] * j[3], j[2] ** 2 + j[3] ** 2
    varies = math.exp(t[LOG_VARIANCE, p]) + (1.0 - stays) * t[SHIFT2, p]
    read = varies / frames + stays * t[SHIFT2, p]
    supposed = hand + 0.5 * (t[COV_XX, middle] + t[COV_YY, middle])
    a, c, d = supposed + read * xx, read * xy, supposed + read * yy
    one = 1.0 / (a * d - c * c)
    wa, wb, wd = d * one, -c * one, a * one
    ta, td = hand + t[COV_XX, p] + read * xx, hand + t[COV_YY, p] + read * yy
    tb = t[COV_XY, p] + read * xy
    ua, ub, uc, ud = wa * ta + wb * tb, wa * tb + wb * td, wb * ta + wd * tb, wb * tb + wd * td
    inner[0], inner[1], inner[2] = wa, wb, wd
    b[0] += wa
    b[1] += wb
    b[2] += wd
    b[3] += ua * wa + ub * wb
    b[4] += ua * wb + ub * wd
    b[5] += uc * wb + ud * wd


@njit(**STEADY)
def invert(matrix: Array, scaled: Array) -> bool:
    """Put the inverse of a symmetric matrix (20, 20) in its place (Gauss and Jordan, row by row,
    so that rows are worked on at once); False where it is not positive definite."""
    for k in range(PARAMETERS):
        row = matrix[k]
        if not row[k] > 0.0:
            return False
        one = 1.0 / row[k]
        row[k] = 1.0
        for j in range(PARAMETERS):
            scaled[j] = row[j] * one
        for i in range(PARAMETERS):
            other = matrix[i]
            share = 0.0 if i == k else other[k]
            other[k] = row[k] if i == k else 0.0
            for j in range(PARAMETERS):
                other[j] -= share * scaled[j]
        for j in range(PARAMETERS):
            row[j] = scaled[j]
    return True


@njit(**STEADY)
def carried(inverse: Array, noise: Array, shift: Array, columns: Array, told: Array) -> None:
    """What a registration carries to places, in single precision: sums of squares cancel nothing.

    Parameters
    ----------
    inverse, noise
        (20, 20) covariance of the parameters as supposed, and by the touches' true noise.
    shift
        (20,) by how much the parameters are off.
    columns
        (20, 2, W) of the design.
    told
        (5, 2, W) filled in as `register` says.
    """
    wide = told.shape[2]
    share, supposed = np.zeros((PARAMETERS, PARAMETERS), F), np.empty((PARAMETERS, PARAMETERS), F)
    off = np.empty(PARAMETERS, F)
    for i in range(PARAMETERS):
        off[i] = shift[i]
        share[i, i] = noise[i, i]
        for j in range(i):
            share[i, j] = 2.0 * noise[i, j]
        for j in range(PARAMETERS):
            supposed[i, j] = inverse[i, j]
    for half in range(2):
        for kind in range(3):
            row = told[kind, half]
            for g in range(wide):
                row[g] = ZERO
        moved, whole = told[4, half], told[0, half]
        for i in range(PARAMETERS):
            # Of a plane's first six columns three are zero across, and the other three up.
            if i < 6 and i // 3 != half:
                continue
            _combine(share[i], columns, half, i, moved)
            column = columns[i, half]
            for g in range(wide):
                whole[g] += moved[g] * column[g]
            if i >= PLANE:
                _combine(supposed[i], columns, half, PARAMETERS, moved)
                kind = told[2 if i < PLANE + BENDS else 1, half]
                for g in range(wide):
                    kind[g] += moved[g] * moved[g]
        _combine(off, columns, half, PARAMETERS, told[3, half])


@njit(**STEADY)
def _combine(share: Array, columns: Array, half: int, last: int, found: Array) -> None:
    """Fill in the sum of columns times shares, six at once; shares beyond `last` are zero."""
    wide = len(found)
    h = 3 * half
    s0, s1, s2, s3, s4, s5 = share[h], share[h + 1], share[h + 2], share[6], share[7], share[8]
    c0, c1, c2 = columns[h, half], columns[h + 1, half], columns[h + 2, half]
    c3, c4, c5 = columns[6, half], columns[7, half], columns[8, half]
    for g in range(wide):
        found[g] = s0 * c0[g] + s1 * c1[g] + s2 * c2[g] + s3 * c3[g] + s4 * c4[g] + s5 * c5[g]
    if last < 9:
        return
    s0, s1, s2, s3, s4, s5 = share[9], share[10], share[11], share[12], share[13], share[14]
    c0, c1, c2 = columns[9, half], columns[10, half], columns[11, half]
    c3, c4, c5 = columns[12, half], columns[13, half], columns[14, half]
    for g in range(wide):
        found[g] += s0 * c0[g] + s1 * c1[g] + s2 * c2[g] + s3 * c3[g] + s4 * c4[g] + s5 * c5[g]
    if last < 15:
        return
    s0, s1, s2, s3, s4 = share[15], share[16], share[17], share[18], share[19]
    c0, c1, c2 = columns[15, half], columns[16, half], columns[17, half]
    c3, c4 = columns[18, half], columns[19, half]
    for g in range(wide):
        found[g] += s0 * c0[g] + s1 * c1[g] + s2 * c2[g] + s3 * c3[g] + s4 * c4[g]
