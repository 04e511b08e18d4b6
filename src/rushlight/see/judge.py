"""What speaks for or against a dot, and what else it may be: a shape, a pair, a hot pixel."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from rushlight.physics.mixture import GREATEST_MISFIT
from rushlight.records.dots import REASONS
from rushlight.see.large import (
    AREA,
    LEAST_ALONE,
    LEAST_FILL,
    ON_EDGE,
    elliptic_fill,
    region_dot,
    ring_around,
)
from rushlight.see.model import (
    CLIPPED,
    FIELDS,
    FLUX,
    GREATEST_SIGMA_PX,
    LEAST_SIGMA_PX,
    MISFIT,
    PEAK,
    SETTLED,
    SIGMA,
    VAR_FLUX,
    WIDTH_XX,
    WIDTH_XY,
    WIDTH_YY,
    X,
    Y,
)
from rushlight.see.pair import fit_pair, split
from rushlight.see.tiles import JIT

LEAST_FLUX_SIGMAS = 4.0
"""A fitted spot is faint when its light is less than this many times its uncertainty."""

EDGE_SIGMAS = 1.5
"""A spot whose centre is nearer to the frame's edge than this many widths is cut off."""

PAIR_GREATEST_MISFIT = 0.15
"""Part of the light that two spots may leave unexplained."""

GREATEST_REGION_PART = 0.25
"""A bright region larger than this part of the picture is scenery."""

DOUBTFUL_REACH_PX = 6.0
"""A doubtful dot keeps others away no farther than this [px]."""

FAINT, HOT, EDGE, UNSETTLED, WIDE = (
    REASONS.index(reason)
    for reason in ("faint", "hot pixel", "edge of frame", "fit did not settle", "too wide")
)


@njit(**JIT)
def covered(dots, reasons, count, x, y):  # type: ignore[no-untyped-def]
    """Whether a place lies within a dot that was already found.

    Parameters
    ----------
    dots, reasons
        (K, FIELDS) and (K,) dots found.
    count
        Number of them.
    x, y
        The place [px].

    Returns
    -------
    bool
    """
    for index in range(count):
        dot = dots[index]
        reach = 2.0 + 2.2 * dot[SIGMA] + 0.6 * math.sqrt(dot[CLIPPED])
        if reasons[index] != 0:
            reach = min(reach, DOUBTFUL_REACH_PX)
        if (dot[X] - x) ** 2 + (dot[Y] - y) ** 2 < reach * reach:
            return True
    return False


@njit(**JIT)
def judge(dot, width, height):  # type: ignore[no-untyped-def]
    """The reason against a fitted spot, 0 when there is none.

    Parameters
    ----------
    dot
        (FIELDS,) the spot.
    width, height
        Size of the picture [px].

    Returns
    -------
    int
        Index into `REASONS`.
    """
    margin = EDGE_SIGMAS * dot[SIGMA]
    if not (
        margin - 0.5 <= dot[X] <= width - 0.5 - margin
        and margin - 0.5 <= dot[Y] <= height - 0.5 - margin
    ):
        return EDGE
    if dot[SETTLED] != 1.0 or dot[MISFIT] > GREATEST_MISFIT:
        return UNSETTLED
    if dot[SIGMA] >= 0.99 * GREATEST_SIGMA_PX:
        return WIDE
    if dot[SIGMA] <= 1.05 * LEAST_SIGMA_PX and dot[CLIPPED] == 0:
        return HOT
    # The flux of a clipped spot is ill known, its presence is not.
    if dot[CLIPPED] == 0 and not dot[FLUX] > LEAST_FLUX_SIGMAS * math.sqrt(dot[VAR_FLUX]):
        return FAINT
    return 0


@njit(**JIT)
def shape_dot(  # type: ignore[no-untyped-def]
    image, region, level, noise, least_contrast, ring, dot
):
    """Take a region as a dot, and say what speaks against it.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    region
        (REGION_FIELDS,) grown at `level`.
    level
        The level [DN].
    noise
        Standard deviation of a pixel [DN].
    least_contrast
        Least height above its surroundings [DN].
    ring
        (RING_POINTS,) room to work in.
    dot
        (FIELDS,) filled.

    Returns
    -------
    int
        Index into `REASONS`.
    """
    background, alone = ring_around(image, region, level, ring)
    if math.isnan(background):
        background = float(level)
    region_dot(image, region, background, noise, dot)
    if region[AREA] > GREATEST_REGION_PART * image.size:
        return WIDE
    if elliptic_fill(region) < LEAST_FILL:
        return UNSETTLED
    if region[ON_EDGE] == 1.0:
        return EDGE
    if alone < LEAST_ALONE:
        return UNSETTLED
    if dot[PEAK] < least_contrast:
        return FAINT
    return 0


@njit(**JIT)
def pair_dots(  # type: ignore[no-untyped-def]
    image, x, y, reach, background, noise, per_light, full_scale, single_misfit,
    dots, reasons, count,
):  # fmt: skip
    """Try two touching spots where one does not fit.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    x, y, reach
        Where to look, and how far around [px].
    background, noise
        Level and standard deviation of a background pixel [DN].
    per_light
        Variance that a grey level of light adds [DN].
    full_scale
        Clipping level [DN].
    single_misfit
        Unexplained part of the light when one spot was tried; two must leave less than half.
    dots, reasons, count
        (K, FIELDS) and (K,) with `count` dots already found.

    Returns
    -------
    int
        Number of dots added: 2, or 0 where two spots do not fit either.
    """
    if count + 2 > dots.shape[0] or math.isnan(background):
        return 0
    height, width = image.shape
    one = np.full(FIELDS, math.nan)
    other = np.full(FIELDS, math.nan)
    if not split(image, x, y, reach, background, noise, one, other):
        return 0
    if not fit_pair(image, one, other, noise * noise, per_light, full_scale):
        return 0
    for spot in (one, other):
        if (
            spot[MISFIT] > min(PAIR_GREATEST_MISFIT, 0.5 * single_misfit)
            or judge(spot, width, height) != 0
            or covered(dots, reasons, count, spot[X], spot[Y])
        ):
            return 0
    dots[count] = one
    dots[count + 1] = other
    reasons[count] = 0
    reasons[count + 1] = 0
    return 2


@njit(**JIT)
def hot_dot(x, y, height, dot):  # type: ignore[no-untyped-def]
    """Write down a single bright pixel.

    Parameters
    ----------
    x, y
        The pixel.
    height
        Its height above the background [DN].
    dot
        (FIELDS,) filled; what a single pixel cannot tell stays NaN.
    """
    dot[X] = x
    dot[Y] = y
    dot[FLUX] = height
    dot[SIGMA] = LEAST_SIGMA_PX
    dot[WIDTH_XX] = dot[WIDTH_YY] = LEAST_SIGMA_PX**2
    dot[WIDTH_XY] = 0.0
    dot[PEAK] = height
    dot[MISFIT] = 1.0
    dot[SETTLED] = 0.0
