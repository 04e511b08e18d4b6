"""Compile the kernels of tracking ahead of their first use."""

from __future__ import annotations

import numpy as np

from rushlight.see.detect import detect
from rushlight.see.link import Linker
from rushlight.track.glance import each_has_one, foretold_windows
from rushlight.track.map_frame import map_dots


def warm() -> None:
    """Map one dot, and foretell one."""
    picture = np.full((32, 32), 5, np.uint8)
    picture[15:18, 15:18] = 60
    dots, linker = detect(picture), Linker(confirm_frames=1)
    places, reach = foretold_windows(linker.step(1, dots), 2)
    each_has_one(dots.xy, dots.reason, places, reach)
    map_dots(
        np.zeros((1, 2)),
        np.zeros((1, 2, 2)),
        np.eye(3),
        np.zeros(5),
        1.0,
        np.eye(3),
        np.zeros(7),
        np.ones(2),
        np.ones(3),
        np.zeros((1, 2)),
        np.zeros((1, 2, 2)),
    )
