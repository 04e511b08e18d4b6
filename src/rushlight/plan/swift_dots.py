"""A light and its glows as one dot, before and after the fit: start, brightest pixel, misfit.

Cells are laid out as in `rushlight.plan.swift_fit`; all lanes are worked on side by side. What is
found is what `rushlight.physics.mixture` finds in pixels (tests/plan/test_swift.py).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from rushlight.plan.swift_fit import (
    ALL_INSIDE,
    EDGE_PX,
    EDGES,
    HALF_WINDOW_PX,
    INSIDE,
    LANE,
    LANES,
    LEVELS,
    MIDDLE_X,
    MIDDLE_Y,
    MISFIT,
    MODEL,
    ONE,
    PEAK,
    PIXEL_PX2,
    PRODUCT,
    SHAPES,
    SPOT_B,
    SPOT_F,
    SPOT_V,
    SPOT_X,
    SPOT_Y,
    STEADY,
    SUMS,
    ZERO,
    F,
    fading,
    within,
)

Array = NDArray[Any]

_ROOM = _OWN = MISFIT


@njit(**STEADY)
def start(w: Array) -> None:
    """Fill in where the fits of a cell begin, and how bright their brightest pixels are."""
    _shape(w)
    for n in range(LANES):
        w[PEAK + n] = F(-1.0)
        w[SPOT_B + n] = ZERO
    for i in range(3):
        for n in range(LANES):
            total, x, y, v = ZERO, ZERO, ZERO, ZERO
            atx, aty = w[6 * i * LANES + n], w[(6 * i + 1) * LANES + n]
            for k in range(3):
                bx, by = w[6 * k * LANES + n], w[(6 * k + 1) * LANES + n]
                level = _level(w, k, n, atx, aty)
                total += level
                x += level * bx
                y += level * by
                v += level * F(0.5) * (w[(6 * k + 2) * LANES + n] + w[(6 * k + 3) * LANES + n])
            w[LEVELS + LANES * i + n] = total
            more = total > w[PEAK + n]
            share = ONE / total
            w[SPOT_X + n] = x * share if more else w[SPOT_X + n]
            w[SPOT_Y + n] = y * share if more else w[SPOT_Y + n]
            w[SPOT_V + n] = v * share if more else w[SPOT_V + n]
            w[MIDDLE_X + n] = np.floor(atx + F(0.5)) if more else w[MIDDLE_X + n]
            w[MIDDLE_Y + n] = np.floor(aty + F(0.5)) if more else w[MIDDLE_Y + n]
            w[PEAK + n] = total if more else w[PEAK + n]
    _window(w)
    _brightest(w)


@njit(**STEADY)
def _shape(w: Array) -> None:
    """Fill in what the density of each blob's light is made of: half its inverse covariance, and
    its density in the middle [e⁻/px]."""
    for k in range(3):
        shape = SHAPES + 4 * k * LANES
        for n in range(LANES):
            a, b = w[(6 * k + 2) * LANES + n], w[(6 * k + 3) * LANES + n]
            c, f = w[(6 * k + 4) * LANES + n], w[(6 * k + 5) * LANES + n]
            root = ONE / math.sqrt(a * b - c * c)
            half = F(0.5) * root * root
            w[shape + n], w[shape + LANES + n] = b * half, a * half
            w[shape + 2 * LANES + n] = F(-2.0) * c * half
            w[shape + 3 * LANES + n] = f * F(0.15915494309189535) * root


@njit(**LANE)
def _level(w: Array, k: int, n: int, x: float, y: float) -> float:
    """Density of a blob's light at a place [e⁻/px]."""
    shape = SHAPES + 4 * k * LANES + n
    ux, uy = x - w[6 * k * LANES + n], y - w[(6 * k + 1) * LANES + n]
    far = w[shape] * ux * ux + w[shape + 2 * LANES] * ux * uy + w[shape + LANES] * uy * uy
    return w[shape + 3 * LANES] * fading(far)


