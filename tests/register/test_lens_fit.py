"""The lens from boards seen by a known lens: found again, with a doubt that holds."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from rushlight.physics.geometry import invert_transform
from rushlight.register.lens_fit import (
    ALL_FREE,
    SQUARE_PIXELS,
    Corners,
    LensFit,
    board_jacobians,
    fit_lens,
    moved,
    see_board,
)
from rushlight.register.lens_pair import fit_pair
from rushlight.register.lens_views import Board

SIZE = (640, 480)
BOARD = Board(9, 6, (0.025, 0.025), to_scale=True)
POINTS = BOARD.points_m
TRUE = np.array([600.0, 603.0, 322.0, 236.0, -0.24, 0.07, 8e-4, -6e-4, 0.01])


def poses(count, seed=0, tilt_deg=32.0):
    """Boards here and there before the camera, each tilted to another side."""
    rng = np.random.default_rng(seed)
    stand = np.tile(np.eye(4), (count, 1, 1))
    for i, pose in enumerate(stand):
        side = 2.4 * i + rng.uniform(-0.2, 0.2)
        axis = np.array([np.cos(side), np.sin(side), 0.0])
        turn = Rotation.from_rotvec([0, 0, rng.uniform(-0.3, 0.3)]) * Rotation.from_rotvec(
            np.radians(tilt_deg) * axis
        )
        pose[:3, :3] = turn.as_matrix()
        place = [rng.uniform(-0.08, 0.08), rng.uniform(-0.05, 0.05), rng.uniform(0.33, 0.5)]
        pose[:3, 3] = place - pose[:3, :3] @ (POINTS.max(axis=0) / 2)
    return stand


def seen(stand, noise_px, rng, true=TRUE):
    px = see_board(POINTS, true, stand)
    return Corners(POINTS, px + noise_px * rng.standard_normal(px.shape), SIZE)


def near(of, stand, true=TRUE):
    """A start a little off the truth."""
    params = true * 1.01
    return LensFit(params, np.zeros((9, 9)), stand, np.zeros_like(of.px), np.nan)


def test_corners_move_as_differences_tell():
    stand = poses(2)
    by_lens, by_pose = board_jacobians(POINTS, TRUE, stand)
    for i, step in enumerate([1e-3] * 4 + [1e-6] * 5):
        change = step * np.eye(9)[i]
        ahead, behind = (see_board(POINTS, TRUE + sign * change, stand) for sign in (1, -1))
        np.testing.assert_allclose(by_lens[..., i], (ahead - behind) / (2 * step), atol=1e-4)
    for i in range(6):
        change = 1e-6 * np.eye(6)[i]
        ahead, behind = (
            see_board(POINTS, TRUE, moved(stand, np.tile(sign * change, (2, 1))))
            for sign in (1, -1)
        )
        np.testing.assert_allclose(by_pose[..., i], (ahead - behind) / 2e-6, rtol=1e-5, atol=1e-3)


def test_without_noise_the_lens_and_the_poses_are_found_exactly():
    stand = poses(8)
    of = seen(stand, 0.0, np.random.default_rng(0))
    fit = fit_lens(of, near(of, stand))
    np.testing.assert_allclose(fit.params, TRUE, rtol=1e-6, atol=1e-8)
    np.testing.assert_allclose(fit.camera_from_board, stand, atol=1e-9)
    assert fit.rms_px < 1e-7


@pytest.mark.parametrize("views", [4, 9])
def test_the_covariance_is_that_of_many_draws(views):
    """Errors in units of their predicted covariance: chi-square with as many unknowns."""
    stand, rng, draws = poses(views), np.random.default_rng(5), 150
    errors, covs, noises = [], [], []
    for _ in range(draws):
        of = seen(stand, 0.15, rng)
        fit = fit_lens(of, near(of, stand))
        errors.append(fit.params - TRUE)
        covs.append(fit.cov)
        noises.append(fit.noise_px)
    squares = [e @ np.linalg.solve(c, e) for e, c in zip(errors, covs, strict=True)]
    # The mean of 150 draws of chi-square 9 has a standard deviation of √(18/150) = .35; four of
    # them, and the little that four views' noise is misjudged by.
    assert np.mean(squares) == pytest.approx(9.0, abs=1.5)
    ratio = np.std(errors, axis=0) / np.sqrt(np.mean(covs, axis=0).diagonal())
    # A standard deviation by 150 draws is itself known to 6 %.
    assert np.all((ratio > 0.78) & (ratio < 1.25))
    assert np.mean(noises) == pytest.approx(0.15, rel=0.02)


def test_pixels_held_square_stay_square():
    true = TRUE.copy()
    true[1] = true[0]
    stand = poses(6)
    of = seen(stand, 0.1, np.random.default_rng(1), true)
    fit = fit_lens(of, near(of, stand, true), SQUARE_PIXELS)
    assert fit.params[0] == fit.params[1]
    assert fit.cov[0, 0] == pytest.approx(fit.cov[0, 1]) == pytest.approx(fit.cov[1, 1])
    freed = fit_lens(of, near(of, stand, true), ALL_FREE)
    assert freed.rms_px < fit.rms_px
    assert np.sqrt(freed.cov[0, 0]) > np.sqrt(fit.cov[0, 0])


def test_a_held_lens_moves_the_boards_only():
    stand = poses(3)
    of = seen(stand, 0.0, np.random.default_rng(0))
    start = replace(near(of, stand), params=TRUE)
    shifted = moved(stand, np.full((3, 6), 0.01))
    fit = fit_lens(of, replace(start, camera_from_board=shifted), own_only=True)
    assert fit.params.tolist() == TRUE.tolist() and not fit.cov.any()
    np.testing.assert_allclose(fit.camera_from_board, stand, atol=1e-8)


def test_boards_that_all_face_the_camera_leave_the_lens_undetermined():
    stand = poses(5, tilt_deg=0.0)
    of = seen(stand, 0.0, np.random.default_rng(0))
    with pytest.raises(ValueError, match=r"undetermined|do not settle"):
        fit = fit_lens(of, near(of, stand))
        # Without noise a flat set may still be fitted: then nothing is left to tell its doubt.
        if fit.rms_px < 1e-6:
            raise ValueError("undetermined: any focal length fits")


def pair_seen(noise_px, rng, views=8):
    stand = poses(views)
    other_from_one = np.eye(4)
    other_from_one[:3, :3] = Rotation.from_rotvec([0.01, -0.12, 0.02]).as_matrix()
    other_from_one[:3, 3] = [-0.09, 0.003, 0.012]
    other_true = TRUE * 1.02
    one = seen(stand, noise_px, rng)
    other = seen(other_from_one @ stand, noise_px, rng, other_true)
    starts = (near(one, stand), near(other, other_from_one @ stand, other_true))
    return one, other, starts, other_from_one, other_true


def test_a_pair_without_noise_is_found_exactly():
    one, other, starts, other_from_one, other_true = pair_seen(0.0, np.random.default_rng(0))
    pair = fit_pair(one, other, *starts)
    np.testing.assert_allclose(pair.one, TRUE, rtol=1e-6, atol=1e-8)
    np.testing.assert_allclose(pair.other, other_true, rtol=1e-6, atol=1e-8)
    np.testing.assert_allclose(pair.other_from_one, other_from_one, atol=1e-9)


def test_the_covariance_of_a_pair_is_that_of_many_draws():
    rng, draws = np.random.default_rng(11), 80
    squares, shifts, stds = [], [], []
    for _ in range(draws):
        one, other, starts, other_from_one, other_true = pair_seen(0.15, rng, views=5)
        pair = fit_pair(one, other, *(fit_lens(of, s) for of, s in
                                      zip((one, other), starts, strict=True)))  # fmt: skip
        turn = (pair.other_from_one @ invert_transform(other_from_one))[:3, :3]
        error = np.concatenate(
            [
                pair.one - TRUE,
                pair.other - other_true,
                Rotation.from_matrix(turn).as_rotvec(),
                pair.shift_m - other_from_one[:3, 3],
            ]
        )
        squares.append(error @ np.linalg.solve(pair.cov, error))
        shifts.append(error[21:])
        stds.append(pair.shift_std_m)
    # Mean of 80 draws of chi-square 24: standard deviation √(48/80) = .77.
    assert np.mean(squares) == pytest.approx(24.0, abs=3.2)
    ratio = np.std(shifts, axis=0) / np.mean(stds, axis=0)
    assert np.all((ratio > 0.7) & (ratio < 1.35))


def test_views_that_do_not_pair_are_refused():
    one, other, starts, _, _ = pair_seen(0.0, np.random.default_rng(0))
    with pytest.raises(ValueError, match="paired views of one shape"):
        fit_pair(one, other.take(np.arange(4)), *starts)
