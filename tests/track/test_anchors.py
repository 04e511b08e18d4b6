"""A shaking camera with anchors points better than without; a moved one is told.

The camera is simulated here from its own equations: it turns and shifts as it pleases, and its
dots are computed at the places where lights and anchors are.
"""

import importlib.util
import math
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from rushlight.physics.geometry.pinhole import project
from rushlight.records.dots import Dots
from rushlight.records.rig import Anchor
from rushlight.see.link import Linker
from rushlight.track.anchors import LEARN_S, Anchors, anchors_of
from rushlight.track.filter import filter_maker
from rushlight.track.following import Follower, follow
from rushlight.track.identity import Identity
from rushlight.track.mapping import SurfaceMap
from rushlight.track.moved import SETTLE_BLOCKS, MoveWatch
from rushlight.track.shaking import View, rotation

_spec = importlib.util.spec_from_file_location("lights", Path(__file__).with_name("conftest.py"))
lights = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(lights)

K = np.array([[500.0, 0, 320.0], [0, 500.0, 240.0], [0, 0, 1]])
LENS = np.zeros(5)
HOME = np.array([[1.0, 0, 0, 1.28], [0, -1, 0, 0.96], [0, 0, -1, 2.0], [0, 0, 0, 1]])
PLACES_M = np.array([[0.1, 0.1, 0.0], [2.45, 0.15, 0.05], [2.4, 1.8, 0.0], [0.15, 1.85, 0.1]])
NAMES = ("door", "post", "beam", "shelf")
PERIOD_NS = 10_000_000
TURN_STD_RAD = math.radians(0.15)
LEARNT = round(LEARN_S * 1e9 / PERIOD_NS) + 1


def view():
    return View(K, LENS, HOME)


def anchors(count, **settings):
    return Anchors(NAMES[:count], PLACES_M[:count], view(), **settings)


def shaking(random, frames, turn_std_rad=TURN_STD_RAD, shift_std_m=0.0):
    """Turns and shifts (F, 6) of a stand that shakes at 2 to 9 Hz (invented)."""
    time_s = np.arange(frames) * PERIOD_NS * 1e-9
    shake = np.zeros((frames, 6))
    for axis, std in enumerate([turn_std_rad] * 3 + [shift_std_m] * 3):
        for _ in range(4):
            hertz, phase = random.uniform(2, 9), random.uniform(0, 2 * np.pi)
            shake[:, axis] += std / math.sqrt(2) * np.sin(2 * np.pi * hertz * time_s + phase)
    return shake


def seen_px(places_m, motion):
    """Where a camera that was turned and shifted sees places (N, 3): px (N, 2)."""
    home_from_now = np.eye(4)
    turn = Rotation.from_rotvec(motion[:3]).as_matrix()
    home_from_now[:3, :3] = turn.T
    home_from_now[:3, 3] = -turn.T @ motion[3:]
    return project(places_m, K, LENS, HOME @ home_from_now)[0]


def dots_of(places_m, motion, random):
    return lights.dots_at(seen_px(np.atleast_2d(places_m), motion), random)


def place_of(xy_px):
    return np.array([1.28, 0.96]) + np.array([0.004, -0.004]) * (xy_px - [320, 240])


@cache
def errors(count, seed, shift_std_m=0.0, frames=300, hidden_from=999):
    """Errors (F, 2) [m] of a resting light with and without anchors, and claimed deviations."""
    random = np.random.default_rng(seed)
    shake = shaking(random, frames, shift_std_m=shift_std_m)
    fixed = anchors(count)
    spot = np.array([1.9, 0.6, 0.0])
    without, with_them, claimed = [], [], []
    for k in range(frames):
        dots = dots_of(np.vstack([PLACES_M[:count], spot]), shake[k], random)
        if k >= hidden_from:
            dots = dots.replace(reason=np.array([2] + [0] * count))
        told = fixed.step((k + 1) * PERIOD_NS, dots)
        if k < LEARNT + 20:
            continue
        light, cov = dots.xy[-1:], dots.cov[-1:]
        better, doubt = told.steady(light, cov)
        without.append(place_of(light[0]) - spot[:2])
        with_them.append(place_of(better[0]) - spot[:2])
        claimed.append(0.004 * np.sqrt(np.trace(doubt[0]) / 2))
    return np.array(without), np.array(with_them), np.array(claimed)


