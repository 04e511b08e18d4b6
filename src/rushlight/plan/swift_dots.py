"""A light and its glows as one dot, before and after the fit: start, brightest pixel, misfit.

Cells are laid out as in `rushlight.plan.swift_fit`; all lanes are worked on side by side. What is
found is what `rushlight.physics.mixture` finds in pixels (tests/plan/test_swift.py).
"""

from __future__ import annotations

import math
from typing import Any

from numba import njit
from numpy.typing import NDArray

from rushlight.plan.swift_fit import (
    EDGE_PX,
    HALF_WINDOW_PX,
    INSIDE,
    LANE,
    LANES,
    LEVELS,
    MIDDLE_X,
    MIDDLE_Y,
    MISFIT,
    PEAK,
    PIXEL_PX2,
    SPOT_B,
    SPOT_F,
    SPOT_V,
    SPOT_X,
    SPOT_Y,
    STEADY,
    SUMS,
    fading,
    within,
)

Array = NDArray[Any]


@njit(**STEADY)
def start(w: Array) -> None:
    """Fill in where the fits of a cell begin, and how bright their brightest pixels are."""
    for n in range(LANES):
        w[PEAK + n] = -1.0
        w[SPOT_B + n] = 0.0
    for i in range(3):
        for n in range(LANES):
            total, x, y, v = 0.0, 0.0, 0.0, 0.0
            atx, aty = w[6 * i * LANES + n], w[(6 * i + 1) * LANES + n]
            for k in range(3):
                bx, by = w[6 * k * LANES + n], w[(6 * k + 1) * LANES + n]
                a, b = w[(6 * k + 2) * LANES + n], w[(6 * k + 3) * LANES + n]
                c, f = w[(6 * k + 4) * LANES + n], w[(6 * k + 5) * LANES + n]
                one = 1.0 / (a * b - c * c)
                ux, uy = atx - bx, aty - by
                far = 0.5 * (b * ux * ux - 2.0 * c * ux * uy + a * uy * uy) * one
                level = f * math.sqrt(one) * fading(far)
                total += level
                x += level * bx
                y += level * by
                v += level * 0.5 * (a + b)
            w[LEVELS + LANES * i + n] = total * 0.15915494309189535
            more = total > w[PEAK + n]
            share = 1.0 / total
            w[SPOT_X + n] = x * share if more else w[SPOT_X + n]
            w[SPOT_Y + n] = y * share if more else w[SPOT_Y + n]
            w[SPOT_V + n] = v * share if more else w[SPOT_V + n]
            w[MIDDLE_X + n] = math.floor(atx + 0.5) if more else w[MIDDLE_X + n]
            w[MIDDLE_Y + n] = math.floor(aty + 0.5) if more else w[MIDDLE_Y + n]
            w[PEAK + n] = total if more else w[PEAK + n]
    _window(w)
    _brightest(w)


@njit(**STEADY)
def _window(w: Array) -> None:
    """Fill in the light inside the window, with which a fit begins."""
    for n in range(LANES):
        w[INSIDE + n] = 0.0
    for k in range(3):
        for n in range(LANES):
            x, y = (
                w[6 * k * LANES + n] - w[MIDDLE_X + n],
                w[(6 * k + 1) * LANES + n] - w[MIDDLE_Y + n],
            )
            ox = 1.0 / math.sqrt(w[(6 * k + 2) * LANES + n])
            oy = 1.0 / math.sqrt(w[(6 * k + 3) * LANES + n])
            across = within((EDGE_PX - x) * ox) + within((EDGE_PX + x) * ox) - 1.0
            up = within((EDGE_PX - y) * oy) + within((EDGE_PX + y) * oy) - 1.0
            w[INSIDE + n] += w[(6 * k + 5) * LANES + n] * across * up
    for n in range(LANES):
        w[SPOT_F + n] = w[INSIDE + n]


