"""Look at every candidate of a picture: bright shapes first, then the local maxima."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from rushlight.see.fit import fit_spot
from rushlight.see.judge import (
    FAINT,
    HOT,
    UNSETTLED,
    WIDE,
    covered,
    hot_dot,
    judge,
    pair_dots,
    shape_dot,
)
from rushlight.see.large import (
    AREA,
    LEAST_FILL,
    MEAN_X,
    MEAN_Y,
    ON_EDGE,
    REGION_FIELDS,
    RING_POINTS,
    elliptic_fill,
    grow_region,
    ring_around,
)
from rushlight.see.model import (
    BACKGROUND,
    CLIPPED,
    FIELDS,
    FLUX,
    MISFIT,
    PEAK,
    SIGMA,
    WIDTH_XX,
    WIDTH_YY,
    X,
    Y,
)
from rushlight.see.pair import fit_pair
from rushlight.see.scan import ROWS_OF_STRIP, weighted_sum
from rushlight.see.start import start_from_region, weighted_centroid
from rushlight.see.stretched import fit_stretched
from rushlight.see.tiles import JIT, interpolate

HOT_SHARE = 0.65
"""Part of a 3×3 sum in its middle pixel beyond which no lens made it. A spot of σ = 0.5 px on a
pixel's centre puts 0.47 there: erf(0.5/(σ√2))² over erf(1.5/(σ√2))² (computed)."""

LEAST_REGION_PX = 30
"""Smallest region of bright pixels that is looked at as a shape [px²]."""

GREATEST_FITTED_PX = 1500
"""Largest region of bright pixels that a clipped spot is fitted to [px²]."""

GREATEST_PAIR_PX = 300
"""Largest region of bright pixels that is taken for two touching spots [px²]."""

PAIR_MISFIT = 0.1
"""Unexplained part of a spot's light beyond which two touching spots are tried."""

RIPPLE_SHARE = 0.06
RIPPLE_REACH_PX = 14.0
"""A maximum so near to a far brighter dot, and so low beside it, is a ripple that a coder or the
lens left there, and is passed over. The blocks of ITU-T T.81 are 8 px wide, so that a dot's
ripples lie within two of them; at quality 75 they were seen to reach 0.05 of it (chosen by
trial)."""

MOST_PAIRS = 8
"""Regions of a picture in which two spots are tried; where there are more it is scenery."""

MOST_FAILURES = 20
"""Fits that may fail in one picture before its weaker maxima are given up: it is scenery."""


@njit(**JIT)
def find_shapes(  # type: ignore[no-untyped-def]
    image, cells, cell_count, dark, top, noise, per_light, full_scale, least_contrast,
    stamps, mark, stack, dots, reasons,
):  # fmt: skip
    """Dots among the bright regions of a picture, small ones fitted and large ones weighed.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    cells, cell_count
        As from `sweep`.
    dark, top
        The picture's darker ground and its height [DN]; regions are grown at half of it.
    noise
        Standard deviation of a background pixel [DN].
    per_light
        Variance that a grey level of light adds [DN].
    full_scale
        Clipping level [DN].
    least_contrast
        Least height of a dot [DN].
    stamps, mark, stack
        As for `grow_region`.
    dots, reasons
        (K, FIELDS) and (K,) filled.

    Returns
    -------
    int
        Number of dots.
    """
    height, width = image.shape
    region = np.empty(REGION_FIELDS)
    ring = np.empty(RING_POINTS)
    level = 0.5 * (dark + top)
    trial = np.empty(FIELDS)
    least_sum = 16.0 * (dark + 0.3 * (top - dark))
    pairs_tried = 0
    count = 0
    for cell in range(cell_count):
        if cells[cell, 2] < least_sum:
            continue
        for y in range(cells[cell, 0], min(cells[cell, 0] + 2 * ROWS_OF_STRIP, height - 1)):
            for x in range(cells[cell, 1], min(cells[cell, 1] + 2, width - 1)):
                if (
                    image[y, x] < level
                    or stamps[y, x] == mark
                    or stamps[y, x] == mark + 1
                    or count == dots.shape[0]
                    or weighted_sum(image, x, y) < 16.0 * level
                ):
                    continue
                grow_region(image, x, y, level, full_scale, stamps, mark, stack, region)
                if region[AREA] < LEAST_REGION_PX:
                    # Stamped anew as small: left to the search for spots.
                    grow_region(image, x, y, level, full_scale, stamps, mark + 1, stack, region)
                    continue
                if covered(dots, reasons, count, region[MEAN_X], region[MEAN_Y]):
                    continue  # the other one of a pair
                dot = dots[count]
                background, _ = ring_around(image, region, level, ring)
                whole = region[ON_EDGE] == 0.0 and not math.isnan(background)
                single_misfit = 1.0
                if (
                    whole
                    and region[AREA] <= GREATEST_FITTED_PX
                    and elliptic_fill(region) >= LEAST_FILL
                ):
                    start_from_region(image, region, background, full_scale, dot)
                    fit_spot(image, dot, noise * noise, per_light, full_scale)
                    if judge(dot, width, height) == 0:
                        single_misfit = dot[MISFIT]
                        if single_misfit < PAIR_MISFIT:
                            reasons[count] = 0
                            count += 1
                            continue
                if whole and region[AREA] <= GREATEST_PAIR_PX and pairs_tried < MOST_PAIRS:
                    pairs_tried += 1
                    reach = math.ceil(2.0 * math.sqrt(region[AREA] / math.pi)) + 5
                    found = pair_dots(
                        image, region[MEAN_X], region[MEAN_Y], reach, background, noise,
                        per_light, full_scale, single_misfit, dots, reasons, count,
                    )  # fmt: skip
                    if found > 0:
                        count += found
                        continue
                    drawn_out = fit_stretched(
                        image, region[MEAN_X], region[MEAN_Y], reach, background, noise,
                        per_light, full_scale, trial,
                    )  # fmt: skip
                    if drawn_out and judge(trial, width, height) == 0:
                        dot[:] = trial
                        reasons[count] = 0
                        count += 1
                        continue
                reasons[count] = shape_dot(image, region, level, noise, least_contrast, ring, dot)
                # Large scenery is not worth a line each; what looks like a dot is.
                if reasons[count] == 0:
                    count += 1
    return count


