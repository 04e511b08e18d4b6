"""The picture's ground: background level and noise by tile, from an eighth of its rows.

A tile is wide against a spot and narrow against the changes of the room's light. In each, four
pairs of rows are read, each in two halves; the middle four of their eight means are averaged,
which a spot in one or two of them hardly moves. Noise comes from differences of neighbouring
pixels, which share their background, so that a slope in the light hardly enters.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

JIT: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy"}
"""Every kernel is compiled once, kept on disk, and lets other threads run meanwhile.

The kept code is renewed when the kernel's own file changes, but not when a kernel or number that
it takes from another file does: after editing one, delete the cache (`*.nbi`, `*.nbc`).
"""

TILE_PX = 64
"""Wanted side of a background tile [px]: wide against a spot, narrow against the room's light."""

SAMPLES = 4
"""Pairs of rows of a tile that are read."""

GREATEST_STEP = 8191
"""Largest difference of neighbours that counts whole [DN]; 63 squares of it fit into 32 bits."""

ROUGH = 1.25
"""A tile that is this much rougher than the picture's median tile is believed to be so."""

STILL_DN = 0.5
"""Noise below which a picture's grey levels stand almost still (chosen by trial)."""


def tile_shape(height_px: int, width_px: int) -> tuple[int, int]:
    """Rows and columns of background tiles for a picture.

    Parameters
    ----------
    height_px, width_px
        Size of the picture [px].

    Returns
    -------
    tuple of int
        Rows, columns; at least one each.
    """
    return max(1, round(height_px / TILE_PX)), max(1, round(width_px / TILE_PX))


@njit(**JIT)
def sort_planes(values):  # type: ignore[no-untyped-def]
    """Sort along the first axis, every column at once (odd-even transposition).

    Parameters
    ----------
    values
        (K, N), sorted in place so that each column rises.
    """
    count, width = values.shape
    for turn in range(count):
        for plane in range(turn % 2, count - 1, 2):
            lower = values[plane]
            upper = values[plane + 1]
            for index in range(width):
                least = min(lower[index], upper[index])
                upper[index] = max(lower[index], upper[index])
                lower[index] = least


@njit(**JIT)
def add_pairs(above, below, sums):  # type: ignore[no-untyped-def]
    """Sums of 2×2 pixels side by side.

    Parameters
    ----------
    above, below
        (W,) two rows of grey levels.
    sums
        (W // 2,) of the type that holds sixteen grey levels, filled.
    """
    wide = sums.dtype.type
    for x in range(sums.size):
        upper = wide(wide(above[2 * x]) + wide(above[2 * x + 1]))
        lower = wide(wide(below[2 * x]) + wide(below[2 * x + 1]))
        sums[x] = wide(upper + lower)


@njit(**JIT)
def square_steps(above, below, squares):  # type: ignore[no-untyped-def]
    """Squared differences of neighbours in a row, of two rows together.

    Parameters
    ----------
    above, below
        (W,) two rows of grey levels.
    squares
        (W // 2,) uint32, filled with the sums of two squares [DN²].
    """
    for x in range(squares.size):
        one = np.int32(above[2 * x])
        other = np.int32(above[2 * x + 1])
        step = np.int32(min(max(one, other) - min(one, other), GREATEST_STEP))
        upper = np.uint32(step * step)
        one = np.int32(below[2 * x])
        other = np.int32(below[2 * x + 1])
        step = np.int32(min(max(one, other) - min(one, other), GREATEST_STEP))
        squares[x] = np.uint32(upper + np.uint32(step * step))


@njit(**JIT)
def total_of(part):  # type: ignore[no-untyped-def]
    """Sum of a short stretch of numbers.

    Parameters
    ----------
    part
        (N,) of at most 2³² in all.

    Returns
    -------
    int
        Their sum.
    """
    total = np.uint32(0)
    for index in range(part.size):
        total = np.uint32(total + part[index])
    return total


