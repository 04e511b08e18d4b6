"""A detector that learns its camera's hot pixels while it is in use."""

from __future__ import annotations

import numpy.typing as npt

from rushlight.records.dots import Dots
from rushlight.see.detect import Detector, Picture
from rushlight.see.hot import HotPixels, HotPixelWatch
from rushlight.see.sensor import SensorNoise

WATCHED_EVERY = 8
"""Frames from one that is watched for hot pixels to the next: they stay, and watching takes time
that the others save."""


class LearningDetector:
    """Finds the dots, and mends hot pixels from when they are certain.

    Parameters
    ----------
    width_px, height_px
        Size of the pictures [px], at least 8 each.
    noise
        What is known of the camera's noise; nothing by default.
    hot
        Pixels known beforehand, as measured with the lens covered.

    Attributes
    ----------
    hot
        Those mended now.
    """

    def __init__(
        self,
        width_px: int,
        height_px: int,
        noise: SensorNoise | None = None,
        hot: HotPixels | None = None,
    ) -> None:
        self._size_px = (width_px, height_px)
        self._noise = noise
        self.hot = HotPixels.none() if hot is None else hot
        self._detector = Detector(width_px, height_px, noise, hot=self.hot)
        self._watch = HotPixelWatch()
        self._count = 0

    def near(self, image: Picture, places_px: npt.ArrayLike, reach_px: npt.ArrayLike) -> Dots:
        """The dots around some places only; see `Detector.near`. Nothing is learnt from it."""
        return self._detector.near(image, places_px, reach_px)

    def __call__(self, image: Picture) -> Dots:
        """The dots of one picture; see `Detector`."""
        dots = self._detector(image)
        self._count += 1
        if self._count % WATCHED_EVERY == 0:
            known = self.hot.join(self._watch.step(dots))
            if len(known) > len(self.hot):
                self.hot = known
                self._detector = Detector(*self._size_px, self._noise, hot=known)
        return dots
