"""Lobe exponents of common half angles and the flux that follows.

SOURCE: generalised Lambertian lobe, m = ln ½/ln cos θ½ and Φ = 2π I₀/(m + 1), textbook, from
memory; the values below are computed here from the formulas.
"""

import numpy as np
import pytest

from rushlight.physics import light


@pytest.mark.parametrize(
    ("half_angle_deg", "exponent"),
    [
        (60, 1.000),
        (30, 4.819),
        (25, 7.046),
        (20, 11.143),
        (17, 15.514),
        (15, 19.994),
        (10, 45.278),
    ],
)
def test_exponent_computed_here(half_angle_deg, exponent):
    found = light.beam_exponent(np.radians(half_angle_deg))
    assert found == pytest.approx(exponent, abs=0.5e-3)


def test_flux_computed_here():
    """±25°, 36 mW/sr."""
    exponent = light.beam_exponent(np.radians(25.0))
    assert light.beam_flux(0.036, exponent) == pytest.approx(28.1e-3, abs=0.05e-3)


@pytest.mark.parametrize(
    ("half_angle_deg", "share", "tolerance"), [(30, 0.035, 0.5e-3), (20, 0.0004, 0.5e-4)]
)
def test_side_view_computed_here(half_angle_deg, share, tolerance):
    """What a camera 60° off the axis sees of a bare part."""
    exponent = light.beam_exponent(np.radians(half_angle_deg))
    found = light.beam_intensity(1.0, np.radians(60.0), exponent)
    assert found == pytest.approx(share, abs=tolerance)
