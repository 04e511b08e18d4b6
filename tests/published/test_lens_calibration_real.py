"""A real lens from real photographs of a chessboard, against two published calibrations of it.

SOURCE: `left_intrinsics.yml` of the sample data of OpenCV 4.6.0 (Debian package opencv-doc
4.6.0+dfsg-12), with the photographs `left01` … `right14` it was made from; and Bouguet, "Camera
Calibration Toolbox for Matlab", example 5 (stereo), published with the same photographs.

The photographs are of 640 × 480 px, of a board of 9 × 6 inner corners. Nothing here was tried on
hardware of this project.
"""

import importlib.util
import shutil
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from scipy.spatial.transform import Rotation

from rushlight.jobs.calibrate_pair import calibrate_pair
from rushlight.jobs.lens_target import board_of
from rushlight.opencv.calibrate import board_pose, find_corners, refine_corners, start_lens
from rushlight.physics.geometry.pose_fit import Looks, fit_pose
from rushlight.records.document import read_document
from rushlight.records.pair_calibration import PairCalibration
from rushlight.register.lens_calibrate import solve_lens
from rushlight.register.lens_fit import (
    ALL_FREE,
    SQUARE_PIXELS,
    Corners,
    LensFit,
    fit_lens,
    matrix_of,
)
from rushlight.register.lens_judge import findings_of, judge
from rushlight.register.lens_pair import fit_pair
from rushlight.register.lens_views import Board, look

_spec = importlib.util.spec_from_file_location(
    "real_data", Path(__file__).parents[1] / "real_data.py"
)
real_data = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(real_data)

pytestmark = pytest.mark.real_data

SIZE = (640, 480)
NUMBERS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14)
NO_K3 = ALL_FREE[:, :8]


@pytest.fixture(scope="module")
def photographs():
    folder = real_data.chessboard_folder()
    found = {}
    for side in ("left", "right"):
        for number in NUMBERS:
            with Image.open(folder / f"{side}{number:02d}.jpg") as picture:
                found[side, number] = np.asarray(picture.convert("L"))
    return found


@pytest.fixture(scope="module")
def rough(photographs):
    """Corners as they were first found, in all 26."""
    found = {name: find_corners(image, 9, 6) for name, image in photographs.items()}
    assert all(each is not None for each in found.values())
    return found


@pytest.fixture(scope="module")
def published(photographs):
    file = cv2.FileStorage(
        str(real_data.chessboard_folder() / "left_intrinsics.yml"), cv2.FILE_STORAGE_READ
    )
    return {
        name: file.getNode(name).mat()
        for name in ("camera_matrix", "distortion_coefficients", "extrinsic_parameters",
                     "per_view_reprojection_errors")
    }  # fmt: skip


def within(found, printed, tolerance):
    """Whether every value lies as near to what is printed as its own tolerance says."""
    apart = np.abs(np.asarray(found) - printed)
    assert np.all(apart <= tolerance), f"apart by {apart}, allowed {tolerance}"


def corners(photographs, rough, side, window, square_m, **stop):
    board = Board(9, 6, (square_m, square_m))
    px = [
        refine_corners(photographs[side, number], rough[side, number], window, **stop)
        for number in NUMBERS
    ]
    return Corners(board.points_m, np.stack(px), SIZE)


def begin(of, square_pixels=False):
    """The library's own fit, as a start for ours."""
    start = start_lens(of.points_m, of.px, SIZE, square_pixels)
    params = np.concatenate([np.diag(start.K)[:2], start.K[:2, 2], start.k])
    return start, LensFit(
        params, np.zeros((9, 9)), start.camera_from_board, np.zeros_like(of.px), np.nan
    )


