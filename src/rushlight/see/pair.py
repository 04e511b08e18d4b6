"""Two spots that touch: fitted together, since neither is what a single spot looks like.

Both are given one width, as two lights of one kind at one distance have. The eight unknowns are
two centres, two fluxes, the width and the background, found as those of a single spot are.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from rushlight.see.fit import HOPELESS_MISFIT, HOPELESS_STEP
from rushlight.see.model import (
    BACKGROUND,
    CLIPPED,
    COV_XY,
    FLUX,
    GREATEST_RADIUS_PX,
    LEAST_SIGMA_PX,
    MISFIT,
    PEAK,
    SETTLED,
    SIGMA,
    VAR_FLUX,
    VAR_X,
    VAR_Y,
    WIDTH_XX,
    WIDTH_XY,
    WIDTH_YY,
    X,
    Y,
    clipped_score,
    factor,
    solve,
    spot_profile,
    window_radius,
)
from rushlight.see.tiles import JIT

PAIR_STEPS = 25
PAIR_GREATEST_SIGMA_PX = 6.0
LEAST_PART = 0.15
"""Part of the brighter spot's light that the other must have: less is a halo or a flaw."""
LEAST_SEPARATION = 2.7
"""Least distance of the two, in widths; nearer, they are one dot. A stylus's tip and its glow on
the wall stand nearer than that, and a plan predicts where one spot settles on both."""

# Order of the unknowns: x, y, flux of one; the same of the other; then these.
_WIDTH, _LEVEL, _UNKNOWNS = 6, 7, 8


@njit(**JIT)
def split(image, x, y, radius, background, noise, one, other):  # type: ignore[no-untyped-def]
    """Begin a pair from the shape of its common light.

    Two equal spots of variance s² at ±d on a line have the variance s² + d² along it and s²
    across it; the light's own axes therefore give place, width and distance.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    x, y, radius
        Where to look [px].
    background, noise
        Level and standard deviation of a pixel [DN].
    one, other
        (FIELDS,) whose first five fields are filled.

    Returns
    -------
    bool
        Whether there was light to divide.
    """
    height, width = image.shape
    left, right = max(0, int(x) - radius), min(width, int(x) + radius + 1)
    top, bottom = max(0, int(y) - radius), min(height, int(y) + radius + 1)
    mass = sum_x = sum_y = sum_xx = sum_xy = sum_yy = 0.0
    for row in range(top, bottom):
        for column in range(left, right):
            light = float(image[row, column]) - background
            if light > 3.0 * noise:
                dx, dy = column - x, row - y
                mass += light
                sum_x += light * dx
                sum_y += light * dy
                sum_xx += light * dx * dx
                sum_xy += light * dx * dy
                sum_yy += light * dy * dy
    if mass <= 0.0:
        return False
    mean_x, mean_y = sum_x / mass, sum_y / mass
    xx = sum_xx / mass - mean_x * mean_x
    xy = sum_xy / mass - mean_x * mean_y
    yy = sum_yy / mass - mean_y * mean_y
    half_turn = 0.5 * math.atan2(2.0 * xy, xx - yy)
    stretch = math.hypot(0.5 * (xx - yy), xy)
    across = max(0.5 * (xx + yy) - stretch, 0.15)
    distance = math.sqrt(2.0 * stretch)
    sigma = min(max(math.sqrt(across), 0.5), PAIR_GREATEST_SIGMA_PX)
    for spot, way in ((one, 1.0), (other, -1.0)):
        spot[X] = x + mean_x + way * distance * math.cos(half_turn)
        spot[Y] = y + mean_y + way * distance * math.sin(half_turn)
        spot[FLUX] = 0.5 * mass
        spot[SIGMA] = sigma
        spot[BACKGROUND] = background
        spot[CLIPPED] = 0.0
    return True


