"""Hot pixels: which ones a camera has, and pictures without them.

A hot pixel is bright without light, and stays where it is. Its place is learnt from dark frames,
or while the rig is in use: what the detector keeps calling a hot pixel at one place while the
dots move is one.
"""

# ruff: noqa: RUF009 – shaped(...) becomes a field of its own in each record
from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
import numpy.typing as npt
from numba import njit

from rushlight.records.arrays import Array, ArrayRecord, shaped
from rushlight.records.dots import REASONS, Dots
from rushlight.see.tiles import JIT

LEAST_SIGMAS = 8.0
"""Height above its neighbours that makes a pixel of the dark frames' mean hot [σ of that mean]."""

LEAST_HEIGHT_DN = 2.0
"""Least such height [DN]: a lower one harms no dot."""

MOVED_PX = 3.0
"""Motion of the brightest dot that shows that a place which stays is not one of the lights [px]."""

HOT = REASONS.index("hot pixel")


@dataclass(frozen=True, eq=False)
class HotPixels(ArrayRecord):
    """The hot pixels of a camera.

    Attributes
    ----------
    xy
        (N, 2) their columns and rows [px].
    """

    xy: Array = shaped("N", 2, dtype=np.int64)

    @classmethod
    def none(cls) -> Self:
        """A camera without hot pixels."""
        return cls(xy=np.zeros((0, 2), np.int64))

    @classmethod
    def from_dark(
        cls, frames: Iterable[npt.NDArray[Any]], least_sigmas: float = LEAST_SIGMAS
    ) -> Self:
        """The pixels that stand out in pictures taken in the dark.

        Parameters
        ----------
        frames
            (H, W) pictures with the lens covered, one at least; eight or more tell them better.
        least_sigmas
            Height over the median of the eight neighbours that makes a pixel hot, in standard
            deviations of the frames' mean, > 0.

        Returns
        -------
        HotPixels

        Raises
        ------
        ValueError
            When there is no frame, or their shapes differ.

        Notes
        -----
        Source: the spread is 1.4826 times the median absolute deviation, as for a normal law
        (computed here: 1/Φ⁻¹(3/4)).
        """
        count = 0
        total = np.zeros((0, 0))
        for frame in frames:
            if count == 0:
                total = np.zeros(frame.shape)
            if frame.shape != total.shape or frame.ndim != 2:
                raise ValueError(f"expected pictures of {total.shape}, got {frame.shape}")
            total += frame
            count += 1
        if count == 0:
            raise ValueError("expected one dark picture at least, got none")
        mean = total / count
        padded = np.pad(mean, 1, mode="reflect")
        height, width = mean.shape
        around = [
            padded[down : down + height, right : right + width]
            for down in range(3)
            for right in range(3)
            if (down, right) != (1, 1)
        ]
        above = mean - np.median(around, axis=0)
        spread = 1.4826 * float(np.median(np.abs(above - np.median(above))))
        limit = max(least_sigmas * spread, LEAST_HEIGHT_DN)
        return cls(xy=np.argwhere(above >= limit)[:, ::-1])

    def __len__(self) -> int:
        return int(self.xy.shape[0])

    def join(self, other: Self) -> Self:
        """The hot pixels of both, each once."""
        return self.replace(xy=np.unique(np.concatenate([self.xy, other.xy]), axis=0))

    def within(self, width_px: int, height_px: int) -> bool:
        """Whether all lie within a picture of this size [px]."""
        return bool(np.all((self.xy >= 0) & (self.xy < [width_px, height_px])))

    def mask(self, width_px: int, height_px: int) -> npt.NDArray[np.bool_]:
        """(H, W), true at the hot pixels of a picture of this size [px]."""
        mask = np.zeros((height_px, width_px), bool)
        mask[self.xy[:, 1], self.xy[:, 0]] = True
        return mask


@njit(**JIT)
def mend(image, hot_x, hot_y, mask, mended):  # type: ignore[no-untyped-def]
    """Copy a picture, each hot pixel replaced by the median of its sound neighbours.

    Parameters
    ----------
    image
        (H, W) grey levels.
    hot_x, hot_y
        (N,) the hot pixels.
    mask
        (H, W) true at the hot pixels.
    mended
        (H, W) of the picture's type, filled.
    """
    height, width = image.shape
    source = image.reshape(-1)
    target = mended.reshape(-1)
    for index in range(source.size):
        target[index] = source[index]
    around = np.empty(8)
    for hot in range(hot_x.size):
        count = 0
        for row in range(max(hot_y[hot] - 1, 0), min(hot_y[hot] + 2, height)):
            for column in range(max(hot_x[hot] - 1, 0), min(hot_x[hot] + 2, width)):
                if not mask[row, column]:
                    around[count] = image[row, column]
                    count += 1
        if count > 0:
            mended[hot_y[hot], hot_x[hot]] = round(np.median(around[:count]))


class HotPixelWatch:
    """Learns hot pixels while the rig is in use.

    Parameters
    ----------
    sightings
        Pictures in which a place must be called a hot pixel, ≥ 2.
    """

    def __init__(self, sightings: int = 30) -> None:
        self.sightings = sightings
        self._seen: dict[tuple[int, int], int] = {}
        self._start: npt.NDArray[np.float64] | None = None
        self._moved = False

    def step(self, dots: Dots) -> HotPixels:
        """Take in the dots of one picture.

        Parameters
        ----------
        dots
            All the dots, doubtful ones too, as the detector gives them.

        Returns
        -------
        HotPixels
            Those that are certain by now: called so at one place often enough, while a light
            was seen to move. Before any light has moved, none: a small sharp light that rests
            may look the same.
        """
        good = dots.good()
        if len(good):
            place = good.xy[int(np.nanargmax(good.flux))]
            if self._start is None:
                self._start = place
            self._moved |= bool(np.hypot(*(place - self._start)) >= MOVED_PX)
        for x, y in np.rint(dots.xy[dots.reason == HOT]).astype(int).tolist():
            self._seen[x, y] = self._seen.get((x, y), 0) + 1
        if not self._moved:
            return HotPixels.none()
        sure = [place for place, count in self._seen.items() if count >= self.sightings]
        return HotPixels(xy=np.array(sorted(sure), np.int64).reshape(-1, 2))
