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

TERMS = 6
FIRST_LOG_Q, STEP_LOG_Q, COUNT_Q = math.log(1e-2), 0.05, 240
PIXEL_PX2 = 1.0 / 12.0
LEAST_PX2 = 0.25**2 + PIXEL_PX2
HALF_WINDOW_PX = 9
EDGE_PX = HALF_WINDOW_PX + 0.5
PIXELS = (2.0 * HALF_WINDOW_PX + 1.0) ** 2
_SPREADS = [(lo, hi) for lo in (0.45, 0.6, 0.75, 0.9, 1.0) for hi in (1.25, 1.5, 2.0, 2.7, 3.5)]
_RIDGE = 1e-4  # keeps the terms from cancelling one another beyond what rounding allows
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
CELL = _BEGAN + LANES * 3
"""Numbers in a cell: rows of `LANES`. Three blobs of six rows each: x, y [px], variances xx, yy and
xy with the pixel's own [px²], light [e⁻]. Then the spot: x, y [px], variance with the pixel's own
[px²], light, background in excess [e⁻]; middle of the window x, y, and the light inside it; light
in the brightest pixel; where the emitter alone seems to stand, from the tip [m]; the misfit. Then
the density of light in the middle of each blob, and what the steps work with."""
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
    return found


@njit(**LANE)
def fading(y: float) -> float:
    """e^(−y) for y ≥ 0, in a form that compilers spread over lanes; 1e-9 near 0, 1e-28 past 64."""
    t = min(y, 64.0) * 0.015625
    p = 1.0 - t * (1.0 / 9.0)
    p = 1.0 - t * (1.0 / 8.0) * p
    p = 1.0 - t * (1.0 / 7.0) * p
    p = 1.0 - t * (1.0 / 6.0) * p
    p = 1.0 - t * (1.0 / 5.0) * p
    p = 1.0 - t * (1.0 / 4.0) * p
    p = 1.0 - t * (1.0 / 3.0) * p
    p = 1.0 - t * (1.0 / 2.0) * p
    p = 1.0 - t * p
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    return p * p


@njit(**LANE)
def growing(y: float) -> float:
    """e^y for −1.4 ≤ y ≤ 1.4."""
    return fading(1.4 - y) * 4.0551999668446745


@njit(**LANE)
def within(z: float) -> float:
    """Share of the normal distribution below z; Abramowitz & Stegun 1964, 26.2.17 (from memory),
    to 1e-7."""
    edge = z
    z = abs(edge)
    t = 1.0 / (1.0 + 0.2316419 * z)
    tail = t * (
        0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429)))
    )
    tail = 0.3989422804014327 * fading(0.5 * z * z) * tail
    return 1.0 - tail if edge > 0.0 else tail


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
    for _ in range(steps):
        for n in range(LANES):
            q = w[SPOT_F + n] / (6.283185307179586 * w[SPOT_V + n])
            q /= floor_e2 + max(background_e + w[SPOT_B + n], 0.0)
            place = (math.log(max(q, 1e-3)) - FIRST_LOG_Q) / STEP_LOG_Q + 0.5
            row = min(max(int(place), 0), COUNT_Q - 1)
            for j in range(TERMS):
                w[_HEIGHT + LANES * j + n] = table[row, j]
                w[_WIDE + LANES * j + n] = w[SPOT_V + n] * table[row, TERMS + j]
            for j in range(5):
                w[_MOMENT + LANES * j + n] = table[row, 2 * TERMS + j]
        for n in range(4 * LANES):
            w[SUMS + n] = 0.0
        for k in range(3):
            for j in range(TERMS):
                _add(w, 6 * k * LANES, _HEIGHT + LANES * j, _WIDE + LANES * j)
        _move(w)


@njit(**LANE)
def _add(w: Array, blob: int, height: int, wide: int) -> None:
    """Add one blob's part in one term of the weight to the sums of all lanes."""
    for n in range(LANES):
        t = w[wide + n]
        a, b, c = w[blob + 2 * LANES + n] + t, w[blob + 3 * LANES + n] + t, w[blob + 4 * LANES + n]
        ux, uy = w[blob + n] - w[SPOT_X + n], w[blob + LANES + n] - w[SPOT_Y + n]
        one = 1.0 / (a * b - c * c)
        wx, wy = (b * ux - c * uy) * one, (a * uy - c * ux) * one
        light = w[blob + 5 * LANES + n] * w[height + n] * t * math.sqrt(one)
        light *= fading(0.5 * (ux * wx + uy * wy))
        aside = light * t
        w[SUMS + n] += light
        w[SUMS + LANES + n] += aside * (2.0 - t * ((a + b) * one - wx * wx - wy * wy))
        w[SUMS + 2 * LANES + n] += aside * wx
        w[SUMS + 3 * LANES + n] += aside * wy


