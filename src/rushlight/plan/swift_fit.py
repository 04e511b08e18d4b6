"""Where a fit of one round spot settles on a light and its glows, without a picture.

`rushlight.physics.mixture` fits pixel by pixel. The same equations can be written as integrals:
the fit weighs what lies at a distance from its centre by the share of its own light in the
pixel's variance, q e^(−s)/(1 + q e^(−s)) with s = r²/(2 width²) and q the spot's peak over the
noise beside it. As a sum of a few Gaussians that share leaves only integrals of products of
Gaussians, each in closed form. Pixels enter as a twelfth of a square pixel in each variance.

Source: computed here; tests/plan/test_swift.py holds it against the fit in pixels.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[Any]

F = np.float32
ZERO, ONE = F(0.0), F(1.0)
"""Cells are of single precision, by which twice as many lanes are worked on at once; every number
that meets them must be so too."""
TERMS = 4
"""Of the weight (by trial: with six, errors over a rig differ by up to 0.1 %)."""
FIRST_LOG_Q, STEP_LOG_Q, COUNT_Q = math.log(1e-2), 0.05, 240
PIXEL_PX2 = 1.0 / 12.0
LEAST_PX2 = 0.25**2 + PIXEL_PX2
HALF_WINDOW_PX = 9
EDGE_PX = HALF_WINDOW_PX + 0.5
PIXELS = (2.0 * HALF_WINDOW_PX + 1.0) ** 2
_SPREADS = [(lo, hi) for lo in (0.45, 0.6, 0.75, 0.9, 1.0) for hi in (1.25, 1.5, 2.0, 2.7, 3.5)]
_RIDGE = 1e-4  # keeps the terms from cancelling one another beyond what rounding allows
ALL_INSIDE = 3.5
"""Radii from a blob's middle to the window's edge at which all of its light counts as inside."""
LANES = 16
"""Ways of holding that are worked on side by side; the ways are filled up to that."""
BLOB_ROWS, SPOT_ROWS = 18, 16
_SPOT = BLOB_ROWS * LANES
(
    SPOT_X,
    SPOT_Y,
    SPOT_V,
    SPOT_F,
    SPOT_B,
    MIDDLE_X,
    MIDDLE_Y,
    INSIDE,
    PEAK,
    ASIDE_X,
    ASIDE_Y,
    MISFIT,
) = (_SPOT + LANES * row for row in range(12))
LEVELS = _SPOT + LANES * 12
_HEIGHT = _SPOT + LANES * SPOT_ROWS
_WIDE = _HEIGHT + LANES * TERMS
_MOMENT = _WIDE + LANES * TERMS
SUMS = _MOMENT + LANES * 5
_BEGAN = SUMS + LANES * 4
MODEL = _BEGAN + LANES * 3
EDGES = MODEL + LANES * 6
PRODUCT = EDGES + LANES * 4
VARIANCE = PRODUCT
SHAPES = SUMS
_RATIO = PRODUCT + LANES * 5
_ROW = _RATIO + LANES * TERMS
_SHARE = _ROW + LANES
CELL = _SHARE + LANES
"""Numbers in a cell: rows of `LANES`. Three blobs of six rows each: x, y [px], variances xx, yy and
xy with the pixel's own [px²], light [e⁻]. Then the spot: x, y [px], variance with the pixel's own
[px²], light, background in excess [e⁻]; middle of the window x, y, and the light inside it; light
in the brightest pixel; where the emitter alone seems to stand, from the tip [m]; the misfit. Then
the density of light in the middle of each blob, what the steps work with, and for the misfit the
spot as a blob that takes light away, the edges of its window and a product of two blobs. Where
there is room in between, shapes of the blobs for the start and, in the end, variances of centres
[px²]."""
STEADY: dict[str, Any] = {
    "cache": True,
    "nogil": True,
    "error_model": "numpy",
    "fastmath": {"contract", "reassoc", "arcp", "nsz", "afn"},
}
"""How kernels are compiled: free in rounding, but what is not a number must stay so."""
LANE = STEADY | {"inline": "always"}


def weight_table() -> Array:
    """The weight as a sum of `TERMS` Gaussians, for rising q: (`COUNT_Q`, 2 · `TERMS` + 5).

    First the heights of the terms, then their widths (the term's variance over the spot's), then
    five moments: of the weight, of the weight times s, of the weight times e^(−s), the same
    times s, and times s². The moments are the sum's own, so that a lone spot is met exactly.
    """
    found = np.empty((COUNT_Q, 2 * TERMS + 5))
    for index in range(COUNT_Q):
        q = math.exp(FIRST_LOG_Q + STEP_LOG_Q * index)
        s = np.linspace(0.0, math.log1p(q) + 14.0, 400)
        wanted = q * np.exp(-s) / (1.0 + q * np.exp(-s))
        best, least = found[index], math.inf
        for low, high in _SPREADS:
            rate = np.geomspace(low, high, TERMS)
            terms = np.exp(-np.outer(s, rate))
            square = terms.T @ terms + _RIDGE**2 * np.eye(TERMS)
            height = np.linalg.solve(square, terms.T @ wanted)
            miss = float(np.max(np.abs(terms @ height - wanted)))
            if miss < least:
                least = miss
                best[:TERMS], best[TERMS : 2 * TERMS] = height, 1.0 / rate
        height, rate = best[:TERMS], 1.0 / best[TERMS : 2 * TERMS]
        best[2 * TERMS :] = [
            np.sum(height / rate),
            np.sum(height / rate**2),
            np.sum(height / (1.0 + rate)),
            np.sum(height / (1.0 + rate) ** 2),
            np.sum(2.0 * height / (1.0 + rate) ** 3),
        ]
    return found.astype(F)


_FRACTION_BITS = np.int32(23)
_ROOT_OF_HALF = np.sqrt(F(0.5)).view(np.int32)


@njit(**LANE)
def fading(y: float) -> float:
    """e^(−y) for y ≥ 0, in a form that compilers spread over lanes; to 1e-6."""
    t = min(y, F(64.0)) * F(0.015625)
    p = F(1.0 / 24.0) - t * F(1.0 / 120.0)
    p = F(1.0 / 6.0) - t * p
    p = F(0.5) - t * p
    p = ONE - t * p
    p = ONE - t * p
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    return p * p


@njit(**LANE)
def logarithm(x: float) -> float:
    """Natural logarithm of a number above 0, in a form that compilers spread over lanes; to 1e-6 or
    the rounding of single precision. A number is 2^power · (1 + rest), the rest around 0."""
    bits = F(x).view(np.int32)
    power = np.int32(np.int32(bits - _ROOT_OF_HALF) >> _FRACTION_BITS)
    rest = np.int32(bits - np.int32(power << _FRACTION_BITS)).view(F) - ONE
    s = rest / (F(2.0) + rest)
    z = s * s
    series = F(2.0) + z * (F(2.0 / 3.0) + z * (F(0.4) + z * F(2.0 / 7.0)))
    return F(power) * F(0.6931471805599453) + s * series


@njit(**LANE)
def growing(y: float) -> float:
    """e^y for −1.4 ≤ y ≤ 1.4."""
    return fading(F(1.4) - y) * F(4.0551999668446745)


@njit(**LANE)
def within(z: float) -> float:
    """Share of the normal distribution below z; Abramowitz & Stegun 1964, 26.2.17 (from memory),
    to 1e-6."""
    size = abs(z)
    t = ONE / (ONE + F(0.2316419) * size)
    tail = F(-1.821255978) + t * F(1.330274429)
    tail = F(-0.356563782) + t * (F(1.781477937) + t * tail)
    tail = t * (F(0.319381530) + t * tail)
    tail = F(0.3989422804014327) * fading(F(0.5) * size * size) * tail
    return ONE - tail if z > ZERO else tail


@njit(**STEADY)
def settle(w: Array, background_e: float, floor_e2: float, table: Array, steps: int) -> None:
    """Move the fits of a cell by some steps of Fisher scoring.

    Parameters
    ----------
    w
        A cell.
    background_e, floor_e2
        Mean [e⁻/px], and variance that no light causes [e⁻²].
    table
        As from `weight_table`.
    steps
        How many.
    """
    background, floor = F(background_e), F(floor_e2)
    for _ in range(steps):
        for n in range(LANES):
            q = w[SPOT_F + n] * F(0.15915494309189535) / w[SPOT_V + n]
            q /= floor + max(background + w[SPOT_B + n], ZERO)
            place = (logarithm(max(q, F(1e-3))) - F(FIRST_LOG_Q)) * F(1.0 / STEP_LOG_Q)
            place = np.floor(min(max(place + F(0.5), ZERO), F(COUNT_Q - 1)))
            w[_SHARE + n] = place
        moved = ZERO
        for n in range(LANES):
            moved = max(moved, abs(w[_SHARE + n] - w[_ROW + n]))
        if moved != ZERO:
            _look_up(w, table)
        for j in range(TERMS):
            for n in range(LANES):
                w[_WIDE + LANES * j + n] = w[SPOT_V + n] * w[_RATIO + LANES * j + n]
        for n in range(4 * LANES):
            w[SUMS + n] = ZERO
        for j in range(TERMS):
            _add_round(w, _HEIGHT + LANES * j, _WIDE + LANES * j)
        for k in range(1, 3):
            for j in range(TERMS):
                _add(w, 6 * k * LANES, _HEIGHT + LANES * j, _WIDE + LANES * j)
        _move(w)


@njit(**STEADY)
def _look_up(w: Array, table: Array) -> None:
    """Fill in the terms and moments of the weight for lanes whose row of the table changed."""
    for n in range(LANES):
        wanted = w[_SHARE + n]
        if w[_ROW + n] == wanted:
            continue
        w[_ROW + n] = wanted
        row = int(wanted) if wanted > ZERO else 0
        for j in range(TERMS):
            w[_HEIGHT + LANES * j + n] = table[row, j]
            w[_RATIO + LANES * j + n] = table[row, TERMS + j]
        for j in range(5):
            w[_MOMENT + LANES * j + n] = table[row, 2 * TERMS + j]


@njit(**LANE)
def _add_round(w: Array, height: int, wide: int) -> None:
    """Add the emitter's part in one term: as `_add` of the first blob, which is always round."""
    for n in range(LANES):
        t = w[wide + n]
        one = ONE / (w[2 * LANES + n] + t)
        ux, uy = w[n] - w[SPOT_X + n], w[LANES + n] - w[SPOT_Y + n]
        far = (ux * ux + uy * uy) * one
        light = w[5 * LANES + n] * w[height + n] * t * one * fading(F(0.5) * far)
        aside = light * t
        w[SUMS + n] += light
        w[SUMS + LANES + n] += aside * (F(2.0) - t * one * (F(2.0) - far))
        w[SUMS + 2 * LANES + n] += aside * ux * one
        w[SUMS + 3 * LANES + n] += aside * uy * one


