"""Signal over noise of one pixel, and a spot's share in its brightest pixel.

SOURCE: EMVA Standard 1288 (linear camera model; release not noted): best SNR and threshold as in
its open reference implementation, the SNR formula from memory; the worked values are computed
here, except the 36 dB that a camera module's specification prints for a 4300 e⁻ pixel.
"""

import numpy as np
import pytest

from rushlight.physics import sensing


def decibels(ratio):
    return 20 * np.log10(ratio)


def test_snr_computed_here():
    """1000 e⁻, σ_d 3 e⁻, quantisation 1/12 e⁻²."""
    found = sensing.snr_emva(1000.0, 3.0, 1.0)
    assert found == pytest.approx(31.48, abs=0.005)
    assert decibels(found) == pytest.approx(29.96, abs=0.005)


def test_best_snr_of_a_small_pixel():
    found = sensing.snr_max(4300.0)
    assert found == pytest.approx(65.6, abs=0.05)  # computed here
    assert decibels(found) == pytest.approx(36.3, abs=0.05)  # computed here
    assert decibels(found) == pytest.approx(36, abs=0.5)  # as the specification prints it


def test_threshold_follows_the_reference_formula():
    """(σ_y.dark/K + ½)/η with σ_y.dark 2 DN, K .5 DN/e⁻, η .3; computed here: 15 photons."""
    assert sensing.threshold_photons(2.0 / 0.5, 0.3) == pytest.approx(15.0)


def test_peak_share_computed_here():
    assert sensing.peak_share(1.0) == pytest.approx(0.1466, abs=0.5e-4)
    assert sensing.peak_share(0.7) == pytest.approx(0.2756, abs=0.5e-4)


def test_exposure_to_four_fifths_of_full_well_computed_here():
    """20 mW/sr at 2 m, f = 3.6 mm f/2.9, τ .765, 940 nm, η .10: 10.7 µs fills 80 % of 4.3 ke⁻."""
    flux_each_second = 2.19e9
    exposure = 0.8 * 4300.0 / (flux_each_second * sensing.peak_share(1.0))
    assert exposure == pytest.approx(10.7e-6, abs=0.05e-6)
