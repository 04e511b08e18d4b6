"""The detector: one picture in, its dots out, each with its uncertainty and its doubts."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from numba import njit

from rushlight.errors import RushlightError
from rushlight.records.dots import REASONS, Dots
from rushlight.see.fit import (
    BACKGROUND,
    CLIPPED,
    COV_XY,
    FIELDS,
    FLUX,
    GREATEST_SIGMA_PX,
    LEAST_SIGMA_PX,
    MISFIT,
    PEAK,
    SETTLED,
    SIGMA,
    VAR_FLUX,
    VAR_X,
    VAR_Y,
    X,
    Y,
    fit_spot,
    weighted_centroid,
)
from rushlight.see.large import (
    AREA,
    FULL_PIXELS,
    LEAST_ALONE,
    LEAST_FILL,
    MEAN_X,
    MEAN_Y,
    ON_EDGE,
    REGION_FIELDS,
    RING_POINTS,
    TOP,
    elliptic_fill,
    grow_region,
    region_dot,
    ring_around,
)
from rushlight.see.scan import (
    JIT,
    interpolate,
    local_maxima,
    smooth,
    steady_noise,
    tile_shape,
    tile_statistics,
    top_level,
)
from rushlight.see.sensor import QUANTISATION_VARIANCE_DN2, SensorNoise

THRESHOLD_SIGMAS = 5.3
"""Least height of a 3×3 sum. A 640×480 picture has fewer than 3·10⁵ independent sums; a normal
law passes this height once in 1.7·10⁷ (computed), so noise alone makes a dot in 50 frames."""

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
        middle = float(image[y, x]) - level
        total = 0.0
        for row in range(y - 1, y + 2):
            for column in range(x - 1, x + 2):
                total += float(image[row, column]) - level
        if middle > HOT_SHARE * total:
            hot_dot(x, y, middle, dot)
            reasons[count] = HOT
            count += 1
            continue
        top_x, top_y = x, y
        for row in range(y - 1, y + 2):
            for column in range(x - 1, x + 2):
                if image[row, column] > image[top_y, top_x]:
                    top_x, top_y = column, row
        top = float(image[top_y, top_x])
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


class Detector:
    """Finds the dots in pictures of one size.

    Parameters
    ----------
    width_px, height_px
        Size of the pictures [px], at least 8 each.
    noise
        What is known of the camera's noise; nothing by default.
    most_dots
        Most dots reported a picture, good and doubtful together, ≥ 1.
    least_contrast_dn
        Least peak of a good dot above its surroundings [DN]; lower ones are called faint.
        Raise it where the picture shows more than the lights.

    Raises
    ------
    RushlightError
        When the size or a limit is outside its range.
    """

    def __init__(
        self,
        width_px: int,
        height_px: int,
        noise: SensorNoise | None = None,
        *,
        most_dots: int = 64,
        least_contrast_dn: float = 0.0,
    ) -> None:
        if min(width_px, height_px) < 8:
            raise RushlightError.of(
                "picture size",
                f"{width_px}×{height_px}",
                "is below 8×8 pixels",
                "use larger pictures",
            )
        if most_dots < 1:
            raise RushlightError.of(
                "detector: most_dots", str(most_dots), "must be 1 or more", "raise it"
            )
        self.width_px = width_px
        self.height_px = height_px
        self.noise = SensorNoise.unknown() if noise is None else noise
        self.least_contrast_dn = least_contrast_dn
        shape = (height_px, width_px)
        tiles = tile_shape(height_px, width_px)
        self._background = np.zeros(tiles)
        self._noise = np.zeros(tiles)
        self._sums = np.zeros(shape, np.uint16)
        self._peaks = np.zeros((height_px, tiles[1]), np.uint16)
        self._stamps = np.zeros(shape, np.int32)
        self._mark = 1
        self._stack = np.zeros(height_px * width_px + 4, np.int32)
        candidates = 8 * most_dots
        self._columns_x = np.zeros(candidates, np.int64)
        self._rows_y = np.zeros(candidates, np.int64)
        self._strength = np.zeros(candidates)
        self._dots = np.zeros((most_dots, FIELDS))
        self._reasons = np.zeros(most_dots, np.int64)

    def __call__(self, image: npt.NDArray[np.uint8]) -> Dots:
        """The dots of one picture, brightest shapes first, then by strength.

        Parameters
        ----------
        image
            (H, W) of uint8 grey levels, of the size the detector was made for.

        Returns
        -------
        Dots
            Good and doubtful dots; `Dots.good` keeps those without a reason against them.

        Raises
        ------
        ValueError
            When shape or type differ.
        """
        if image.shape != (self.height_px, self.width_px) or image.dtype != np.uint8:
            raise ValueError(
                f"expected ({self.height_px}, {self.width_px}) of uint8, "
                f"got {image.shape} of {image.dtype}"
            )
        image = np.ascontiguousarray(image)
        full_scale_dn = self._full_scale(image)
        tile_statistics(image, self._background, self._noise)
        noise = self._tile_noise()
        smooth(image, self._sums, self._peaks)
        count = self._shapes(image, noise, full_scale_dn)
        found = local_maxima(
            image,
            self._sums,
            self._peaks,
            self._background,
            noise,
            THRESHOLD_SIGMAS,
            self._columns_x,
            self._rows_y,
            self._strength,
        )
        if found:
            order = np.argsort(-self._strength[:found], kind="stable")
            known = self.noise
            count = find_spots(
                image,
                self._background,
                noise,
                order,
                self._columns_x,
                self._rows_y,
                self._strength,
                known.read_noise_dn**2 + QUANTISATION_VARIANCE_DN2,
                known.levels_per_electron(),
                0.0 if math.isnan(known.offset_dn) else known.offset_dn,
                full_scale_dn,
                self.least_contrast_dn,
                self._stamps,
                self._mark,
                self._stack,
                self._dots,
                self._reasons,
                count,
            )
        return self._record(count)

    def _full_scale(self, image: npt.NDArray[np.uint8]) -> float:
        """The clipping level: as given, or where the picture's levels pile up at their top."""
        if not math.isnan(self.noise.full_scale_dn):
            return self.noise.full_scale_dn
        top, at_top, below = top_level(image)
        return float(top) if at_top >= 9 and at_top > below else 255.0

    def _tile_noise(self) -> npt.NDArray[np.float64]:
        """Noise of each tile [DN]: the model's where it is known, more where a tile is rougher."""
        least = math.sqrt(QUANTISATION_VARIANCE_DN2)
        measured = steady_noise(self._noise, least)
        if not self.noise.known:
            return measured
        offset_dn = 0.0 if math.isnan(self.noise.offset_dn) else self.noise.offset_dn
        light_dn = np.maximum(self._background - offset_dn, 0.0)
        model = np.sqrt(
            self.noise.variance_dn2(offset_dn) + light_dn * self.noise.levels_per_electron()
        )
        return np.where(measured > 1.25 * model, measured, model)

    def _shapes(
        self, image: npt.NDArray[np.uint8], noise: npt.NDArray[np.float64], full_scale_dn: float
    ) -> int:
        """Bright regions at half the picture's height, when it has any contrast to speak of."""
        self._mark += 4
        dark = float(np.quantile(self._background, 0.25))
        typical = float(np.median(noise))
        top = min(float(self._peaks.max()) / 9.0, full_scale_dn)
        if top - dark < 20.0 * typical:
            return 0
        return int(
            find_shapes(
                image,
                self._sums,
                self._peaks,
                0.5 * (dark + top),
                typical,
                self.noise.levels_per_electron(),
                full_scale_dn,
                self.least_contrast_dn,
                self._stamps,
                self._mark,
                self._stack,
                self._dots,
                self._reasons,
            )
        )

    def _record(self, count: int) -> Dots:
        """The dots found, as a record."""
        dots = self._dots[:count]
        cov = np.stack([dots[:, [VAR_X, COV_XY]], dots[:, [COV_XY, VAR_Y]]], axis=1)
        variance = dots[:, SIGMA] ** 2
        return Dots(
            xy=dots[:, [X, Y]],
            cov=cov,
            flux=dots[:, FLUX],
            width=np.stack([variance, np.zeros(count), variance], axis=1),
            peak=dots[:, PEAK],
            saturated=dots[:, CLIPPED].astype(np.int64),
            quality=np.clip(1.0 - dots[:, MISFIT], 0.0, 1.0),
            reason=self._reasons[:count].copy(),
        )


def detect(image: npt.NDArray[np.uint8], noise: SensorNoise | None = None) -> Dots:
    """The dots of a single picture.

    Parameters
    ----------
    image
        (H, W) of uint8 grey levels, at least 8×8.
    noise
        What is known of the camera's noise; nothing by default.

    Returns
    -------
    Dots
        As from `Detector`, which is the quicker way for many pictures.
    """
    height_px, width_px = image.shape
    return Detector(width_px, height_px, noise)(image)
