"""The detector: one picture in, its dots out, each with its uncertainty and its doubts."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from rushlight.errors import RushlightError
from rushlight.records.dots import Dots
from rushlight.see.hot import HotPixels, mend
from rushlight.see.model import (
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
from rushlight.see.picture import fill_windows, look
from rushlight.see.scan import ROWS_OF_STRIP
from rushlight.see.sensor import QUANTISATION_VARIANCE_DN2, SensorNoise
from rushlight.see.tiles import tile_shape

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
        Raise it where the picture shows more than the lights; for a compressed stream whose
        noise is unknown, `rushlight.see.stream.contrast_floor_dn` measures it.
    hot
        The camera's hot pixels; they are mended in a copy before the search.

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
        hot: HotPixels | None = None,
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
        self.hot = HotPixels.none() if hot is None else hot
        if not self.hot.within(width_px, height_px):
            raise RushlightError.of(
                "detector: hot pixels",
                f"{len(self.hot)} of them",
                f"must all lie within {width_px}×{height_px} pixels",
                "learn them from pictures of this size",
            )
        self.noise = SensorNoise.unknown() if noise is None else noise
        self.least_contrast_dn = least_contrast_dn
        shape = (height_px, width_px)
        tiles = tile_shape(height_px, width_px)
        self._background = np.zeros(tiles)
        self._noise = np.zeros(tiles)
        self._pairs: dict[np.dtype[Any], npt.NDArray[Any]] = {
            np.dtype(np.uint8): np.zeros((7, width_px // 2), np.uint16)
        }
        self._mended: dict[np.dtype[Any], npt.NDArray[Any]] = {}
        self._hot_mask = self.hot.mask(width_px, height_px)
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

    def near(self, image: Picture, places_px: npt.ArrayLike, reach_px: npt.ArrayLike) -> Dots:
        """The dots around some places only, as between two searches of the whole picture.

        Parameters
        ----------
        image
            (H, W) as for a call.
        places_px
            (N, 2) where dots are expected [px]; places outside the picture are passed over.
        reach_px
            Half side of the square around each that is searched [px], one or (N,), > 0. A spot
            is found when its top lies within.

        Returns
        -------
        Dots
            As from a call; where the noise is not known, it is measured near the places only.
        """
        windows = windows_around(places_px, reach_px, self.width_px, self.height_px)
        if len(windows) == 0:
            return Dots.none()
        return self._look(image, windows)

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
            self._sound(image),
            windows,
            known.read_noise_dn**2 + QUANTISATION_VARIANCE_DN2 if known.known else math.nan,
            known.levels_per_electron(image.dtype.itemsize),
            0.0 if math.isnan(known.offset_dn) else known.offset_dn,
            float(known.full_scale_dn),  # the kernel is compiled for no other kind of number
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

    def _sound(self, image: Picture) -> Picture:
        """The picture, read only, with its hot pixels mended where there are any."""
        # A read-only view, so that the kernels are compiled for no other kind of array.
        view = np.ascontiguousarray(image).view()
        view.setflags(write=False)
        if len(self.hot) == 0:
            return view
        if image.dtype not in self._mended:
            self._mended[image.dtype] = np.empty(image.shape, image.dtype)
        mended = self._mended[image.dtype]
        mend(view, self.hot.xy[:, 0], self.hot.xy[:, 1], self._hot_mask, mended)
        view = mended.view()
        view.setflags(write=False)
        return view

    def _record(self, count: int) -> Dots:
        """The dots found, as a record."""
        dots = self._dots[:count]
        cov = np.empty((count, 2, 2))
        cov[:, 0, 0] = dots[:, VAR_X]
        cov[:, 0, 1] = cov[:, 1, 0] = dots[:, COV_XY]
        cov[:, 1, 1] = dots[:, VAR_Y]
        arrays = {
            "xy": dots[:, X : Y + 1].copy(),
            "cov": cov,
            "flux": dots[:, FLUX].copy(),
            "width": dots[:, WIDTH_XX : WIDTH_YY + 1].copy(),
            "peak": dots[:, PEAK].copy(),
            "saturated": dots[:, CLIPPED].astype(np.int64),
            "quality": np.minimum(np.maximum(1.0 - dots[:, MISFIT], 0.0), 1.0),
            "reason": self._reasons[:count].copy(),
        }
        for array in arrays.values():
            array.setflags(write=False)
        # Made here in the right shapes and types, so the record's own checks, which take as long
        # as several fits, are passed over; a test compares with a checked one.
        record = object.__new__(Dots)
        vars(record).update(arrays)
        return record


def windows_around(
    places_px: npt.ArrayLike, reach_px: npt.ArrayLike, width_px: int, height_px: int
) -> npt.NDArray[np.int64]:
    """The windows to search around some places, overlapping ones made one.

    Parameters
    ----------
    places_px
        (N, 2) places [px]; those outside the picture, or NaN, are passed over.
    reach_px
        Half side of each window [px], one or (N,), > 0.
    width_px, height_px
        Size of the picture [px].

    Returns
    -------
    ndarray
        (M, 4) first and last row, first and last cell, the last ones excluded.
    """
    places = np.array(places_px, float).reshape(-1, 2)
    reach = np.empty(places.shape[0])
    reach[:] = reach_px
    windows = np.empty((places.shape[0], 4), np.int64)
    return windows[: fill_windows(places, reach, width_px, height_px, windows)]


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