@njit(**JIT)
def tile_statistics(  # type: ignore[no-untyped-def]
    image, rows_from, rows_to, columns_from, columns_to, pairs, background, noise
):
    """Background and noise of a block of tiles.

    Parameters
    ----------
    image
        (H, W) grey levels, uint8 or uint16.
    rows_from, rows_to, columns_from, columns_to
        The tiles to look at, the last ones excluded.
    pairs
        (W // 2,) of the type that holds sixteen grey levels, room to work in.
    background, noise
        (R, C), filled there with the level and the pixel's standard deviation of a tile [DN].
    """
    height, width = image.shape
    rows, columns = background.shape
    across = columns_to - columns_from
    levels = np.empty((2 * SAMPLES, across), np.float32)
    spreads = np.empty((SAMPLES, across), np.float32)
    squares = np.empty(pairs.size, np.uint32)
    half = width // 2
    begin = columns_from * half // columns
    end = columns_to * half // columns
    for row in range(rows_from, rows_to):
        top = row * height // rows
        bottom = (row + 1) * height // rows
        for sample in range(SAMPLES):
            y = top + (2 * sample + 1) * (bottom - top - 1) // (2 * SAMPLES)
            above, below = image[y, 2 * begin : 2 * end], image[y + 1, 2 * begin : 2 * end]
            add_pairs(above, below, pairs[begin:end])
            square_steps(above, below, squares[begin:end])
            for index in range(across):
                column = columns_from + index
                left = column * half // columns
                right = (column + 1) * half // columns
                middle = (left + right) // 2
                mean = total_of(pairs[left:middle]) / (4.0 * (middle - left))
                levels[2 * sample, index] = mean
                mean = total_of(pairs[middle:right]) / (4.0 * (right - middle))
                levels[2 * sample + 1, index] = mean
                # The mean square of a difference is twice the variance of a pixel.
                spreads[sample, index] = total_of(squares[left:right]) / (4.0 * (right - left))
        sort_planes(levels)
        sort_planes(spreads)
        for index in range(across):
            total = 0.0
            for sample in range(SAMPLES // 2, SAMPLES + SAMPLES // 2):
                total += levels[sample, index]
            background[row, columns_from + index] = total / SAMPLES
            total = spreads[SAMPLES // 2 - 1, index] + spreads[SAMPLES // 2, index]
            noise[row, columns_from + index] = math.sqrt(0.5 * total)


@njit(**JIT)
def steady_noise(noise, least):  # type: ignore[no-untyped-def]
    """Take the scatter of its measurement out of the tiles' noise.

    A tile that agrees with the median tile within a quarter gets the median, a rougher one
    (texture, stronger light) keeps its own.

    Parameters
    ----------
    noise
        (R, C) measured standard deviation [DN], altered; NaN where a tile was not looked at.
    least
        The least it can be [DN].
    """
    common = max(np.nanmedian(noise), least)
    for row in range(noise.shape[0]):
        for column in range(noise.shape[1]):
            if not noise[row, column] > ROUGH * common:
                noise[row, column] = common


@njit(**JIT)
def trust_model(noise, background, read_variance, per_light, offset):  # type: ignore[no-untyped-def]
    """Noise by the camera's model where it is known, more where a tile is rougher than that.

    Parameters
    ----------
    noise
        (R, C) measured standard deviation [DN], altered.
    background
        (R, C) level of each tile [DN].
    read_variance
        Variance of a pixel without light, quantisation included [DN²].
    per_light
        Variance that a grey level of light adds [DN].
    offset
        Level without light [DN].
    """
    for row in range(noise.shape[0]):
        for column in range(noise.shape[1]):
            light = max(background[row, column] - offset, 0.0)
            model = math.sqrt(read_variance + per_light * light)
            # A level between two grey levels flickers between them by up to half a level, more
            # than the even spread of rounding that the model supposes: nearly still pictures
            # are believed.
            leeway = 1.0 if model < STILL_DN else ROUGH
            if not noise[row, column] > leeway * model:
                noise[row, column] = model


@njit(**JIT)
def interpolate(tiles, x, y, height, width):  # type: ignore[no-untyped-def]
    """Value of a tile map at a pixel, bilinear between the centres of the tiles.

    Parameters
    ----------
    tiles
        (R, C) value of each tile.
    x, y
        Pixel coordinates [px].
    height, width
        Size of the picture [px].

    Returns
    -------
    float
        Interpolated value; beyond the outermost centres the slope is carried on.
    """
    rows, columns = tiles.shape
    u = (x + 0.5) * columns / width - 0.5
    v = (y + 0.5) * rows / height - 0.5
    left = min(max(math.floor(u), 0), max(columns - 2, 0))
    top = min(max(math.floor(v), 0), max(rows - 2, 0))
    right = min(left + 1, columns - 1)
    bottom = min(top + 1, rows - 1)
    u -= left
    v -= top
    upper = tiles[top, left] * (1.0 - u) + tiles[top, right] * u
    lower = tiles[bottom, left] * (1.0 - u) + tiles[bottom, right] * u
    return upper * (1.0 - v) + lower * v
