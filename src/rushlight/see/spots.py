"""Look at every candidate of a picture: fit it, weigh it, and say what speaks against it."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from rushlight.records.dots import REASONS
from rushlight.see.fit import (
    BACKGROUND,
    CLIPPED,
    FLUX,
    GREATEST_SIGMA_PX,
    LEAST_SIGMA_PX,
    MISFIT,
    PEAK,
    SETTLED,
    SIGMA,
    VAR_FLUX,
    X,
    Y,
    fit_spot,
)
from rushlight.see.large import (
    AREA,
    LEAST_ALONE,
    LEAST_FILL,
    ON_EDGE,
    REGION_FIELDS,
    RING_POINTS,
    elliptic_fill,
    grow_region,
    region_dot,
    ring_around,
)
from rushlight.see.scan import JIT, interpolate
from rushlight.see.start import start_from_region, weighted_centroid

LEAST_FLUX_SIGMAS = 4.5
"""A fitted spot is faint when its light is less than this many times its uncertainty."""

HOT_SHARE = 0.65
"""Part of a 3×3 sum in its middle pixel beyond which no lens made it. A spot of σ = 0.5 px on a
pixel's centre puts 0.47 there: erf(0.5/(σ√2))² over erf(1.5/(σ√2))² (computed)."""

GREATEST_MISFIT = 0.35
"""Part of a spot's light that its model may leave unexplained."""

EDGE_SIGMAS = 1.5
"""A spot whose centre is nearer to the frame's edge than this many widths is cut off."""

LEAST_REGION_PX = 30
"""Smallest region of bright pixels that is looked at as a shape [px²]."""

GREATEST_FITTED_PX = 1500
"""Largest region of bright pixels that a clipped spot is fitted to [px²]."""

GREATEST_REGION_PART = 0.25
"""A bright region larger than this part of the picture is scenery."""

MOST_FAILURES = 40
"""Fits that may fail in one picture before its weaker maxima are given up: it is scenery."""

FAINT, HOT, EDGE, UNSETTLED, WIDE = (
    REASONS.index(reason)
    for reason in ("faint", "hot pixel", "edge of frame", "fit did not settle", "too wide")
)


@njit(**JIT)
def covered(dots, count, x, y):  # type: ignore[no-untyped-def]
    """Whether a place lies within a dot that was already found.

    Parameters
    ----------
    dots
        (K, FIELDS) dots found.
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
        if (dot[X] - x) ** 2 + (dot[Y] - y) ** 2 < reach * reach:
            return True
    return False


@njit(**JIT)
def judge(dot, width, height, noise):  # type: ignore[no-untyped-def]
    """The reason against a fitted spot, 0 when there is none.

    Parameters
    ----------
    dot
        (FIELDS,) the spot.
    width, height
        Size of the picture [px].
    noise
        Standard deviation of a background pixel [DN].

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
def find_shapes(  # type: ignore[no-untyped-def]
    image, sums, peaks, level, noise, per_light, full_scale, least_contrast,
    stamps, mark, stack, dots, reasons,
):  # fmt: skip
    """Dots among the bright regions of a picture, small ones fitted and large ones weighed.

    Parameters
    ----------
    image
        (H, W) uint8 grey levels.
    sums, peaks
        As filled by `smooth`.
    level
        Half height of the picture [DN].
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
    stretches = peaks.shape[1]
    region = np.empty(REGION_FIELDS)
    ring = np.empty(RING_POINTS)
    count = 0
    for y in range(1, height - 1):
        for stretch in range(stretches):
            if peaks[y, stretch] < 9.0 * level:
                continue
            left = max(1, stretch * width // stretches)
            for x in range(left, min((stretch + 1) * width // stretches, width - 1)):
                if (
                    sums[y, x] < 9.0 * level
                    or image[y, x] < level
                    or stamps[y, x] == mark
                    or stamps[y, x] == mark + 1
                    or count == dots.shape[0]
                ):
                    continue
                grow_region(image, x, y, level, full_scale, stamps, mark, stack, region)
                if region[AREA] < LEAST_REGION_PX:
                    # Stamped anew as small: left to the search for spots.
                    grow_region(image, x, y, level, full_scale, stamps, mark + 1, stack, region)
                    continue
                dot = dots[count]
                reasons[count] = 0
                if region[AREA] <= GREATEST_FITTED_PX and elliptic_fill(region) >= LEAST_FILL:
                    background, _ = ring_around(image, region, level, ring)
                    if not math.isnan(background):
                        start_from_region(image, region, background, full_scale, dot)
                        fit_spot(image, dot, noise * noise, per_light, full_scale)
                        reasons[count] = judge(dot, width, height, noise)
                        if reasons[count] == 0 and dot[MISFIT] < 0.15:
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
    failures = 0
    for candidate in order:
        if count == dots.shape[0] or failures == MOST_FAILURES:
            break
        x = columns_x[candidate]
        y = rows_y[candidate]
        if covered(dots, count, x, y):
            continue
        level = interpolate(background, x, y, height, width)
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
            hot_dot(top_x, top_y, middle, dot)
            reasons[count] = HOT
            count += 1
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
        fit_spot(image, dot, variance, per_light, full_scale)
        reason = judge(dot, width, height, rough)
        failures += reason in (UNSETTLED, WIDE)
        if reason in (UNSETTLED, WIDE):
            # Not a small spot: perhaps a large flat one, at half its own height.
            half = 0.5 * (level + top)
            seen = stamps[top_y, top_x]
            if half - level > 2.0 * rough and seen not in (mark, mark + 3):
                grow_region(image, top_x, top_y, half, full_scale, stamps, mark + 3, stack, region)
                if region[AREA] >= LEAST_REGION_PX:
                    reason = shape_dot(image, region, half, rough, least_contrast, ring, dot)
        if math.isnan(dot[X]) or covered(dots, count, dot[X], dot[Y]):
            continue
        if reason == 0 and dot[PEAK] < least_contrast:
            reason = FAINT
        reasons[count] = reason
        count += 1
    return count


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
    dot[PEAK] = height
    dot[MISFIT] = 1.0
    dot[SETTLED] = 0.0