@njit(**STEADY)
def _window(w: Array) -> None:
    """Fill in the light inside the window, with which a fit begins."""
    for n in range(LANES):
        w[INSIDE + n] = ZERO
    for k in range(3):
        for n in range(LANES):
            x, y = (
                w[6 * k * LANES + n] - w[MIDDLE_X + n],
                w[(6 * k + 1) * LANES + n] - w[MIDDLE_Y + n],
            )
            ox = ONE / math.sqrt(w[(6 * k + 2) * LANES + n])
            oy = ONE / math.sqrt(w[(6 * k + 3) * LANES + n])
            across = within((F(EDGE_PX) - x) * ox) + within((F(EDGE_PX) + x) * ox) - ONE
            up = within((F(EDGE_PX) - y) * oy) + within((F(EDGE_PX) + y) * oy) - ONE
            w[INSIDE + n] += w[(6 * k + 5) * LANES + n] * across * up
    for n in range(LANES):
        w[SPOT_F + n] = w[INSIDE + n]


@njit(**STEADY)
def _brightest(w: Array) -> None:
    """Fill in the light of the brightest of five pixels: the emitter's, and the four round the
    start. Light in a pixel is the density in its middle; the emitter's own pixel is met exactly."""
    for n in range(LANES):
        w[PEAK + n] = ZERO
        a, b = w[2 * LANES + n], w[5 * LANES + n]
        side = F(2.0) * within(F(0.5) / math.sqrt(a - F(PIXEL_PX2))) - ONE
        w[_OWN + n] = b * (side * side - F(0.15915494309189535) / a)
    for i in range(5):
        middle = ONE if i == 4 else ZERO
        right, up = F(i & 1) * (ONE - middle), F(i >> 1 & 1) * (ONE - middle)
        for n in range(LANES):
            px = (np.floor(w[SPOT_X + n]) + right) * (ONE - middle)
            py = (np.floor(w[SPOT_Y + n]) + up) * (ONE - middle)
            light = ZERO
            for k in range(3):
                light += _level(w, k, n, px, py)
            own = px == ZERO and py == ZERO
            light += w[_OWN + n] if own else ZERO
            w[PEAK + n] = max(w[PEAK + n], light)


@njit(**STEADY)
def doubtful(w: Array, exposure_s: float) -> float:
    """How far the settled spots of a cell miss the light in the middle of any blob, at most, over
    their own peaks: where this is small, no spot parts."""
    exposure = F(exposure_s)
    for n in range(LANES):
        w[MISFIT + n] = ZERO
    for i in range(3):
        for n in range(LANES):
            one = ONE / w[SPOT_V + n]
            ux, uy = (
                w[6 * i * LANES + n] - w[SPOT_X + n],
                w[(6 * i + 1) * LANES + n] - w[SPOT_Y + n],
            )
            height = w[SPOT_F + n] * F(0.15915494309189535) * one
            model = height * fading(F(0.5) * (ux * ux + uy * uy) * one) + w[SPOT_B + n]
            miss = abs(exposure * w[LEVELS + LANES * i + n] - model) / height
            w[MISFIT + n] = max(w[MISFIT + n], miss)
    worst = ZERO
    for n in range(LANES):
        worst = max(worst, w[MISFIT + n])
    return worst


