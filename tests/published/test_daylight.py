"""Sunlight in bins, and a window as a source of light.

SOURCE: ASTM G173-03, hemispherical ("global") and direct normal and circumsolar spectra, sums
over bands integrated by trapezoids from the table as pvlib 0.16.1 hands it on; view factor of a
rectangle parallel to a small plane under its corner, any textbook of radiative heat transfer
(from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from rushlight.physics.daylight import (
    DIRECT_W_M2,
    EDGES_M,
    GLOBAL_W_M2,
    bins_within,
    in_band,
    window_irradiance,
)
from rushlight.physics.light import SUNLIGHT_BAND_W_M2


@pytest.mark.parametrize("band", sorted(SUNLIGHT_BAND_W_M2))
def test_global_sunlight_by_band(band) -> None:
    """Within the rounding of the bins; where a band ends amid bins these are taken as even,
    which costs up to 3 % at the edges of the band of water vapour about 940 nm."""
    low, high = (1e-9 * each for each in band)
    found = in_band(GLOBAL_W_M2, bins_within(low, high))
    halves = any(edge % 10 for edge in band)
    allowed = 0.03 * SUNLIGHT_BAND_W_M2[band] if halves else 0.05
    assert found == pytest.approx(SUNLIGHT_BAND_W_M2[band], abs=allowed)


@pytest.mark.parametrize(
    ("low", "high", "w_m2"),
    [(400, 700, 374.81), (700, 1100, 305.07), (800, 1000, 140.63), (840, 1100, 165.72)],
)
def test_direct_sunlight_by_band(low, high, w_m2) -> None:
    """Each of up to 55 bins is rounded to 0.01 W/m²."""
    found = in_band(DIRECT_W_M2, bins_within(1e-9 * low, 1e-9 * high))
    assert found == pytest.approx(w_m2, abs=0.05)


def test_bins_hold_together() -> None:
    assert len(GLOBAL_W_M2) == len(DIRECT_W_M2) == len(EDGES_M) - 1
    assert np.all(np.diff(EDGES_M) > 0.0)
    assert np.all(GLOBAL_W_M2 > DIRECT_W_M2)


def corner_factor(x: float, y: float) -> float:
    """View factor from a small plane to a parallel rectangle x × y, one off, over its corner."""
    a, b = math.hypot(1.0, x), math.hypot(1.0, y)
    return (x / a * math.atan(y / a) + y / b * math.atan(x / b)) / (2.0 * math.pi)


@pytest.mark.parametrize(("x", "y"), [(0.3, 0.5), (1.0, 1.0), (2.0, 0.7)])
def test_window_opposite_the_wall(x, y) -> None:
    distance = 2.5
    corner, opposite = [0.4, 0.2, distance], [0.4 + x * distance, 0.2 + y * distance, distance]
    found = window_irradiance([0.4, 0.2], corner, opposite, 3.0, 7.0, 60)
    assert found == pytest.approx(3.0 * math.pi * corner_factor(x, y), rel=1e-3)