@njit(**LANE)
def _add(w: Array, blob: int, height: int, wide: int) -> None:
    """Add one blob's part in one term of the weight to the sums of all lanes."""
    for n in range(LANES):
        t = w[wide + n]
        a, b, c = w[blob + 2 * LANES + n] + t, w[blob + 3 * LANES + n] + t, w[blob + 4 * LANES + n]
        ux, uy = w[blob + n] - w[SPOT_X + n], w[blob + LANES + n] - w[SPOT_Y + n]
        root = ONE / math.sqrt(a * b - c * c)
        one = root * root
        wx, wy = (b * ux - c * uy) * one, (a * uy - c * ux) * one
        light = w[blob + 5 * LANES + n] * w[height + n] * t * root
        light *= fading(F(0.5) * (ux * wx + uy * wy))
        aside = light * t
        w[SUMS + n] += light
        w[SUMS + LANES + n] += aside * (F(2.0) - t * ((a + b) * one - wx * wx - wy * wy))
        w[SUMS + 2 * LANES + n] += aside * wx
        w[SUMS + 3 * LANES + n] += aside * wy


@njit(**STEADY)
def _move(w: Array) -> None:
    """One damped step of all lanes; the background follows from the light left in the window."""
    _share_inside(w)
    for n in range(LANES):
        v, flux, above = w[SPOT_V + n], w[SPOT_F + n], w[SPOT_B + n]
        one = ONE / math.sqrt(v)
        left = w[INSIDE + n] - flux * w[_SHARE + n] - above * F(PIXELS)
        area = F(6.283185307179586) * v
        wide = area * F(1.0 / PIXELS)
        # Moments of the weight by s⁰ and s¹; of the weight and the spot by s⁰, s¹ and s².
        l0, l1 = w[_MOMENT + n], w[_MOMENT + LANES + n]
        m0, m1 = w[_MOMENT + 2 * LANES + n], w[_MOMENT + 3 * LANES + n]
        m2 = w[_MOMENT + 4 * LANES + n]
        r0 = w[SUMS + n] - flux * m0 - above * area * l0 - wide * l0 * left
        r1 = w[SUMS + LANES + n] * F(0.5) * one * one - flux * m1
        r1 -= above * area * l1 + wide * l1 * left
        m00, m01 = flux * (m0 - wide * l0), flux * (m1 - wide * l0)
        m10, m11 = flux * (m1 - wide * l1), flux * (m2 - wide * l1)
        turn = ONE / (m00 * m11 - m01 * m10)
        higher = min(max((r0 * m11 - r1 * m01) * turn, F(-0.7)), F(0.7))
        wider = min(max((m00 * r1 - m10 * r0) * turn, F(-0.7)), F(0.7))
        w[SPOT_B + n] = above + (left - flux * (higher + wider)) * F(1.0 / PIXELS)
        pull = ONE / (flux * m1)
        w[SPOT_X + n] += min(max(w[SUMS + 2 * LANES + n] * pull, F(-1.0)), ONE)
        w[SPOT_Y + n] += min(max(w[SUMS + 3 * LANES + n] * pull, F(-1.0)), ONE)
        w[SPOT_V + n] = max(v * growing(wider), F(LEAST_PX2))
        w[SPOT_F + n] = flux * growing(higher + wider)


