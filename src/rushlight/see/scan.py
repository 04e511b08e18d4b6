"""Where dots may be: sums of 4×4 pixels over the whole picture, weighted sums where those are high.

A dot in one pixel may stand only a few noise widths above its surroundings. Its light is spread
over several pixels, so sums are searched: noise adds in quadrature while the light of a spot
wider than a pixel adds in full.

The sweep is made to cost a quarter of an addition a pixel. Sums of 2×2 pixels side by side are
formed first; four of them make a sum of 4×4, at every second pixel of every second row. Eight
rows make a strip, of which only the highest sum in each column of 2 pixels, a cell, is compared
with the ground. The few cells that stand out are searched pixel by pixel for the local maxima of
weighted sums, with the full test.

The weights are 1 2 1 across and down, 16 in all: near enough to the light of the smallest spots
to find them where they are faintest, and wide enough for the others.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from rushlight.see.tiles import JIT, add_pairs, interpolate

LEAST_CELL_SIGMAS = 3.2
"""Least height of a 4×4 sum, in standard deviations, that is looked at more closely. Noise alone
lifts one sum in 1450 over it (normal law); a spot that passes the full test is seldom below it."""

OLD_GROUND_SIGMAS = 0.03
"""Change of the background, in noise widths of a pixel, below which a strip's ground serves the
next one too: an eighth of a 4×4 sum's deviation."""

CHUNK = 64
CHUNK_PART = 16
"""Cells that are compared with the ground at once, and again where one of them stands out."""

ROWS_OF_STRIP = 4
"""Rows of 4×4 sums in a strip."""


@njit(**JIT)
def highest_of_strip(pairs, first, left, tops):  # type: ignore[no-untyped-def]
    """The highest 4×4 sum of each cell of a strip.

    Parameters
    ----------
    pairs
        (5, W // 2) rows of 2×2 sums, as in a ring.
    first
        Row of the ring that is the strip's uppermost.
    left
        First cell.
    tops
        (N,) filled for N cells from there.
    """
    wide = pairs.dtype.type
    a = pairs[first][left : left + tops.size + 1]
    b = pairs[(first + 1) % 5][left : left + tops.size + 1]
    c = pairs[(first + 2) % 5][left : left + tops.size + 1]
    d = pairs[(first + 3) % 5][left : left + tops.size + 1]
    e = pairs[(first + 4) % 5][left : left + tops.size + 1]
    for x in range(tops.size):
        row_a = wide(a[x] + a[x + 1])
        row_b = wide(b[x] + b[x + 1])
        row_c = wide(c[x] + c[x + 1])
        row_d = wide(d[x] + d[x + 1])
        row_e = wide(e[x] + e[x + 1])
        upper = max(wide(row_a + row_b), wide(row_b + row_c))
        lower = max(wide(row_c + row_d), wide(row_d + row_e))
        tops[x] = max(upper, lower)


@njit(**JIT)
def level_line(background, y, height, line):  # type: ignore[no-untyped-def]
    """Background along a row of pixels, at the middles of the tiles.

    Parameters
    ----------
    background
        (R, C) tiles [DN].
    y
        The row [px].
    height
        Height of the picture [px].
    line
        (C + 2,) filled; the first and last number lie outside the picture, where the slope of
        the outermost tiles is carried on.
    """
    rows, columns = background.shape
    v = (y + 0.5) * rows / height - 0.5
    top = min(max(math.floor(v), 0), max(rows - 2, 0))
    bottom = min(top + 1, rows - 1)
    v -= top
    for column in range(columns):
        upper, lower = background[top, column], background[bottom, column]
        line[column + 1] = upper + (lower - upper) * v
    line[0] = 2.0 * line[1] - line[min(2, columns)]
    line[columns + 1] = 2.0 * line[columns] - line[max(columns - 1, 1)]


