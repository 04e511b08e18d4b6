"""Fit a spot: where its centre is, as well as the noise of its pixels allows.

The picture of a small light is taken as a round Gaussian spot, integrated over each pixel, on a
level background. Centre, flux, width and background are found by Fisher scoring: Newton steps
with the expected information in place of the curvature. The inverse of that information is the
Cramér–Rao bound of the centre, so the fit reports its own uncertainty. A clipped pixel only says
"at least this much", and counts where the model falls short of it.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from rushlight.see.scan import JIT

# Fields of a fitted spot, in one row of numbers.
X, Y, FLUX, SIGMA, BACKGROUND = 0, 1, 2, 3, 4
VAR_X, COV_XY, VAR_Y, VAR_FLUX = 5, 6, 7, 8
MISFIT, CLIPPED, PEAK, SETTLED = 9, 10, 11, 12
FIELDS = 13

LEAST_SIGMA_PX = 0.3
GREATEST_SIGMA_PX = 10.0
GREATEST_RADIUS_PX = 30
"""Half side of the largest window [px]; it holds a spot of σ = 9 px."""

STEPS = 25
HOPELESS_STEP = 5
HOPELESS_MISFIT = 0.6
"""A model that leaves this part of the light unexplained after so many steps is the wrong one."""

SETTLED_SIGMAS = 0.01
"""A fit has settled when a step moves the centre by less than this part of its deviation."""


@njit(**JIT)
def window_radius(sigma, clipped):  # type: ignore[no-untyped-def]
    """Half side of the window that a spot is fitted in [px].

    Wide enough to see the background, narrow enough to leave a faint halo to it; where pixels
    are clipped, wide enough to see the slopes beyond them.

    Parameters
    ----------
    sigma
        The spot's width [px], > 0.
    clipped
        Number of clipped pixels.

    Returns
    -------
    int
        Whole pixels, 4–30.
    """
    wanted = max(3.2 * sigma, math.sqrt(clipped / math.pi) + 2.2 * sigma)
    return min(max(math.ceil(wanted + 1.0), 4), GREATEST_RADIUS_PX)


@njit(**JIT)
def spot_profile(centre, sigma, first, count, profile, by_centre, by_sigma):  # type: ignore[no-untyped-def]
    """A Gaussian integrated over each pixel of a line, and its derivatives.

    Parameters
    ----------
    centre, sigma
        Centre and width [px].
    first, count
        First pixel and number of pixels.
    profile, by_centre, by_sigma
        (≥ count,) filled with each pixel's share of the light, and its derivatives [1/px].
    """
    root = 1.0 / math.sqrt(2.0)
    norm = 1.0 / math.sqrt(2.0 * math.pi)
    edge = (first - 0.5 - centre) / sigma
    area = 0.5 * math.erf(edge * root)
    height = norm * math.exp(-0.5 * edge * edge)
    for pixel in range(count):
        next_edge = (first + pixel + 0.5 - centre) / sigma
        next_area = 0.5 * math.erf(next_edge * root)
        next_height = norm * math.exp(-0.5 * next_edge * next_edge)
        profile[pixel] = next_area - area
        by_centre[pixel] = (height - next_height) / sigma
        by_sigma[pixel] = (edge * height - next_edge * next_height) / sigma
        edge = next_edge
        area = next_area
        height = next_height


@njit(**JIT)
def factor(matrix):  # type: ignore[no-untyped-def]
    """Cholesky factor of a small symmetric matrix, in its own lower half.

    Parameters
    ----------
    matrix
        (n, n) symmetric; the lower half is replaced by the factor.

    Returns
    -------
    bool
        Whether the matrix was positive definite.
    """
    size = matrix.shape[0]
    for row in range(size):
        for column in range(row + 1):
            total = matrix[row, column]
            for k in range(column):
                total -= matrix[row, k] * matrix[column, k]
            if row == column:
                if not total > 1e-300:
                    return False
                matrix[row, row] = math.sqrt(total)
            else:
                matrix[row, column] = total / matrix[column, column]
    return True


@njit(**JIT)
def solve(lower, right, solution):  # type: ignore[no-untyped-def]
    """Solve a system whose Cholesky factor is known.

    Parameters
    ----------
    lower
        (n, n) with the factor in its lower half, from `factor`.
    right
        (n,) right-hand side.
    solution
        (n,) filled with the solution.
    """
    size = lower.shape[0]
    for row in range(size):
        total = right[row]
        for k in range(row):
            total -= lower[row, k] * solution[k]
        solution[row] = total / lower[row, row]
    for row in range(size - 1, -1, -1):
        total = solution[row]
        for k in range(row + 1, size):
            total -= lower[k, row] * solution[k]
        solution[row] = total / lower[row, row]


@njit(**JIT)
def clipped_score(short, deviation):  # type: ignore[no-untyped-def]
    """What a clipped pixel says about the model, and with what weight.

    The pixel says that its light exceeds the clipping level. With z the distance from the model
    up to that level in standard deviations, the score is the normal hazard h(z) over the
    deviation, and the information h (h − z): near zero when the model is far above the level.

    Parameters
    ----------
    short
        Clipping level less model [DN].
    deviation
        Standard deviation of the pixel [DN], > 0.

    Returns
    -------
    tuple of float
        Score [1/DN] and information [1/DN²].

    Notes
    -----
    Source: the derivative of the logarithm of a normal tail (computed here).
    """
    z = short / deviation
    if z < -8.0:
        return 0.0, 0.0
    if z > 25.0:  # the tail underflows; the hazard tends to z + 1/z
        return (z + 1.0 / z) / deviation, 1.0 / (deviation * deviation)
    tail = 0.5 * math.erfc(z * math.sqrt(0.5))
    hazard = math.exp(-0.5 * z * z) / (math.sqrt(2.0 * math.pi) * tail)
    return hazard / deviation, hazard * (hazard - z) / (deviation * deviation)


@njit(**JIT)
def gather(image, window, spot, variance, per_light, full_scale, lines, information, score):  # type: ignore[no-untyped-def]
    """Information and score of a spot's five unknowns, summed over its window.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    window
        Left, right, top, bottom (right and bottom excluded) [px].
    spot
        (FIELDS,) x, y, flux, σ and background of the model.
    variance
        Variance of a background pixel, quantisation included [DN²], > 0.
    per_light
        Variance that a grey level of the spot's own light adds [DN], ≥ 0.
    full_scale
        Clipping level [DN].
    lines
        (6, ≥ side) room to work in.
    information, score
        (5, 5) and (5,) filled; only the lower half of the information.

    Returns
    -------
    tuple of float
        Squared residuals beyond their expected noise [DN²], sum of squared light [DN²],
        squared residuals in units of the variance, number of unclipped pixels, and of clipped.
    """
    left, right, top, bottom = window
    flux = spot[FLUX]
    spot_profile(spot[X], spot[SIGMA], left, right - left, lines[0], lines[1], lines[2])
    spot_profile(spot[Y], spot[SIGMA], top, bottom - top, lines[3], lines[4], lines[5])
    information[:] = 0.0
    score[:] = 0.0
    slope = np.empty(5)
    slope[BACKGROUND] = 1.0
    excess = 0.0
    light_squared = 0.0
    chi_squared = 0.0
    open_pixels = 0
    clipped = 0
    for j in range(bottom - top):
        across = lines[3, j]
        for i in range(right - left):
            along = lines[0, i]
            share = along * across
            light = flux * share
            spread = variance + per_light * max(light, 0.0)
            value = float(image[top + j, left + i])
            slope[X] = flux * lines[1, i] * across
            slope[Y] = flux * along * lines[4, j]
            slope[FLUX] = share
            slope[SIGMA] = flux * (lines[2, i] * across + along * lines[5, j])
            if value >= full_scale:
                clipped += 1
                short = full_scale - 0.5 - light - spot[BACKGROUND]
                pull, weight = clipped_score(short, math.sqrt(spread))
            else:
                residual = value - light - spot[BACKGROUND]
                weight = 1.0 / spread
                pull = residual * weight
                excess += residual * residual - spread
                light_squared += light * light
                chi_squared += residual * pull
                open_pixels += 1
            for row in range(5):
                score[row] += pull * slope[row]
                weighted = weight * slope[row]
                for column in range(row + 1):
                    information[row, column] += weighted * slope[column]
    return excess, light_squared, chi_squared, open_pixels, clipped


@njit(**JIT)
def fit_spot(image, spot, variance, per_light, full_scale):  # type: ignore[no-untyped-def]
    """Fit one spot, beginning from what its row of numbers holds.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    spot
        (FIELDS,): x, y [px], flux [DN px], σ [px], background [DN] and clipped pixels to begin
        with; all fields are filled. `MISFIT` is the part of the light that the model does not
        explain (0–1 and above); `SETTLED` is 1 when the fit came to rest.
    variance
        Variance of a background pixel, quantisation included [DN²], > 0.
    per_light
        Variance that a grey level of the spot's own light adds [DN], ≥ 0.
    full_scale
        Clipping level [DN].

    Notes
    -----
    Source: maximum likelihood by Fisher's method of scoring (R. A. Fisher 1925, from memory);
    the centre's covariance is the inverse information, stretched by the reduced χ² where that
    exceeds 1.
    """
    height, width = image.shape
    begin_x = spot[X]
    begin_y = spot[Y]
    lines = np.empty((6, 2 * GREATEST_RADIUS_PX + 1))
    information = np.zeros((5, 5))
    score = np.zeros(5)
    step = np.zeros(5)
    spot[SETTLED] = 0.0
    # A weak belief about the width holds faint fits together and bright ones not at all.
    likely = min(max(spot[SIGMA], 0.7), 4.0)
    belief = 1.0 / (likely * likely)
    radius = 0
    window = (0, 0, 0, 0)
    for count in range(STEPS):
        if count < 8:  # later changes of the window would keep the fit from coming to rest
            radius = window_radius(spot[SIGMA], spot[CLIPPED])
            centre_x = math.floor(spot[X] + 0.5)
            centre_y = math.floor(spot[Y] + 0.5)
            window = (
                max(0, centre_x - radius),
                min(width, centre_x + radius + 1),
                max(0, centre_y - radius),
                min(height, centre_y + radius + 1),
            )
        if window[1] - window[0] < 4 or window[3] - window[2] < 4:
            return
        excess, light_squared, chi_squared, open_pixels, clipped = gather(
            image, window, spot, variance, per_light, full_scale, lines, information, score
        )
        information[SIGMA, SIGMA] += belief
        score[SIGMA] += belief * (likely - spot[SIGMA])
        spot[CLIPPED] = clipped
        # Noise alone makes some excess; what is within three deviations of none is no misfit.
        excess -= 3.0 * variance * math.sqrt(2.0 * open_pixels)
        spot[MISFIT] = math.sqrt(max(excess, 0.0) / max(light_squared, 1e-9))
        if count >= HOPELESS_STEP and spot[MISFIT] > HOPELESS_MISFIT:
            return
        for k in range(5):
            information[k, k] *= 1.0 + 1e-9
        if open_pixels < 6 or not factor(information):
            return
        solve(information, score, step)
        if spot[SETTLED] == 1.0:
            break
        move_x = min(max(step[X], -1.0), 1.0)
        move_y = min(max(step[Y], -1.0), 1.0)
        spot[X] += move_x
        spot[Y] += move_y
        spot[FLUX] = min(max(spot[FLUX] + step[FLUX], 0.4 * spot[FLUX]), 3.0 * spot[FLUX])
        turn = min(max(step[SIGMA], -0.3 * spot[SIGMA]), 0.4 * spot[SIGMA])
        spot[SIGMA] = min(max(spot[SIGMA] + turn, LEAST_SIGMA_PX), GREATEST_SIGMA_PX)
        spot[BACKGROUND] += step[BACKGROUND]
        astray = max(abs(spot[X] - begin_x), abs(spot[Y] - begin_y))
        if not astray < 4.0 + 2.0 * likely:
            return
        least = (SETTLED_SIGMAS / max(information[X, X], information[Y, Y])) ** 2
        if count >= 2 and move_x * move_x + move_y * move_y < max(least, 1e-10):
            spot[SETTLED] = 1.0
    report(spot, information, chi_squared / max(open_pixels - 5, 1), width, height)


@njit(**JIT)
def report(spot, lower, reduced, width, height):  # type: ignore[no-untyped-def]
    """Fill in the uncertainties and the peak of a fitted spot.

    Parameters
    ----------
    spot
        (FIELDS,) the fitted spot.
    lower
        (5, 5) Cholesky factor of its information.
    reduced
        χ² a degree of freedom; above 1 it stretches the covariance.
    width, height
        Size of the picture [px].
    """
    stretch = max(reduced, 1.0)
    unit = np.zeros(5)
    column = np.zeros(5)
    for k in range(3):
        unit[:] = 0.0
        unit[k] = 1.0
        solve(lower, unit, column)
        if k == X:
            spot[VAR_X] = column[X] * stretch
            spot[COV_XY] = column[Y] * stretch
        elif k == Y:
            spot[VAR_Y] = column[Y] * stretch
        else:
            spot[VAR_FLUX] = column[FLUX] * stretch
    reach = 0.5 / (math.sqrt(2.0) * spot[SIGMA])
    spot[PEAK] = spot[FLUX] * math.erf(reach) ** 2