def test_the_published_lens_of_the_sample_data(photographs, rough):
    """Fixed aspect, window 11, corners at rest within 0.1 px, as the sample program has it.

    Printed: f 535.91573396, c 342.28315473 235.57082910, k −.26637260910 −.03858889892
    .00178319471 −.00028122100 .23839153081, rms 0.39259. The corners come from another release
    of the library than the published ones, hence not half of the last printed digit but a
    fiftieth or less of each standard deviation (.9 px for f, 1 px for c, .011 .087 2e-4 3e-4 .19).
    """
    of = corners(photographs, rough, "left", 11, 0.025, steps=30, rest_px=0.1)
    fit = fit_lens(of, begin(of, square_pixels=True)[1], SQUARE_PIXELS)
    assert fit.params[0] == fit.params[1] == pytest.approx(535.91573396, abs=0.005)
    np.testing.assert_allclose(fit.params[2:4], [342.28315473, 235.57082910], atol=0.02)
    within(
        fit.k,
        [-0.26637260910, -0.03858889892, 0.00178319471, -0.00028122100, 0.23839153081],
        [2e-5, 3e-4, 3e-6, 3e-6, 1e-3],
    )
    assert fit.rms_px == pytest.approx(0.39259, abs=0.0004)


def test_the_published_misses_of_each_view(photographs, rough, published):
    """per_view_reprojection_errors of the file; left02 stands out with 1.18204820 px."""
    of = corners(photographs, rough, "left", 11, 0.025, steps=30, rest_px=0.1)
    fit = fit_lens(of, begin(of, square_pixels=True)[1], SQUARE_PIXELS)
    printed = published["per_view_reprojection_errors"].reshape(-1)
    # Half a percent of the pixel, by the other release's corners.
    np.testing.assert_allclose(fit.view_rms_px, printed, atol=0.005)


def test_the_library_s_fit_at_window_five(photographs, rough):
    """Window 5, free aspect, by this library's release: computed here, not printed anywhere.

    Both fits minimise the same squares, so they agree far within the standard deviations, and
    so do the standard deviations themselves.
    """
    of = corners(photographs, rough, "left", 5, 0.03)
    library, start = begin(of)
    fit = fit_lens(of, replace(start, params=start.params * 1.02))
    std = np.sqrt(np.diag(fit.cov))
    assert np.all(np.abs(fit.params - start.params) < 1e-3 * std)
    np.testing.assert_allclose(std, library.params_std, rtol=1e-4)
    assert fit.rms_px == pytest.approx(library.rms_px, rel=1e-5)
    # As found when the set was first looked at: rms .1954, f 532.83 532.95, c 342.49 233.86.
    assert fit.rms_px == pytest.approx(0.1954, abs=5e-4)
    np.testing.assert_allclose(fit.params[:4], [532.83, 532.95, 342.49, 233.86], atol=0.05)
    within(fit.k, [-0.28088, 0.02517, 0.00122, -0.00014, 0.16345], [1e-3, 5e-3, 2e-5, 2e-5, 0.01])


def test_the_thirteen_published_board_poses(photographs, rough, published):
    """extrinsic_parameters of the file: rotation vector and place [m] of each view's board.

    By the published lens and our corners, as the library's own pose finder has them, as our fit of
    the board has them with the lens held, and as the fit has them by which things in space are
    followed: within 0.034 mrad and 0.004 mm of what is printed; the corners differ from release to
    release of the library, so not half of the last printed digit.
    """
    of = corners(photographs, rough, "left", 11, 0.025, steps=30, rest_px=0.1)
    K, k = published["camera_matrix"], published["distortion_coefficients"].reshape(-1)
    printed = np.tile(np.eye(4), (13, 1, 1))
    turns = Rotation.from_rotvec(published["extrinsic_parameters"][:, :3])
    printed[:, :3, :3], printed[:, :3, 3] = (
        turns.as_matrix(),
        published["extrinsic_parameters"][:, 3:],
    )
    theirs = np.stack([board_pose(of.points_m, px, K, k) for px in of.px])
    params = np.concatenate([np.diag(K)[:2], K[:2, 2], k])
    start = LensFit(params, np.zeros((9, 9)), theirs, np.zeros_like(of.px), np.nan)
    ours = fit_lens(of, start, own_only=True).camera_from_board
    assert matrix_of(params).tolist() == K.tolist()
    shape = of.px.shape[:-1]
    looks = Looks(*(np.broadcast_to(each, (*shape, *each.shape)) for each in (K, k, np.eye(4))))
    noise = np.broadcast_to(0.04 * np.eye(2), (*shape, 2, 2))
    followed = fit_pose(of.points_m, of.px, noise, looks, theirs).pose
    # Both of ours minimise the same squares.
    np.testing.assert_allclose(followed, ours, atol=1e-7)
    for poses in (theirs, ours, followed):
        apart = Rotation.from_matrix(poses[:, :3, :3]) * turns.inv()
        assert apart.magnitude().max() < 3.4e-5
        assert np.linalg.norm(poses[:, :3, 3] - printed[:, :3, 3], axis=-1).max() < 4e-6


