"""Radiometry from an emitter, a marker or the sky to electrons, and the filter on the way.

SOURCE: ASTM G173-03, hemispherical spectrum, band integrals (integrated for this project);
SOURCE: BIPM, SI Brochure, 9th ed. (2019), exact h and c; the worked chain is textbook
radiometry from memory with values computed here from the formulas, as marked at each test.
"""

import numpy as np
import pytest

from rushlight.physics import light, reflection


def test_photon_energy_computed_here():
    assert light.photon_energy(850e-9) == pytest.approx(2.3370e-19, abs=0.5e-23)
    assert light.photon_energy(940e-9) == pytest.approx(2.1132e-19, abs=0.5e-23)


def test_worked_chain_computed_here():
    """20 mW/sr at 2 m into f = 3.6 mm, f/2.9, τ = .9 × .85, 1 ms."""
    at_lens = light.irradiance_at_lens(0.020, 2.0)
    assert at_lens == pytest.approx(5.00e-3, abs=0.5e-5)
    pupil = light.pupil_area(3.6e-3, 2.9)
    assert np.sqrt(4 * pupil / np.pi) == pytest.approx(1.241e-3, abs=0.5e-6)
    assert pupil == pytest.approx(1.210e-6, abs=0.5e-9)
    assert at_lens * pupil * 0.9 * 0.85 == pytest.approx(4.629e-9, abs=0.5e-12)
    chain = (at_lens, pupil, 0.9 * 0.85, 1e-3)
    assert light.electrons(*chain, 940e-9, 1.0) == pytest.approx(2.191e7, abs=0.5e4)
    assert light.electrons(*chain, 850e-9, 1.0) == pytest.approx(1.981e7, abs=0.5e4)
    assert light.electrons(*chain, 940e-9, 0.10) == pytest.approx(2.19e6, abs=0.5e4)
    assert light.electrons(*chain, 850e-9, 0.25) == pytest.approx(4.95e6, abs=0.5e4)


def test_small_marker_computed_here():
    """.48 W/sr beside the lens, a 10 mm disc of R_A 250 at 2 m."""
    area = np.pi * 0.005**2
    returned = reflection.retro_intensity(0.48, 2.0, 250.0, area)
    assert returned == pytest.approx(2.356e-3, abs=0.5e-6)
    assert light.irradiance_at_lens(returned, 2.0) == pytest.approx(0.589e-3, abs=0.5e-6)
    paper = reflection.diffuse_intensity(0.48 / 2.0**2 * area, 1.0, 0.0)
    assert returned / paper == pytest.approx(785, abs=0.5)


def test_sunlight_by_band():
    """ASTM G173-03: what a narrow band gains over a long-pass filter, as ratios of the bands."""
    band = light.SUNLIGHT_BAND_W_M2
    assert band[825, 875] / band[915, 965] == pytest.approx(2.2, abs=0.05)
    assert band[700, 1100] / band[825, 875] == pytest.approx(6.8, abs=0.05)
    assert band[700, 1100] / band[915, 965] == pytest.approx(14.8, abs=0.05)


def test_incandescent_share_computed_here():
    assert light.black_body_share(2856.0, 800e-9, 1000e-9) == pytest.approx(0.124, abs=0.5e-3)


def test_tilted_filter_computed_here():
    centre = light.filter_centre_at_angle(940e-9, np.radians(30.0), 1.8)
    assert centre == pytest.approx(903e-9, abs=0.5e-9)
