"""Large and flat bright shapes: a disc of light or paper that no small spot explains.

Such a shape is a connected region above half its height. Its centre is the centroid of its
light, each pixel between the level around it and its own top counting by its height, so that
only the rim's pixels bring noise. A dot is believed when the region fills an ellipse and stands
alone on darker ground. (The centroid of a disc's image is not quite the image of its centre when
the disc is seen at a slant; for dots much smaller than their distance this does not matter.)
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
)
from rushlight.see.tiles import JIT

# Fields of a region, in one row of numbers.
AREA, MEAN_X, MEAN_Y, MOMENT_XX, MOMENT_XY, MOMENT_YY = 0, 1, 2, 3, 4, 5
FULL_PIXELS, ON_EDGE, TOP = 6, 7, 8
REGION_FIELDS = 9

RING_POINTS = 48
LEAST_FILL = 0.93
"""An ellipse fills 4π√det(moments) fully; a square 0.955 of it, ragged shapes far less."""
LEAST_ALONE = 0.9
"""Part of the ring around a region that must be darker than its half height."""


@njit(**JIT)
def grow_region(image, x, y, level, full_scale, stamps, mark, stack, region):  # type: ignore[no-untyped-def]
    """The connected pixels at or above a level around a pixel.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    x, y
        Pixel to grow from; it must reach the level.
    level
        Least grey level [DN].
    full_scale
        Clipping level [DN].
    stamps
        (H, W) int32; pixels already stamped `mark` are not entered, entered ones are stamped.
    mark
        Number of this search.
    stack
        (H·W + 4,) int32, room to work in.
    region
        (REGION_FIELDS,) filled: area, mean [px], second central moments [px²], clipped pixels,
        whether it touches the frame, brightest level [DN].
    """
    height, width = image.shape
    depth = 1
    stack[0] = y * width + x
    stamps[y, x] = mark
    area = 0
    sum_x = 0.0
    sum_y = 0.0
    sum_xx = 0.0
    sum_xy = 0.0
    sum_yy = 0.0
    full_pixels = 0
    on_edge = 0.0
    top = 0
    while depth > 0:
        depth -= 1
        row = stack[depth] // width
        column = stack[depth] - row * width
        value = np.int64(image[row, column])
        area += 1
        dx = float(column - x)
        dy = float(row - y)
        sum_x += dx
        sum_y += dy
        sum_xx += dx * dx
        sum_xy += dx * dy
        sum_yy += dy * dy
        full_pixels += value >= full_scale
        top = max(top, value)
        if row == 0 or column == 0 or row == height - 1 or column == width - 1:
            on_edge = 1.0
        for way in range(4):
            next_row = row + (way == 0) - (way == 1)
            next_column = column + (way == 2) - (way == 3)
            if (
                0 <= next_row < height
                and 0 <= next_column < width
                and stamps[next_row, next_column] != mark
                and image[next_row, next_column] >= level
            ):
                stamps[next_row, next_column] = mark
                stack[depth] = next_row * width + next_column
                depth += 1
    mean_x = sum_x / area
    mean_y = sum_y / area
    region[AREA] = area
    region[MEAN_X] = x + mean_x
    region[MEAN_Y] = y + mean_y
    region[MOMENT_XX] = sum_xx / area - mean_x * mean_x + 1.0 / 12.0
    region[MOMENT_XY] = sum_xy / area - mean_x * mean_y
    region[MOMENT_YY] = sum_yy / area - mean_y * mean_y + 1.0 / 12.0
    region[FULL_PIXELS] = full_pixels
    region[ON_EDGE] = on_edge
    region[TOP] = top


@njit(**JIT)
def elliptic_fill(region):  # type: ignore[no-untyped-def]
    """How fully a region fills the ellipse that has its second moments.

    Parameters
    ----------
    region
        (REGION_FIELDS,) as filled by `grow_region`.

    Returns
    -------
    float
        1 for an ellipse, less for any other shape.
    """
    determinant = region[MOMENT_XX] * region[MOMENT_YY] - region[MOMENT_XY] ** 2
    return region[AREA] / (4.0 * math.pi * math.sqrt(max(determinant, 1e-9)))


@njit(**JIT)
def ring_around(image, region, level, ring):  # type: ignore[no-untyped-def]
    """Background beside a region, and how much of its surroundings is darker than a level.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    region
        (REGION_FIELDS,) as filled by `grow_region`.
    level
        The level the region was grown at [DN].
    ring
        (RING_POINTS,) room to work in.

    Returns
    -------
    tuple of float
        Median of the darker pixels on an ellipse some pixels outside the region [DN], NaN when
        there are none; part of the ellipse that is darker than the level (0–1).
    """
    height, width = image.shape
    middle = 0.5 * (region[MOMENT_XX] + region[MOMENT_YY])
    offset = math.hypot(0.5 * (region[MOMENT_XX] - region[MOMENT_YY]), region[MOMENT_XY])
    angle = 0.5 * math.atan2(2.0 * region[MOMENT_XY], region[MOMENT_XX] - region[MOMENT_YY])
    long = 2.0 * math.sqrt(middle + offset)
    short = 2.0 * math.sqrt(max(middle - offset, 0.05))
    gap = 3.0 + 0.1 * short
    dark = 0
    for point in range(RING_POINTS):
        turn = 2.0 * math.pi * point / RING_POINTS
        u = (long + gap) * math.cos(turn)
        v = (short + gap) * math.sin(turn)
        column = round(region[MEAN_X] + u * math.cos(angle) - v * math.sin(angle))
        row = round(region[MEAN_Y] + u * math.sin(angle) + v * math.cos(angle))
        if 0 <= row < height and 0 <= column < width and image[row, column] < level:
            ring[dark] = image[row, column]
            dark += 1
    if dark == 0:
        return math.nan, 0.0
    return np.median(ring[:dark]), dark / RING_POINTS


@njit(**JIT)
def region_dot(image, region, background, noise, dot):  # type: ignore[no-untyped-def]
    """Centre of a large bright shape: the centroid of the light in an ellipse around it.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    region
        (REGION_FIELDS,) as filled by `grow_region`.
    background
        Level around the region [DN].
    noise
        Standard deviation of a pixel [DN].
    dot
        (FIELDS,) filled as by `fit_spot`; `MISFIT` is the part of its ellipse left unfilled.
    """
    height, width = image.shape
    reach_x = 2.0 * math.sqrt(region[MOMENT_XX]) + 4.0
    reach_y = 2.0 * math.sqrt(region[MOMENT_YY]) + 4.0
    lean = region[MOMENT_XY] / math.sqrt(region[MOMENT_XX] * region[MOMENT_YY])
    contrast = max(region[TOP] - background, 1.0)
    mass = 0.0
    sum_x = 0.0
    sum_y = 0.0
    for turn in range(2):  # once for the centroid, once for its uncertainty
        spread_xx = 0.0
        spread_xy = 0.0
        spread_yy = 0.0
        rim = 0.0
        for row in range(
            max(0, int(region[MEAN_Y] - reach_y)), min(height, int(region[MEAN_Y] + reach_y) + 2)
        ):
            for column in range(
                max(0, int(region[MEAN_X] - reach_x)),
                min(width, int(region[MEAN_X] + reach_x) + 2),
            ):
                u = (column - region[MEAN_X]) / reach_x
                v = (row - region[MEAN_Y]) / reach_y
                if u * u - 2.0 * lean * u * v + v * v > 1.0 - lean * lean:
                    continue
                share = min((float(image[row, column]) - background) / contrast, 1.0)
                if turn == 0:
                    mass += share
                    sum_x += share * (column - region[MEAN_X])
                    sum_y += share * (row - region[MEAN_Y])
                elif share < 1.0:
                    dx = column - dot[X]
                    dy = row - dot[Y]
                    spread_xx += dx * dx
                    spread_xy += dx * dy
                    spread_yy += dy * dy
                    rim += 1.0
        if turn == 0:
            dot[X] = region[MEAN_X] + sum_x / mass
            dot[Y] = region[MEAN_Y] + sum_y / mass
    scale = (noise / (contrast * mass)) ** 2
    dot[FLUX] = mass * contrast
    dot[SIGMA] = math.sqrt(0.5 * (region[MOMENT_XX] + region[MOMENT_YY]))
    dot[WIDTH_XX] = region[MOMENT_XX]
    dot[WIDTH_XY] = region[MOMENT_XY]
    dot[WIDTH_YY] = region[MOMENT_YY]
    dot[BACKGROUND] = background
    dot[VAR_X] = scale * spread_xx + 1e-6
    dot[COV_XY] = scale * spread_xy
    dot[VAR_Y] = scale * spread_yy + 1e-6
    dot[VAR_FLUX] = rim * noise * noise
    dot[MISFIT] = abs(1.0 - elliptic_fill(region))
    dot[CLIPPED] = region[FULL_PIXELS]
    dot[PEAK] = region[TOP] - background
    dot[SETTLED] = 1.0