def test_the_published_pair(photographs, rough):
    """Bouguet, example 5: joint fit, k3 = 0, squares of 30 mm; window 5 here.

    Printed: f 533.52331 533.52699 and 536.81377 536.47649; c 341.60376 235.19287 and 326.28657
    250.10121; T [mm] −99.80198 1.12443 0.05041 ± .142 .114 .498; turn [rad] .00669 .00452
    −.00350. Other corners than his: f to 0.5 px and c to 1.6 px, both about his ±; the length of
    T to 0.15 mm, T and the turn to what he prints as ±, three standard deviations.
    """
    one, other = (corners(photographs, rough, side, 5, 0.03) for side in ("left", "right"))
    starts = []
    for of in (one, other):
        start = begin(of)[1]
        params = np.concatenate([start.params[:8], [0.0]])
        starts.append(fit_lens(of, replace(start, params=params), NO_K3))
    pair = fit_pair(one, other, *starts, NO_K3)
    np.testing.assert_allclose(pair.one[:2], [533.52331, 533.52699], atol=0.5)
    np.testing.assert_allclose(pair.one[2:4], [341.60376, 235.19287], atol=1.6)
    np.testing.assert_allclose(pair.other[:2], [536.81377, 536.47649], atol=0.5)
    np.testing.assert_allclose(pair.other[2:4], [326.28657, 250.10121], atol=1.6)
    within(pair.one[4:8], [-0.28838, 0.09714, 0.00109, -0.00030], [0.005, 0.02, 5e-4, 5e-4])
    printed_mm, printed_within = [-99.80198, 1.12443, 0.05041], [0.142, 0.114, 0.498]
    assert np.linalg.norm(pair.shift_m) * 1e3 == pytest.approx(np.linalg.norm(printed_mm), abs=0.15)
    assert np.all(np.abs(pair.shift_m * 1e3 - printed_mm) < printed_within)
    np.testing.assert_allclose(pair.turn_rad, [0.00669, 0.00452, -0.00350], atol=0.0015)
    # His ± is three of ours, within a third.
    np.testing.assert_allclose(3e3 * pair.shift_std_m, printed_within, rtol=0.35)
    assert pair.one[8] == pair.other[8] == 0.0


def test_the_published_pair_as_the_verb_calibrates_it(tmp_path):
    """The same by `calibrate --pictures … --beside …`, which chooses windows by fit and frees k3.

    Printed distance: |T| of Bouguet's example 5, 99.808 mm, here to 0.15 mm; f and c within 0.5
    and 1.6 px.
    """
    for side in ("left", "right"):
        (tmp_path / side).mkdir()
        for number in NUMBERS:
            name = f"{side}{number:02d}.jpg"
            shutil.copy(real_data.chessboard_folder() / name, tmp_path / side / name)
    board = board_of(None, None, False, "9x6", "30 mm")
    result = calibrate_pair(tmp_path / "left", tmp_path / "right", board, tmp_path / "pair.json")
    pair = read_document(PairCalibration, tmp_path / "pair.json")
    assert pair.verdict.vouched, pair.verdict.reasons
    one, other = (np.array(each) for each in pair.params)
    np.testing.assert_allclose(one[:2], [533.52331, 533.52699], atol=0.5)
    np.testing.assert_allclose(one[2:4], [341.60376, 235.19287], atol=1.6)
    np.testing.assert_allclose(other[:2], [536.81377, 536.47649], atol=0.5)
    np.testing.assert_allclose(other[2:4], [326.28657, 250.10121], atol=1.6)
    printed_m = np.linalg.norm([-99.80198, 1.12443, 0.05041]) * 1e-3
    assert pair.distance_m[0] == pytest.approx(printed_m, abs=0.15e-3)
    # left02 by window 11 is named, and the pair does not rest on it.
    spoilt = calibrate_pair(
        tmp_path / "left", tmp_path / "right", board, tmp_path / "spoilt.json", window_px=11
    )
    told = {each.where: each.code for each in spoilt.findings}
    assert told["one: left02.jpg"] == "corner-window-unfit"
    assert not next(view for view in spoilt.pair.views if "left02.jpg" in view.names).used
    assert not spoilt.pair.verdict.vouched
    assert max(max(view.rms_px) for view in result.pair.views) < 0.4


