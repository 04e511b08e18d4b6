"""A stretched spot: moved while the shutter was open, or seen at a slant through a poor lens.

Its light is taken as a Gaussian of any 2×2 width, the pixel's own blur of 1/12 px² added. That is
no exact picture of a light drawn out along a line, but it is symmetric as that is, so that the
centre stays that of the light's path.
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
)
from rushlight.see.tiles import JIT

STRETCHED_STEPS = 25

PIXEL_BLUR_PX2 = 1.0 / 12.0
"""Variance of an even spread over one pixel [px²] (computed)."""

LEAST_ACROSS_PX2 = 0.2
"""Least variance across the spot, pixel's blur included [px²]: narrower is a line of bad pixels."""

GREATEST_ALONG_PX2 = 81.0
"""Greatest variance along the spot [px²]; the largest window just holds it."""

GREATEST_RATIO = 6.0
"""Greatest ratio of length to breadth: what is longer is an edge, a wire or a tube."""

GREATEST_MISFIT = 0.2
"""Part of the light that a stretched spot may leave unexplained. A tip and its glow seen apart
leave more and stay rejected, as a plan foretells (chosen by trial)."""

# Order of the unknowns.
_XX, _XY, _YY, _LEVEL, _UNKNOWNS = 3, 4, 5, 6, 7