def rms(errors_m):
    return float(np.sqrt((errors_m**2).mean()))


def test_a_turn_goes_by_the_homography_of_a_turning_camera():
    turn = np.array([0.004, -0.007, 0.01])
    xy = np.array([[50.0, 60.0], [600.0, 400.0], [320.0, 240.0]])
    places = view().on_surface(xy, rotation(turn), np.zeros(3))
    line = np.hstack([xy, np.ones((3, 1))]) @ (K @ rotation(turn).T @ np.linalg.inv(K)).T
    np.testing.assert_allclose(view().px(places), line[:, :2] / line[:, 2:], atol=1e-9)


def test_rotation_is_that_of_the_library():
    for vector in ([0, 0, 0], [1e-9, 0, 0], [0.3, -1.2, 2.0], [1e-5, 2e-5, 0]):
        expected = Rotation.from_rotvec(vector).as_matrix()
        np.testing.assert_allclose(rotation(np.array(vector, float)), expected, atol=1e-14)


def test_the_slope_is_that_of_the_projection():
    bent = View(K, np.array([-0.2, 0.05, 1e-3, -1e-3, 0.0]), HOME)
    places = np.array([[0.3, -0.2, 2.0], [-0.8, 0.5, 1.7]])
    step = 1e-6
    for axis in range(6):
        motion = np.zeros(6)
        motion[axis] = step
        moved = places @ rotation(motion[:3]).T + motion[3:]
        slope = (bent.px(moved) - bent.px(places)) / step
        np.testing.assert_allclose(bent.change(places)[..., axis], slope, rtol=1e-3, atol=1e-2)


@pytest.mark.parametrize(("count", "share"), [(1, 0.7), (2, 0.2), (4, 0.15)])
def test_anchors_take_the_shaking_off(count, share):
    runs = [errors(count, seed) for seed in range(4)]
    before = rms(np.concatenate([run[0] for run in runs]))
    after = rms(np.concatenate([run[1] for run in runs]))
    assert before > 0.004
    assert after < share * before


def test_more_anchors_leave_less():
    left = [np.mean([rms(errors(count, seed)[1]) for seed in range(4)]) for count in (1, 2, 4)]
    assert left[0] > left[1] > left[2]


@pytest.mark.parametrize("count", [1, 2, 4])
def test_the_claimed_doubt_holds_what_is_left(count):
    runs = [errors(count, seed) for seed in range(4)]
    left = rms(np.concatenate([run[1] for run in runs]))
    claimed = rms(np.concatenate([run[2] for run in runs]))
    # The shaking is half as strong here as is expected beforehand, so one anchor claims more.
    assert 0.35 < left / claimed < 1.25


def test_small_shifts_of_the_camera_are_taken_off_too():
    runs = [errors(4, seed, shift_std_m=0.001) for seed in range(4)]
    before = rms(np.concatenate([run[0] for run in runs]))
    after = rms(np.concatenate([run[1] for run in runs]))
    assert after < 0.15 * before


def test_a_hidden_anchor_does_no_harm():
    runs = [errors(4, seed, hidden_from=150) for seed in range(4)]
    before = rms(np.concatenate([run[0] for run in runs]))
    after = rms(np.concatenate([run[1] for run in runs]))
    assert after < 0.2 * before


def test_an_anchor_that_is_pushed_is_left_out():
    random = np.random.default_rng(3)
    fixed = anchors(4)
    still = np.zeros(6)
    for k in range(300):
        places = PLACES_M.copy()
        if k >= 200:
            places[1, 0] += 0.02  # 5 px
        told = fixed.step((k + 1) * PERIOD_NS, dots_of(places, still, random))
    assert told.dot.tolist() == [0, 1, 2, 3]
    assert (
        np.linalg.norm(
            told.steady(np.array([[400.0, 100.0]]), np.zeros((1, 2, 2)))[0] - [400.0, 100.0]
        )
        < 0.3
    )


def test_without_any_anchor_in_view_nothing_is_made_worse():
    random = np.random.default_rng(4)
    fixed = anchors(2)
    for k in range(250):
        places = PLACES_M[:2] if k < 150 else np.zeros((0, 3))
        dots = dots_of(places, np.zeros(6), random) if len(places) else Dots.none()
        told = fixed.step((k + 1) * PERIOD_NS, dots)
    xy, cov = told.steady(np.array([[400.0, 100.0]]), np.zeros((1, 2, 2)))
    np.testing.assert_allclose(xy, [[400.0, 100.0]], atol=0.05)
    assert math.sqrt(cov[0, 0, 0]) == pytest.approx(500 * math.radians(0.3), rel=0.2)