@njit(**STEADY)
def _brightest(w: Array) -> None:
    """Fill in the light of the brightest of five pixels: the emitter's, and the four round the
    start. Light in a pixel is the density in its middle; the emitter's own pixel is met exactly."""
    for n in range(LANES):
        w[PEAK + n] = 0.0
    for i in range(5):
        middle = 1.0 if i == 4 else 0.0
        right, up = (i & 1) * (1.0 - middle), (i >> 1 & 1) * (1.0 - middle)
        for n in range(LANES):
            px = (math.floor(w[SPOT_X + n]) + right) * (1.0 - middle)
            py = (math.floor(w[SPOT_Y + n]) + up) * (1.0 - middle)
            light = 0.0
            for k in range(3):
                a, b = w[(6 * k + 2) * LANES + n], w[(6 * k + 3) * LANES + n]
                c, f = w[(6 * k + 4) * LANES + n], w[(6 * k + 5) * LANES + n]
                ux, uy = px - w[6 * k * LANES + n], py - w[(6 * k + 1) * LANES + n]
                one = 1.0 / (a * b - c * c)
                far = 0.5 * (b * ux * ux - 2.0 * c * ux * uy + a * uy * uy) * one
                light += f * 0.15915494309189535 * math.sqrt(one) * fading(far)
            a, b = w[2 * LANES + n], w[5 * LANES + n]
            side = 2.0 * within(0.5 / math.sqrt(a - PIXEL_PX2)) - 1.0
            own = px == 0.0 and py == 0.0
            light += b * (side * side - 0.15915494309189535 / a) if own else 0.0
            w[PEAK + n] = max(w[PEAK + n], light)


@njit(**STEADY)
def doubtful(w: Array, exposure_s: float) -> float:
    """How far the settled spots of a cell miss the light in the middle of any blob, at most, over
    their own peaks: where this is small, no spot parts."""
    worst = 0.0
    for i in range(3):
        for n in range(LANES):
            one = 1.0 / w[SPOT_V + n]
            ux, uy = (
                w[6 * i * LANES + n] - w[SPOT_X + n],
                w[(6 * i + 1) * LANES + n] - w[SPOT_Y + n],
            )
            height = w[SPOT_F + n] * 0.15915494309189535 * one
            model = height * fading(0.5 * (ux * ux + uy * uy) * one) + w[SPOT_B + n]
            worst = max(worst, abs(exposure_s * w[LEVELS + LANES * i + n] - model) / height)
    return worst


@njit(**STEADY)
def misfit(w: Array) -> float:
    """Fill in the misfit of a cell's settled spots (`physics.mixture.MixtureFit`); the greatest."""
    far = 0.0
    for n in range(LANES):
        w[SUMS + n] = w[SUMS + LANES + n] = 0.0
        w[MISFIT + n] = 3.2 * math.sqrt(w[SPOT_V + n] - PIXEL_PX2) + 1.0
        off = max(abs(w[SPOT_X + n] - w[MIDDLE_X + n]), abs(w[SPOT_Y + n] - w[MIDDLE_Y + n]))
        far = max(far, w[MISFIT + n] + off)
    side = min(int(far), HALF_WINDOW_PX)
    for i in range(-side, side + 1):
        for j in range(-side, side + 1):
            _compare(w, float(i), float(j))
    worst = 0.0
    for n in range(LANES):
        w[MISFIT + n] = math.sqrt(w[SUMS + n] / w[SUMS + LANES + n])
        worst = max(worst, w[MISFIT + n])
    return worst


@njit(**LANE)
def _compare(w: Array, i: float, j: float) -> None:
    """Add one pixel's squares of what the spots leave over and of what they explain."""
    for n in range(LANES):
        v, reach = w[SPOT_V + n], w[MISFIT + n]
        x, y = w[MIDDLE_X + n] + i, w[MIDDLE_Y + n] + j
        light = -w[SPOT_B + n]
        for k in range(3):
            a, b = w[(6 * k + 2) * LANES + n], w[(6 * k + 3) * LANES + n]
            c, f = w[(6 * k + 4) * LANES + n], w[(6 * k + 5) * LANES + n]
            ux, uy = x - w[6 * k * LANES + n], y - w[(6 * k + 1) * LANES + n]
            one = 1.0 / (a * b - c * c)
            far = 0.5 * (b * ux * ux - 2.0 * c * ux * uy + a * uy * uy) * one
            light += f * 0.15915494309189535 * math.sqrt(one) * fading(far)
        ux, uy = x - w[SPOT_X + n], y - w[SPOT_Y + n]
        one = 1.0 / v
        model = w[SPOT_F + n] * 0.15915494309189535 * one
        model *= fading(0.5 * (ux * ux + uy * uy) * one)
        near = 1.0 if max(abs(ux), abs(uy)) <= reach else 0.0
        w[SUMS + n] += near * (light - model) * (light - model)
        w[SUMS + LANES + n] += near * model * model


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