@njit(**JIT)
def moments_of(image, x, y, radius, background, noise, moments):  # type: ignore[no-untyped-def]
    """Light, centre and second moments of what stands above the noise around a place.

    Parameters
    ----------
    image
        (H, W) grey levels.
    x, y, radius
        Where to look [px].
    background, noise
        Level and standard deviation of a pixel [DN].
    moments
        (6,) filled with x, y [px], light [DN px] and moments xx, xy, yy [px²].

    Returns
    -------
    bool
        Whether there was light.
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
    moments[0], moments[1], moments[2] = x + mean_x, y + mean_y, mass
    moments[3] = sum_xx / mass - mean_x * mean_x
    moments[4] = sum_xy / mass - mean_x * mean_y
    moments[5] = sum_yy / mass - mean_y * mean_y
    return True


@njit(**JIT)
def gather_stretched(  # type: ignore[no-untyped-def]
    image, window, unknown, variance, per_light, full_scale, information, score
):
    """Information and score of a stretched spot's seven unknowns, summed over its window.

    Parameters
    ----------
    image
        (H, W) grey levels.
    window
        Left, right, top, bottom (right and bottom excluded) [px].
    unknown
        (7,) x, y, flux, variances xx, xy, yy with the pixel's blur, background.
    variance, per_light, full_scale
        As for `fit.gather`.
    information, score
        (7, 7) and (7,) filled; only the lower half of the information.

    Returns
    -------
    tuple of float
        Squared residuals beyond their expected noise [DN²], sum of squared light [DN²], squared
        residuals in units of the variance, number of unclipped pixels, and of clipped.

    Notes
    -----
    Source: derivatives of the bivariate normal density by its centre and covariance (computed
    here): with v the inverse covariance times the offset, they are v and (v vᵀ − inverse)/2.
    """
    left, right, top, bottom = window
    determinant = unknown[_XX] * unknown[_YY] - unknown[_XY] ** 2
    inverse_xx, inverse_yy = unknown[_YY] / determinant, unknown[_XX] / determinant
    inverse_xy = -unknown[_XY] / determinant
    norm = 1.0 / (2.0 * math.pi * math.sqrt(determinant))
    information[:] = 0.0
    score[:] = 0.0
    slope = np.empty(_UNKNOWNS)
    slope[_LEVEL] = 1.0
    excess = light_squared = chi_squared = 0.0
    open_pixels = clipped = 0
    for row in range(top, bottom):
        dy = row - unknown[Y]
        for column in range(left, right):
            dx = column - unknown[X]
            v_x = inverse_xx * dx + inverse_xy * dy
            v_y = inverse_xy * dx + inverse_yy * dy
            share = norm * math.exp(-0.5 * (v_x * dx + v_y * dy))
            light = unknown[FLUX] * share
            slope[X], slope[Y], slope[FLUX] = light * v_x, light * v_y, share
            slope[_XX] = 0.5 * light * (v_x * v_x - inverse_xx)
            slope[_XY] = light * (v_x * v_y - inverse_xy)
            slope[_YY] = 0.5 * light * (v_y * v_y - inverse_yy)
            spread = variance + per_light * light
            value = float(image[row, column])
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
            for k in range(_UNKNOWNS):
                score[k] += pull * slope[k]
                weighted = weight * slope[k]
                for other in range(k + 1):
                    information[k, other] += weighted * slope[other]
    return excess, light_squared, chi_squared, open_pixels, clipped


@njit(**JIT)
def plausible(unknown):  # type: ignore[no-untyped-def]
    """Whether the widths are those of a light drawn out, rather than of a line or a hole.

    Parameters
    ----------
    unknown
        (7,) as for `gather_stretched`.

    Returns
    -------
    bool
    """
    middle = 0.5 * (unknown[_XX] + unknown[_YY])
    stretch = math.hypot(0.5 * (unknown[_XX] - unknown[_YY]), unknown[_XY])
    across, along = middle - stretch, middle + stretch
    return (
        across >= LEAST_ACROSS_PX2
        and along <= GREATEST_ALONG_PX2
        and along <= GREATEST_RATIO**2 * across
    )


@njit(**JIT)
def fit_stretched(image, x, y, reach, background, noise, per_light, full_scale, dot):  # type: ignore[no-untyped-def]
    """Fit a spot of any 2×2 width.

    Parameters
    ----------
    image
        (H, W) grey levels.
    x, y, reach
        Where to look, and how far around [px].
    background, noise
        Level and standard deviation of a background pixel [DN].
    per_light
        Variance that a grey level of light adds [DN].
    full_scale
        Clipping level [DN].
    dot
        (FIELDS,) filled where the fit came to rest.

    Returns
    -------
    bool
        Whether it did, on a plausible width that explains the light.
    """
    height, width = image.shape
    unknown = np.empty(_UNKNOWNS)
    if not moments_of(image, x, y, reach, background, noise, unknown[:6]):
        return False
    unknown[_XX] = max(unknown[_XX], 0.3)
    unknown[_YY] = max(unknown[_YY], 0.3)
    most = 0.95 * math.sqrt(unknown[_XX] * unknown[_YY])
    unknown[_XY] = min(max(unknown[_XY], -most), most)
    unknown[_LEVEL] = background
    information = np.zeros((_UNKNOWNS, _UNKNOWNS))
    score = np.zeros(_UNKNOWNS)
    step = np.zeros(_UNKNOWNS)
    variance = noise * noise
    for count in range(STRETCHED_STEPS):
        inside = -1.0 <= unknown[X] <= width and -1.0 <= unknown[Y] <= height
        if not (inside and plausible(unknown)):
            return False
        reach_x = min(math.ceil(3.2 * math.sqrt(unknown[_XX]) + 1.0), GREATEST_RADIUS_PX)
        reach_y = min(math.ceil(3.2 * math.sqrt(unknown[_YY]) + 1.0), GREATEST_RADIUS_PX)
        middle_x, middle_y = math.floor(unknown[X] + 0.5), math.floor(unknown[Y] + 0.5)
        window = (
            max(0, middle_x - reach_x),
            min(width, middle_x + reach_x + 1),
            max(0, middle_y - reach_y),
            min(height, middle_y + reach_y + 1),
        )
        if window[1] - window[0] < 4 or window[3] - window[2] < 4:
            return False
        excess, light_squared, chi_squared, open_pixels, clipped = gather_stretched(
            image, window, unknown, variance, per_light, full_scale, information, score
        )
        excess -= 3.0 * variance * math.sqrt(2.0 * open_pixels)
        misfit = math.sqrt(max(excess, 0.0) / max(light_squared, 1e-9))
        if count >= HOPELESS_STEP and misfit > HOPELESS_MISFIT:
            return False
        for k in range(_UNKNOWNS):
            information[k, k] *= 1.0 + 1e-9
        if open_pixels < 2 * _UNKNOWNS or not factor(information):
            return False
        solve(information, score, step)
        # A whole step may leave the realm of covariances: halve it until it does not.
        part = 1.0
        for k in (_XX, _YY):
            part = min(part, 0.4 * unknown[k] / max(abs(step[k]), 1e-12))
        part = min(part, 1.0 / max(abs(step[X]), abs(step[Y]), 1.0))
        gain = 0.0
        for k in range(_UNKNOWNS):
            gain += score[k] * step[k]
            unknown[k] += part * step[k]
        unknown[FLUX] = max(unknown[FLUX], 1e-6)
        if gain < 0.02 and math.hypot(step[X], step[Y]) < 1e-2:
            if misfit > GREATEST_MISFIT or not plausible(unknown):
                return False
            dot[MISFIT], dot[CLIPPED] = misfit, clipped
            write_down(unknown, information, chi_squared / max(open_pixels - _UNKNOWNS, 1), dot)
            return True
    return False


@njit(**JIT)
def write_down(unknown, lower, reduced, dot):  # type: ignore[no-untyped-def]
    """Fill a dot's fields from the fit.

    Parameters
    ----------
    unknown
        (7,) as for `gather_stretched`.
    lower
        (7, 7) Cholesky factor of the information.
    reduced
        χ² a degree of freedom; above 1 it stretches the covariance.
    dot
        (FIELDS,) filled, misfit and clipped pixels left as they are.
    """
    stretch = max(reduced, 1.0)
    unit = np.zeros(_UNKNOWNS)
    column = np.zeros(_UNKNOWNS)
    for k in (X, Y, FLUX):
        unit[:] = 0.0
        unit[k] = 1.0
        solve(lower, unit, column)
        if k == X:
            dot[VAR_X], dot[COV_XY] = column[X] * stretch, column[Y] * stretch
        elif k == Y:
            dot[VAR_Y] = column[Y] * stretch
        else:
            dot[VAR_FLUX] = column[FLUX] * stretch
    dot[X], dot[Y], dot[FLUX] = unknown[X], unknown[Y], unknown[FLUX]
    dot[BACKGROUND], dot[SETTLED] = unknown[_LEVEL], 1.0
    dot[WIDTH_XX] = unknown[_XX] - PIXEL_BLUR_PX2
    dot[WIDTH_XY] = unknown[_XY]
    dot[WIDTH_YY] = unknown[_YY] - PIXEL_BLUR_PX2
    dot[SIGMA] = math.sqrt(0.5 * (dot[WIDTH_XX] + dot[WIDTH_YY]))
    determinant = unknown[_XX] * unknown[_YY] - unknown[_XY] ** 2
    dot[PEAK] = unknown[FLUX] / (2.0 * math.pi * math.sqrt(determinant))
