"""Find where dots may be: background and noise by tile, a smoothed picture, its local maxima.

A dot in one pixel may stand only a few noise widths above its surroundings. Its light is spread
over several pixels, so the sum of 3×3 pixels is searched: noise adds in quadrature (three times
that of a pixel) while the light of a spot wider than a pixel adds nearly ninefold.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

JIT: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy"}
"""Every kernel is compiled once, kept on disk, and lets other threads run meanwhile.

The kept code is renewed when the kernel's own file changes, but not when a kernel or number that
it takes from another file does: after editing one, delete the cache (`*.nbi`, `*.nbc`).
"""

TILE_PX = 64
"""Wanted side of a background tile [px]: wide against a spot, narrow against the room's light."""

MEAN_DIFFERENCE_CLIP = 4.0
"""Differences beyond this many standard deviations are structure, not noise."""


@njit(**JIT)
def clipped_level(histogram, count):  # type: ignore[no-untyped-def]
    """Background level of a tile from its histogram of grey levels.

    The median is proof against spots that fill less than half the tile; the mean of what lies
    about it then resolves fractions of a grey level, which the median of whole numbers cannot.

    Parameters
    ----------
    histogram
        (256,) pixels at each grey level.
    count
        Sum of the histogram.

    Returns
    -------
    float
        Level [DN].
    """
    seen = 0
    median = 0
    lower = 0
    for level in range(256):
        seen += histogram[level]
        if 6 * seen <= count:
            lower = level + 1
        if 2 * seen >= count:
            median = level
            break
    # From the sixth part to the median is about one standard deviation of a normal law.
    reach = 3 * max(1, median - lower)
    total = 0
    weighted = 0
    for level in range(max(0, median - reach), min(255, median + reach) + 1):
        total += histogram[level]
        weighted += level * histogram[level]
    return weighted / total


@njit(**JIT)
def difference_noise(histogram, count):  # type: ignore[no-untyped-def]
    """Noise of a pixel from a histogram of absolute differences between neighbours.

    Neighbours share their background, so a slope in the light hardly enters. Twice the variance
    of a pixel is the mean square of the difference, quantisation included.

    Parameters
    ----------
    histogram
        (256,) neighbours at each absolute difference.
    count
        Sum of the histogram.

    Returns
    -------
    float
        Standard deviation of a pixel [DN].
    """
    if count == 0:
        return 0.0
    seen = 0
    median = 0
    for level in range(256):
        seen += histogram[level]
        if 2 * seen >= count:
            median = level
            break
    # The median of |difference| is 0.674 of its standard deviation for a normal law.
    clip = math.ceil(MEAN_DIFFERENCE_CLIP * (median + 1.0) / 0.674)
    total = 0
    squares = 0.0
    for level in range(min(255, clip) + 1):
        total += histogram[level]
        squares += float(level) * level * histogram[level]
    return math.sqrt(0.5 * squares / total)