@njit(**JIT)
def near_enough(line, before, noise):  # type: ignore[no-untyped-def]
    """Whether a level differs from an older one by too little to matter anywhere.

    Parameters
    ----------
    line, before
        (C + 2,) as from `level_line` [DN].
    noise
        (C,) of a pixel [DN].

    Returns
    -------
    bool
        Also where neither is known.
    """
    for column in range(noise.size):
        if abs(line[column + 1] - before[column + 1]) > OLD_GROUND_SIGMAS * noise[column]:
            return False
    return True


@njit(**JIT)
def ground_line(line, noise, edges, first_cell, last_cell, ground):  # type: ignore[no-untyped-def]
    """What a 4×4 sum must exceed along a strip, in straight pieces half a tile long.

    Parameters
    ----------
    line
        (C + 2,) levels as from `level_line` [DN].
    noise
        (C,) of a pixel in each tile [DN].
    edges
        (2 C + 1,) first cell of each half tile, and the end of the last.
    first_cell, last_cell
        The cells that matter, the last excluded.
    ground
        (W // 2 − 1,) filled there with 16 times the level and `LEAST_CELL_SIGMAS` of a sum.
    """
    most = 65535.0 if ground.itemsize == 2 else 2.0**21
    for half in range(2 * noise.size):
        if edges[half + 1] <= first_cell or edges[half] >= last_cell:
            continue
        column = half >> 1
        spread = 4.0 * LEAST_CELL_SIGMAS * noise[column]
        centre = 16.0 * line[column + 1] + spread
        if half & 1:
            begin, end = centre, 8.0 * (line[column + 1] + line[column + 2]) + spread
        else:
            begin, end = 8.0 * (line[column] + line[column + 1]) + spread, centre
        begin = min(max(begin, 0.0), most)
        end = min(max(end, 0.0), most)
        part = ground[edges[half] : edges[half + 1]]
        # Steps of a 512th, in whole numbers, which the machine adds by the dozen.
        value = np.int32(512.0 * begin)
        slope = np.int32(512.0 * (end - begin) / max(part.size, 1))
        for x in range(part.size):
            part[x] = np.int32(value + np.int32(x) * slope) >> 9


@njit(**JIT)
def any_over(tops, ground, first_cell, left, right):  # type: ignore[no-untyped-def]
    """Whether any sum of a stretch exceeds its ground.

    Parameters
    ----------
    tops
        (N,) sums of the cells from `first_cell` on.
    ground
        (W // 2 − 1,) what they must exceed.
    first_cell
        The cell of the first sum.
    left, right
        The stretch of cells, the last excluded.

    Returns
    -------
    bool
    """
    wide = tops.dtype.type
    sums = tops[left - first_cell : right - first_cell]
    limits = ground[left:right]
    most = wide(0)
    for x in range(sums.size):
        most = max(most, wide(sums[x] - min(sums[x], limits[x])))
    return most > 0


@njit(**JIT)
def weighted_sum(image, x, y):  # type: ignore[no-untyped-def]
    """Sum of the 3×3 pixels around a pixel, weighted 1 2 1 across and down.

    Parameters
    ----------
    image
        (H, W) grey levels.
    x, y
        The pixel, not at the frame's edge.

    Returns
    -------
    int
        Sum [DN], 16 times a mean level.
    """
    total = 0
    for row in range(3):
        line = image[y - 1 + row]
        part = np.int64(line[x - 1]) + 2 * np.int64(line[x]) + np.int64(line[x + 1])
        total += part * (1 + (row & 1))
    return total


@njit(**JIT)
def four_weighted_sums(image, x, y):  # type: ignore[no-untyped-def]
    """Weighted sums around each of four pixels, from the sixteen that they share.

    Parameters
    ----------
    image
        (H, W) grey levels.
    x, y
        The upper left of the four, not at the frame's edge.

    Returns
    -------
    tuple of int
        Sums of the upper left, upper right, lower left and lower right [DN].
    """
    upper_left = upper_right = lower_left = lower_right = 0
    for row in range(4):
        line = image[y - 1 + row]
        inner = np.int64(line[x]) + np.int64(line[x + 1])
        left = np.int64(line[x - 1]) + inner + np.int64(line[x])
        right = inner + np.int64(line[x + 1]) + np.int64(line[x + 2])
        if row < 3:
            weight = 1 + (row & 1)
            upper_left += weight * left
            upper_right += weight * right
        if row > 0:
            weight = 2 - (row & 1)
            lower_left += weight * left
            lower_right += weight * right
    return upper_left, upper_right, lower_left, lower_right