@njit(**JIT)
def gather_pair(  # type: ignore[no-untyped-def]
    image, window, unknown, variance, per_light, full_scale, lines, information, score
):
    """Information and score of a pair's eight unknowns, summed over its window.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    window
        Left, right, top, bottom (right and bottom excluded) [px].
    unknown
        (8,) the pair.
    variance, per_light, full_scale
        As for `fit.gather`.
    lines
        (4, 3, ≥ side) room to work in.
    information, score
        (8, 8) and (8,) filled; only the lower half of the information.

    Returns
    -------
    tuple of float
        Squared residuals beyond their expected noise [DN²], sum of squared light [DN²],
        squared residuals in units of the variance, number of unclipped pixels, and of clipped.
    """
    left, right, top, bottom = window
    sigma = unknown[_WIDTH]
    for spot in range(2):
        along, across = lines[2 * spot], lines[2 * spot + 1]
        spot_profile(unknown[3 * spot], sigma, left, right - left, along[0], along[1], along[2])
        spot_profile(
            unknown[3 * spot + 1], sigma, top, bottom - top, across[0], across[1], across[2]
        )
    information[:] = 0.0
    score[:] = 0.0
    slope = np.empty(_UNKNOWNS)
    slope[_LEVEL] = 1.0
    excess = light_squared = chi_squared = 0.0
    open_pixels = clipped = 0
    for j in range(bottom - top):
        for i in range(right - left):
            light = 0.0
            slope[_WIDTH] = 0.0
            for spot in range(2):
                along, across = lines[2 * spot], lines[2 * spot + 1]
                flux = unknown[3 * spot + 2]
                share = along[0, i] * across[0, j]
                light += flux * share
                slope[3 * spot] = flux * along[1, i] * across[0, j]
                slope[3 * spot + 1] = flux * along[0, i] * across[1, j]
                slope[3 * spot + 2] = share
                slope[_WIDTH] += flux * (along[2, i] * across[0, j] + along[0, i] * across[2, j])
            spread = variance + per_light * max(light, 0.0)
            value = float(image[top + j, left + i])
            if value >= full_scale:
                clipped += 1
                short = full_scale - 0.5 - light - unknown[_LEVEL]
                pull, weight = clipped_score(short, math.sqrt(spread))
            else:
                residual = value - light - unknown[_LEVEL]
                weight = 1.0 / spread
                pull = residual * weight
                excess += residual * residual - spread
                light_squared += light * light
                chi_squared += residual * pull
                open_pixels += 1
            for row in range(_UNKNOWNS):
                score[row] += pull * slope[row]
                weighted = weight * slope[row]
                for column in range(row + 1):
                    information[row, column] += weighted * slope[column]
    return excess, light_squared, chi_squared, open_pixels, clipped


@njit(**JIT)
def pair_window(unknown, clipped, width, height):  # type: ignore[no-untyped-def]
    """The window that holds both spots of a pair.

    Parameters
    ----------
    unknown
        (8,) the pair.
    clipped
        Number of clipped pixels.
    width, height
        Size of the picture [px].

    Returns
    -------
    tuple of int
        Left, right, top, bottom (right and bottom excluded) [px].
    """
    radius = window_radius(unknown[_WIDTH], 0.5 * clipped)
    left = math.floor(min(unknown[0], unknown[3]) + 0.5) - radius
    right = math.floor(max(unknown[0], unknown[3]) + 0.5) + radius + 1
    top = math.floor(min(unknown[1], unknown[4]) + 0.5) - radius
    bottom = math.floor(max(unknown[1], unknown[4]) + 0.5) + radius + 1
    return max(0, left), min(width, right), max(0, top), min(height, bottom)


