"""Spots in pixels and the numbers that come of them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from rushlight.physics import sensing


def test_spot_pixels_match_an_integral_over_each_pixel():
    found = sensing.spot_pixels(0.3, -0.2, 0.8, 2)

    def density(y, x):
        return np.exp(-((x - 0.3) ** 2 + (y + 0.2) ** 2) / (2 * 0.64)) / (2 * np.pi * 0.64)

    for row, column in [(2, 2), (1, 2), (2, 4), (0, 0)]:
        x, y = column - 2, row - 2
        share, _ = integrate.dblquad(density, x - 0.5, x + 0.5, y - 0.5, y + 0.5)
        assert found[row, column] == pytest.approx(share, rel=1e-6)


@given(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(0.3, 2.0))
def test_all_the_light_lands_in_a_wide_window(dx, dy, sigma):
    assert np.sum(sensing.spot_pixels(dx, dy, sigma, 15)) == pytest.approx(1.0, abs=1e-9)


def test_rows_run_down_and_columns_across():
    image = sensing.spot_pixels(1.0, 0.0, 0.5, 2)
    assert np.unravel_index(np.argmax(image), image.shape) == (2, 3)


def test_spot_pixels_broadcast():
    assert sensing.spot_pixels(np.zeros((4, 1)), 0.1, np.ones(3), 2).shape == (4, 3, 5, 5)


@given(st.floats(-0.5, 0.5), st.floats(0.4, 3.0))
def test_profile_slopes_match_finite_differences(centre, sigma):
    step = 1e-5
    _, by_centre, by_sigma = sensing.pixel_profiles(centre, sigma, 4)
    pair = [sensing.pixel_profiles(centre + s, sigma, 4)[0] for s in (step, -step)]
    assert by_centre == pytest.approx((pair[0] - pair[1]) / (2 * step), abs=1e-8)
    pair = [sensing.pixel_profiles(centre, sigma + s, 4)[0] for s in (step, -step)]
    assert by_sigma == pytest.approx((pair[0] - pair[1]) / (2 * step), abs=1e-8)


def test_model_slopes_match_finite_differences():
    start = np.array([0.2, -0.3, 500.0, np.log(0.9), 7.0])

    def model(p):
        light, slope = sensing.spot_model(p[2], p[:2], np.exp(p[3]), 3)
        return light + p[4], slope

    slope = model(start)[1]
    for index, step in enumerate([1e-5, 1e-5, 1e-2, 1e-5, 1e-3]):
        shift = step * np.eye(5)[index]
        numeric = (model(start + shift)[0] - model(start - shift)[0]) / (2 * step)
        assert slope[index] == pytest.approx(numeric, abs=1e-5)


def test_snr_never_exceeds_the_shot_noise_limit():
    signal = np.geomspace(1, 1e5, 20)
    assert np.all(sensing.snr_emva(signal, 5.0, 20.0) < sensing.snr_max(signal))
    assert np.all(np.diff(sensing.snr_emva(signal, 5.0, 20.0)) > 0)


def test_threshold_is_where_signal_equals_noise():
    photons = sensing.threshold_photons(20.0, 0.5)
    # The standard's threshold is an approximation of SNR = 1 that is close for σ well above ½.
    assert sensing.snr_emva(0.5 * photons, 20.0, 0.0) == pytest.approx(1.0, rel=0.01)


def test_saturated_readings_are_told():
    reading, saturated = sensing.dn_from_electrons([-500.0, 90.0, 5090.0, 9e9], 20.0, 0.0)
    assert reading.tolist() == [0, 4, 254, 255]
    assert saturated.tolist() == [False, False, False, True]
    assert sensing.dn_from_electrons(1e9, 1.0, 0.0, bits=12)[0] == 4095


def test_readings_refuse_what_is_not_a_number():
    with pytest.raises(ValueError, match="finite"):
        sensing.dn_from_electrons([1.0, np.nan], 20.0, 0.0)
    with pytest.raises(ValueError, match="bits"):
        sensing.dn_from_electrons(1.0, 20.0, 0.0, bits=0)


def test_rounding_adds_a_twelfth_of_a_step_squared():
    rng = np.random.default_rng(5)
    level = rng.uniform(1000.0, 3000.0, 200_000)
    reading, _ = sensing.dn_from_electrons(level, 20.0, 0.0)
    error = np.var(reading * 20.0 - level)
    assert error == pytest.approx(sensing.noise_floor_variance(0.0, 20.0), rel=0.02)


@pytest.mark.parametrize("background", [0.0, 1e-3, 1.0, 300.0, 1e6])
def test_likelihood_variance_matches_its_integral(background):
    square = 0.81 + 1 / 12
    rho = 2 * np.pi * square * background / 900.0
    inner, _ = integrate.quad(
        lambda t: -t * np.log(t) / (t + rho) if t > 0 else 0.0, 0, 1, epsabs=0, epsrel=1e-10
    )
    found = sensing.centre_variance_ml(0.9, 900.0, background)
    assert found == pytest.approx(square / 900.0 / inner, rel=1e-6)


@given(st.floats(0.5, 3.0), st.floats(100.0, 1e5), st.floats(0.0, 1e3))
def test_likelihood_beats_least_squares_and_photon_limit_beats_both(sigma, flux, background):
    best = sensing.centre_variance_ml(sigma, flux, background)
    assert (sigma**2 + 1 / 12) / flux <= best * (1 + 1e-9)
    assert best <= sensing.centre_variance_least_squares(sigma, flux, background)


def test_chunks_join_in_order():
    numbers = np.arange(1000.0)
    (doubled,) = sensing.in_chunks(lambda part: (2 * part,), (numbers,), 50_000)
    assert np.array_equal(doubled, 2 * numbers)
    (empty,) = sensing.in_chunks(lambda part: (2 * part,), (numbers[:0],), 10)
    assert empty.shape == (0,)