@njit(**JIT)
def is_summit(image, x, y, total):  # type: ignore[no-untyped-def]
    """Whether no weighted sum around a pixel's is higher; of equals the first one in reading order.

    Parameters
    ----------
    image
        (H, W) grey levels.
    x, y
        The pixel, not at the frame's edge.
    total
        Its own sum.

    Returns
    -------
    bool
    """
    height, width = image.shape
    for down in range(-1, 2):
        for right in range(-1, 2):
            row = y + down
            column = x + right
            if not (0 < row < height - 1 and 0 < column < width - 1) or (down == 0 and right == 0):
                continue
            beside = weighted_sum(image, column, row)
            earlier = down < 0 or (down == 0 and right < 0)
            if beside > total or (earlier and beside == total):
                return False
    return True


@njit(**JIT)
def keep(x, y, sigmas, found, columns_x, rows_y, strength):  # type: ignore[no-untyped-def]
    """Note a local maximum; when the list is full, in place of the weakest.

    Parameters
    ----------
    x, y, sigmas
        The maximum's pixel and height.
    found
        Number of maxima noted.
    columns_x, rows_y, strength
        (K,) the list.

    Returns
    -------
    int
        Number of maxima noted now.
    """
    slot = found
    if found == strength.size:
        slot = int(np.argmin(strength))
        if strength[slot] >= sigmas:
            return found
    columns_x[slot] = x
    rows_y[slot] = y
    strength[slot] = sigmas
    return min(found + 1, strength.size)


