"""Patches on the wall, judged by adding up rays instead of by formula."""

import numpy as np
import pytest

from rushlight.physics import light, reflection


def rays_on_wall(exponent, tilt_rad, count=1500):
    """Even-weight rays of a cosᵐ lobe one metre above a wall: share on it, x and y where."""
    grid = (np.arange(count) + 0.5) / count
    cosine, azimuth = np.meshgrid(grid ** (1 / (exponent + 1)), 2 * np.pi * grid)
    sine = np.sqrt(1 - cosine**2)
    along = sine * np.cos(azimuth) * np.cos(tilt_rad) + cosine * np.sin(tilt_rad)
    down = -sine * np.cos(azimuth) * np.sin(tilt_rad) + cosine * np.cos(tilt_rad)
    hit = down > 0
    x, y = along[hit] / down[hit], (sine * np.sin(azimuth))[hit] / down[hit]
    return np.mean(hit), x, y


@pytest.mark.parametrize("exponent", [1.0, 5.0, 20.0])
@pytest.mark.parametrize("tilt_deg", [0.0, 20.0, 45.0, 80.0, 110.0])
def test_share_on_wall_is_the_share_of_rays(exponent, tilt_deg):
    share, _, _ = rays_on_wall(exponent, np.radians(tilt_deg))
    found = reflection.share_on_wall(exponent, np.radians(tilt_deg))
    assert found == pytest.approx(share, abs=1e-3)


@pytest.mark.parametrize("exponent", [1.0, 5.0, 20.0, 45.0])
def test_half_the_power_lies_within_the_half_power_radius_straight_on(exponent):
    _, x, y = rays_on_wall(exponent, 0.0)
    patch = reflection.patch_of_lobe(0.02, exponent, 0.0, 1.0, 1.0, 0.0, 0.8, 0.0)
    radius = patch.sigma_m * reflection.HALF_POWER_RADII_PER_SIGMA
    assert np.mean(np.hypot(x, y) < radius) == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize("exponent", [1.0, 5.0, 7.0, 20.0, 45.0])
def test_half_power_radius_at_30_degrees_is_within_the_stated_error(exponent):
    tilt = np.radians(30.0)
    _, x, y = rays_on_wall(exponent, tilt)
    patch = reflection.patch_of_lobe(0.02, exponent, 0.0, 1.0, 1.0, tilt, 0.8, 0.0)
    radius = patch.sigma_m * reflection.HALF_POWER_RADII_PER_SIGMA
    true = np.median(np.hypot(x - patch.offset_m, y))
    assert -0.07 < true / radius - 1 < 0.08


@pytest.mark.parametrize("exponent", [7.0, 20.0])
def test_the_axis_meets_the_wall_at_the_median_of_the_patch(exponent):
    tilt = np.radians(30.0)
    _, x, _ = rays_on_wall(exponent, tilt)
    patch = reflection.patch_of_lobe(0.02, exponent, 0.0, 1.0, 1.0, tilt, 0.8, 0.0)
    assert np.mean(x < patch.offset_m) == pytest.approx(0.5, abs=2e-3)


def test_even_light_has_half_its_wall_power_within_root_three_heights():
    _, x, y = rays_on_wall(1e-9, 0.0)  # an exponent of none at all is an even half space
    patch = reflection.patch_of_side_light(0.02, 7.0, 0.3, 1.0, 1.0, 0.8, 0.0)
    radius = patch.sigma_m * reflection.HALF_POWER_RADII_PER_SIGMA
    assert np.mean(np.hypot(x, y) < radius) == pytest.approx(0.5, abs=1e-3)


def test_a_white_wall_returns_all_the_light_that_meets_it():
    lobe = (0.02, 7.0, 0.3, 0.9, 0.05)
    angle = np.linspace(0, np.pi / 2, 5001)
    ring = 2 * np.pi * np.sin(angle)
    straight = reflection.patch_of_lobe(*lobe, 0.0, 1.0, angle).intensity_w_sr
    side = reflection.patch_of_side_light(*lobe, 1.0, angle).intensity_w_sr
    flux = 0.9 * light.beam_flux(0.02, 7.0)
    assert np.trapezoid(ring * straight, angle) == pytest.approx(0.7 * flux, rel=1e-5)
    assert np.trapezoid(ring * side, angle) == pytest.approx(0.15 * flux, rel=1e-5)


def test_patch_is_unknown_where_the_axis_misses_the_wall():
    patch = reflection.patch_of_lobe(0.02, 7.0, 0.0, 1.0, 0.05, [0.5, np.pi / 2], 0.8, 0.0)
    assert np.isfinite(patch.offset_m[0]) and np.isnan(patch.offset_m[1])
    assert np.isnan(patch.sigma_m[1])


def test_a_camera_behind_the_wall_sees_nothing():
    assert reflection.diffuse_intensity(1.0, 0.8, np.radians(100.0)) == 0.0


def test_marker_falls_with_the_fourth_power_of_range():
    at_lens = [
        light.irradiance_at_lens(reflection.retro_intensity(0.48, r, 250.0, 8e-5), r)
        for r in (1, 2)
    ]
    assert at_lens[0] == pytest.approx(16 * at_lens[1])