@njit(**JIT)
def tile_statistics(image, background, noise):  # type: ignore[no-untyped-def]
    """Background and noise of every tile of a picture, from an eighth of its rows.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    background, noise
        (R, C) filled with the level and the pixel's standard deviation of each tile [DN].
    """
    height, width = image.shape
    rows, columns = background.shape
    levels = np.zeros(256, np.int64)
    differences = np.zeros(256, np.int64)
    for row in range(rows):
        top = row * height // rows
        bottom = (row + 1) * height // rows
        step = max(1, (bottom - top) // 8)
        for column in range(columns):
            left = column * width // columns
            right = (column + 1) * width // columns
            levels[:] = 0
            differences[:] = 0
            count = 0
            pairs = 0
            for y in range(top + step // 2, bottom, step):
                before = np.int64(image[y, left])
                levels[before] += 1
                for x in range(left + 1, right):
                    value = np.int64(image[y, x])
                    levels[value] += 1
                    differences[abs(value - before)] += 1
                    before = value
                count += right - left
                pairs += right - left - 1
            background[row, column] = clipped_level(levels, count)
            noise[row, column] = difference_noise(differences, pairs)


@njit(**JIT)
def top_level(image):  # type: ignore[no-untyped-def]
    """The brightest level of a picture, how many pixels have it, and how many come close.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.

    Returns
    -------
    tuple of int
        Level [DN], pixels at it, pixels one to three levels below it.
    """
    flat = image.reshape(-1)
    top = np.uint8(0)
    for index in range(flat.size):
        top = max(top, flat[index])
    at_top = 0
    below = 0
    floor = max(np.int64(top) - 3, 0)
    for index in range(flat.size):
        value = np.int64(flat[index])
        at_top += value == top
        below += (value >= floor) & (value < top)
    return np.int64(top), at_top, below


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


@njit(**JIT)
def smooth(image, sums, peaks):  # type: ignore[no-untyped-def]
    """Sums of 3×3 pixels, and the largest sum in each stretch of a row.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels, H and W ≥ 3.
    sums
        (H, W) uint16, filled with the sums; the outermost pixels stay 0.
    peaks
        (H, S) uint16, filled with the largest sum of each of S equal stretches of a row.
    """
    height, width = image.shape
    stretches = peaks.shape[1]
    column_sums = np.empty(width, np.uint16)
    peaks[0, :] = 0
    peaks[height - 1, :] = 0
    for y in range(1, height - 1):
        above = image[y - 1]
        here = image[y]
        below = image[y + 1]
        for x in range(width):
            column_sums[x] = np.uint16(above[x]) + np.uint16(here[x]) + np.uint16(below[x])
        row = sums[y]
        for x in range(1, width - 1):
            row[x] = np.uint16(column_sums[x - 1] + column_sums[x]) + column_sums[x + 1]
        for stretch in range(stretches):
            part = row[stretch * width // stretches : (stretch + 1) * width // stretches]
            peak = np.uint16(0)
            for x in range(part.size):
                peak = max(peak, part[x])
            peaks[y, stretch] = peak


@njit(**JIT)
def lowest_within(tiles):  # type: ignore[no-untyped-def]
    """The lowest that an interpolated value is within each tile.

    Parameters
    ----------
    tiles
        (R, C) value of each tile.

    Returns
    -------
    ndarray
        (R, C): the least value at a tile's corners, the middles of its sides and its centre;
        between these the interpolation is bilinear, so nothing is lower.
    """
    rows, columns = tiles.shape
    lowest = np.empty_like(tiles)
    for row in range(rows):
        for column in range(columns):
            least = tiles[row, column]
            for down in range(3):
                for right in range(3):
                    # Coordinates in tiles: one pixel a tile, its edges half a pixel away.
                    x = column + 0.5 * right - 0.5
                    y = row + 0.5 * down - 0.5
                    least = min(least, interpolate(tiles, x, y, rows, columns))
            lowest[row, column] = least
    return lowest


@njit(**JIT)
def local_maxima(  # type: ignore[no-untyped-def]
    image, sums, peaks, background, noise, threshold, columns_x, rows_y, strength
):
    """Pixels whose 3×3 sum stands above the background and above all sums around it.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    sums, peaks
        As filled by `smooth`; the stretches are the columns of the tiles.
    background, noise
        (R, C) tiles [DN].
    threshold
        Least height of a sum, in standard deviations of a sum.
    columns_x, rows_y
        (K,) int64, filled with the maxima's pixels.
    strength
        (K,) filled with the sum above background, in standard deviations of a sum.

    Returns
    -------
    int
        Number of maxima, at most K; when there are more, the weakest are dropped.
    """
    height, width = image.shape
    rows, columns = background.shape
    capacity = columns_x.size
    found = 0
    least_levels = lowest_within(background)
    for y in range(1, height - 1):
        row = min(y * rows // height, rows - 1)
        for column in range(columns):
            least = least_levels[row, column]
            spread = 3.0 * noise[row, column]
            if peaks[y, column] < 9.0 * least + threshold * spread:
                continue
            left = max(column * width // columns, 1)
            right = min((column + 1) * width // columns, width - 1)
            for x in range(left, right):
                total = np.int64(sums[y, x])
                if total < 9.0 * least + threshold * spread:
                    continue
                if (
                    sums[y - 1, x - 1] >= total
                    or sums[y - 1, x] >= total
                    or sums[y - 1, x + 1] >= total
                    or sums[y, x - 1] >= total
                    or sums[y, x + 1] > total
                    or sums[y + 1, x - 1] > total
                    or sums[y + 1, x] > total
                    or sums[y + 1, x + 1] > total
                ):
                    continue
                level = interpolate(background, x, y, height, width)
                height_sigmas = (total - 9.0 * level) / spread
                if height_sigmas < threshold:
                    continue
                slot = found
                if found == capacity:
                    slot = int(np.argmin(strength[:found]))
                    if strength[slot] >= height_sigmas:
                        continue
                else:
                    found += 1
                columns_x[slot] = x
                rows_y[slot] = y
                strength[slot] = height_sigmas
    return found


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


def steady_noise(noise: npt.NDArray[np.float64], least_dn: float) -> npt.NDArray[np.float64]:
    """Noise of each tile, with the scatter of its measurement taken out.

    Parameters
    ----------
    noise
        (R, C) measured standard deviation [DN].
    least_dn
        The least it can be [DN].

    Returns
    -------
    ndarray
        (R, C): the picture's median where a tile agrees with it within a quarter, the tile's own
        value where it is rougher (texture, stronger light), never less than `least_dn`.
    """
    common = max(float(np.median(noise)), least_dn)
    return np.where(noise > 1.25 * common, noise, common)
