"""A calibrated lens in a registration: its correlated doubt holds, and is less than it seems."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.spatial.transform import Rotation

from rushlight.physics.geometry import camera_matrix, project
from rushlight.physics.geometry.lens_doubt import k_cov_behind_plane
from rushlight.physics.surface_map import transferred_cov
from rushlight.physics.surface_model import map_design
from rushlight.records.registration import LensCalibration
from rushlight.register.lens_fit import Corners, LensFit, fit_lens, see_board
from rushlight.register.lens_views import Board
from rushlight.register.solve import Lens, Touches, Wall, solve_map
from rushlight.shelf.catalogue import built_in_shelf
from rushlight.shelf.optics import lens_of

DRAWS = 120
TRUE = np.array([560.0, 560.0, 319.5, 239.5, -0.2, 0.03, 0.0, 0.0, 0.0])
SCATTER_M = 0.0005


@pytest.fixture(scope="module")
def calibration():
    """Seven noisy views of a board, so that the lens stays doubtful."""
    board, rng = Board(9, 6, (0.025, 0.025)), np.random.default_rng(1)
    stand = np.tile(np.eye(4), (7, 1, 1))
    for i, pose in enumerate(stand):
        tilt = 0.5 * np.array([np.cos(2.4 * i), np.sin(2.4 * i), 0.2])
        pose[:3, :3] = Rotation.from_rotvec(tilt).as_matrix()
        place = [0.09 * np.cos(i), 0.06 * np.sin(i), 0.36]
        pose[:3, 3] = place - pose[:3, :3] @ (board.points_m.max(axis=0) / 2)
    px = see_board(board.points_m, TRUE, stand)
    of = Corners(board.points_m, px + 0.5 * rng.standard_normal(px.shape), (640, 480))
    fit = fit_lens(of, LensFit(TRUE, np.zeros((9, 9)), stand, np.zeros_like(px), np.nan))
    # The lens found stands for the truth's middle: true lenses are drawn about it.
    return LensCalibration(
        camera="beam",
        params=fit.params.tolist(),
        cov=fit.cov.tolist(),
        size_px=(640, 480),
        view_rms_px=fit.view_rms_px.tolist(),
    )


def known(calibration):
    """The lens as a rig hands it to the registration."""
    part = built_in_shelf().camera("vga-global-120")
    lens = lens_of(part, calibration)
    return Lens(lens.matrix, lens.distortion, lens.distortion_std, lens.distortion_corr)


def stated_cov(at, lens, wall, fit):
    design = map_design(
        at, wall.size_m, lens.K, fit.k, lens.k_std, fit.surface_from_camera, 0.0, k_corr=lens.k_corr
    )
    return transferred_cov(design, fit.cov)


def test_the_stated_doubt_is_the_scatter_over_lenses_drawn_from_the_calibration(scene, calibration):
    """All nine parameters are drawn; at each place the squares are chi-square of 2."""
    rng, wall, lens = np.random.default_rng(3), Wall(scene.WALL.size_m, 0.0), known(calibration)
    goal, at = scene.grid(), scene.grid(4, 3, inset=0.05)
    squares, sizes, plain = [], [], []
    for _ in range(DRAWS):
        true = rng.multivariate_normal(calibration.params, calibration.cov)
        K = camera_matrix(true[0], true[2:4], true[1] / true[0])

        def px(place, K=K, k=true[4:]):
            return project(np.pad(place, [(0, 0), (0, 1)]), K, k, scene.POSE)[0]

        tip = goal + SCATTER_M * rng.standard_normal(goal.shape)
        touches = Touches(
            goal, px(tip), np.tile(1e-4 * np.eye(2), (9, 1, 1)), np.full(9, SCATTER_M)
        )
        fit = solve_map(touches, lens, wall)
        error = fit.map(px(at), lens, wall) - at
        cov = stated_cov(at, lens, wall, fit)
        squares.append(np.einsum("gi,gij,gj->g", error, np.linalg.inv(cov), error))
        sizes.append(error)
        plain.append(np.trace(cov, axis1=-2, axis2=-1))
    total = np.sum(squares, axis=0)
    low, high = stats.chi2.ppf([0.0005, 0.9995], 2 * DRAWS)
    assert np.all((total > low) & (total < high)), total / (2 * DRAWS)
    # Told to the size, too.
    rms = np.sqrt(np.mean(np.sum(np.square(sizes), axis=-1)))
    assert np.sqrt(np.mean(plain)) == pytest.approx(rms, rel=0.15)


def test_deviations_without_correlations_would_exaggerate(scene, calibration):
    lens, wall = known(calibration), Wall(scene.WALL.size_m, 0.0)
    at = scene.grid(4, 3, inset=0.05)
    blind = lens._replace(k_corr=np.zeros((5, 5)))
    doubt = []
    for each in (lens, blind):
        design = map_design(
            at, wall.size_m, each.K, each.k, each.k_std, scene.POSE, 0.0, k_corr=each.k_corr
        )
        doubt.append(np.sqrt(np.mean(np.square(design[..., 8:13]).sum(axis=(-1, -2)))))
    assert doubt[1] > 1.5 * doubt[0]
    assert np.abs(lens.k_corr).max() > 0.9


def test_the_rig_s_lens_has_the_covariance_behind_a_plane(calibration):
    lens = known(calibration)
    cov = k_cov_behind_plane(lens.K, lens.k, calibration.cov, (640, 480))
    np.testing.assert_allclose(np.sqrt(np.diag(cov)), lens.k_std)
    mine = (lens.k_corr + np.eye(5)) * np.outer(lens.k_std, lens.k_std)
    np.testing.assert_allclose(mine, cov, rtol=1e-6, atol=1e-14)
