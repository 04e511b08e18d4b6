"""Compile the kernels before they are needed, so that no first frame stalls."""

from __future__ import annotations

import numpy as np

from rushlight.see.assign import assign
from rushlight.see.detect import Detector
from rushlight.see.hot import HotPixels
from rushlight.see.link import Linker
from rushlight.see.sensor import SensorNoise


def warm() -> None:
    """Compile every kernel of detection and linking, or load it from the cache.

    The first run takes several seconds, later ones a fraction of one. Where the package's own
    folder cannot be written, the compiler keeps its cache in the user's.
    """
    picture = np.full((96, 96), 5, np.uint8)
    picture[::2, ::3] += 1
    picture[20:44, 20:44] = 255  # clipped, and too large and square for a spot
    picture[70:73, 70:73] = 60  # a spot
    picture[60, 20] = 90  # a hot pixel
    hot = HotPixels(xy=np.array([[60, 10]]))
    for noise in (SensorNoise(20.0, 0.8, 5.0), SensorNoise.unknown()):
        detector = Detector(96, 96, noise, hot=hot)
        detector(picture.astype(np.uint16))
        detector.near(picture, [[71.0, 71.0]], 8.0)
        dots = detector(picture)
    Linker().step(0, dots)
    assign(np.zeros((1, 1)), 1.0, 1.0)
