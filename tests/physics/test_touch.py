"""Where a touch seems to be made: limits, symmetries, and an independent quadrature."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, special

from rushlight.physics.geometry import (
    apparent_shift,
    camera_matrix,
    project,
    ray_on_plane,
    rig_from_camera_looking_at,
    undistort_px,
)
from rushlight.physics.touch import (
    StylusLight,
    View,
    apparent_light_offset,
    fit_of_lights,
    lights_of_all_ways,
    lights_seen,
    over_ways,
    touch_scatter_m,
)
from rushlight.physics.touch_lights import spot_sigma_px


def view(position_m=(1.2, 1.55, 2.7), k=(0.0, 0.0, 0.0, 0.0, 0.0)) -> View:
    return View(
        camera_matrix(500.0, [319.5, 239.5]),
        np.array(k),
        rig_from_camera_looking_at(position_m, [1.2, 0.75, 0.0]),
        *map(np.asarray, (2.8, 2.8e-3, 2.4, 5.6e-6, 0.6, 0.72, 0.25)),
    )


def light(distance_m=0.012, side_share=0.6) -> StylusLight:
    return StylusLight(
        np.array([0.0, 0.0, distance_m]),
        np.array([0.0, 0.0, -1.0]),
        *map(np.asarray, (0.03, 11.0, side_share, 0.8, 850e-9, 5e-3)),
    )


LEVELS = (1.5e-4, 2.0, 6.0, 40.0)


def test_upright_stylus_before_a_square_camera_seems_at_its_tip() -> None:
    square = view(position_m=(1.2, 0.75, 2.7))
    offset = apparent_light_offset([1.2, 0.75], [0.0, 0.0], 0.0, 0.0, light(), square, 0.8, *LEVELS)
    np.testing.assert_allclose(offset.mean_m, 0.0, atol=1e-7)
    np.testing.assert_allclose(offset.cov_m2, 0.0, atol=1e-14)


def test_a_black_wall_leaves_the_emitter_alone() -> None:
    """Without glows the apparent place is that of the ray through the emitter."""
    seen = lights_seen([0.4, 1.2], [0.6, 0.0, 0.8], light(), view(k=(-0.1, 0, 0, 0, 0)), 0.0)
    assert seen.rate_e_s[0] > 0
    assert np.all(seen.rate_e_s[1:] == 0)
    _, apparent = fit_of_lights(seen, *LEVELS)
    # The exact way: the emitter projected, and its ray met with the wall.
    eye = view(k=(-0.1, 0, 0, 0, 0))
    emitter = [0.4 + 0.6 * 0.012, 1.2, 0.8 * 0.012]
    px, _ = project(emitter, eye.K, eye.k, eye.surface_from_camera)
    met = ray_on_plane(undistort_px(px, eye.K, eye.k), eye.surface_from_camera)
    np.testing.assert_allclose(apparent, met - [0.4, 1.2], atol=2e-6)


def test_first_order_step_agrees_with_the_exact_ray() -> None:
    """With the glows, the local map is as good as projecting the fitted centre exactly."""
    eye, stylus = view(k=(-0.1, 0.02, 0.001, 0, 0)), light()
    seen = lights_seen([0.2, 1.35], [0.5, -0.3, np.sqrt(0.66)], stylus, eye, 0.8)
    fit, apparent = fit_of_lights(seen, *LEVELS)
    exact = ray_on_plane(
        undistort_px(seen.px[0] + fit.centre_px, eye.K, eye.k), eye.surface_from_camera
    )
    np.testing.assert_allclose(apparent, exact - [0.2, 1.35], atol=2e-5)


def test_mean_and_spread_agree_with_many_random_ways() -> None:
    eye, stylus = view(), light()
    tilt, lean, lean_std = np.radians([10.0, 40.0]), np.radians(-45.0), np.radians(35.0)
    offset = apparent_light_offset([0.5, 0.4], tilt, lean, lean_std, stylus, eye, 0.8, *LEVELS)
    rng = np.random.default_rng(3)
    count = 4000
    tilts = rng.uniform(*tilt, count)
    leans = rng.normal(lean, lean_std, count)
    body = np.stack(
        [np.sin(tilts) * np.cos(leans), np.sin(tilts) * np.sin(leans), np.cos(tilts)], axis=-1
    )
    _, apparent = fit_of_lights(lights_seen([0.5, 0.4], body, stylus, eye, 0.8), *LEVELS)
    # Three standard errors of a mean, and of a variance with normal tails.
    std = apparent.std(axis=0)
    np.testing.assert_allclose(
        offset.mean_m, apparent.mean(axis=0), atol=3 * std.max() / np.sqrt(count)
    )
    np.testing.assert_allclose(np.diag(offset.cov_m2), std**2, rtol=3 * np.sqrt(2 / count) + 0.03)


def test_offset_grows_with_the_distance_from_the_tip() -> None:
    tips = [0.5, 0.4]
    ways = (np.radians([10.0, 40.0]), 0.0, 0.3)
    near, far = (
        apparent_light_offset(tips, *ways, light(d), view(), 0.8, *LEVELS) for d in (0.006, 0.012)
    )
    assert np.linalg.norm(far.mean_m) > 1.5 * np.linalg.norm(near.mean_m)
    assert np.trace(far.cov_m2) > 2.0 * np.trace(near.cov_m2)


def test_light_goes_as_exposure_independent_rates() -> None:
    """Electrons of the emitter by hand: intensity toward the lens, area, photons."""
    square = view(position_m=(1.2, 0.75, 2.7))
    seen = lights_seen([1.2, 0.75], [0.0, 0.0, 1.0], light(), square, 0.8)
    even = 0.8 * 0.6 * 2 * np.pi * 0.03 / 12.0 / (4 * np.pi)  # only side light leaves backward
    lens = np.pi * (2.8e-3 / 2.4) ** 2 / 4
    photon = 6.62607015e-34 * 299792458.0 / 850e-9
    expected = even * lens / (2.7 - 0.012) ** 2 * 0.72 * 0.25 / photon
    np.testing.assert_allclose(seen.rate_e_s[0], expected, rtol=1e-9)


def test_glow_of_the_beam_has_the_width_of_the_lit_patch_in_the_picture() -> None:
    square = view(position_m=(1.2, 0.75, 2.7))
    seen = lights_seen([1.2, 0.75], [0.0, 0.0, 1.0], light(), square, 0.8)
    half_power = 0.5 ** (1 / 12.0)
    radius_m = 0.012 * np.sqrt(1 - half_power**2) / half_power
    sigma_px = radius_m / np.sqrt(2 * np.log(2)) * 500.0 / 2.7
    lens_px = spot_sigma_px(square, 850e-9, 2.7)
    np.testing.assert_allclose(
        seen.cov_px2[1], (sigma_px**2 + lens_px**2) * np.eye(2), rtol=1e-6, atol=1e-9
    )


def test_disc_variance_by_integration() -> None:
    """A uniform disc of diameter D has variance D²/16 along an axis."""
    area = np.pi / 4.0
    value, _ = integrate.quad(lambda x: x**2 * 2 * np.sqrt(0.25 - x**2), -0.5, 0.5)
    assert value / area == pytest.approx(1 / 16)
    sharp = view()
    sizes = [spot_sigma_px(sharp, 850e-9, 2.8, size) for size in (0.0, 10e-3)]
    image = 10e-3 * 2.8e-3 / 2.8 / 5.6e-6
    assert sizes[1] ** 2 - sizes[0] ** 2 == pytest.approx(image**2 / 16)


def test_diffraction_gaussian_is_near_the_airy_core() -> None:
    """The Gaussian of radius 0.42 λN matches the Airy pattern's core to 3 % of the peak."""
    v = np.linspace(1e-6, 2.0, 200)  # π r/(λN)
    airy = (2 * special.j1(v) / v) ** 2
    gauss = np.exp(-((v / np.pi / 0.42) ** 2) / 2)
    assert np.max(np.abs(airy - gauss)) < 0.03


