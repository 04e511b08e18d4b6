"""What the doubt of a lens means for rays: by differences, and by draws of whole lenses."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from rushlight.physics.geometry import (
    apply_homography,
    camera_matrix,
    fit_homography,
    rig_from_camera_looking_at,
    undistort_px,
)
from rushlight.physics.geometry.lens_doubt import (
    k_cov_behind_plane,
    lens_doubt_px,
    picture_grid,
    ray_jacobian_wrt_lens,
)
from rushlight.physics.surface_model import LENS, lens_spread, map_design

SIZE = (640, 480)
PARAMS = np.array([600.0, 604.0, 325.0, 236.0, -0.25, 0.08, 1e-3, -8e-4, 0.02])
K, LENS_K = camera_matrix(600.0, [325.0, 236.0], 604.0 / 600.0), PARAMS[4:]


def some_cov(seed=3):
    """A covariance with strong correlations, as calibrations have."""
    rng = np.random.default_rng(seed)
    scale = np.array([0.4, 0.4, 0.5, 0.5, 3e-3, 6e-3, 1e-4, 1e-4, 5e-3])
    mix = rng.standard_normal((9, 9)) / 3.0
    return mix @ mix.T * np.outer(scale, scale)


def rays(params, px):
    matrix = camera_matrix(params[0], params[2:4], params[1] / params[0])
    return undistort_px(px, matrix, params[4:])


def test_rays_move_with_each_parameter_as_differences_tell():
    px = picture_grid(SIZE)
    told = ray_jacobian_wrt_lens(px, K, LENS_K)
    for i, step in enumerate([1e-3] * 4 + [1e-5] * 5):
        change = step * np.eye(9)[i]
        by_difference = (rays(PARAMS + change, px) - rays(PARAMS - change, px)) / (2 * step)
        np.testing.assert_allclose(told[..., i], by_difference, rtol=1e-5, atol=1e-8)


def test_doubt_equals_the_spread_of_draws_turned_to_fit():
    """Each drawn lens is allowed a turn; what the rays are off by then is what is predicted."""
    rng, cov, px = np.random.default_rng(1), some_cov(), picture_grid(SIZE, 7, 5)
    true = rays(PARAMS, px)
    x, y = true.T
    turned = np.stack([np.stack([-x * y, 1 + x * x, -y], -1), np.stack([-1 - y * y, x * y, x], -1)])
    turned = turned.transpose(1, 0, 2).reshape(-1, 3)
    squares = np.zeros(len(px))
    draws = 800
    for _ in range(draws):
        off = (rays(rng.multivariate_normal(PARAMS, cov), px) - true).reshape(-1)
        off -= turned @ np.linalg.lstsq(turned, off, rcond=None)[0]
        squares += np.sum((off.reshape(-1, 2) * PARAMS[:2]) ** 2, axis=-1) / draws
    told = lens_doubt_px(px, K, LENS_K, cov)
    # A mean of 800 squares of a few normals is known to 5 or 6 %, its root to 3 %.
    np.testing.assert_allclose(told, np.sqrt(squares), rtol=0.1)


def test_what_a_plane_map_leaves_of_the_doubt_acts_as_doubt_of_the_coefficients():
    rng, cov, px = np.random.default_rng(2), some_cov(), picture_grid(SIZE, 9, 7)
    # A wall obliquely seen: its plane map is fitted anew to every drawn lens.
    H = np.array([[2.0, 0.1, 0.3], [-0.1, 1.8, 0.2], [0.1, -0.15, 1.0]])
    true = rays(PARAMS, px)
    wall = apply_homography(H, true)
    k_cov = k_cov_behind_plane(K, LENS_K, cov, SIZE)
    by_cov, by_draws = np.zeros(2), np.zeros(2)
    for _ in range(250):
        lens = rng.multivariate_normal(PARAMS, cov)
        by_draws += _left(rays(lens, px), wall)
        k = rng.multivariate_normal(LENS_K, k_cov)
        by_cov += _left(rays(np.concatenate([PARAMS[:4], k]), px), wall)
    assert np.sqrt(by_cov / by_draws) == pytest.approx(1.0, abs=0.12)


def _left(seen, wall):
    """Squares that a plane map fitted to these rays leaves over, right and up."""
    H = fit_homography(seen, wall)
    scale = H / H[2, 2]
    fit = least_squares(
        lambda h: (apply_homography(np.append(h, 1.0).reshape(3, 3), seen) - wall).reshape(-1),
        scale.reshape(-1)[:8], method="lm",
    )  # fmt: skip
    return np.sum(fit.fun.reshape(-1, 2) ** 2, axis=0)


def test_correlated_coefficients_enter_the_design_with_their_covariance():
    std = np.array([0.01, 0.03, 1e-4, 2e-4, 0.05])
    corr = np.zeros((5, 5))
    corr[0, 1] = corr[1, 0] = -0.95
    corr[1, 4] = corr[4, 1] = -0.97
    corr[0, 4] = corr[4, 0] = 0.9
    cov = (corr + np.eye(5)) * np.outer(std, std)
    pose = rig_from_camera_looking_at([1.0, 1.6, 2.5], [1.0, 0.6, 0.0])
    places = np.array([[0.1, 0.1], [1.9, 1.1], [1.0, 0.6]])
    design = map_design(places, [2.0, 1.2], K, LENS_K, std, pose, 0.0, k_corr=corr)[..., LENS]
    alone = map_design(places, [2.0, 1.2], K, LENS_K, np.ones(5), pose, 0.0)[..., LENS]
    np.testing.assert_allclose(
        design @ np.swapaxes(design, -1, -2), alone @ cov @ np.swapaxes(alone, -1, -2), rtol=1e-9
    )
    with pytest.raises(ValueError, match="no covariance"):
        lens_spread(std, np.full((5, 5), -0.9))


def test_zero_correlations_change_nothing():
    std = np.array([0.01, 0.03, 0.0, 2e-4, 0.05])
    np.testing.assert_array_equal(lens_spread(std), np.diag(std))
    np.testing.assert_array_equal(
        lens_spread(np.tile(std, (4, 1)), np.zeros((4, 5, 5))), np.tile(np.diag(std), (4, 1, 1))
    )


def test_pixels_beyond_the_lens_are_unknown():
    px = np.array([[325.0, 236.0], [4000.0, 236.0], [400.0, 300.0], [200.0, 100.0]])
    doubt = lens_doubt_px(px, K, [-0.3, 0, 0, 0, 0], np.eye(9) * 1e-8)
    assert np.isnan(doubt).tolist() == [False, True, False, False]
    ahead = ray_jacobian_wrt_lens(px, K, [-0.3, 0, 0, 0, 0])
    assert np.all(np.isnan(ahead[1])) and np.all(np.isfinite(ahead[0]))
