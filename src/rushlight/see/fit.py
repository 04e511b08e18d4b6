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

from rushlight.see.model import (
    BACKGROUND,
    CLIPPED,
    COV_XY,
    FLUX,
    GREATEST_SIGMA_PX,
    LEAST_SIGMA_PX,
    MISFIT,
    PEAK,
    SETTLED,
    SIDE_PX,
    SIGMA,
    VAR_FLUX,
    VAR_X,
    VAR_Y,
    WIDTH_XX,
    WIDTH_XY,
    WIDTH_YY,
    X,
    Y,
    copy_window,
    factor,
    gather,
    solve,
    window_around,
    window_radius,
)
from rushlight.see.tiles import JIT

STEPS = 25
HOPELESS_STEP = 5
HOPELESS_MISFIT = 0.6
"""A model that leaves this part of the light unexplained after so many steps is the wrong one."""

SETTLED_SIGMAS = 0.01
"""A fit has settled when no more than this part of the deviations is left to go."""

SETTLED_GAIN = 0.02
"""Where pixels are clipped, a step must also let χ² fall by less than this."""


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
    values = np.empty((SIDE_PX, SIDE_PX))
    seen = np.empty((SIDE_PX, SIDE_PX))
    lines = np.empty((6, SIDE_PX))
    information = np.empty((5, 5))
    score = np.empty(5)
    step = np.empty(5)
    spot[SETTLED] = 0.0
    if not (-1.0 <= begin_x <= width and -1.0 <= begin_y <= height):
        return
    # A weak belief about the width holds faint fits together and bright ones not at all.
    likely = min(max(spot[SIGMA], 0.7), 4.0)
    belief = 1.0 / (likely * likely)
    window = (0, 0, 0, 0)
    pixels = 0
    for count in range(STEPS):
        if count < 8:  # later changes of the window would keep the fit from coming to rest
            radius = window_radius(spot[SIGMA], spot[CLIPPED])
            wanted = window_around(spot[X], spot[Y], radius, width, height)
            if wanted != window:
                window = wanted
                if window[1] - window[0] < 4 or window[3] - window[2] < 4:
                    return
                spot[CLIPPED] = copy_window(image, window, full_scale, values, seen)
                pixels = (window[1] - window[0]) * (window[3] - window[2])
        open_pixels = pixels - int(spot[CLIPPED])
        excess, light_squared, chi_squared = gather(
            values, seen, window, spot, variance, per_light, full_scale, lines, information, score
        )
        information[SIGMA, SIGMA] += belief
        score[SIGMA] += belief * (likely - spot[SIGMA])
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
        move_x = min(max(step[X], -1.0), 1.0)
        move_y = min(max(step[Y], -1.0), 1.0)
        spot[X] += move_x
        spot[Y] += move_y
        spot[FLUX] = min(max(spot[FLUX] + step[FLUX], 0.4 * spot[FLUX]), 3.0 * spot[FLUX])
        turn = min(max(step[SIGMA], -0.3 * spot[SIGMA]), 0.4 * spot[SIGMA])
        spot[SIGMA] = min(max(spot[SIGMA] + turn, LEAST_SIGMA_PX), GREATEST_SIGMA_PX)
        spot[BACKGROUND] += step[BACKGROUND]
        farthest = 4.0 + 2.0 * likely
        # Written so that what is not a number is astray too.
        if not (abs(spot[X] - begin_x) < farthest and abs(spot[Y] - begin_y) < farthest):
            return
        gain = 0.0  # of all five unknowns, in units of χ²
        for k in range(5):
            gain += score[k] * step[k]
        move = math.sqrt(move_x * move_x + move_y * move_y)
        change = max(move / spot[SIGMA], abs(turn) / spot[SIGMA], abs(step[FLUX]) / spot[FLUX])
        if spot[CLIPPED] == 0.0:
            # Newton's steps shrink as their squares: what is left is the step, in deviations,
            # times its size beside the spot's own.
            left = math.sqrt(max(gain, 0.0)) * change
            at_rest = left < SETTLED_SIGMAS
        else:
            least = SETTLED_SIGMAS / max(information[X, X], information[Y, Y])
            at_rest = gain < SETTLED_GAIN and move < max(least, 1e-5)
        if at_rest:
            # At so small a step the information and the residuals no longer change either.
            spot[SETTLED] = 1.0
            report(spot, information, chi_squared / max(open_pixels - 5, 1))
            return


@njit(**JIT)
def report(spot, lower, reduced):  # type: ignore[no-untyped-def]
    """Fill in the uncertainties and the peak of a fitted spot.

    Parameters
    ----------
    spot
        (FIELDS,) the fitted spot.
    lower
        (5, 5) Cholesky factor of its information.
    reduced
        χ² a degree of freedom; above 1 it stretches the covariance.
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
    spot[WIDTH_XX] = spot[WIDTH_YY] = spot[SIGMA] ** 2
    spot[WIDTH_XY] = 0.0
