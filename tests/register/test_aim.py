"""A camera's pose from lights held at named places, against drawn truth and against OpenCV."""

from dataclasses import replace

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.opencv.calibrate import board_pose
from rushlight.opencv.pose import three_point_poses
from rushlight.physics.geometry import flatness_modes, invert_transform, rig_from_camera_looking_at
from rushlight.physics.geometry.rotation import pose_difference, pose_moved
from rushlight.physics.geometry.sight import sight_of
from rushlight.physics.surface_model import bend_amplitudes, edge_to_edge
from rushlight.register.aim import (
    Held,
    Planned,
    check_places,
    fit_aim,
    looking_at_aim,
    next_place,
    steps_between,
)

SIZE_M = np.array([2.4, 1.5])
PLACES_M = np.array([[0, 0], [2.4, 0], [2.4, 1.5], [0, 1.5], [1.2, 0.75]], float)
HAND_M, DOT_PX = 0.003, 0.03
PLANNED = Planned(
    pose=rig_from_camera_looking_at([1.2, 1.6, 2.85], [1.2, 0.72, 0.0]),
    place_std_m=0.05,
    turn_std_rad=np.radians(3.0),
    K=np.array([[475.0, 0, 319.5], [0, 475.0, 239.5], [0, 0, 1]]),
    k=np.array([-0.2, 0.05, 0.0, 0.0, 0.0]),
    k_spread=np.diag([0.03, 0.03, 0.001, 0.001, 0.01]),
    focal_share=0.03,
    size_m=SIZE_M,
    flatness_rms_m=0.003,
)
SURE = replace(PLANNED, k_spread=np.zeros((5, 5)), focal_share=0.0, flatness_rms_m=0.0)


def held_at(places_m, px):
    count = len(places_m)
    return Held(
        places_m,
        np.tile(HAND_M**2 * np.eye(2), (count, 1, 1)),
        px,
        np.tile(DOT_PX**2 * np.eye(2), (count, 1, 1)),
    )


def seen(pose, places_m, planned=PLANNED):
    points = np.c_[places_m, np.zeros(len(places_m))]
    return sight_of(points, planned.K, planned.k, pose).px


def drawn(random, count):
    """A camera, lens, wall and hand as they might be: the true pose, and the lights held."""
    pose = pose_moved(PLANNED.pose, np.repeat([0.05, np.radians(3.0)], 3) * random.normal(size=6))
    K = PLANNED.K.copy()
    K[[0, 1], [0, 1]] *= np.exp(0.03 * random.normal())
    k = PLANNED.k + PLANNED.k_spread @ random.normal(size=5)
    at = PLACES_M[:count] + HAND_M * random.normal(size=(count, 2))
    bends = bend_amplitudes(0.003) * random.normal(size=7)
    height = flatness_modes(edge_to_edge(PLACES_M[:count], SIZE_M)) @ bends
    px = sight_of(np.c_[at, height], K, k, pose).px + DOT_PX * random.normal(size=(count, 2))
    return pose, held_at(PLACES_M[:count], px)


@pytest.mark.parametrize("count", [3, 5])
def test_the_true_pose_lies_within_the_doubt_as_often_as_it_should(count):
    """The sum of squares in the stated covariance is chi-square; its mean over draws is judged
    by four standard deviations of that mean."""
    random = np.random.default_rng(count)
    draws, scores, misfits = 40, [], []
    for _ in range(draws):
        pose, held = drawn(random, count)
        if not np.isfinite(held.px).all():
            continue
        fit = fit_aim(PLANNED, held)
        step = pose_difference(pose, fit.pose)
        scores.append(step @ np.linalg.solve(fit.cov[:6, :6], step))
        misfits.append(fit.misfit - fit.freedom)
    assert len(scores) > 30
    assert np.mean(scores) == pytest.approx(6.0, abs=4.0 * np.sqrt(12.0 / len(scores)))
    assert np.mean(misfits) == pytest.approx(0.0, abs=4.0 * np.sqrt(4.0 * count / len(scores)))


