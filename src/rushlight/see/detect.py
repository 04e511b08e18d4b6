"""The detector: one picture in, its dots out, each with its uncertainty and its doubts."""

from __future__ import annotations

import math
from typing import Any

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
    VAR_X,
    VAR_Y,
    WIDTH_XX,
    WIDTH_YY,
    X,
    Y,
)
from rushlight.see.picture import look
from rushlight.see.scan import ROWS_OF_STRIP
from rushlight.see.sensor import QUANTISATION_VARIANCE_DN2, SensorNoise
from rushlight.see.tiles import tile_shape

COV_FIELDS = [VAR_X, COV_XY, COV_XY, VAR_Y]
LEVEL_TYPES = (np.dtype(np.uint8), np.dtype(np.uint16))

Picture = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]


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
        self._pairs: dict[np.dtype[Any], npt.NDArray[Any]] = {
            np.dtype(np.uint8): np.zeros((7, width_px // 2), np.uint16)
        }
        self._everywhere = np.array([[0, height_px // 2 - 1, 0, width_px // 2 - 1]])
        strips = height_px // 2 // ROWS_OF_STRIP + 1
        self._cells = np.zeros((strips * (width_px // 2), 3), np.int32)
        self._stamps = np.zeros(shape, np.int32)
        self._mark = 1
        self._stack = np.zeros(height_px * width_px + 4, np.int32)
        candidates = 8 * most_dots
        self._columns_x = np.zeros(candidates, np.int64)
        self._rows_y = np.zeros(candidates, np.int64)
        self._strength = np.zeros(candidates)
        self._dots = np.zeros((most_dots, FIELDS))
        self._reasons = np.zeros(most_dots, np.int64)

    def __call__(self, image: Picture) -> Dots:
        """The dots of one picture, brightest shapes first, then by strength.

        Parameters
        ----------
        image
            (H, W) of uint8 or uint16 grey levels, of the size the detector was made for.

        Returns
        -------
        Dots
            Good and doubtful dots; `Dots.good` keeps those without a reason against them.

        Raises
        ------
        ValueError
            When shape or type differ.
        """
        return self._look(image, self._everywhere)

    def _look(self, image: Picture, windows: npt.NDArray[np.int64]) -> Dots:
        """The dots in some windows of a picture."""
        if image.shape != (self.height_px, self.width_px) or image.dtype not in LEVEL_TYPES:
            raise ValueError(
                f"expected ({self.height_px}, {self.width_px}) of uint8 or uint16, "
                f"got {image.shape} of {image.dtype}"
            )
        if image.dtype not in self._pairs:
            self._pairs[image.dtype] = np.zeros((7, self.width_px // 2), np.uint32)
        known = self.noise
        self._mark += 4
        count = look(
            np.ascontiguousarray(image),
            windows,
            known.read_noise_dn**2 + QUANTISATION_VARIANCE_DN2 if known.known else math.nan,
            known.levels_per_electron(),
            0.0 if math.isnan(known.offset_dn) else known.offset_dn,
            known.full_scale_dn,
            self.least_contrast_dn,
            self._background,
            self._noise,
            self._pairs[image.dtype],
            self._cells,
            self._columns_x,
            self._rows_y,
            self._strength,
            self._stamps,
            self._mark,
            self._stack,
            self._dots,
            self._reasons,
        )
        return self._record(count)

    def _record(self, count: int) -> Dots:
        """The dots found, as a record."""
        dots = self._dots[:count]
        return Dots(
            xy=dots[:, X : Y + 1],
            cov=dots[:, COV_FIELDS].reshape(count, 2, 2),
            flux=dots[:, FLUX],
            width=dots[:, WIDTH_XX : WIDTH_YY + 1],
            peak=dots[:, PEAK],
            saturated=dots[:, CLIPPED],
            quality=np.clip(1.0 - dots[:, MISFIT], 0.0, 1.0),
            reason=self._reasons[:count],
        )


def detect(image: Picture, noise: SensorNoise | None = None) -> Dots:
    """The dots of a single picture.

    Parameters
    ----------
    image
        (H, W) of uint8 or uint16 grey levels, at least 8×8.
    noise
        What is known of the camera's noise; nothing by default.

    Returns
    -------
    Dots
        As from `Detector`, which is the quicker way for many pictures.
    """
    height_px, width_px = image.shape
    return Detector(width_px, height_px, noise)(image)