@njit(**LANE)
def _share_inside(w: Array) -> None:
    """Fill in the share of each spot's light that falls inside its window."""
    for n in range(LANES):
        x, y = abs(w[SPOT_X + n] - w[MIDDLE_X + n]), abs(w[SPOT_Y + n] - w[MIDDLE_Y + n])
        w[_SHARE + n] = (F(EDGE_PX) - max(x, y)) / math.sqrt(w[SPOT_V + n])
    room = w[_SHARE]
    for n in range(1, LANES):
        room = min(room, w[_SHARE + n])
    if room > F(ALL_INSIDE):
        for n in range(LANES):
            w[_SHARE + n] = ONE
        return
    for n in range(LANES):
        one = ONE / math.sqrt(w[SPOT_V + n])
        x, y = w[SPOT_X + n] - w[MIDDLE_X + n], w[SPOT_Y + n] - w[MIDDLE_Y + n]
        across = within((F(EDGE_PX) - x) * one) + within((F(EDGE_PX) + x) * one) - ONE
        up = within((F(EDGE_PX) - y) * one) + within((F(EDGE_PX) + y) * one) - ONE
        w[_SHARE + n] = across * up


@njit(**STEADY)
def follow(w: Array, neighbour: Array, exposure_s: float, alone: bool) -> None:
    """Turn a cell's start from rates to an exposure, and move it as a settled neighbour moved.

    Steps of place count by the width of the spot, width and light by their factors.
    """
    exposure = F(exposure_s)
    for n in range(LANES):
        w[INSIDE + n] *= exposure
        w[SPOT_F + n] = w[INSIDE + n]
        w[_BEGAN + n] = w[SPOT_X + n]
        w[_BEGAN + LANES + n] = w[SPOT_Y + n]
        w[_BEGAN + 2 * LANES + n] = w[SPOT_V + n]
    if alone:
        for n in range(LANES):
            w[_ROW + n] = -ONE
        return
    # A neighbour's terms of the weight are at hand; they are nearly the same.
    for i in range(_HEIGHT, SUMS):
        w[i] = neighbour[i]
    for i in range(_RATIO, _SHARE):
        w[i] = neighbour[i]
    for n in range(LANES):
        scale = math.sqrt(w[SPOT_V + n] / neighbour[_BEGAN + 2 * LANES + n])
        w[SPOT_X + n] += scale * (neighbour[SPOT_X + n] - neighbour[_BEGAN + n])
        w[SPOT_Y + n] += scale * (neighbour[SPOT_Y + n] - neighbour[_BEGAN + LANES + n])
        w[SPOT_V + n] *= neighbour[SPOT_V + n] / neighbour[_BEGAN + 2 * LANES + n]
        w[SPOT_V + n] = max(w[SPOT_V + n], F(LEAST_PX2))
        w[SPOT_F + n] *= neighbour[SPOT_F + n] / neighbour[INSIDE + n]
        w[SPOT_B + n] = neighbour[SPOT_B + n]


