"""Light out and back: between graded angles, over a ball, and on the wall."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from rushlight.physics.light import beam_flux
from rushlight.physics.retro import (
    ENTRANCE_RAD,
    OBSERVATION_RAD,
    ball_coefficient,
    coefficient_at,
    returned_intensity,
    wall_irradiance,
)

SHEET = np.array([[250.0, 150.0], [95.0, 65.0]])


def test_graded_angles_give_graded_values():
    observation, entrance = np.meshgrid(OBSERVATION_RAD, ENTRANCE_RAD, indexing="ij")
    np.testing.assert_allclose(coefficient_at(SHEET, observation, entrance), SHEET)


@given(st.floats(0.0, np.radians(3.0)), st.floats(0.0, np.radians(3.0)), st.floats(0.0, 1.5))
def test_it_never_rises_with_the_angle(first, second, entrance):
    low, high = sorted((first, second))
    near, far = coefficient_at(SHEET, np.array([low, high]), entrance)
    assert near >= far >= 0.0


def test_below_the_graded_angles_no_more_is_promised():
    assert coefficient_at(SHEET, 0.0, 0.0) == pytest.approx(250.0)
    assert coefficient_at(SHEET, 0.0, np.pi / 2) == pytest.approx(0.0, abs=1e-9)
    assert coefficient_at(np.zeros((2, 2)), 0.001, 0.1) == 0.0


@pytest.mark.parametrize("degrees", [0.1, 0.35, 0.5, 1.2])
def test_a_ball_is_the_integral_over_its_lit_half(degrees):
    angle = np.radians(degrees)
    area = quad(
        lambda beta: 2.0 * float(coefficient_at(SHEET, angle, beta)) * np.sin(beta),
        0.0, np.pi / 2, points=list(ENTRANCE_RAD), epsrel=1e-10,
    )[0]  # fmt: skip
    assert ball_coefficient(SHEET, angle) == pytest.approx(area, rel=1e-8)


def test_leading_axes_broadcast():
    sheets = np.stack([SHEET, SHEET / 2.0])[:, None]
    angles = np.radians([0.2, 0.4, 0.8])
    both = ball_coefficient(sheets, angles)
    assert both.shape == (2, 3)
    np.testing.assert_allclose(both[0], ball_coefficient(SHEET, angles))


def test_the_way_out_and_back_falls_with_the_fourth_power():
    near, far = (returned_intensity(0.5, 1.0, 0.0, d, 100.0, 1e-4) / d**2 for d in (1.0, 2.0))
    assert near / far == pytest.approx(16.0)


@pytest.mark.parametrize("exponent", [1.0, 15.5])
def test_the_whole_wall_takes_the_whole_lobe(exponent):
    """Irradiance over an endless wall straight before the lamp adds up to the lamp's flux."""
    height = 1.7

    def ring(angle: float) -> float:
        radius, distance = height * np.tan(angle), height / np.cos(angle)
        falling = float(wall_irradiance(0.4, exponent, angle, distance, angle))
        return falling * 2.0 * np.pi * radius * height / np.cos(angle) ** 2

    assert quad(ring, 0.0, np.pi / 2 - 1e-9)[0] == pytest.approx(
        float(beam_flux(0.4, exponent)), rel=1e-5
    )