@njit(**STEADY)
def misfit(w: Array) -> float:
    """Fill in the misfit of a cell's settled spots (`physics.mixture.MixtureFit`); the greatest.

    The squares of what a spot leaves over are products of Gaussians, summed over the pixels of its
    window: integrals in closed form, the window cutting each axis by itself. Pixels sample a narrow
    product coarsely; the first wave of Poisson's sum makes up for that (to 1 % of the misfit, 10 %
    for the narrowest spots; by trial against the sum over pixels).
    """
    half = F(HALF_WINDOW_PX)
    for n in range(LANES):
        x, y = w[SPOT_X + n], w[SPOT_Y + n]
        w[MODEL + n], w[MODEL + LANES + n] = x, y
        w[MODEL + 2 * LANES + n] = w[MODEL + 3 * LANES + n] = w[SPOT_V + n]
        w[MODEL + 4 * LANES + n], w[MODEL + 5 * LANES + n] = ZERO, -w[SPOT_F + n]
        reach = F(3.2) * math.sqrt(w[SPOT_V + n] - F(PIXEL_PX2)) + ONE
        px, py = w[MIDDLE_X + n], w[MIDDLE_Y + n]
        w[EDGES + n] = max(-np.floor(reach - x), px - half) - F(0.5)
        w[EDGES + LANES + n] = min(np.floor(x + reach), px + half) + F(0.5)
        w[EDGES + 2 * LANES + n] = max(-np.floor(reach - y), py - half) - F(0.5)
        w[EDGES + 3 * LANES + n] = min(np.floor(y + reach), py + half) + F(0.5)
        across = w[EDGES + LANES + n] - w[EDGES + n]
        up = w[EDGES + 3 * LANES + n] - w[EDGES + 2 * LANES + n]
        w[SUMS + n] = w[SPOT_B + n] * w[SPOT_B + n] * across * up
    for k in range(3):
        _alone(w, 6 * k * LANES)
        for i in range(k + 1):
            _multiply(w, 6 * i * LANES, 6 * k * LANES, ONE if i == k else F(2.0))
            _sum(w, i == 0)
        _multiply(w, 6 * k * LANES, MODEL, F(2.0))
        _sum(w, k == 0)
    _alone(w, MODEL)
    for n in range(LANES):
        w[SUMS + LANES + n] = w[SUMS + n]
    _multiply(w, MODEL, MODEL, ONE)
    _sum(w, True)
    worst = ZERO
    for n in range(LANES):
        explained = w[SUMS + n] - w[SUMS + LANES + n]
        w[MISFIT + n] = math.sqrt(max(w[SUMS + n], F(1e-6) * explained) / explained)
    for n in range(LANES):
        worst = max(worst, w[MISFIT + n])
    return worst


@njit(**LANE)
def _alone(w: Array, blob: int) -> None:
    """Take off a blob's light within the window, times twice the background in excess."""
    for n in range(LANES):
        w[PRODUCT + n], w[PRODUCT + LANES + n] = w[blob + n], w[blob + LANES + n]
        w[PRODUCT + 2 * LANES + n] = w[blob + 2 * LANES + n]
        w[PRODUCT + 3 * LANES + n] = w[blob + 3 * LANES + n]
        w[PRODUCT + 4 * LANES + n] = F(-2.0) * w[SPOT_B + n] * w[blob + 5 * LANES + n]
    _sum(w, False)


@njit(**LANE)
def _multiply(w: Array, one: int, other: int, times: float) -> None:
    """Fill in the product of two blobs of all lanes, itself a Gaussian between them."""
    for n in range(LANES):
        p, q, r = w[one + 2 * LANES + n], w[one + 3 * LANES + n], w[one + 4 * LANES + n]
        a, b, c = w[other + 2 * LANES + n], w[other + 3 * LANES + n], w[other + 4 * LANES + n]
        a, b, c = a + p, b + q, c + r
        ux, uy = w[other + n] - w[one + n], w[other + LANES + n] - w[one + LANES + n]
        root = ONE / math.sqrt(a * b - c * c)
        turn = root * root
        wx, wy = (b * ux - c * uy) * turn, (a * uy - c * ux) * turn
        light = times * F(0.15915494309189535) * w[one + 5 * LANES + n] * root
        light *= w[other + 5 * LANES + n] * fading(F(0.5) * (ux * wx + uy * wy))
        w[PRODUCT + n] = w[one + n] + p * wx + r * wy
        w[PRODUCT + LANES + n] = w[one + LANES + n] + r * wx + q * wy
        w[PRODUCT + 2 * LANES + n] = p - (p * (b * p - c * r) + r * (a * r - c * p)) * turn
        w[PRODUCT + 3 * LANES + n] = q - (r * (b * r - c * q) + q * (a * q - c * r)) * turn
        w[PRODUCT + 4 * LANES + n] = light