def test_the_homes_are_learnt_and_then_known():
    random = np.random.default_rng(5)
    fixed = anchors(2)
    known = []
    for k in range(LEARNT + 5):
        told = fixed.step((k + 1) * PERIOD_NS, dots_of(PLACES_M[:2], np.zeros(6), random))
        known.append(told.known)
        assert told.others.tolist() == [False, False]
        assert told.findings == ()
    assert known == [False] * LEARNT + [True] * 5


def test_homes_that_are_known_beforehand_serve_from_the_first_frame():
    random = np.random.default_rng(14)
    homes = seen_px(PLACES_M[:2], np.zeros(6))
    fixed = anchors(2, homes_px=homes)
    turned = np.array([0.0, 0.004, 0.0, 0.0, 0.0, 0.0])
    spot = np.array([[1.9, 0.6, 0.0]])
    told = fixed.step(PERIOD_NS, dots_of(np.vstack([PLACES_M[:2], spot]), turned, random))
    assert told.known
    now = seen_px(spot, turned)
    steady = told.steady(now, np.zeros((1, 2, 2)))[0]
    home = seen_px(spot, np.zeros(6))
    assert np.linalg.norm(now - home) > 1.9
    assert np.linalg.norm(steady - home) < 0.3


def test_an_anchor_behind_the_camera_is_none():
    random = np.random.default_rng(15)
    places = np.array([PLACES_M[0], [1.0, 1.0, 3.0]])
    fixed = Anchors(NAMES[:2], places, view())
    for k in range(LEARNT + 3):
        told = fixed.step((k + 1) * PERIOD_NS, dots_of(PLACES_M[:1], np.zeros(6), random))
    assert told.dot.tolist() == [0, -1]
    assert np.isfinite(told.pose).all()
    with pytest.raises(ValueError, match="expected 2 places, got 1"):
        Anchors(NAMES[:2], places[:1], view())


def test_an_anchor_far_from_where_it_should_be_is_told():
    random = np.random.default_rng(6)
    fixed = anchors(1)
    told = [
        finding
        for k in range(LEARNT + 50)
        for finding in fixed.step(
            (k + 1) * PERIOD_NS,
            dots_of(PLACES_M[:1] + np.array([0.06, 0.0, 0.0]), np.zeros(6), random),
        ).findings
    ]
    assert [finding.code for finding in told] == ["anchor-aside"]
    assert str(told[0]).startswith("anchor door = 15 px is farther from where")


def test_unseen_anchors_are_told_once():
    random = np.random.default_rng(7)
    fixed = anchors(2)
    told = []
    for k in range(700):
        dots = dots_of(PLACES_M[:2], np.zeros(6), random) if k < 150 else Dots.none()
        told += [(k, each.code) for each in fixed.step((k + 1) * PERIOD_NS, dots).findings]
    assert told == [(150 + 200, "anchors-unseen")]


def alarms(seed, seconds, move_s=None, move_rad=0.0):
    """When a shaking camera is said to have moved [s]; it moves at `move_s`."""
    random = np.random.default_rng(seed)
    period_ns = 40_000_000
    frames = round(seconds * 1e9 / period_ns)
    shake = np.zeros((frames, 6))
    time_s = np.arange(frames) * period_ns * 1e-9
    for axis in range(3):
        for _ in range(3):
            hertz, phase = random.uniform(2, 9), random.uniform(0, 2 * np.pi)
            shake[:, axis] += math.radians(0.1) * np.sin(2 * np.pi * hertz * time_s + phase)
    if move_s is not None:
        shake[time_s >= move_s, 1] += move_rad
    fixed = anchors(3)
    told = []
    for k in range(frames):
        dots = dots_of(PLACES_M[:3], shake[k], random)
        found = fixed.step((k + 1) * period_ns, dots).findings
        told += [time_s[k] for each in found if each.code == "camera-moved"]
    return told


def test_a_moved_camera_is_told_within_seconds():
    for seed in range(2):
        told = alarms(seed, 44.0, move_s=36.0, move_rad=math.radians(0.2))
        assert len(told) == 1
        assert 36.0 < told[0] < 43.0


