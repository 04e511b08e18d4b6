"""Two check touches: where they stand, what they notice, and how often they are wrong."""

import numpy as np
import pytest

from rushlight.physics.geometry import project
from rushlight.physics.geometry.rotation import matrix_from_rotation_vector
from rushlight.register.checking import (
    FALSE_ALARM,
    SHOWN_WITH,
    check,
    check_places,
    miss_cov,
    turn_design,
)
from rushlight.register.fit import Place, fit_registration

SCATTER_M = 0.002


@pytest.fixture(scope="module")
def registered(scene):
    """A registration of a drawn room, and the room."""

    def register(seed):
        rng = np.random.default_rng(seed)
        truth = scene.drawn_truth(rng)
        touches = scene.touched(truth, scene.grid(), rng, SCATTER_M)
        found = fit_registration(
            touches, scene.LENS, scene.WALL, Place("beam", "wall", scene.SIZE_PX, 0.0),
            frames=[60] * 9, carried=["wren"] * 9,
        )  # fmt: skip
        return found, truth, rng

    return register


def checked(scene, registration, px, goal_m):
    px_cov = np.tile(scene.PX_STD**2 * np.eye(2), (2, 1, 1))
    return check(registration, goal_m, px, px_cov, np.full(2, SCATTER_M), np.zeros(2))


def places(scene, registration):
    all_places = scene.grid(7, 5, 0.08)
    pair, turn_rad = check_places(registration, all_places, np.full(35, SCATTER_M))
    return all_places[list(pair)], turn_rad


def test_a_good_registration_is_called_no_go_as_often_as_is_said(scene, registered):
    misfits = []
    for seed in range(60):
        registration, truth, rng = registered(seed)
        goal_m, _ = places(scene, registration)
        for _ in range(5):
            tip = goal_m + SCATTER_M * rng.standard_normal((2, 2))
            px = truth.px(tip) + scene.PX_STD * rng.standard_normal((2, 2))
            found = checked(scene, registration, px, goal_m)
            assert found.freedom == 4
            misfits.append(found.misfit)
    # Chi-square of 4: its mean over 60 rooms strays by 0.3 or less.
    assert np.mean(misfits) == pytest.approx(4.0, abs=1.0)
    alarms = np.mean(np.array(misfits) > 13.2767)  # the 99 % quantile for 4 degrees of freedom
    assert alarms < 4 * FALSE_ALARM


def test_a_turned_camera_is_noticed_as_often_as_is_said(scene, registered):
    registration, _, rng = registered(1)
    goal_m, turn_rad = places(scene, registration)
    assert 1e-4 < turn_rad < np.radians(1.0)
    rows = turn_design(registration, goal_m).reshape(4, 3)
    cov = miss_cov(registration, goal_m, np.full(2, SCATTER_M))
    axis = np.linalg.eigh(rows.T @ np.linalg.solve(cov, rows))[1][:, 0]
    spread = np.linalg.cholesky(cov)
    far = rows @ (turn_rad * axis) + (spread @ rng.standard_normal((4, 20_000))).T
    misfit = np.einsum("ni,ij,nj->n", far, np.linalg.inv(cov), far)
    assert np.mean(misfit > 13.2767) == pytest.approx(SHOWN_WITH, abs=0.01)


def test_what_a_turn_does_is_what_a_turned_camera_sees(scene, registered):
    registration, truth, _ = registered(2)
    goal_m = np.array([[0.3, 0.2], [2.0, 1.2]])
    turn = np.array([0.002, -0.001, 0.003])
    expected = turn_design(registration, goal_m) @ turn
    flat = np.concatenate([goal_m, np.zeros((2, 1))], axis=1)
    turned = scene.POSE.copy()
    turned[:3, :3] = turned[:3, :3] @ matrix_from_rotation_vector(-turn)
    before, after = (project(flat, scene.LENS.K, truth.k, pose)[0] for pose in (scene.POSE, turned))
    moved = [checked(scene, registration, px, goal_m).missed_m for px in (before, after)]
    assert np.allclose(moved[1] - moved[0], expected, rtol=0.05, atol=2e-4)


def test_places_stand_apart_and_use_the_surface(scene, registered):
    registration, _, _ = registered(3)
    goal_m, _ = places(scene, registration)
    assert np.linalg.norm(goal_m[0] - goal_m[1]) > 1.0


def test_a_touch_off_the_map_never_passes(scene, registered):
    registration, _, _ = registered(4)
    goal_m, _ = places(scene, registration)
    found = checked(scene, registration, np.array([[np.nan, 0.0], [320.0, 240.0]]), goal_m)
    assert not found.holds
    assert found.misfit == np.inf
