"""The detector: one picture in, its dots out, each with its uncertainty and its doubts."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from rushlight.errors import RushlightError
from rushlight.records.dots import Dots
from rushlight.see.fit import (
    CLIPPED,
    COV_XY,
    FIELDS,
    FLUX,
    MISFIT,
    PEAK,
    SIGMA,
    VAR_X,
    VAR_Y,
    X,
    Y,
)
from rushlight.see.scan import (
    local_maxima,
    smooth,
    steady_noise,
    tile_shape,
    tile_statistics,
    top_level,
)
from rushlight.see.sensor import QUANTISATION_VARIANCE_DN2, SensorNoise
from rushlight.see.spots import find_shapes, find_spots, part_neighbours

THRESHOLD_SIGMAS = 5.3
"""Least height of a 3×3 sum. A 640×480 picture has fewer than 3·10⁵ independent sums; a normal
law passes this height once in 1.7·10⁷ (computed), so noise alone makes a dot in 50 frames."""

STILL_DN = 0.5
"""Noise below which a picture's grey levels stand almost still (chosen by trial)."""


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
        part_neighbours(
            image,
            float(np.median(noise)),
            self.noise.levels_per_electron(),
            full_scale_dn,
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
        # A level between two grey levels flickers between them by up to half a level, more than
        # the even spread of rounding that the model supposes: nearly still pictures are believed.
        leeway = np.where(model < STILL_DN, 1.0, 1.25)
        return np.where(measured > leeway * model, measured, model)

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
