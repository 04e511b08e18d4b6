"""Homographies, their tangent, flatness modes and the shift of a light above the plane."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial.legendre import leggauss

from rushlight.physics.geometry.pinhole import camera_matrix, project, ray_on_plane, undistort_px
from rushlight.physics.geometry.plane import (
    apparent_shift,
    apply_homography,
    fit_homography,
    flatness_modes,
    homography_jacobian,
    plane_tangent,
    refine_homography,
)
from rushlight.physics.geometry.pose import rig_from_camera_looking_at

SQUARE = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])


def random_homographies(rng, count):
    change = rng.uniform(-0.25, 0.25, (count, 3, 3))
    return np.eye(3) + change


@settings(deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(4, 12))
def test_fit_transfers_exact_points_exactly(seed, count):
    rng = np.random.default_rng(seed)
    H = random_homographies(rng, 5)
    base = np.concatenate([2 * SQUARE - 1, rng.uniform(-1, 1, (count - 4, 2))])
    source = 640 * base + 1000
    target = apply_homography(H[:, None], base)
    fitted = fit_homography(source, target)
    np.testing.assert_allclose(apply_homography(fitted[:, None], source), target, atol=1e-9)
    np.testing.assert_allclose(np.linalg.norm(fitted, axis=(-2, -1)), 1.0)
    third = np.sum(fitted[:, 2, :2] * source.mean(axis=0), axis=-1) + fitted[:, 2, 2]
    assert np.all(third > 0.0)


def test_points_of_weight_nought_do_not_count():
    rng = np.random.default_rng(7)
    H = random_homographies(rng, 1)[0]
    source = np.concatenate([SQUARE, rng.uniform(0, 1, (3, 2))])
    target = apply_homography(H, source)
    target[5] += 9.0
    weights = np.array([1.0, 2, 1, 1, 3, 0, 1])
    fitted = fit_homography(source, target, weights)
    keep = weights > 0
    np.testing.assert_allclose(apply_homography(fitted, source[keep]), target[keep], atol=1e-12)


@pytest.mark.parametrize(
    ("source", "target", "why"),
    [
        (SQUARE[:3], SQUARE[:3], "at least 4 points, 3 given"),
        (SQUARE, SQUARE[:3], "source has 4 points but target has 3"),
        (SQUARE * [1, 0], SQUARE, "source points all lie on one line"),
        (SQUARE, SQUARE * [0, 1], "target points all lie on one line"),
        (SQUARE * 0 + 3, SQUARE, "source points all lie on one line"),
        ([[0, 0], [1, 0], [2, 0], [0, 1]], [[0, 0], [1, 0], [2, 0], [0, 1]], "more than one"),
        ([[0, 0], [1, 0], [2, 0], [0, 1]], SQUARE, "no invertible homography"),
        (SQUARE, np.where(SQUARE == 1, np.nan, SQUARE), "finite"),
    ],
)
def test_degenerate_points_are_refused_with_the_reason(source, target, why):
    with pytest.raises(ValueError, match=why):
        fit_homography(source, target)
    with pytest.raises(ValueError, match=why):
        refine_homography(source, target, np.eye(2))


def test_jacobian_is_the_derivative():
    rng = np.random.default_rng(8)
    H, at, step = random_homographies(rng, 20), rng.uniform(-1, 1, (20, 2)), 1e-6
    numerical = np.stack(
        [
            (apply_homography(H, at + step * unit) - apply_homography(H, at - step * unit))
            / (2 * step)
            for unit in np.eye(2)
        ],
        axis=-1,
    )
    np.testing.assert_allclose(homography_jacobian(H, at), numerical, atol=1e-8)


def test_the_line_at_infinity_is_nan():
    H = [[1.0, 0, 0], [0, 1, 0], [1, 0, 0]]
    assert np.all(np.isnan(apply_homography(H, [0.0, 1.0])))
    assert np.all(np.isnan(homography_jacobian(H, [0.0, 1.0])))


def test_tangent_is_the_derivative_at_the_identity():
    at, step = np.random.default_rng(9).uniform(-1, 1, (15, 2)), 1e-6
    for parameter in range(8):
        change = np.zeros(9)
        change[parameter] = step
        change = change.reshape(3, 3)
        moved = apply_homography(np.eye(3) + change, at) - apply_homography(np.eye(3) - change, at)
        np.testing.assert_allclose(plane_tangent(at)[..., parameter], moved / (2 * step), atol=1e-9)


def test_refined_fit_is_stationary_and_no_worse():
    rng = np.random.default_rng(10)
    H = random_homographies(rng, 30)
    source = rng.uniform(-1, 1, (30, 12, 2))
    root = rng.uniform(-1, 1, (30, 12, 2, 2))
    cov = 1e-5 * (root @ np.swapaxes(root, -1, -2) + 0.05 * np.eye(2))
    noise = np.matvec(np.linalg.cholesky(cov), rng.normal(size=source.shape))
    target = apply_homography(H[:, None], source) + noise
    fitted, _ = refine_homography(source, target, cov)

    def cost(candidate):
        left = target - apply_homography(candidate[:, None], source)
        return np.einsum("nti,ntij,ntj->n", left, np.linalg.inv(cov), left)

    best = cost(fitted)
    assert np.all(best <= cost(fit_homography(source, target)) + 1e-9)
    assert np.all(best <= cost(H))
    for _ in range(5):
        nudged = fitted + 1e-5 * rng.normal(size=fitted.shape)
        assert np.all(cost(nudged) > best)
    # 16 degrees of freedom each, 30 fits: the sum is chi-square of 480, σ 31.
    assert abs(best.sum() - 480) < 4 * 31


def test_refined_covariance_is_that_of_many_draws_wherever_its_coordinates_are_centred():
    rng = np.random.default_rng(11)
    H = random_homographies(rng, 1)[0]
    source = rng.uniform(-1, 1, (9, 2))
    exact, sigma = apply_homography(H, source), 1e-3
    draws = 3000
    target = exact + sigma * rng.normal(size=(draws, 9, 2))
    fitted, _ = refine_homography(source, target, sigma**2 * np.eye(2))
    probe = np.array([[0.3, -0.2], [0.9, 0.9]])
    at = apply_homography(H, probe)
    spread = apply_homography(fitted[:, None], probe) - at
    counted = np.einsum("ngi,ngj->gij", spread, spread) / draws
    for centre, scale in (((0.0, 0.0), 1.0), ((0.4, -0.3), 2.5)):
        _, cov = refine_homography(source, exact, sigma**2 * np.eye(2), centre, scale)
        D = plane_tangent((at - centre) / scale)
        predicted = D @ cov @ np.swapaxes(D, -1, -2)
        # A variance from 3000 draws is known to √(2/3000) = 2.6 %; four of these are allowed.
        np.testing.assert_allclose(
            np.diagonal(counted, axis1=1, axis2=2),
            np.diagonal(predicted, axis1=1, axis2=2),
            rtol=0.105,
        )


def test_refinement_refuses_a_covariance_that_is_none():
    with pytest.raises(ValueError, match="positive definite"):
        refine_homography(SQUARE, SQUARE, np.zeros((2, 2)))


def test_flatness_modes_are_orthonormal_over_the_square():
    nodes, weights = leggauss(6)
    uv = np.stack(np.meshgrid(nodes, nodes), axis=-1).reshape(-1, 2)
    share = np.outer(weights, weights).ravel() / 4
    modes = flatness_modes(uv)
    np.testing.assert_allclose(modes.T @ (share[:, None] * modes), np.eye(7), atol=1e-14)
    planar = np.concatenate([np.ones((36, 1)), uv], axis=1)
    np.testing.assert_allclose(planar.T @ (share[:, None] * modes), 0.0, atol=1e-14)


def test_apparent_shift_is_what_the_camera_sees():
    rng = np.random.default_rng(12)
    position = np.array([1.8, 1.7, 2.2])
    pose = rig_from_camera_looking_at(position, [1.0, 0.7, 0.0], 0.3)
    K = camera_matrix(700.0, [320.0, 240.0])
    xy = rng.uniform([0, 0], [2, 1.4], (20, 2))
    height = rng.uniform(-0.05, 0.3, 20)
    px, _ = project(np.concatenate([xy, height[:, None]], axis=1), K, np.zeros(5), pose)
    seen = ray_on_plane(undistort_px(px, K, np.zeros(5)), pose)
    np.testing.assert_allclose(apparent_shift(xy, height, position), seen - xy, atol=1e-12)


def test_a_light_level_with_the_camera_has_no_shift():
    assert np.all(np.isnan(apparent_shift([1.0, 0.0], 2.0, [0.0, 0.0, 2.0])))
    np.testing.assert_array_equal(apparent_shift([1.0, 0.0], 0.0, [0.0, 0.0, 2.0]), 0.0)
