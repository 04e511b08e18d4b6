"""Compile the kernels of tracking ahead of their first use."""

from __future__ import annotations

import numpy as np

from rushlight.track.map_frame import map_dots


def warm() -> None:
    """Map one dot."""
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
