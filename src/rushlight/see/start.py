"""Where a fit begins: near enough to the spot that it cannot come to rest elsewhere."""

from __future__ import annotations

import math

from numba import njit

from rushlight.see.fit import BACKGROUND, CLIPPED, FLUX, SIGMA, X, Y, window_radius
from rushlight.see.large import AREA, FULL_PIXELS, MEAN_X, MEAN_Y, TOP
from rushlight.see.scan import JIT


@njit(**JIT)
def weighted_centroid(image, x, y, sigma, background, start):  # type: ignore[no-untyped-def]
    """Centroid under a Gaussian window that follows the spot in place and width.

    The window keeps distant noise and neighbours out. For a Gaussian spot of variance s² under
    a window of variance w², the weighted second moment m obeys 1/m = 1/s² + 1/w², which is how
    the spot's own width is found.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
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
    for _ in range(10):
        radius = window_radius(min(sigma, 6.0), 0)
        centre_x = math.floor(x + 0.5)
        centre_y = math.floor(y + 0.5)
        mass = 0.0
        first_x = 0.0
        first_y = 0.0
        second = 0.0
        inverse = -0.5 / (sigma * sigma)
        for row in range(max(0, centre_y - radius), min(height, centre_y + radius + 1)):
            dy = row - y
            row_weight = math.exp(inverse * dy * dy)
            for column in range(max(0, centre_x - radius), min(width, centre_x + radius + 1)):
                dx = column - x
                weight = row_weight * math.exp(inverse * dx * dx)
                light = weight * (float(image[row, column]) - background)
                mass += light
                first_x += light * dx
                first_y += light * dy
                second += light * (dx * dx + dy * dy)
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
        if step_x * step_x + step_y * step_y < 1e-3 and change < 0.1:
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