@njit(**JIT)
def find_spots(  # type: ignore[no-untyped-def]
    image, background, noise, order, columns_x, rows_y, strength,
    read_variance, per_light, offset, full_scale, least_contrast,
    stamps, mark, stack, dots, reasons, count,
):  # fmt: skip
    """Fit the spots at the local maxima, strongest first.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    background, noise
        (R, C) tiles [DN].
    order
        (M,) the maxima in the order of their strength.
    columns_x, rows_y, strength
        (M,) as filled by `local_maxima`.
    read_variance
        Variance of a pixel without light, quantisation included [DN²]; NaN to use the tiles'.
    per_light
        Variance that a grey level of light adds [DN].
    offset
        Level without light [DN].
    full_scale
        Clipping level [DN].
    least_contrast
        Least height of a dot [DN].
    stamps, mark, stack
        As for `grow_region`.
    dots, reasons, count
        (K, FIELDS) and (K,) with `count` dots already found.

    Returns
    -------
    int
        Number of dots.
    """
    height, width = image.shape
    region = np.empty(REGION_FIELDS)
    ring = np.empty(RING_POINTS)
    start = np.empty(4)
    trial = np.empty(FIELDS)
    failures = 0
    doubtful = 0
    most_doubtful = dots.shape[0] // 2  # the rest is kept for good ones
    for candidate in order:
        if count == dots.shape[0] or failures == MOST_FAILURES:
            break
        x = columns_x[candidate]
        y = rows_y[candidate]
        if covered(dots, reasons, count, x, y):
            continue
        level = interpolate(background, x, y, height, width)
        if is_ripple(dots, reasons, count, x, y, float(image[y, x]) - level):
            continue
        rough = interpolate(noise, x, y, height, width)
        variance = rough * rough
        if not math.isnan(read_variance):
            variance = read_variance + max(level - offset, 0.0) * per_light
        dot = dots[count]
        dot[:] = math.nan
        dot[CLIPPED] = 0.0
        top_x, top_y = brightest_near(image, x, y)
        top = float(image[top_y, top_x])
        middle = top - level
        total = 0.0
        for row in range(max(top_y - 1, 0), min(top_y + 2, height)):
            for column in range(max(top_x - 1, 0), min(top_x + 2, width)):
                total += float(image[row, column]) - level
        if middle > HOT_SHARE * total:
            if doubtful < most_doubtful:
                hot_dot(top_x, top_y, middle, dot)
                reasons[count] = HOT
                count += 1
                doubtful += 1
            continue
        clipped = top >= full_scale
        if clipped:
            seen = stamps[top_y, top_x]
            if seen in (mark, mark + 2):
                continue  # part of a bright region that was looked at before
            half = 0.5 * (level + full_scale)
            grow_region(image, top_x, top_y, half, full_scale, stamps, mark + 2, stack, region)
            start_from_region(image, region, level, full_scale, dot)
        elif weighted_centroid(image, float(x), float(y), 1.5, level, start):
            dot[X] = start[0]
            dot[Y] = start[1]
            dot[FLUX] = start[2]
            dot[SIGMA] = start[3]
            dot[BACKGROUND] = level
        else:
            continue
        begin_x, begin_y, begin_sigma = dot[X], dot[Y], dot[SIGMA]
        fit_spot(image, dot, variance, per_light, full_scale)
        reason = judge(dot, width, height)
        if reason in (UNSETTLED, WIDE) or (reason == 0 and dot[MISFIT] > PAIR_MISFIT):
            reach = int(min(math.ceil(3.0 * begin_sigma), 20.0)) + 5
            found = pair_dots(
                image, begin_x, begin_y, reach, level, math.sqrt(variance),
                per_light, full_scale, dot[MISFIT], dots, reasons, count,
            )  # fmt: skip
            if found > 0:
                count += found
                continue
            drawn_out = fit_stretched(
                image, begin_x, begin_y, reach, level, math.sqrt(variance),
                per_light, full_scale, trial,
            )  # fmt: skip
            if drawn_out and judge(trial, width, height) == 0:
                if reason == 0:
                    # Where a round spot settles is foretold; only its widths are better known now.
                    dot[WIDTH_XX : WIDTH_YY + 1] = trial[WIDTH_XX : WIDTH_YY + 1]
                else:
                    dot[:] = trial
                    reason = 0
        failures += reason in (UNSETTLED, WIDE)
        if reason in (UNSETTLED, WIDE):
            # Not a small spot: perhaps a large flat one, at half its own height.
            half = 0.5 * (level + top)
            seen = stamps[top_y, top_x]
            if half - level > 2.0 * rough and seen not in (mark, mark + 3):
                grow_region(image, top_x, top_y, half, full_scale, stamps, mark + 3, stack, region)
                if region[AREA] >= LEAST_REGION_PX:
                    reason = shape_dot(image, region, half, rough, least_contrast, ring, dot)
        if math.isnan(dot[X]) or covered(dots, reasons, count, dot[X], dot[Y]):
            continue
        if reason == 0 and dot[PEAK] < least_contrast:
            reason = FAINT
        if reason != 0 and doubtful == most_doubtful:
            continue
        doubtful += reason != 0
        reasons[count] = reason
        count += 1
    return count


