"""Bad touches, verdicts and refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from rushlight.errors import RushlightError
from rushlight.physics.surface_map import surface_from_px
from rushlight.register.bad_touch import sift
from rushlight.register.fit import Place, fit_registration

PLACE = Place(camera="overhead", surface="wall", size_px=(640, 480), mean_height_m=0.01)


def registered(scene, touches):
    count = len(touches)
    return fit_registration(touches, scene.LENS, scene.WALL, PLACE, [18] * count, [None] * count)


def spoil(touches, which, by_m):
    """The touch lands that far from its beacon, in the picture too (4.5 mm a pixel or so)."""
    goal = touches.goal_m.copy()
    goal[which] += by_m
    return replace(touches, goal_m=goal)


def draws_located(scene, goal, by_m, draws, seed):
    rng = np.random.default_rng(seed)
    hits = 0
    for _ in range(draws):
        truth = scene.drawn_truth(rng)
        which = int(rng.integers(len(goal)))
        angle = rng.uniform(0, 2 * np.pi)
        bad = spoil(
            scene.touched(truth, goal, rng), which, by_m * np.array([np.cos(angle), np.sin(angle)])
        )
        _, used = sift(bad, scene.LENS, scene.WALL)
        hits += list(np.flatnonzero(~used)) == [which]
    return hits


@pytest.mark.parametrize(
    ("count", "by_m", "draws", "least"), [(9, 0.06, 50, 0.99), (6, 0.06, 50, 0.9)]
)
def test_a_bad_touch_is_found(scene, count, by_m, draws, least):
    """60 mm off at a scatter of 2 mm: the bound is two-sided binomial, one in a thousand."""
    goal = scene.grid() if count == 9 else scene.SIX
    hits = draws_located(scene, goal, by_m, draws, seed=count)
    assert hits >= stats.binom.ppf(0.001, draws, least)


def test_touches_at_exchanged_beacons_are_both_found(scene):
    rng = np.random.default_rng(11)
    touches = scene.touched(scene.drawn_truth(rng), scene.grid(), rng)
    goal = touches.goal_m.copy()
    goal[[1, 5]] = goal[[5, 1]]
    _, used = sift(replace(touches, goal_m=goal), scene.LENS, scene.WALL)
    assert list(np.flatnonzero(~used)) == [1, 5]


def test_good_touches_are_seldom_left_out(scene):
    """One registration in a hundred may lose a touch; the bound is binomial."""
    rng, draws = np.random.default_rng(12), 150
    lost = 0
    for _ in range(draws):
        truth = scene.drawn_truth(rng)
        _, used = sift(scene.touched(truth, scene.grid(), rng), scene.LENS, scene.WALL)
        lost += not np.all(used)
    assert lost <= stats.binom.ppf(0.999, draws, 0.01)


def test_a_good_registration_is_vouched_for(scene):
    rng = np.random.default_rng(13)
    found = registered(scene, scene.touched(scene.drawn_truth(rng), scene.grid(), rng))
    assert found.verdict.vouched
    assert "9 touches agree" in found.verdict.reasons[0]
    assert found.rms_residual_m == pytest.approx(found.expected_rms_m, rel=0.6)
    assert len(found.estimate) == len(found.parameters) == len(found.cov) == 20


def test_five_touches_show_that_one_is_bad_but_not_which(scene):
    rng = np.random.default_rng(14)
    touches = scene.touched(scene.drawn_truth(rng), scene.grid()[[0, 2, 4, 6, 8]], rng)
    found = registered(scene, spoil(touches, 2, np.array([0.08, 0.05])))
    assert not found.verdict.vouched
    assert "five touches show that one is bad, not which" in found.verdict.reasons[0]
    assert all(touch.used for touch in found.touches)


def test_five_good_touches_are_not_vouched_for(scene):
    rng = np.random.default_rng(15)
    found = registered(scene, scene.touched(scene.drawn_truth(rng), scene.SIX[:5], rng))
    assert not found.verdict.vouched
    assert "only 5 touches are usable" in found.verdict.reasons[0]


def test_a_wall_less_flat_than_stated_is_noticed_and_the_doubt_stretched(scene):
    rng = np.random.default_rng(16)
    truth = scene.drawn_truth(rng)._replace(flatness_m=np.array([0.05, 0, 0.04, 0, 0.04, 0, 0]))
    goal = scene.grid(4, 4)
    found = registered(scene, scene.touched(truth, goal, rng))
    assert not found.verdict.vouched
    assert "less flat" in " ".join(found.verdict.reasons)
    good = registered(scene, scene.touched(scene.drawn_truth(rng), goal, rng))
    assert np.trace(found.cov) > 2 * np.trace(good.cov)


def test_touches_in_a_corner_are_not_vouched_for(scene):
    rng = np.random.default_rng(17)
    goal = scene.grid() * 0.25
    found = registered(scene, scene.touched(scene.drawn_truth(rng), goal, rng))
    assert not found.verdict.vouched
    assert "enclose 4% of the surface" in " ".join(found.verdict.reasons)


def test_a_mirrored_picture_is_registered_like_any_other(scene):
    rng = np.random.default_rng(18)
    truth = scene.drawn_truth(rng)
    touches = scene.touched(truth, scene.grid(), rng)
    upright = registered(scene, touches)
    px = touches.px.copy()
    px[:, 0] = 639 - px[:, 0]
    mirrored = registered(scene, replace(touches, px=px))
    assert mirrored.valid_for.mirrored and not upright.valid_for.mirrored
    assert mirrored.verdict.vouched
    at = scene.grid(4, 3)
    seen = truth.px(at)
    flipped = np.stack([639 - seen[:, 0], seen[:, 1]], axis=1)
    assert np.allclose(mapped(mirrored, flipped), mapped(upright, seen), atol=1e-6)


def mapped(found, px):
    one = found.maps[0]
    return surface_from_px(
        px,
        one.camera_matrix,
        one.distortion,
        one.surface_from_normalised,
        found.flatness_m,
        found.valid_for.surface_size_m,
        one.camera_position_m,
    )


@pytest.mark.parametrize(
    ("goal", "words"),
    [
        ("four", "are too few"),
        ("line", "on one line"),
        ("spot", "in one spot"),
    ],
)
def test_touches_that_tell_no_map_are_refused(scene, goal, words):
    places = {
        "four": scene.grid(2, 2),
        "line": np.stack([np.linspace(0.2, 2.2, 9), np.linspace(0.2, 1.3, 9)], axis=1),
        "spot": np.full((9, 2), 0.8),
    }[goal]
    touches = scene.touched(scene.FLAT, places, np.random.default_rng(19))
    with pytest.raises(RushlightError, match=words):
        registered(scene, touches)