@njit(**JIT)
def search_cell(  # type: ignore[no-untyped-def]
    image, background, noise, threshold, strip, end, x, ground, pairs,
    columns_x, rows_y, strength, found,
):  # fmt: skip
    """Local maxima of weighted sums within one cell.

    Parameters
    ----------
    image, background, noise, threshold, pairs, columns_x, rows_y, strength, found
        As for `sweep`.
    strip, end
        Rows of 4×4 sums of the strip, the last excluded.
    x
        The cell.
    ground
        What a 4×4 sum must exceed [DN].

    Returns
    -------
    int
        Number of maxima noted now.
    """
    height, width = image.shape
    rows, columns = background.shape
    column = 2 * x + 1
    tile_column = column * columns // width
    for row in range(strip, end):
        upper = pairs[row % 5]
        lower = pairs[(row + 1) % 5]
        total = np.int64(upper[x]) + np.int64(upper[x + 1])
        total += np.int64(lower[x]) + np.int64(lower[x + 1])
        if total <= ground:
            continue
        line = 2 * row + 1
        # Only the highest of the four can be a summit, of equals the first.
        sums = four_weighted_sums(image, column, line)
        best = 0
        for pixel in range(1, 4):
            if sums[pixel] > sums[best]:
                best = pixel
        level = interpolate(background, column + 0.5, line + 0.5, height, width)
        spread = 6.0 * noise[line * rows // height, tile_column]
        sigmas = (sums[best] - 16.0 * level) / spread
        if sigmas < threshold:
            continue
        peak_x = column + (best & 1)
        peak_y = line + (best >> 1)
        if is_summit(image, peak_x, peak_y, sums[best]):
            found = keep(peak_x, peak_y, sigmas, found, columns_x, rows_y, strength)
    return found


@njit(**JIT)
def sweep(  # type: ignore[no-untyped-def]
    image, background, noise, threshold, first_row, last_row, first_cell, last_cell,
    pairs, cells, cell_count, columns_x, rows_y, strength, found,
):  # fmt: skip
    """Cells of a picture that stand out, and the local maxima of weighted sums within them.

    Parameters
    ----------
    image
        (H, W) grey levels, uint8 or uint16.
    background, noise
        (R, C) tiles [DN].
    threshold
        Least height of a weighted sum, in standard deviations of a sum.
    first_row, last_row
        Rows of 4×4 sums to search, the last excluded; row r lies on pixel rows 2r + 1, 2r + 2.
    first_cell, last_cell
        The same across.
    pairs
        (7, W // 2) of uint16 for uint8 pictures and of uint32 for uint16, room to work in.
    cells
        (K, 3) int32, filled with the pixel row, pixel column and highest 4×4 sum of each cell
        that stands out; a cell is 2 pixels wide and up to 8 high.
    cell_count
        Number of cells filled before.
    columns_x, rows_y, strength
        (M,) filled with the maxima's pixels and their heights in standard deviations of a sum.
    found
        Number of maxima filled before.

    Returns
    -------
    tuple of int
        Number of cells and of maxima; of too many maxima the weakest are dropped.
    """
    height = image.shape[0]
    rows, columns = background.shape
    tops = pairs[5][: last_cell - first_cell]
    ground = pairs[6][: pairs.shape[1] - 1]
    levels = np.empty(columns + 2)
    grounded = np.empty(columns + 2)
    noise_row = -1
    edges = np.arange(2 * columns + 1) * ground.size // (2 * columns)
    ready = first_row  # the next row of pairs to be formed
    for strip in range(first_row, last_row, ROWS_OF_STRIP):
        end = min(strip + ROWS_OF_STRIP, last_row)
        while ready <= end:
            above = image[2 * ready][2 * first_cell : 2 * last_cell + 2]
            below = image[2 * ready + 1][2 * first_cell : 2 * last_cell + 2]
            add_pairs(above, below, pairs[ready % 5][first_cell : last_cell + 1])
            ready += 1
        # Where the last strip has fewer rows, older ones stand in: a cell too many may pass.
        highest_of_strip(pairs, strip % 5, first_cell, tops)
        tile_row = (strip + end) * rows // height
        level_line(background, strip + end + 0.5, height, levels)
        if tile_row != noise_row or not near_enough(levels, grounded, noise[tile_row]):
            noise_row = tile_row
            grounded[:] = levels
            ground_line(levels, noise[tile_row], edges, first_cell, last_cell, ground)
        for chunk in range(first_cell, last_cell, CHUNK):
            chunk_end = min(chunk + CHUNK, last_cell)
            if not any_over(tops, ground, first_cell, chunk, chunk_end):
                continue
            for part in range(chunk, chunk_end, CHUNK_PART):
                part_end = min(part + CHUNK_PART, chunk_end)
                if not any_over(tops, ground, first_cell, part, part_end):
                    continue
                for x in range(part, part_end):
                    if tops[x - first_cell] <= ground[x] or cell_count == cells.shape[0]:
                        continue
                    cells[cell_count, 0] = 2 * strip + 1
                    cells[cell_count, 1] = 2 * x + 1
                    cells[cell_count, 2] = tops[x - first_cell]
                    cell_count += 1
                    found = search_cell(
                        image, background, noise, threshold, strip, end, x, ground[x], pairs,
                        columns_x, rows_y, strength, found,
                    )  # fmt: skip
    return cell_count, found


@njit(**JIT)
def clipping_level(image, cells, cell_count):  # type: ignore[no-untyped-def]
    """The level at which a picture clips, where its bright pixels pile up at their top.

    Parameters
    ----------
    image
        (H, W) grey levels.
    cells, cell_count
        As from `sweep`.

    Returns
    -------
    float
        Level [DN]; the end of the picture's type where nothing piles up.
    """
    height, width = image.shape
    top = 0
    at_top = 0
    below = 0
    for turn in range(2):
        for cell in range(cell_count):
            for y in range(cells[cell, 0], min(cells[cell, 0] + 2 * ROWS_OF_STRIP, height)):
                for x in range(cells[cell, 1], min(cells[cell, 1] + 2, width)):
                    value = np.int64(image[y, x])
                    if turn == 0:
                        top = max(top, value)
                    else:
                        at_top += value == top
                        below += top - 3 <= value < top
    piled = at_top >= 9 and at_top > below
    return float(top) if piled else 256.0**image.itemsize - 1.0