@njit(**JIT)
def fit_pair(image, one, other, variance, per_light, full_scale):  # type: ignore[no-untyped-def]
    """Fit two touching spots, beginning from what their rows hold.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    one, other
        (FIELDS,) begun by `split`; filled as by `fit.fit_spot`.
    variance, per_light, full_scale
        As for `fit.fit_spot`.

    Returns
    -------
    bool
        Whether the fit came to rest on two spots of comparable light, apart from each other.
    """
    height, width = image.shape
    unknown = np.array(
        [
            one[X], one[Y], one[FLUX], other[X], other[Y], other[FLUX],
            one[SIGMA], one[BACKGROUND],
        ]
    )  # fmt: skip
    side = 2 * GREATEST_RADIUS_PX + 1
    lines = np.empty((4, 3, side))
    information = np.zeros((_UNKNOWNS, _UNKNOWNS))
    score = np.zeros(_UNKNOWNS)
    step = np.zeros(_UNKNOWNS)
    settled = False
    misfit = stretch = 0.0
    clipped = 0
    window = (0, 0, 0, 0)
    for count in range(PAIR_STEPS):
        for k in range(_UNKNOWNS):
            if not math.isfinite(unknown[k]):
                return False
        if count < 8:
            window = pair_window(unknown, clipped, width, height)
        if not (4 <= window[1] - window[0] <= side and 4 <= window[3] - window[2] <= side):
            return False
        excess, light_squared, chi_squared, open_pixels, clipped = gather_pair(
            image, window, unknown, variance, per_light, full_scale, lines, information, score
        )
        excess -= 3.0 * variance * math.sqrt(2.0 * open_pixels)
        misfit = math.sqrt(max(excess, 0.0) / max(light_squared, 1e-9))
        stretch = max(chi_squared / max(open_pixels - _UNKNOWNS, 1), 1.0)
        if count >= HOPELESS_STEP and misfit > HOPELESS_MISFIT:
            return False
        for k in range(_UNKNOWNS):
            information[k, k] *= 1.0 + 1e-7
        if open_pixels < 10 or not factor(information):
            return False
        if settled:
            break
        solve(information, score, step)
        farthest = 0.0
        for k in (0, 1, 3, 4):
            move = min(max(step[k], -1.0), 1.0)
            unknown[k] += move
            farthest = max(farthest, abs(move))
        for k in (2, 5):
            unknown[k] = min(max(unknown[k] + step[k], 0.4 * unknown[k]), 3.0 * unknown[k])
        turn = min(max(step[_WIDTH], -0.2 * unknown[_WIDTH]), 0.2 * unknown[_WIDTH])
        unknown[_WIDTH] = min(max(unknown[_WIDTH] + turn, LEAST_SIGMA_PX), PAIR_GREATEST_SIGMA_PX)
        unknown[_LEVEL] += step[_LEVEL]
        settled = count >= 2 and farthest < 1e-3
    for spot, first in ((one, 0), (other, 3)):
        spot[X], spot[Y], spot[FLUX] = unknown[first], unknown[first + 1], unknown[first + 2]
        spot[SIGMA], spot[BACKGROUND] = unknown[_WIDTH], unknown[_LEVEL]
        spot[WIDTH_XX] = spot[WIDTH_YY] = unknown[_WIDTH] ** 2
        spot[WIDTH_XY] = 0.0
        spot[MISFIT], spot[SETTLED] = misfit, 1.0 if settled else 0.0
        spot[CLIPPED] = math.ceil(0.5 * clipped)
        spot[PEAK] = spot[FLUX] * math.erf(0.5 / (math.sqrt(2.0) * spot[SIGMA])) ** 2
        score[:] = 0.0
        for k in range(3):
            score[:] = 0.0
            score[first + k] = 1.0
            solve(information, score, step)
            if k == 0:
                spot[VAR_X] = step[first] * stretch
                spot[COV_XY] = step[first + 1] * stretch
            elif k == 1:
                spot[VAR_Y] = step[first + 1] * stretch
            else:
                spot[VAR_FLUX] = step[first + 2] * stretch
    apart = math.hypot(one[X] - other[X], one[Y] - other[Y])
    weaker = min(one[FLUX], other[FLUX])
    brighter = max(one[FLUX], other[FLUX])
    return settled and apart >= LEAST_SEPARATION * one[SIGMA] and weaker >= LEAST_PART * brighter
