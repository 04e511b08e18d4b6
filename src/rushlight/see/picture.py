"""One picture's dots from first to last, compiled as one piece."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from rushlight.see.scan import clipping_level, sweep
from rushlight.see.spots import find_shapes, find_spots, part_neighbours
from rushlight.see.tiles import JIT, steady_noise, tile_statistics, trust_model

THRESHOLD_SIGMAS = 5.3
"""Least height of a weighted sum. A 1280×720 picture has fewer than 5·10⁵ independent ones; a
normal law passes this height once in 1.7·10⁷ (computed): noise alone makes a dot in 30 pictures."""

LEAST_SHAPE_SIGMAS = 20.0
"""A picture's height above which it is searched for bright shapes, in noise widths of a pixel."""


@njit(**JIT)
def look(  # type: ignore[no-untyped-def]
    image, windows, read_variance, per_light, offset, full_scale, least_contrast,
    background, noise, pairs, cells, columns_x, rows_y, strength, stamps, mark, stack,
    dots, reasons,
):  # fmt: skip
    """The dots of one picture, or of some windows of it.

    Parameters
    ----------
    image
        (H, W) grey levels, uint8 or uint16.
    windows
        (N, 4) of first and last row, first and last cell to search, as for `sweep`.
    read_variance
        Variance of a pixel without light, quantisation included [DN²]; NaN when unknown.
    per_light
        Variance that a grey level of light adds [DN].
    offset
        Level without light [DN].
    full_scale
        Clipping level [DN]; NaN to learn it from the picture.
    least_contrast
        Least height of a dot [DN].
    background, noise
        (R, C) room for the tiles [DN].
    pairs, cells, columns_x, rows_y, strength
        As for `sweep`.
    stamps, mark, stack
        As for `grow_region`.
    dots, reasons
        (K, FIELDS) and (K,) filled.

    Returns
    -------
    int
        Number of dots.
    """
    known = not math.isnan(read_variance)
    measure_ground(image, windows, pairs[0], background, noise)
    steady_noise(noise, math.sqrt(1.0 / 12.0))
    if known:
        trust_model(noise, background, read_variance, per_light, offset)
    cell_count = found = 0
    for window in range(windows.shape[0]):
        cell_count, found = sweep(
            image, background, noise, THRESHOLD_SIGMAS,
            windows[window, 0], windows[window, 1], windows[window, 2], windows[window, 3],
            pairs, cells, cell_count, columns_x, rows_y, strength, found,
        )  # fmt: skip
    if cell_count == 0:
        return 0
    if math.isnan(full_scale):
        full_scale = clipping_level(image, cells, cell_count)
    typical = np.nanmedian(noise)
    dark = np.nanquantile(background, 0.25)
    top = min(cells[:cell_count, 2].max() / 16.0, full_scale)
    count = 0
    if top - dark >= LEAST_SHAPE_SIGMAS * typical:
        count = find_shapes(
            image, cells, cell_count, dark, top, typical, per_light, full_scale, least_contrast,
            stamps, mark, stack, dots, reasons,
        )  # fmt: skip
    order = np.argsort(-strength[:found], kind="mergesort")
    count = find_spots(
        image, background, noise, order, columns_x, rows_y, strength, read_variance, per_light,
        offset, full_scale, least_contrast, stamps, mark, stack, dots, reasons, count,
    )  # fmt: skip
    part_neighbours(image, typical, per_light, full_scale, dots, reasons, count)
    return count


@njit(**JIT)
def measure_ground(image, windows, pairs, background, noise):  # type: ignore[no-untyped-def]
    """Background and noise of the tiles whose centres lie about some windows.

    Parameters
    ----------
    image
        (H, W) grey levels.
    windows
        (N, 4) as for `look`.
    pairs
        As for `tile_statistics`.
    background, noise
        (R, C) filled; NaN in tiles that no window needs.
    """
    height, width = image.shape
    rows, columns = background.shape
    background[:] = math.nan
    noise[:] = math.nan
    for window in range(windows.shape[0]):
        top, bottom = tiles_about(2 * windows[window, 0], 2 * windows[window, 1] + 1, height, rows)
        left, right = tiles_about(
            2 * windows[window, 2], 2 * windows[window, 3] + 1, width, columns
        )
        tile_statistics(image, top, bottom, left, right, pairs, background, noise)


@njit(**JIT)
def tiles_about(first, last, side, tiles):  # type: ignore[no-untyped-def]
    """The tiles between whose centres a stretch of pixels lies.

    Parameters
    ----------
    first, last
        Its first and last pixel along one side of the picture.
    side, tiles
        Length of the side [px], and its number of tiles.

    Returns
    -------
    tuple of int
        First tile and the one after the last.
    """
    below = min(max(math.floor((first + 0.5) * tiles / side - 0.5), 0), max(tiles - 2, 0))
    above = min(max(math.floor((last + 0.5) * tiles / side - 0.5), 0), max(tiles - 2, 0))
    return below, min(above + 2, tiles)


@njit(**JIT)
def fill_windows(places, reach, width, height, windows):  # type: ignore[no-untyped-def]
    """The windows around some places, overlapping ones made one.

    Parameters
    ----------
    places
        (N, 2) places [px].
    reach
        (N,) half side of each window [px].
    width, height
        Size of the picture [px].
    windows
        (N, 4) filled, as for `look`.

    Returns
    -------
    int
        Number of windows.
    """
    count = 0
    for index in range(places.shape[0]):
        x, y, side = places[index, 0], places[index, 1], reach[index] + 1.0
        if not (-side < x < width + side and -side < y < height + side):
            continue
        # Row and cell r lie on the pixels 2r + 1 and 2r + 2.
        top = max(math.floor((y - side) / 2.0), 0)
        bottom = min(math.ceil((y + side) / 2.0), height // 2 - 1)
        left = max(math.floor((x - side) / 2.0), 0)
        right = min(math.ceil((x + side) / 2.0), width // 2 - 1)
        if top >= bottom or left >= right:
            continue
        kept = 0
        for old in range(count):
            apart = (
                top >= windows[old, 1]
                or bottom <= windows[old, 0]
                or left >= windows[old, 3]
                or right <= windows[old, 2]
            )
            if apart:
                windows[kept] = windows[old]
                kept += 1
            else:
                top, bottom = min(top, windows[old, 0]), max(bottom, windows[old, 1])
                left, right = min(left, windows[old, 2]), max(right, windows[old, 3])
        windows[kept, 0], windows[kept, 1] = top, bottom
        windows[kept, 2], windows[kept, 3] = left, right
        count = kept + 1
    return count
