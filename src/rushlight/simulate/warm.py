"""Compile the kernels of the simulation ahead of their first use."""

from __future__ import annotations

import numpy as np

from rushlight.simulate.render import Sensor


def warm() -> None:
    """Draw one tiny frame with a light on it."""
    sensor = Sensor(
        np.full((8, 8), 4.0), 10.0, 2.0, 3.0, 256, noisy=True, rng=np.random.default_rng(0)
    )
    sensor.expose(np.array([[4.0, 4.0, 1.0, 0.1, 1.0, 500.0]]))