@njit(**STEADY)
def _move(w: Array) -> None:
    """One damped step of all lanes; the background follows from the light left in the window."""
    for n in range(LANES):
        v, flux, above = w[SPOT_V + n], w[SPOT_F + n], w[SPOT_B + n]
        x, y, one = (
            w[SPOT_X + n] - w[MIDDLE_X + n],
            w[SPOT_Y + n] - w[MIDDLE_Y + n],
            1.0 / math.sqrt(v),
        )
        across = within((EDGE_PX - x) * one) + within((EDGE_PX + x) * one) - 1.0
        up = within((EDGE_PX - y) * one) + within((EDGE_PX + y) * one) - 1.0
        left = w[INSIDE + n] - flux * across * up - above * PIXELS
        area = 6.283185307179586 * v
        wide = area / PIXELS
        # Moments of the weight by s⁰ and s¹; of the weight and the spot by s⁰, s¹ and s².
        l0, l1 = w[_MOMENT + n], w[_MOMENT + LANES + n]
        m0, m1 = w[_MOMENT + 2 * LANES + n], w[_MOMENT + 3 * LANES + n]
        m2 = w[_MOMENT + 4 * LANES + n]
        r0 = w[SUMS + n] - flux * m0 - above * area * l0 - wide * l0 * left
        r1 = w[SUMS + LANES + n] / (2.0 * v) - flux * m1 - above * area * l1 - wide * l1 * left
        m00, m01 = flux * (m0 - wide * l0), flux * (m1 - wide * l0)
        m10, m11 = flux * (m1 - wide * l1), flux * (m2 - wide * l1)
        one = 1.0 / (m00 * m11 - m01 * m10)
        higher = min(max((r0 * m11 - r1 * m01) * one, -0.7), 0.7)
        wider = min(max((m00 * r1 - m10 * r0) * one, -0.7), 0.7)
        w[SPOT_B + n] = above + (left - flux * (higher + wider)) / PIXELS
        pull = 1.0 / (flux * m1)
        w[SPOT_X + n] += min(max(w[SUMS + 2 * LANES + n] * pull, -1.0), 1.0)
        w[SPOT_Y + n] += min(max(w[SUMS + 3 * LANES + n] * pull, -1.0), 1.0)
        w[SPOT_V + n] = max(v * growing(wider), LEAST_PX2)
        w[SPOT_F + n] = flux * growing(higher + wider)


@njit(**STEADY)
def follow(w: Array, neighbour: Array, exposure_s: float, alone: bool) -> None:
    """Turn a cell's start from rates to an exposure, and move it as a settled neighbour moved.

    Steps of place count by the width of the spot, width and light by their factors.
    """
    for n in range(LANES):
        w[INSIDE + n] *= exposure_s
        w[SPOT_F + n] = w[INSIDE + n]
        w[_BEGAN + n] = w[SPOT_X + n]
        w[_BEGAN + LANES + n] = w[SPOT_Y + n]
        w[_BEGAN + 2 * LANES + n] = w[SPOT_V + n]
    if alone:
        return
    for n in range(LANES):
        scale = math.sqrt(w[SPOT_V + n] / neighbour[_BEGAN + 2 * LANES + n])
        w[SPOT_X + n] += scale * (neighbour[SPOT_X + n] - neighbour[_BEGAN + n])
        w[SPOT_Y + n] += scale * (neighbour[SPOT_Y + n] - neighbour[_BEGAN + LANES + n])
        w[SPOT_V + n] *= neighbour[SPOT_V + n] / neighbour[_BEGAN + 2 * LANES + n]
        w[SPOT_V + n] = max(w[SPOT_V + n], LEAST_PX2)
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
        w[SPOT_B + n] = 0.0


@njit(**STEADY)
def variance_of_centre(light_e: float, v_px2: float, noise_e2: float, table: Array) -> float:
    """Least variance of a spot's centre along one axis [px²] (`physics.centre.centre_cov_fisher`).

    The information of a Gaussian in even noise is its light over its variance times a moment of
    the weight: ∫ s w e^(−s) ds, 1 where the light's own noise rules (computed here).
    """
    q = light_e / (6.283185307179586 * v_px2 * noise_e2)
    place = (math.log(max(q, 1e-3)) - FIRST_LOG_Q) / STEP_LOG_Q
    row = min(max(int(place), 0), COUNT_Q - 2)
    share = place - row
    moment = table[row, 2 * TERMS + 3] * (1.0 - share) + table[row + 1, 2 * TERMS + 3] * share
    return v_px2 / (light_e * moment)


@njit(**STEADY)
def widest(w: Array) -> float:
    """Greatest variance of a cell's settled spots [px²]."""
    found = 0.0
    for n in range(LANES):
        found = max(found, w[SPOT_V + n])
    return found