def test_the_pair_agrees_with_the_library(photographs, rough):
    """Library: OpenCV 5.0, stereoCalibrate, from the same corners."""
    one, other = (corners(photographs, rough, side, 5, 0.03) for side in ("left", "right"))
    starts = [fit_lens(of, begin(of)[1]) for of in (one, other)]
    pair = fit_pair(one, other, *starts)
    boards = [one.points_m.astype(np.float32)] * len(one.px)
    rms, K, k, K2, k2, turn, shift, _, _ = cv2.stereoCalibrate(
        boards, list(one.px.astype(np.float32)), list(other.px.astype(np.float32)),
        starts[0].K, starts[0].k.copy(), starts[1].K, starts[1].k.copy(), SIZE,
        flags=cv2.CALIB_USE_INTRINSIC_GUESS, criteria=(3, 300, 1e-14),
    )  # fmt: skip
    assert pair.rms_px == pytest.approx(rms, rel=1e-5)
    np.testing.assert_allclose(pair.shift_m, shift.reshape(3), atol=1e-6)
    np.testing.assert_allclose(pair.other_from_one[:3, :3], turn, atol=2e-6)
    for params, K_theirs, k_theirs in ((pair.one, K, k), (pair.other, K2, k2)):
        np.testing.assert_allclose(matrix_of(params), K_theirs, atol=0.01)
        np.testing.assert_allclose(params[4:], k_theirs.reshape(-1)[:5], atol=2e-3)


def test_the_window_too_large_is_told_by_the_view_it_spoils(photographs):
    """With window 11 left02 misses by 1.18 px (printed 1.18204820) and the focal length by 3 px.

    Printed of the others: 0.15 to 0.38 px.
    """
    board = Board(9, 6, (0.03, 0.03), to_scale=True)
    views = [look(photographs["left", number], f"left{number:02d}", board) for number in NUMBERS]
    spoilt = solve_lens(views, board, SIZE, window_px=11)
    told = {each.where: each.code for each in findings_of(spoilt, board)}
    assert told["left02"] == "corner-window-unfit"
    assert not next(view for view in spoilt.views if view.name == "left02").used
    assert not judge(spoilt).vouched
    fitting = solve_lens(views, board, SIZE)
    assert all(view.used for view in fitting.views)
    assert next(view for view in fitting.views if view.name == "left02").window_px < 11
    assert max(view.rms_px for view in fitting.views) < 0.3
    assert judge(fitting).vouched
    # Within half a pixel of Bouguet's 533.52331 and 533.52699.
    np.testing.assert_allclose(fitting.fit.params[:2], [533.52331, 533.52699], atol=0.5)
    # 40 % of the picture was never seen: the user is told.
    assert "picture-uncovered" in {each.code for each in findings_of(fitting, board)}


def test_both_cameras_count_the_board_alike(photographs):
    """Paired views must begin at the same corner, or the pair has no sense."""
    board = Board(9, 6)
    for number in NUMBERS:
        left, right = (
            look(photographs[side, number], side, board).corners_px[5] for side in ("left", "right")
        )
        along, beside = (ends[-1] - ends[0] for ends in (left, right))
        # Two cameras side by side see the board's diagonal much the same way.
        assert along @ beside > 0.9 * np.linalg.norm(along) * np.linalg.norm(beside)
