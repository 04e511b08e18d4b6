"""Bounds on the centre of a spot: symmetry, limits, agreement with fits to noisy spots."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rushlight.physics import centre, sensing


@settings(max_examples=25, deadline=None)
@given(st.floats(0.5, 2.0), st.floats(200.0, 1e5), st.floats(0.0, 100.0), st.floats(0.5, 10.0))
def test_quick_way_and_full_way_agree(sigma, flux, background, read):
    quick = centre.centre_cov_fisher(flux, sigma, background, read, 4.0)
    # The smallest of phases takes the way through all five parameters.
    full = centre.centre_cov_fisher(flux, sigma, background, read, 4.0, phase_px=[1e-9, 0.0])
    assert quick == pytest.approx(full, rel=1e-5, abs=1e-9)


def test_best_weighted_fits_reach_the_bound():
    """Scatter of a linearised weighted fit to drawn noise, a route that inverts no information."""
    rng = np.random.default_rng(11)
    flux, sigma, background, read = 3000.0, 0.9, 8.0, 3.0
    phase = np.array([0.3, -0.1])
    light, slope = sensing.spot_model(np.float64(flux), phase, np.float64(sigma), 7)
    mean = light + background
    drawn = rng.poisson(mean, (4000, mean.size)) + rng.normal(0, read, (4000, mean.size))
    weight = 1 / np.sqrt(mean + read**2)
    change, *_ = np.linalg.lstsq((slope * weight).T, ((drawn - mean) * weight).T)
    scatter = np.cov(change[:2])
    bound = centre.centre_cov_fisher(flux, sigma, background, read, 0.0, phase_px=phase)
    # A variance from 4000 draws is known to √(2/4000), 2.2 %; four of these.
    assert np.diag(scatter) == pytest.approx(np.diag(bound), rel=0.09)


def test_more_light_and_less_noise_help():
    dim, bright = centre.centre_cov_fisher([1000.0, 4000.0], 1.0, 5.0, 3.0, 1.0)[:, 0, 0]
    assert bright < dim / 4
    quiet, noisy = centre.centre_cov_fisher(1000.0, 1.0, [0.0, 200.0], 3.0, 1.0)[:, 0, 0]
    assert quiet < noisy


def test_shapes_broadcast_and_long_batches_are_pieced_together():
    cov = centre.centre_cov_fisher(np.full((3, 1), 1e3), np.ones(2), 5.0, 3.0, 1.0)
    assert cov.shape == (3, 2, 2, 2)
    flux = np.geomspace(200, 1e5, 900)
    phase = np.random.default_rng(1).uniform(-0.5, 0.5, (900, 2))
    whole = centre.centre_cov_fisher(flux, 1.0, 5.0, 3.0, 1.0, phase_px=phase)
    one = centre.centre_cov_fisher(flux[777], 1.0, 5.0, 3.0, 1.0, phase_px=phase[777])
    assert whole.shape == (900, 2, 2)
    assert whole[777] == pytest.approx(one)
    assert np.allclose(whole, np.swapaxes(whole, -1, -2))
    assert np.all(np.linalg.eigvalsh(whole) > 0)


@pytest.mark.parametrize("phase", [0.0, [0.2, 0.1]])
def test_no_light_no_knowledge(phase):
    cov = centre.centre_cov_fisher([0.0, np.nan, 1e3], 1.0, 5.0, 3.0, 1.0, phase_px=phase)
    assert np.isnan(cov[0, 0, 0]) and np.isnan(cov[1, 0, 0])
    assert np.all(np.isfinite(cov[2]))


@pytest.mark.parametrize("phase", [0.0, [0.2, 0.1]])
def test_a_noiseless_sensor_in_the_dark_reaches_the_photon_limit(phase):
    cov = centre.centre_cov_fisher(1000.0, 0.7, 0.0, 0.0, 0.0, phase_px=phase)
    # Photon by photon a small spot tells σ² + 1/12, a little less than the pixels let through.
    assert np.diag(cov) == pytest.approx((0.49 + 1 / 12) / 1000.0, rel=0.02)


@pytest.mark.parametrize("phase", [0.3, [0.1, 0.2, 0.3]])
def test_phase_of_another_shape_is_refused(phase):
    with pytest.raises(ValueError, match="phase_px"):
        centre.centre_cov_fisher(1e3, 1.0, 5.0, 3.0, 1.0, phase_px=phase)


def test_fine_steps_meet_the_unquantised_bound_and_coarse_steps_fall_behind():
    phase = [0.3, -0.2]
    plain = centre.centre_cov_fisher(2e4, 1.0, 20.0, 8.0, 0.0, phase_px=phase)
    fine = centre.centre_cov_quantised(2e4, 1.0, 20.0, 8.0, 4.0, 5.0, bits=10, phase_px=phase)
    assert fine == pytest.approx(plain, rel=0.03)
    coarse = centre.centre_cov_quantised(2e4, 1.0, 20.0, 8.0, 120.0, 1.0, phase_px=phase)
    assert np.all(np.diag(coarse) > 1.2 * np.diag(plain))


def test_saturation_costs_knowledge_and_a_white_frame_leaves_none():
    levels = np.array([1e4, 1e5])
    full = centre.centre_cov_quantised(levels, 1.0, 0.0, 16.0, 20.0, 5.0)
    plain = centre.centre_cov_fisher(levels, 1.0, 0.0, 16.0, 20.0)
    ratio = full[:, 0, 0] / plain[:, 0, 0]
    assert ratio[0] == pytest.approx(1.0, abs=0.03)
    assert ratio[1] > 1.2
    white = centre.centre_cov_quantised(1e4, 1.0, 1e5, 16.0, 20.0, 5.0)
    assert np.all(np.isnan(white))


def test_depth_out_of_range_is_refused():
    with pytest.raises(ValueError, match="bits"):
        centre.centre_cov_quantised(1e3, 1.0, 0.0, 3.0, 1.0, bits=16)