def test_a_shaking_camera_that_stays_is_not_said_to_move():
    assert [alarms(seed, 50.0) for seed in (10, 11)] == [[], []]


def watched(random, blocks, shift=0.0, noise=1.0):
    """After how many blocks beyond the first ones an alarm comes; None without."""
    watch = MoveWatch(np.full(3, 1e-3))
    for block in range(SETTLE_BLOCKS + blocks + 1):
        turn = random.normal(0, noise, 3)
        if block >= SETTLE_BLOCKS:
            turn[0] += shift
        if watch.seen(block * 10**9, turn) is not None:
            return block - SETTLE_BLOCKS
    return None


def test_the_false_alarms_are_as_rare_as_is_said():
    random = np.random.default_rng(8)
    # One in 700 hours is said: of 30 runs of half an hour none, in 98 of 100 such tests.
    assert sum(watched(random, 1800) is not None for _ in range(30)) <= 1


@pytest.mark.parametrize(("shift", "expected"), [(3.0, 7), (5.0, 3), (10.0, 2)])
def test_the_alarm_comes_as_soon_as_is_said(shift, expected):
    random = np.random.default_rng(9)
    after = [watched(random, 80, shift) for _ in range(60)]
    assert None not in after
    assert abs(np.median(after) - expected) <= 1.0


def test_after_an_alarm_the_new_place_is_learnt():
    watch = MoveWatch(np.full(1, 1e-3))
    told = []
    random = np.random.default_rng(10)
    for block in range(300):
        turn = random.normal(0, 1, 1) + (20.0 if block >= 100 else 0.0)
        moved = watch.seen(block * 10**9, turn)
        if moved is not None:
            told.append((block, float(moved[0])))
    assert len(told) == 1
    assert told[0][1] == pytest.approx(20.0, abs=4.0)


def test_following_a_shaking_camera(registration):
    random = np.random.default_rng(12)
    frames = 300
    shake = shaking(random, frames)
    spot = np.array([1.9, 0.6, 0.0])
    dots = []
    for k in range(frames):
        lit = [spot] if k > 150 else []
        dots.append(dots_of(np.array([*PLACES_M[:3], *lit]), shake[k], random))
    left = {}
    for name, fixed in (("with", anchors(3)), ("without", None)):
        # Without anchors their dots count as hot pixels, so that they take no names.
        marks = [np.array([0 if fixed else 2] * 3 + [0] * (len(one) - 3)) for one in dots]
        player = lights.Played(
            [one.replace(reason=mark) for one, mark in zip(dots, marks, strict=True)]
        )
        follower = Follower(
            player,
            Linker(),
            filter_maker("none"),
            Identity(["stylus-wren"], None, 1.28),
            SurfaceMap(registration, "beam", (640, 480)),
            anchors=fixed,
        )
        followed = list(follow(player.frames(), follower))
        fixes = [fix for one in followed for fix in one.fixes]
        assert len(fixes) == frames - 151
        assert {fix.carried for fix in fixes} == {"stylus-wren"}
        std_m = np.sqrt([np.trace(fix.cov[:2, :2]) / 2 for fix in fixes])
        # What the anchors leave open is added to the doubt of the dots alone.
        assert (std_m > 0.004 * lights.STD_PX * (1.2 if fixed else 0.99)).all()
        left[name] = rms(np.array([fix.position_m[:2] - spot[:2] for fix in fixes]))
    assert left["with"] < 0.3 * left["without"]


def test_anchors_of_a_rig(registration):
    given = [
        Anchor.model_validate(
            {
                "id": name,
                "part": "ir-led",
                "current": "20 mA",
                "position": [f"{1000 * step:.0f} mm" for step in place],
            }
        )
        for name, place in zip(NAMES, PLACES_M, strict=True)
    ]
    fixed = anchors_of(SimpleNamespace(anchors=given), registration, "beam")
    random = np.random.default_rng(13)
    for k in range(LEARNT + 3):
        told = fixed.step((k + 1) * PERIOD_NS, dots_of(PLACES_M, np.zeros(6), random))
    assert told.known
    assert told.dot.tolist() == [0, 1, 2, 3]
    assert anchors_of(SimpleNamespace(anchors=[]), registration, "beam") is None
