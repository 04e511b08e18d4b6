"""The estimator against known truth, over many draws."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy import stats

from rushlight.physics.geometry import undistort_px
from rushlight.physics.surface_map import transferred_cov
from rushlight.physics.surface_model import map_design
from rushlight.register.solve import Lens, Touches, Wall, own_misfit, solve_map

DRAWS = 120


def exact(scene):
    """The lens and wall of the room, taken as exactly known."""
    return Lens(scene.LENS.K, scene.LENS.k, np.zeros(5)), Wall(scene.WALL.size_m, 0.0)


def test_without_noise_the_map_is_exact(scene):
    lens, wall = exact(scene)
    goal = scene.grid()
    touches = scene.touched(scene.FLAT, goal, np.random.default_rng(1), scatter_m=0.0)
    touches = replace(touches, px=scene.FLAT.px(goal), scatter_m=np.full(9, 0.001))
    fit = solve_map(touches, lens, wall)
    at = scene.grid(7, 5, inset=0.0)
    assert np.allclose(fit.map(scene.FLAT.px(at), lens, wall), at, atol=1e-9)
    assert np.allclose(fit.surface_from_camera, scene.POSE, atol=1e-7)
    assert fit.misfit < 1e-9


def test_a_plane_map_is_that_of_opencv(scene):
    """Equal weights and a plain lens: both minimise the same sum of squares, within 20 µm."""
    lens, wall = exact(scene)
    rng = np.random.default_rng(2)
    goal = scene.grid()
    touches = scene.touched(scene.FLAT, goal, rng)
    touches = replace(touches, px_cov=np.tile(1e-12 * np.eye(2), (9, 1, 1)))
    fit = solve_map(touches, lens, wall)
    H, _ = cv2.findHomography(undistort_px(touches.px, lens.K, lens.k), goal)
    at = scene.grid(5, 5)
    normalised = undistort_px(scene.FLAT.px(at), lens.K, lens.k)
    theirs = cv2.perspectiveTransform(normalised[:, None], H)[:, 0]
    assert np.max(np.linalg.norm(fit.map(scene.FLAT.px(at), lens, wall) - theirs, axis=1)) < 20e-6


@pytest.fixture(scope="module")
def many(scene):
    """Errors at places (DRAWS, G, 2), in units of the stated covariance too, and misfits."""
    rng = np.random.default_rng(3)
    goal, at = scene.grid(), scene.grid(4, 3, inset=0.15)
    errors, squares, misfits, plane_errors = [], [], [], []
    known_lens, plane = exact(scene)
    for _ in range(DRAWS):
        truth = scene.drawn_truth(rng)
        touches = scene.touched(truth, goal, rng)
        fit = solve_map(touches, scene.LENS, scene.WALL)
        error = fit.map(truth.px(at), scene.LENS, scene.WALL) - at
        design = map_design(
            at,
            scene.WALL.size_m,
            scene.LENS.K,
            fit.k,
            scene.LENS.k_std,
            fit.surface_from_camera,
            scene.WALL.flatness_rms_m,
        )
        cov = transferred_cov(design, fit.cov)
        errors.append(error)
        squares.append(np.einsum("gi,gij,gj->g", error, np.linalg.inv(cov), error))
        misfits.append(fit.misfit)
        flat = solve_map(touches, known_lens, plane)
        plane_errors.append(flat.map(truth.px(at), known_lens, plane) - at)
    return tuple(np.array(part) for part in (errors, squares, misfits, plane_errors))


def test_the_stated_covariance_is_the_scatter_of_mapped_places(many):
    """At each place the squares are chi-square of 2 over the draws; 12 places at 0.999 each."""
    squares = many[1]
    low, high = stats.chi2.ppf([0.0005, 0.9995], 2 * DRAWS)
    total = squares.sum(axis=0)
    assert np.all((total > low) & (total < high)), total / (2 * DRAWS)


def test_the_misfit_is_chi_square(many):
    misfits = many[2]
    low, high = stats.chi2.ppf([0.0005, 0.9995], 10 * DRAWS)
    assert low < misfits.sum() < high
    assert stats.kstest(misfits, stats.chi2(10).cdf).pvalue > 0.001


def test_lens_and_wall_as_parameters_beat_a_plane_alone(many):
    errors, _, _, plane_errors = many
    with_both = np.sqrt(np.mean(np.sum(errors**2, axis=-1)))
    plane_alone = np.sqrt(np.mean(np.sum(plane_errors**2, axis=-1)))
    assert with_both < 0.9 * plane_alone


def test_leaving_a_touch_out_predicts_what_a_fit_without_it_finds(scene):
    rng = np.random.default_rng(4)
    truth = scene.drawn_truth(rng)
    touches = scene.touched(truth, scene.grid(), rng)
    fit = solve_map(touches, scene.LENS, scene.WALL)
    fall = own_misfit(fit)
    for i in range(9):
        without = solve_map(touches.take(np.arange(9) != i), scene.LENS, scene.WALL)
        missed = without.map(touches.px[i], scene.LENS, scene.WALL) - touches.goal_m[i]
        assert np.allclose(missed, fit.leave_one_out_m[i], atol=1e-4)
        assert fit.misfit - without.misfit == pytest.approx(fall[i], rel=0.05, abs=0.02)


def test_touches_on_a_line_are_refused(scene):
    goal = np.stack([np.linspace(0.1, 2.3, 9), np.full(9, 0.7)], axis=1)
    touches = scene.touched(scene.FLAT, goal, np.random.default_rng(5), scatter_m=0.0)
    touches = Touches(goal, scene.FLAT.px(goal), touches.px_cov, np.full(9, 0.002))
    with pytest.raises(ValueError, match="line"):
        solve_map(touches, scene.LENS, scene.WALL)


def test_four_touches_follow_any_error(scene):
    lens, wall = exact(scene)
    goal = scene.grid(2, 2)
    fit = solve_map(scene.touched(scene.FLAT, goal, np.random.default_rng(6)), lens, wall)
    assert fit.freedom == 0
    assert np.all(np.isnan(fit.leave_one_out_m))
    assert fit.misfit < 1e-12


def test_styli_held_each_its_own_way_share_the_map_of_their_mean(scene):
    """Two styli touch every beacon, 6 mm apart; the map is that of touches without the ways."""
    rng = np.random.default_rng(7)
    truth = scene.drawn_truth(rng)
    goal = np.concatenate([scene.grid(), scene.grid()])
    who = np.repeat([0, 1], 9)
    plain = scene.touched(truth, goal, rng)
    way = np.where(who[:, None] == 0, [0.003, 0.001], [-0.003, -0.001])
    # To first order the dot moves as the tip would have.
    shifted = replace(plain, px=plain.px + truth.px(goal + way) - truth.px(goal), who=who)
    fit = solve_map(shifted, scene.LENS, scene.WALL)
    apart = solve_map(replace(plain, who=who), scene.LENS, scene.WALL).aside_m
    assert np.allclose(fit.aside_m - apart, [[0.003, 0.001], [-0.003, -0.001]], atol=1e-4)
    assert fit.freedom == 36 - 8 - 2
    at = scene.grid(4, 3)
    same = solve_map(plain, scene.LENS, scene.WALL)
    assert np.allclose(
        fit.map(truth.px(at), scene.LENS, scene.WALL),
        same.map(truth.px(at), scene.LENS, scene.WALL),
        atol=2e-4,
    )
    assert solve_map(replace(shifted, who=None), scene.LENS, scene.WALL).misfit > 2 * fit.misfit