def test_unseen_places_are_not_known() -> None:
    behind = view(position_m=(1.2, 0.75, -2.0))
    offset = apparent_light_offset([1.2, 0.75], [0.1, 0.3], 0.0, 0.0, light(), behind, 0.8, *LEVELS)
    assert np.all(np.isnan(offset.mean_m))


def test_a_beam_away_from_the_wall_leaves_no_glow() -> None:
    outward = light()._replace(axis=np.array([0.0, 0.0, 1.0]))
    seen = lights_seen([1.0, 0.5], [0.0, 0.0, 1.0], outward, view(), 0.8)
    assert seen.rate_e_s[1] == 0.0
    assert np.all(np.isfinite(seen.cov_px2))


def test_shapes_broadcast_over_rigs_styli_and_places() -> None:
    many = StylusLight(
        np.full((3, 2, 1, 3), 0.01), np.broadcast_to([0.0, 0.0, -1.0], (3, 2, 1, 3)),
        *(np.full((3, 2, 1), value) for value in (0.03, 11.0, 0.6, 0.8, 850e-9, 5e-3)),
    )  # fmt: skip
    seen, weights = lights_of_all_ways(
        np.full((7, 2), 0.5), np.full((3, 2, 1, 2), 0.3), 0.0, 0.2, many, view(), 0.8
    )
    assert seen.px.shape == (3, 2, 7, 15, 3, 2)
    assert weights.shape == (15,)


def test_over_ways_and_scatter() -> None:
    offset = over_ways([[0.0, 1.0], [2.0, 1.0]], [0.25, 0.75])
    np.testing.assert_allclose(offset.mean_m, [1.5, 1.0])
    np.testing.assert_allclose(offset.cov_m2, [[0.75, 0.0], [0.0, 0.0]])
    assert touch_scatter_m(3e-3, np.diag([2e-5, 1.2e-5])) == pytest.approx(5e-3)


def test_apparent_place_of_the_emitter_is_similar_triangles() -> None:
    seen = lights_seen([0.4, 1.2], [0.0, 0.0, 1.0], light(), view(), 0.8)
    shift = apparent_shift([0.4, 1.2], 0.012, [1.2, 1.55, 2.7])
    np.testing.assert_allclose(seen.apparent_m, shift, rtol=1e-12)