@njit(**STEADY)
def _sum(w: Array, narrow: bool) -> None:
    """Add the product at hand, summed over the window's pixels, to the squares of all lanes."""
    if narrow:
        for n in range(LANES):
            across = ONE + _wave(w[PRODUCT + n], w[PRODUCT + 2 * LANES + n])
            up = ONE + _wave(w[PRODUCT + LANES + n], w[PRODUCT + 3 * LANES + n])
            w[PRODUCT + 4 * LANES + n] *= across * up
    _cut(w, PRODUCT, PRODUCT + 2 * LANES, EDGES)
    _cut(w, PRODUCT + LANES, PRODUCT + 3 * LANES, EDGES + 2 * LANES)
    for n in range(LANES):
        w[SUMS + n] += w[PRODUCT + 4 * LANES + n]


@njit(**LANE)
def _cut(w: Array, middle: int, variance: int, edges: int) -> None:
    """Leave of the product at hand what lies within the window along one axis."""
    for n in range(LANES):
        one = ONE / math.sqrt(w[variance + n])
        below, above = w[middle + n] - w[edges + n], w[edges + LANES + n] - w[middle + n]
        w[variance + n] = one
        w[_ROOM + n] = min(below, above) * one
    room = w[_ROOM]
    for n in range(1, LANES):
        room = min(room, w[_ROOM + n])
    if room < F(ALL_INSIDE):
        for n in range(LANES):
            one, x = w[variance + n], w[middle + n]
            share = within((w[edges + LANES + n] - x) * one) - within((w[edges + n] - x) * one)
            w[PRODUCT + 4 * LANES + n] *= share


@njit(**LANE)
def _wave(x: float, v: float) -> float:
    """By what part pixels sum to more than the integral of a Gaussian in x: 2 e^(−2π² v) cos 2πx,
    the cosine as a polynomial (to 2e-3)."""
    t = x - np.floor(x + F(0.5))
    s = t * t
    cosine = F(85.4568) - s * (F(60.2446) - s * F(26.4263))
    cosine = ONE - s * (F(19.7392) - s * (F(64.9394) - s * cosine))
    return F(2.0) * fading(F(19.739208802178716) * v) * cosine


@njit(**STEADY)
def exact_peak(w: Array) -> float:
    """Light in the brightest pixel of a started cell, with whole pixels in place of densities."""
    high = 0.0
    for n in range(LANES):
        high = max(high, w[PEAK + n])
    found = 0.0
    for n in range(LANES):
        if w[PEAK + n] < 0.98 * high:
            continue
        for i in range(5):
            px, py = 0.0, 0.0
            if i < 4:
                px = math.floor(w[SPOT_X + n]) + (i & 1)
                py = math.floor(w[SPOT_Y + n]) + (i >> 1)
            light = 0.0
            for k in range(3):
                light += _in_pixel(w, k, n, px, py)
            found = max(found, light)
    return found


@njit(**STEADY)
def _in_pixel(w: Array, k: int, n: int, x_px: float, y_px: float) -> float:
    """Light of one blob in one pixel, as `rushlight.physics.mixture` has it."""
    a, b = w[(6 * k + 2) * LANES + n], w[(6 * k + 3) * LANES + n]
    ux, uy = x_px - w[6 * k * LANES + n], y_px - w[(6 * k + 1) * LANES + n]
    sx, sy = math.sqrt(2.0 * (a - PIXEL_PX2)), math.sqrt(2.0 * (b - PIXEL_PX2))
    across = 0.5 * (math.erf((ux + 0.5) / sx) - math.erf((ux - 0.5) / sx))
    down = 0.5 * (math.erf((uy + 0.5) / sy) - math.erf((uy - 0.5) / sy))
    rho2 = w[(6 * k + 4) * LANES + n] ** 2 / (a * b)
    rho = w[(6 * k + 4) * LANES + n] / math.sqrt(a * b)
    u = min(max(ux / math.sqrt(a), -6.0), 6.0)
    v = min(max(uy / math.sqrt(b), -6.0), 6.0)
    spare = 1.0 - rho2
    power = -(rho2 * (u * u + v * v) - 2.0 * rho * u * v) / (2.0 * spare)
    return w[(6 * k + 5) * LANES + n] * across * down * math.exp(power) / math.sqrt(spare)