@njit(**JIT)
def is_ripple(dots, reasons, count, x, y, height):  # type: ignore[no-untyped-def]
    """Whether a maximum is what a far brighter dot beside it leaves.

    Parameters
    ----------
    dots, reasons, count
        (K, FIELDS) and (K,) with `count` dots already found.
    x, y
        The maximum [px].
    height
        Its height above the background [DN].

    Returns
    -------
    bool
    """
    for index in range(count):
        dot = dots[index]
        if (
            reasons[index] == 0
            and height < RIPPLE_SHARE * dot[PEAK]
            and (dot[X] - x) ** 2 + (dot[Y] - y) ** 2 < RIPPLE_REACH_PX**2
        ):
            return True
    return False


@njit(**JIT)
def part_neighbours(image, noise, per_light, full_scale, dots, reasons, count):  # type: ignore[no-untyped-def]
    """Fit good spots again, together, where each stands in the other's window.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    noise
        Standard deviation of a background pixel [DN].
    per_light
        Variance that a grey level of light adds [DN].
    full_scale
        Clipping level [DN].
    dots, reasons, count
        (K, FIELDS) and (K,) with `count` dots; a pair that fits better replaces its two.
    """
    for first in range(count):
        for second in range(first):
            one, other = dots[first], dots[second]
            apart = math.hypot(one[X] - other[X], one[Y] - other[Y])
            if (
                reasons[first] != 0
                or reasons[second] != 0
                or apart > 1.0 + 5.0 * max(one[SIGMA], other[SIGMA])
                or max(one[MISFIT], other[MISFIT]) == 0.0
            ):
                continue
            one, other = one.copy(), other.copy()
            one[SIGMA] = min(one[SIGMA], other[SIGMA])
            if (
                fit_pair(image, one, other, noise * noise, per_light, full_scale)
                and one[MISFIT] < 0.5 * max(dots[first, MISFIT], dots[second, MISFIT])
                and judge(one, image.shape[1], image.shape[0]) == 0
                and judge(other, image.shape[1], image.shape[0]) == 0
            ):
                dots[first] = one
                dots[second] = other


@njit(**JIT)
def brightest_near(image, x, y):  # type: ignore[no-untyped-def]
    """The brightest of 3×3 pixels.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    x, y
        The pixel in the middle, not at the frame's edge.

    Returns
    -------
    tuple of int
        Its x and y.
    """
    top_x, top_y = x, y
    for row in range(y - 1, y + 2):
        for column in range(x - 1, x + 2):
            if image[row, column] > image[top_y, top_x]:
                top_x, top_y = column, row
    return top_x, top_y
