"""Where a fit begins: near enough to the spot that it cannot come to rest elsewhere."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from rushlight.see.large import AREA, FULL_PIXELS, MEAN_X, MEAN_Y, TOP
from rushlight.see.model import (
    BACKGROUND,
    CLIPPED,
    FAST,
    FLUX,
    GREATEST_RADIUS_PX,
    SIDE_PX,
    SIGMA,
    X,
    Y,
    window_around,
)
from rushlight.see.tiles import JIT


@njit(**JIT)
def window_moments(image, x, y, sigma, background, reach):  # type: ignore[no-untyped-def]
    """Light under a Gaussian window, and its moments about the window's middle.

    Parameters
    ----------
    image
        (H, W) grey levels of any number type.
    x, y
        Middle of the window [px].
    sigma
        Width of the window [px], > 0.
    background
        Level to take off [DN].
    reach
        Radius beyond which a pixel's centre does not count [px].

    Returns
    -------
    mass, first_x, first_y, second
        Weighted sums of the light, of it times dx and dy, and of it times dx² + dy².
    """
    height, width = image.shape
    mass = 0.0
    first_x = 0.0
    first_y = 0.0
    second = 0.0
    inverse = -0.5 / (sigma * sigma)
    for row in range(max(0, math.ceil(y - reach)), min(height, math.floor(y + reach) + 1)):
        dy = row - y
        row_weight = math.exp(inverse * dy * dy)
        side = math.sqrt(reach * reach - dy * dy)
        for column in range(max(0, math.ceil(x - side)), min(width, math.floor(x + side) + 1)):
            dx = column - x
            weight = row_weight * math.exp(inverse * dx * dx)
            light = weight * (float(image[row, column]) - background)
            mass += light
            first_x += light * dx
            first_y += light * dy
            second += light * (dx * dx + dy * dy)
    return mass, first_x, first_y, second


@njit(**JIT)
def windowed_centre(image, x, y, window_sigma, background):  # type: ignore[no-untyped-def]
    """Centre of a spot under a Gaussian window of a fixed width that follows it.

    Parameters
    ----------
    image
        (H, W) grey levels of any number type, of pictures from anywhere.
    x, y
        Where to begin [px], within the spot.
    window_sigma
        Width of the window [px], > 0; as wide as the spot is best.
    background
        Level to take off [DN].

    Returns
    -------
    x, y
        [px]; NaN where there is no light to weigh, or the window leaves the picture.

    Notes
    -----
    Source: Bertin & Arnouts 1996 and the SExtractor manual, windowed positions (from memory): the
    window moves by twice its centroid's offset, since a Gaussian spot under a window of its own
    width shows half of it; pixels beyond four widths do not count.
    """
    height, width = image.shape
    for _ in range(50):
        mass, first_x, first_y, _ = window_moments(
            image, x, y, window_sigma, background, 4.0 * window_sigma
        )
        if mass <= 0.0:
            return math.nan, math.nan
        step_x = 2.0 * first_x / mass
        step_y = 2.0 * first_y / mass
        x += step_x
        y += step_y
        if not (-1.0 < x < width and -1.0 < y < height):
            return math.nan, math.nan
        if step_x * step_x + step_y * step_y < 1e-10:
            break
    return x, y


MOST_TURNS = 8
"""The fit mends what a start leaves; more turns would not pay."""


@njit(**FAST)
def weighted_row(pixels, weights, first, background):  # type: ignore[no-untyped-def]
    """Moments of one row's light under a window.

    Parameters
    ----------
    pixels
        (N,) grey levels.
    weights
        (N,) the window.
    first
        Place of the first pixel [px].
    background
        Level to take off [DN].

    Returns
    -------
    tuple of float
        Zeroth, first and second moment [DN, DN px, DN px²].
    """
    zeroth = first_moment = second = 0.0
    for index in range(pixels.size):
        light = weights[index] * (float(pixels[index]) - background)
        place = first + index
        zeroth += light
        first_moment += light * place
        second += light * place * place
    return zeroth, first_moment, second


@njit(**JIT)
def weighted_centroid(image, x, y, sigma, background, start):  # type: ignore[no-untyped-def]
    """Centroid under a Gaussian window that follows the spot in place and width.

    The window keeps distant noise and neighbours out. For a Gaussian spot of variance s² under
    a window of variance w², the weighted second moment m obeys 1/m = 1/s² + 1/w², which is how
    the spot's own width is found.

    Parameters
    ----------
    image
        (H, W) grey levels.
    x, y
        Where to begin [px].
    sigma
        Width to begin with [px].
    background
        Level to take off [DN].
    start
        (≥ 4,) filled with x, y [px], flux [DN px] and width [px].

    Returns
    -------
    bool
        Whether there was light to weigh.
    """
    height, width = image.shape
    across = np.empty(SIDE_PX)
    for _ in range(MOST_TURNS):
        radius = min(math.ceil(2.6 * min(sigma, 6.0) + 1.0), GREATEST_RADIUS_PX)
        left, right, top, bottom = window_around(x, y, radius, width, height)
        mass = 0.0
        first_x = 0.0
        first_y = 0.0
        second = 0.0
        inverse = -0.5 / (sigma * sigma)
        for column in range(left, right):
            across[column - left] = math.exp(inverse * (column - x) ** 2)
        for row in range(top, bottom):
            dy = row - y
            row_weight = math.exp(inverse * dy * dy)
            zeroth, first, squared = weighted_row(
                image[row, left:right], across[: right - left], left - x, background
            )
            mass += row_weight * zeroth
            first_x += row_weight * first
            first_y += row_weight * zeroth * dy
            second += row_weight * (squared + zeroth * dy * dy)
        if mass <= 0.0:
            return False
        moment = 0.5 * second / mass - 0.5 * (first_x**2 + first_y**2) / mass**2
        window = sigma * sigma
        sharper = 1.0 / max(moment, 0.05) - 1.0 / window
        spot = 1.0 / sharper if sharper > 1.0 / 64.0 else 64.0
        # The window pulls the centroid towards itself; undo the pull.
        pull = min(4.0, 1.0 + spot / window)
        step_x = min(max(pull * first_x / mass, -2.0), 2.0)
        step_y = min(max(pull * first_y / mass, -2.0), 2.0)
        x += step_x
        y += step_y
        change = abs(math.sqrt(spot) - sigma)
        sigma = min(max(math.sqrt(spot), 0.6), 8.0)
        if not (-1.0 < x < width and -1.0 < y < height):
            return False
        if step_x * step_x + step_y * step_y < 1e-2 and change < 0.15 * sigma:
            break
    start[0] = x
    start[1] = y
    start[2] = 2.0 * mass  # under a window of its own width half of a Gaussian's light is seen
    start[3] = math.sqrt(max(sigma * sigma - 1.0 / 12.0, 0.12))  # pixels blur by 1/12 px²
    return True


@njit(**JIT)
def start_from_region(image, region, background, full_scale, spot):  # type: ignore[no-untyped-def]
    """Begin a fit from the areas of a region at half height and at the clipping level.

    A Gaussian of width σ stands above the part q of its peak over an area 2πσ² ln(1/q). The ring
    between half the clipping height and the clipping height is therefore 2πσ² ln 2 whatever the
    peak, which gives σ; the clipped area then gives the peak.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    region
        (REGION_FIELDS,) grown at half height.
    background
        Level around it [DN].
    full_scale
        Clipping level [DN].
    spot
        (FIELDS,) whose first five fields, and the clipped pixels, are filled.
    """
    ring = max(region[AREA] - region[FULL_PIXELS], 2.0)
    sigma = math.sqrt(ring / (2.0 * math.pi * math.log(2.0)))
    sigma = min(max(sigma, 0.6), 8.0)
    height = max(region[TOP] - background, 1.0)
    growth = min(region[FULL_PIXELS] / (2.0 * math.pi * sigma * sigma), 3.0)
    spot[X] = region[MEAN_X]
    spot[Y] = region[MEAN_Y]
    spot[SIGMA] = sigma
    spot[FLUX] = height * math.exp(growth) * 2.0 * math.pi * (sigma * sigma + 1.0 / 12.0)
    spot[BACKGROUND] = background
    spot[CLIPPED] = region[FULL_PIXELS]
