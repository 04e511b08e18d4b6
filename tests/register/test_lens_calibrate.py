"""Views and lenses from computed pictures of a board: truth known, faults put in one by one."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from rushlight.physics.geometry.lens_doubt import lens_doubt_px, picture_grid
from rushlight.register.lens_calibrate import solve_lens
from rushlight.register.lens_fit import see_board
from rushlight.register.lens_judge import calibration_of, findings_of, judge
from rushlight.register.lens_next import candidate_views, first_view, next_view
from rushlight.register.lens_picture import picture
from rushlight.register.lens_views import Board, Gatherer, View, gather, look

_spec = importlib.util.spec_from_file_location(
    "board_pictures", Path(__file__).parents[1] / "board_pictures.py"
)
board_pictures = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(board_pictures)
SIZE, TRUE, NINE = board_pictures.SIZE, board_pictures.TRUE, board_pictures.NINE

BOARD = Board(9, 6, (0.022, 0.022), to_scale=True)


@pytest.fixture(scope="module")
def pictures():
    return [board_pictures.board_picture(each, seed=i) for i, each in enumerate(NINE)]


@pytest.fixture(scope="module")
def views(pictures):
    return [look(image, f"view {i}", BOARD) for i, image in enumerate(pictures)]


@pytest.fixture(scope="module")
def solved(views):
    return solve_lens(views, BOARD, SIZE)


def codes(solved, board=BOARD):
    return {each.code for each in findings_of(solved, board)}


def spoilt(views, px, i=2):
    """The views with one whose corners were pulled about by so much."""
    rng = np.random.default_rng(4)
    shift = px * rng.standard_normal((54, 2))
    bad = View(
        views[i].name,
        {w: corners + shift for w, corners in views[i].corners_px.items()},
        views[i].spacing_px, views[i].edge_px, views[i].contrast,
    )  # fmt: skip
    return [*views[:i], bad, *views[i + 1 :]]


def test_corners_lie_where_the_lens_puts_them(views):
    for view, pose in zip(views, NINE, strict=True):
        truth = see_board(BOARD.points_m, TRUE, pose)
        off = view.corners(11) - truth
        assert np.sqrt(np.mean(np.sum(off**2, axis=-1))) < 0.08
        assert np.all(np.abs(off.mean(axis=0)) < 0.03)


def test_the_lens_is_found_within_its_doubt(solved):
    error = solved.fit.params - TRUE
    # Chi-square of 9: beyond 27.9 in one of a thousand.
    assert error @ np.linalg.solve(solved.cov, error) < 27.9
    assert solved.doubt_seen_px < 0.2
    assert abs(solved.held_out_rms_px / solved.fit.rms_px - 1.0) < 0.2
    assert all(view.used for view in solved.views)
    assert judge(solved).vouched
    assert not codes(solved) & {"views-flat", "view-unfit", "view-blurred", "corner-window-unfit"}


def test_the_tilts_and_distances_are_those_set(solved):
    for view, pose in zip(solved.views, NINE, strict=True):
        assert view.tilt_rad == pytest.approx(np.arccos(pose[2, 2]), abs=0.01)
        middle = pose[:3, :3] @ [0.088, 0.055, 0] + pose[:3, 3]
        assert view.range_m == pytest.approx(np.linalg.norm(middle), rel=0.005)


def test_a_scale_of_the_print_changes_distances_and_not_the_lens(views, solved):
    larger = solve_lens(views, Board(9, 6, (0.033, 0.033), to_scale=True), SIZE)
    np.testing.assert_allclose(larger.fit.params, solved.fit.params, rtol=1e-4, atol=1e-5)
    assert larger.views[0].range_m == pytest.approx(1.5 * solved.views[0].range_m, rel=1e-4)
    untold = solve_lens(views, Board(9, 6), SIZE)
    assert np.isnan(untold.views[0].range_m)
    assert "board-not-to-scale" in codes(untold, Board(9, 6))


def test_a_print_stretched_one_way_is_noticed(views, solved):
    stretched = solve_lens(views, Board(9, 6, (0.022, 0.0224), to_scale=True), SIZE)
    assert stretched.fit.rms_px > 1.2 * solved.fit.rms_px


def test_too_few_views(views):
    few = solve_lens(views[:4], BOARD, SIZE)
    assert "views-few" in codes(few)
    verdict = judge(few)
    assert not verdict.vouched and "4 views are used, 6 at least" in verdict.reasons[0]
    with pytest.raises(ValueError, match="at least 3 views, got 2"):
        solve_lens(views[:2], BOARD, SIZE)


def test_views_that_hardly_tilt():
    """Corners of boards tilted by 5°: a lens may come of it, but none that is vouched for."""
    rng = np.random.default_rng(8)
    flat = []
    for i, pose in enumerate(board_pictures.FLAT):
        turn = 0.09 * np.array([np.cos(i), np.sin(i), 0.0])
        middle = pose[:3, :3] @ [0.088, 0.055, 0] + pose[:3, 3]
        px = see_board(BOARD.points_m, TRUE, board_pictures.pose(middle, turn))
        px = px + 0.05 * rng.standard_normal(px.shape)
        flat.append(_bare_view(f"view {i}", px))
    solved = solve_lens(flat, BOARD, SIZE)
    assert "views-flat" in codes(solved)
    assert any("tilted too little" in each for each in judge(solved).reasons)
    # What helps most is a tilt.
    assert "tilted" in next_view(solved, BOARD).turn


def test_views_that_all_face_the_camera_tell_no_lens():
    flat = [
        _bare_view(f"view {i}", see_board(BOARD.points_m, TRUE, pose))
        for i, pose in enumerate(board_pictures.FLAT)
    ]
    with pytest.raises(ValueError, match="undetermined"):
        solve_lens(flat, BOARD, SIZE)


def _bare_view(name, px):
    return View(name, dict.fromkeys((2, 3, 4, 5, 7, 9, 11), px), 25.0, 0.8, 170.0)


def test_a_view_whose_corners_are_off_is_left_out_and_named(views, solved):
    one_off = solve_lens(spoilt(views, 1.0), BOARD, SIZE)
    assert [view.name for view in one_off.views if not view.used] == ["view 2"]
    told = {each.where: each.code for each in findings_of(one_off, BOARD)}
    assert told["view 2"] == "view-unfit"
    assert len(calibration_of(one_off, BOARD, "beam").view_rms_px) == len(views) - 1
    np.testing.assert_allclose(one_off.fit.params[:2], solved.fit.params[:2], rtol=0.003)


def test_a_blurred_view_is_named(pictures, views):
    soft = gaussian_filter(pictures[1].astype(float), 2.5).astype(np.uint8)
    blurred = look(soft, "view 1", BOARD)
    assert blurred.edge_px == pytest.approx(np.hypot(2.5, views[1].edge_px), rel=0.15)
    solved = solve_lens([views[0], blurred, *views[2:]], BOARD, SIZE)
    told = [each.where for each in findings_of(solved, BOARD) if each.code == "view-blurred"]
    assert told == ["view 1"]


def test_boards_bent_alike_make_the_views_disagree(views):
    """A bow of six tenths of a millimetre over the board, seen from all sides."""
    rng = np.random.default_rng(3)
    x = BOARD.points_m[:, 0] / BOARD.points_m[:, 0].max() * 2 - 1
    bowed = BOARD.points_m + np.stack([0 * x, 0 * x, 6e-4 * (1 - x**2)], axis=-1)
    bent = []
    for i, pose in enumerate(NINE):
        px = see_board(bowed, TRUE, pose)
        bent.append(_bare_view(f"view {i}", px + 0.03 * rng.standard_normal(px.shape)))
    solved = solve_lens(bent, BOARD, SIZE)
    straight = [
        _bare_view(f"view {i}", px + 0.03 * rng.standard_normal(px.shape))
        for i, px in enumerate(see_board(BOARD.points_m, TRUE, np.stack(NINE)))
    ]
    assert solved.stretch > 1.75 and "views-disagree" in codes(solved)
    assert solve_lens(straight, BOARD, SIZE).stretch == 1.0


def test_the_next_view_lessens_the_doubt_as_foretold(views):
    """Taking the proposed view brings the doubt near to what was said."""
    rng = np.random.default_rng(6)
    few = solve_lens(views[:4], BOARD, SIZE)
    proposed = next_view(few, BOARD)
    words, poses = candidate_views(BOARD, few.fit.params, SIZE)
    which = [(w.place, w.turn, w.size) for w in words].index(
        (proposed.place, proposed.turn, proposed.size)
    )
    px = see_board(BOARD.points_m, TRUE, poses[which])
    px = px + few.fit.noise_px * rng.standard_normal(px.shape)
    then = solve_lens([*views[:4], _bare_view("next", px)], BOARD, SIZE)
    doubt = np.sqrt(np.mean(then.doubt_px**2))
    assert proposed.doubt_then_px < 0.8 * proposed.doubt_now_px
    assert doubt == pytest.approx(proposed.doubt_then_px, rel=0.5)
    assert "hold the board" in proposed.words and "tilted" in first_view().words


def test_candidates_lie_within_the_picture(solved):
    words, poses = candidate_views(BOARD, solved.fit.params, SIZE)
    px = see_board(BOARD.points_m, solved.fit.params, poses)
    assert len(words) == len(poses) > 40
    assert np.all((px > 0) & (px < np.array(SIZE) - 1))
    left = [i for i, each in enumerate(words) if "left edge toward" in each.turn]
    depth = (poses[:, :3, :3] @ BOARD.points_m.T + poses[:, :3, 3:])[:, 2]
    # Its left edge is the nearer one, and it shows in the part of the picture that is named.
    assert np.all(depth[left][:, 0] < depth[left][:, 8])
    corner = [i for i, each in enumerate(words) if each.place == "near the lower right corner"]
    assert np.all(px[corner].mean(axis=1) > np.array(SIZE) / 2)


def test_a_moving_board_is_taken_where_it_rests(pictures):
    """Footage: each view stands for three frames, and between them the board is elsewhere."""
    empty = board_pictures.board_picture(None)
    frames = [("empty", empty)]
    for i, image in enumerate(pictures[:3]):
        frames += [(f"{i}-{again}", image) for again in range(3)]
    frames += [("again", pictures[0]), ("and again", pictures[0])]
    gatherer = gather(frames, BOARD)
    assert [view.name for view in gatherer.views] == ["0-1", "1-1", "2-1"]
    assert gatherer.passed["no whole board"] == ["empty"]
    assert "and again" in gatherer.passed["like a view already taken"]
    assert len(gatherer.passed["board not held still"]) == 4
    every = Gatherer(BOARD, moving=False, most=2)
    kept = [every.offer(image, str(i)) is not None for i, image in enumerate(pictures[:3])]
    assert kept == [True, True, False]


def test_a_board_upside_down_is_counted_from_its_own_end(pictures, views):
    turned = look(np.ascontiguousarray(pictures[0][::-1, ::-1]), "turned", BOARD)
    mirrored = np.array(SIZE) - 1 - turned.corners(5)
    np.testing.assert_allclose(mirrored, views[0].corners(5), atol=0.05)


def test_a_board_too_far_off_is_passed_over():
    # 480 px wide, 450 px of focal length, squares of 22 mm: 2.5 m make 4 px.
    far = board_pictures.board_picture(board_pictures.pose([0, 0, 2.6]), noise_dn=0.0)
    gatherer = gather([("far", far)], BOARD, moving=False)
    assert not gatherer.views and sum(map(len, gatherer.passed.values())) == 1


def test_the_record_and_its_picture(solved):
    made = calibration_of(solved, BOARD, "beam").stamped("simulated")
    assert made.verdict.vouched and len(made.views) == len(NINE)
    assert np.allclose(made.params, solved.fit.params) and made.square_m == (0.022, 0.022)
    doubt = lens_doubt_px(picture_grid(SIZE), solved.fit.K, solved.fit.k, made.cov)
    assert made.doubt_worst_px == pytest.approx(doubt.max())
    drawn = picture(solved, "beam", "simulated", True)
    assert drawn[:8] == b"\x89PNG\r\n\x1a\n" and 20_000 < len(drawn) < 400_000
    assert drawn == picture(solved, "beam", "simulated", True)


def test_views_of_independent_corners_agree_as_expected(monkeypatch):
    """The squares found are those expected, on average over draws; else the doubt is biased."""
    monkeypatch.setattr("rushlight.register.lens_calibrate.STRETCH_FROM", 0.0)
    rng, truth = np.random.default_rng(2), see_board(BOARD.points_m, TRUE, np.stack(NINE))
    ratios = []
    for _ in range(20):
        px = truth + 0.1 * rng.standard_normal(truth.shape)
        drawn = [_bare_view(f"view {i}", each) for i, each in enumerate(px)]
        ratios.append(solve_lens(drawn, BOARD, SIZE, window_px=5).stretch)
    # A ratio of squares of some ten degrees of freedom scatters by 0.45 to 0.9; 20 draws, 3 σ.
    assert np.mean(np.square(ratios)) == pytest.approx(1.0, abs=0.55)