@njit(**STEADY)
def afresh(w: Array) -> None:
    """Put a cell's spots back where they began."""
    for n in range(LANES):
        w[SPOT_X + n] = w[_BEGAN + n]
        w[SPOT_Y + n] = w[_BEGAN + LANES + n]
        w[SPOT_V + n] = w[_BEGAN + 2 * LANES + n]
        w[SPOT_F + n] = w[INSIDE + n]
        w[SPOT_B + n] = ZERO


@njit(**STEADY)
def variances_of_centres(w: Array, noise_e2: float, table: Array) -> None:
    """Fill in the least variance of each spot's centre along one axis [px²]
    (`physics.centre.centre_cov_fisher`).

    The information of a Gaussian in even noise is its light over its variance times a moment of
    the weight: ∫ s w e^(−s) ds, 1 where the light's own noise rules (computed here).
    """
    one = F(1.0 / (6.283185307179586 * noise_e2))
    for n in range(LANES):
        q = max(w[SPOT_F + n] * one / w[SPOT_V + n], F(1e-3))
        place = (logarithm(q) - F(FIRST_LOG_Q)) * F(1.0 / STEP_LOG_Q)
        w[VARIANCE + n] = min(max(place, ZERO), F(COUNT_Q - 2))
        w[_SHARE + n] = place
    for n in range(LANES):
        low = w[VARIANCE + n]
        row = int(low) if low > ZERO else 0
        share = w[_SHARE + n] - F(row)
        before, after = table[row, 2 * TERMS + 3], table[row + 1, 2 * TERMS + 3]
        moment = before * (ONE - share) + after * share
        w[VARIANCE + n] = w[SPOT_V + n] / (w[SPOT_F + n] * moment)


@njit(**STEADY)
def widest(w: Array) -> float:
    """Greatest variance of a cell's settled spots [px²]."""
    found = 0.0
    for n in range(LANES):
        found = max(found, w[SPOT_V + n])
    return found
