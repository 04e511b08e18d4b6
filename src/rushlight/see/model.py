"""The light of one spot in its window: model, information and score.

A Gaussian integrated over each pixel, on a level ground. Its slopes are products of a line across
and a line down, which keeps the sums cheap. A clipped pixel only says "at least this much".
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from rushlight.see.tiles import JIT

FAST: dict[str, Any] = {**JIT, "fastmath": {"reassoc", "contract", "nsz", "arcp"}}
"""For sums whose order does not matter, so that the machine may form several at once."""

# Fields of a fitted spot, in one row of numbers.
X, Y, FLUX, SIGMA, BACKGROUND = 0, 1, 2, 3, 4
VAR_X, COV_XY, VAR_Y, VAR_FLUX = 5, 6, 7, 8
MISFIT, CLIPPED, PEAK, SETTLED = 9, 10, 11, 12
WIDTH_XX, WIDTH_XY, WIDTH_YY = 13, 14, 15
FIELDS = 16

LEAST_SIGMA_PX = 0.3
GREATEST_SIGMA_PX = 10.0
GREATEST_RADIUS_PX = 30
"""Half side of the largest window [px]; it holds a spot of σ = 9 px."""

SIDE_PX = 64
"""Room for a row of the largest window, and for the padding that evens its length."""


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
def copy_window(image, window, full_scale, values, seen):  # type: ignore[no-untyped-def]
    """Copy a window of a picture, and mark which of its pixels are not clipped.

    Parameters
    ----------
    image
        (H, W) grey levels.
    window
        Left, right, top, bottom (right and bottom excluded) [px].
    full_scale
        Clipping level [DN].
    values, seen
        (SIDE_PX, SIDE_PX) filled with the levels, and 1 or 0 for open and clipped pixels. Each
        row is padded with unseen pixels to a multiple of four.

    Returns
    -------
    int
        Number of clipped pixels.
    """
    left, right, top, bottom = window
    count = right - left
    clipped = 0
    for j in range(bottom - top):
        line = image[top + j]
        row = values[j]
        open_row = seen[j]
        for i in range(count):
            value = float(line[left + i])
            shut = value >= full_scale
            clipped += shut
            row[i] = value
            open_row[i] = 0.0 if shut else 1.0
        for i in range(count, padded(count)):
            row[i] = 0.0
            open_row[i] = 0.0
    return clipped


@njit(**JIT)
def padded(count):  # type: ignore[no-untyped-def]
    """The next multiple of four.

    Parameters
    ----------
    count
        A whole number, ≥ 0.

    Returns
    -------
    int
    """
    return (count + 3) // 4 * 4


@njit(**FAST)
def row_sums(  # type: ignore[no-untyped-def]
    values, seen, profile, by_centre, by_sigma, flux, background, variance, per_light, sums
):
    """What one row of a window adds to a fit, before its place in the column is counted in.

    Every slope of the model is a product of a line across and a line down, so that fourteen sums
    along a row serve all fifteen entries of the information and the five of the score.

    Parameters
    ----------
    values, seen
        (N,) levels [DN], and 1 for the pixels that count.
    profile, by_centre, by_sigma
        (N,) shares of the light, and their derivatives.
    flux
        The spot's flux times the row's share [DN px].
    background, variance, per_light
        As for `gather`.
    sums
        (17,) filled: products of the three lines under the weights (0–5), the lines (6–8), the
        weights (9), the lines and one under the weighted residuals (10–13), squared residuals
        beyond their expected noise, squared light, and χ² (14–16).
    """
    gg = gc = gs = cc = cs = ss = g = c = s = total = 0.0
    pull_g = pull_c = pull_s = pull = 0.0
    excess = squares = chi_squared = 0.0
    for i in range(values.size):
        light = flux * profile[i]
        spread = variance + per_light * light
        residual = values[i] - light - background
        weight = seen[i] / spread
        weighted_g = weight * profile[i]
        weighted_c = weight * by_centre[i]
        weighted_s = weight * by_sigma[i]
        pulled = weight * residual
        gg += weighted_g * profile[i]
        gc += weighted_g * by_centre[i]
        gs += weighted_g * by_sigma[i]
        cc += weighted_c * by_centre[i]
        cs += weighted_c * by_sigma[i]
        ss += weighted_s * by_sigma[i]
        g += weighted_g
        c += weighted_c
        s += weighted_s
        total += weight
        pull_g += pulled * profile[i]
        pull_c += pulled * by_centre[i]
        pull_s += pulled * by_sigma[i]
        pull += pulled
        excess += seen[i] * (residual * residual - spread)
        squares += seen[i] * light * light
        chi_squared += pulled * residual
    sums[0], sums[1], sums[2], sums[3], sums[4], sums[5] = gg, gc, gs, cc, cs, ss
    sums[6], sums[7], sums[8], sums[9] = g, c, s, total
    sums[10], sums[11], sums[12], sums[13] = pull_g, pull_c, pull_s, pull
    sums[14], sums[15], sums[16] = excess, squares, chi_squared


@njit(**JIT)
def gather(  # type: ignore[no-untyped-def]
    values, seen, window, spot, variance, per_light, full_scale, lines, information, score
):
    """Information and score of a spot's five unknowns, summed over its window.

    Parameters
    ----------
    values, seen
        As filled by `copy_window`.
    window
        Left, right, top, bottom (right and bottom excluded) [px].
    spot
        (FIELDS,) x, y, flux, σ, background and clipped pixels.
    variance
        Variance of a background pixel, quantisation included [DN²], > 0.
    per_light
        Variance that a grey level of the spot's own light adds [DN], ≥ 0.
    full_scale
        Clipping level [DN].
    lines
        (6, SIDE_PX) room to work in.
    information, score
        (5, 5) and (5,) filled; only the lower half of the information.

    Returns
    -------
    tuple of float
        Squared residuals beyond their expected noise [DN²], sum of squared light [DN²],
        squared residuals in units of the variance.
    """
    left, right, top, bottom = window
    flux = spot[FLUX]
    length = padded(right - left)
    spot_profile(spot[X], spot[SIGMA], left, length, lines[0], lines[1], lines[2])
    spot_profile(spot[Y], spot[SIGMA], top, bottom - top, lines[3], lines[4], lines[5])
    along, by_x, by_s = lines[0, :length], lines[1, :length], lines[2, :length]
    sums = np.empty(17)
    xx = yx = yy = fx = fy = ff = sx = sy = sf = s_s = bx = by = bf = bs = bb = 0.0
    pull_x = pull_y = pull_f = pull_s = pull_b = 0.0
    excess = light_squared = chi_squared = 0.0
    for j in range(bottom - top):
        h, h_y, h_s = lines[3, j], lines[4, j], lines[5, j]
        row_sums(
            values[j, :length], seen[j, :length], along, by_x, by_s,
            flux * h, spot[BACKGROUND], variance, per_light, sums,
        )  # fmt: skip
        gg, gc, gs, cc, cs, ss = sums[0], sums[1], sums[2], sums[3], sums[4], sums[5]
        xx += h * h * cc
        yx += h * h_y * gc
        yy += h_y * h_y * gg
        fx += h * h * gc
        fy += h * h_y * gg
        ff += h * h * gg
        sx += h * (h * cs + h_s * gc)
        sy += h_y * (h * gs + h_s * gg)
        sf += h * (h * gs + h_s * gg)
        s_s += h * h * ss + 2.0 * h * h_s * gs + h_s * h_s * gg
        bx += h * sums[7]
        by += h_y * sums[6]
        bf += h * sums[6]
        bs += h * sums[8] + h_s * sums[6]
        bb += sums[9]
        pull_x += h * sums[11]
        pull_y += h_y * sums[10]
        pull_f += h * sums[10]
        pull_s += h * sums[12] + h_s * sums[10]
        pull_b += sums[13]
        excess += sums[14]
        light_squared += sums[15]
        chi_squared += sums[16]
    information[X, X] = flux * flux * xx
    information[Y, X], information[Y, Y] = flux * flux * yx, flux * flux * yy
    information[FLUX, X], information[FLUX, Y] = flux * fx, flux * fy
    information[FLUX, FLUX] = ff
    information[SIGMA, X], information[SIGMA, Y] = flux * flux * sx, flux * flux * sy
    information[SIGMA, FLUX], information[SIGMA, SIGMA] = flux * sf, flux * flux * s_s
    information[BACKGROUND, X], information[BACKGROUND, Y] = flux * bx, flux * by
    information[BACKGROUND, FLUX], information[BACKGROUND, SIGMA] = bf, flux * bs
    information[BACKGROUND, BACKGROUND] = bb
    score[X], score[Y], score[FLUX] = flux * pull_x, flux * pull_y, pull_f
    score[SIGMA], score[BACKGROUND] = flux * pull_s, pull_b
    if spot[CLIPPED] > 0.0:
        gather_clipped(
            seen, window, spot, variance, per_light, full_scale, lines, information, score
        )
    return excess, light_squared, chi_squared


@njit(**JIT)
def gather_clipped(  # type: ignore[no-untyped-def]
    seen, window, spot, variance, per_light, full_scale, lines, information, score
):
    """Add what the clipped pixels say to a spot's information and score.

    Parameters
    ----------
    seen, window, spot, variance, per_light, full_scale, lines, information, score
        As for `gather`, which has filled the lines.
    """
    left, right, top, bottom = window
    flux = spot[FLUX]
    slope = np.empty(5)
    slope[BACKGROUND] = 1.0
    for j in range(bottom - top):
        across = lines[3, j]
        for i in range(right - left):
            if seen[j, i] != 0.0:
                continue
            along = lines[0, i]
            light = flux * along * across
            short = full_scale - 0.5 - light - spot[BACKGROUND]
            pull, weight = clipped_score(short, math.sqrt(variance + per_light * light))
            if pull == 0.0:
                continue
            slope[X] = flux * lines[1, i] * across
            slope[Y] = flux * along * lines[4, j]
            slope[FLUX] = along * across
            slope[SIGMA] = flux * (lines[2, i] * across + along * lines[5, j])
            for row in range(5):
                score[row] += pull * slope[row]
                for column in range(row + 1):
                    information[row, column] += weight * slope[row] * slope[column]


@njit(**JIT)
def window_around(x, y, radius, width, height):  # type: ignore[no-untyped-def]
    """A square window around a place, cut at the frame.

    Parameters
    ----------
    x, y
        The place [px].
    radius
        Half side [px].
    width, height
        Size of the picture [px].

    Returns
    -------
    tuple of int
        Left, right, top, bottom (right and bottom excluded) [px].
    """
    middle_x = math.floor(x + 0.5)
    middle_y = math.floor(y + 0.5)
    return (
        max(0, middle_x - radius),
        min(width, middle_x + radius + 1),
        max(0, middle_y - radius),
        min(height, middle_y + radius + 1),
    )
