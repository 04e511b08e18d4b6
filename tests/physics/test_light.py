"""Light from emitter to pixel: limits, and integrals done another way."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants, integrate

from rushlight.physics import light, reflection


@given(st.floats(0.05, 1.5))
def test_lobe_is_half_at_its_half_angle(half_angle):
    exponent = light.beam_exponent(half_angle)
    assert light.beam_intensity(1.0, half_angle, exponent) == pytest.approx(0.5)


@pytest.mark.parametrize("angle", [0.0, np.pi / 2, 2.0])
def test_half_angle_out_of_range_is_refused(angle):
    with pytest.raises(ValueError, match="half_angle_rad"):
        light.beam_exponent([0.5, angle])


@pytest.mark.parametrize("exponent", [0.5, 1.0, 7.0, 45.0])
def test_flux_is_the_integral_of_the_lobe(exponent):
    def ring(angle):
        return 2 * np.pi * np.sin(angle) * light.beam_intensity(0.02, angle, exponent)

    total, _ = integrate.quad(ring, 0, np.pi, points=[np.pi / 2])
    assert light.beam_flux(0.02, exponent) == pytest.approx(total, rel=1e-6)


@given(st.floats(0.0, 1.0), st.floats(0.1, 1.0), st.floats(1.0, 40.0))
def test_diffuser_keeps_the_flux_but_for_its_transmission(side_share, transmission, exponent):
    angle = np.linspace(0, np.pi, 20_001)
    ring = 2 * np.pi * np.sin(angle)
    intensity = light.emitter_intensity(0.02, exponent, side_share, transmission, angle)
    total = integrate.simpson(ring * intensity, x=angle)
    assert total == pytest.approx(transmission * light.beam_flux(0.02, exponent), rel=1e-5)


def test_nothing_leaves_a_bare_part_backwards():
    assert light.emitter_intensity(0.02, 7.0, 0.0, 1.0, np.radians(120.0)) == 0.0


def test_inverse_square_and_cosine():
    near, far = light.irradiance_at_lens(0.02, [1.0, 2.0])
    assert near == pytest.approx(4 * far)
    tilted = light.irradiance_at_lens(0.02, 1.0, np.radians(60.0))
    assert tilted == pytest.approx(near / 2)


def test_everything_broadcasts():
    count = light.electrons(
        np.ones((3, 1, 1)), 1e-6, np.full((4, 1), 0.5), 1e-3, np.full(5, 850e-9), 0.2
    )
    assert count.shape == (3, 4, 5)
    patch = reflection.patch_of_lobe(
        np.ones((3, 1)), 7.0, 0.1, 0.9, 0.02, np.linspace(0, 1, 4), 0.8, 0.3
    )
    assert {field.shape for field in patch} == {(3, 4)}


def test_unknown_stays_unknown():
    assert np.isnan(light.irradiance_at_lens(np.nan, 2.0))


def test_ambient_agrees_with_an_integral_over_the_pupil_cone():
    # Each element of the pupil cone brings L cosθ dΩ to the pixel.
    radiance = 0.8 * 3.0 / np.pi
    half_cone = np.arctan(1 / (2 * 2.8))
    cone, _ = integrate.quad(lambda angle: 2 * np.pi * np.sin(angle) * np.cos(angle), 0, half_cone)
    joules = radiance * cone * (3e-6) ** 2 * 0.7 * 2e-3
    expected = 0.25 * joules * 850e-9 / (constants.h * constants.c)
    found = light.ambient_electrons(3.0, 0.8, 2.8, 3e-6, 0.7, 2e-3, 850e-9, 0.25)
    # The camera equation takes 1/(4N²) for sin² of the half cone: 3 % more at f/2.8.
    assert found == pytest.approx(expected, rel=0.035)


def test_black_body_bands_add_up_and_match_an_integral_over_wavelength():
    assert light.black_body_share(2856.0, 1e-8, 1.0) == pytest.approx(1.0, abs=1e-9)
    temperature = 1500.0

    def exitance(wavelength):
        x = constants.h * constants.c / (wavelength * constants.k * temperature)
        return 2 * np.pi * constants.h * constants.c**2 / wavelength**5 / np.expm1(x)

    band, _ = integrate.quad(exitance, 700e-9, 1100e-9)
    expected = band / (constants.Stefan_Boltzmann * temperature**4)
    assert light.black_body_share(temperature, 700e-9, 1100e-9) == pytest.approx(expected, rel=1e-6)


@given(st.floats(0.0, 1.5), st.floats(1.4, 2.5))
def test_filter_only_ever_shifts_to_shorter_waves(angle, index):
    shifted = light.filter_centre_at_angle(940e-9, angle, index)
    assert 0.5 * 940e-9 < shifted <= 940e-9