def test_without_a_plan_the_pose_is_the_one_that_opencv_finds():
    true = pose_moved(PLANNED.pose, [0.05, -0.03, 0.1, 0.02, 0.03, -0.04])
    px = seen(true, PLACES_M[:3], SURE)
    nothing = replace(SURE, place_std_m=100.0, turn_std_rad=100.0)
    fit = fit_aim(nothing, held_at(PLACES_M[:3], px))
    found = three_point_poses(np.c_[PLACES_M[:3], np.zeros(3)], px, SURE.K, SURE.k)
    apart = [np.abs(invert_transform(each) - fit.pose).max() for each in found]
    assert min(apart) < 1e-4
    assert np.allclose(fit.pose, true, atol=1e-4)
    px = seen(true, PLACES_M, SURE)
    board = board_pose(np.c_[PLACES_M, np.zeros(5)], px, SURE.K, SURE.k)
    more = fit_aim(nothing, held_at(PLACES_M, px))
    assert np.allclose(invert_transform(board), more.pose, atol=1e-4)


def test_more_places_tell_more():
    true = pose_moved(PLANNED.pose, [0.05, -0.03, 0.1, 0.02, 0.03, -0.04])
    px = seen(true, PLACES_M)
    sizes = [
        np.linalg.slogdet(fit_aim(PLANNED, held_at(PLACES_M[:n], px[:n])).cov)[1] for n in (3, 4, 5)
    ]
    assert sizes[0] > sizes[1] > sizes[2]


@pytest.mark.parametrize(
    ("which", "code"),
    [([0, 1], "aim-few"), ([], "aim-few"), ([0, 4, 2], "aim-line")],
)
def test_places_that_tell_no_pose_are_refused_in_a_sentence(which, code):
    names = ["lower-left", "lower-right", "upper-right", "upper-left", "centre"]
    with pytest.raises(RushlightError) as caught:
        check_places([names[i] for i in which], PLACES_M[which])
    assert caught.value.findings[0].code == code
    assert str(caught.value).endswith(".")
    check_places(names[:3], PLACES_M[:3])


def test_a_light_held_elsewhere_than_asked_is_found_and_left_out():
    true = pose_moved(PLANNED.pose, [0.02, 0.01, -0.03, 0.01, 0.02, -0.01])
    px = seen(true, PLACES_M)
    px[4] = seen(true, np.array([[0.9, 0.75]]))[0]
    fit = fit_aim(PLANNED, held_at(PLACES_M, px))
    assert fit.used.tolist() == [True] * 4 + [False]
    assert np.linalg.norm(fit.missed_px[4]) > 20.0


def test_the_next_place_is_aside_of_those_held_and_in_view():
    px = seen(PLANNED.pose, PLACES_M)
    two = held_at(PLACES_M[[0, 2]], px[[0, 2]])
    # The centre lies between the two; the upper left corner aside of them.
    others = held_at(PLACES_M[[4, 3]], px[[4, 3]])
    assert next_place(PLANNED, None, two, others) == 1
    behind = replace(PLANNED, pose=rig_from_camera_looking_at([1.2, 1.0, 2.0], [1.2, 1.0, 4.0]))
    assert next_place(behind, None, None, others) is None


def test_steps_lead_back_to_the_plan_and_are_named_as_seen_from_behind_the_camera():
    random = np.random.default_rng(5)
    square = rig_from_camera_looking_at([1.2, 0.75, 3.0], [1.2, 0.75, 0.0])
    # The camera looks 2° too far right, and stands 4 cm too far from the wall.
    found = rig_from_camera_looking_at(
        [1.2, 0.75, 3.04], [1.2 + 3.04 * np.tan(np.radians(2.0)), 0.75, 0.0]
    )
    cov = np.diag([0.01**2] * 3 + [0.005**2] * 3)
    steps = {one.kind: one for one in steps_between(found, cov, square, stay=False)}
    assert np.degrees(steps["turn"].amount) == pytest.approx(-2.0)
    assert steps["move-z"].amount == pytest.approx(-0.04)
    assert steps["move-x"].amount == pytest.approx(0.0)
    assert steps["move-z"].std == pytest.approx(0.01, rel=1e-3)
    for stay in (True, False):
        pose = pose_moved(square, 0.05 * random.normal(size=6))
        step = {one.kind: one.amount for one in steps_between(pose, cov, square, stay)}
        moved = pose.copy()
        moved[:3, 3] += [step["move-x"], step["move-y"], step["move-z"]]
        own = pose_moved(np.eye(4), [0, 0, 0, step["tilt"], step["turn"], step["roll"]])
        moved[:3, :3] = pose[:3, :3] @ own[:3, :3]
        assert np.allclose(moved, looking_at_aim(pose, square) if stay else square)
