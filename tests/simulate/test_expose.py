"""Shutter, motion, switching and people in the way."""

import dataclasses

import numpy as np
import pytest

from rushlight.simulate.cast import Cast, Standing
from rushlight.simulate.expose import SUB_STEPS, expose
from rushlight.simulate.hands import Timeline
from rushlight.simulate.optics import direct_lights, view_of
from rushlight.simulate.scripts import Script

SPEED_M_S = 1.0
START_M = 0.3


def across(y_m=0.9, lit=((0.0, 2.0),), speed_m_s=SPEED_M_S):
    """A stylus that moves to the right at an even speed."""
    line = Timeline(
        emitter=0,
        time_s=np.array([0.0, 1.4]),
        tip_m=np.array([[START_M, y_m], [START_M + 1.4 * speed_m_s, y_m]]),
        direction=np.tile([0.2, -0.2, 0.95], (2, 1)),
        lit_s=np.array(lit, float).reshape(-1, 2),
    )
    return Script("strokes", (line,), (), 2.0)


def place_in_picture(world, x_m, y_m=0.9):
    way = np.array([[0.2, -0.2, 0.95]])
    return direct_lights(world, view_of(world), 0, np.array([[x_m, y_m]]), way).px[0]


def test_a_rolling_shutter_shows_a_moving_light_when_its_row_is_exposed(make_world):
    row_time_s = 60e-6
    world = make_world(causes=(), cameras={"row_time_s": [[row_time_s]]})
    for y_m in (0.1, 1.1):
        state = expose(world, across(y_m), np.array([0.7])).states[0]
        late_s = row_time_s * (state.px[0, 1] - 239.5)
        assert abs(late_s) > 3e-3
        assert state.valid_ns[0] * 1e-9 == pytest.approx(0.7 + late_s, abs=1e-6)
        x_m = START_M + SPEED_M_S * (0.7 + late_s)
        assert state.tip_m[0, 0] == pytest.approx(x_m, abs=2e-6)
        assert np.allclose(state.px[0], place_in_picture(world, x_m, y_m), atol=5e-3)


def test_a_global_shutter_shows_the_moment_of_the_frame(make_world):
    state = expose(make_world(causes=()), across(), np.array([0.7])).states[0]
    assert state.valid_ns[0] == 700_000_000
    assert state.tip_m[0] == pytest.approx([1.0, 0.9])


def test_motion_widens_a_light_and_leaves_its_centre(make_world):
    exposure_s = 0.012
    world = make_world(causes=(), cameras={"exposure_s": [[exposure_s]]})
    exposed = expose(world, across(), np.array([0.7]))
    steps = exposed.spots[0, :SUB_STEPS]
    ends = [place_in_picture(world, 1.0 + side * exposure_s / 2) for side in (-1, 1)]
    length_px = np.linalg.norm(ends[1] - ends[0])
    assert length_px > 2.0
    assert np.allclose(exposed.states[0].px[0], place_in_picture(world, 1.0), atol=2e-3)
    middle = np.average(steps[:, :2], axis=0, weights=steps[:, 5])
    spread = np.average(np.sum((steps[:, :2] - middle) ** 2, axis=1), weights=steps[:, 5])
    # Variance of n even steps: a twenty-fifth short of the continuous L²/12.
    assert spread == pytest.approx(length_px**2 / 12 * (1 - 1 / SUB_STEPS**2), rel=0.01)


def test_motion_widens_the_patches_as_much(make_world):
    world = make_world(causes=(), cameras={"exposure_s": [[0.012]]})
    moving = expose(world, across(), np.array([0.7])).spots[0, SUB_STEPS:]
    still = expose(world, across(speed_m_s=0.0), np.array([0.7])).spots[0, SUB_STEPS:]
    ends = [place_in_picture(world, 1.0 + side * 0.006) for side in (-1, 1)]
    way = ends[1] - ends[0]
    there = expose(world, dataclasses.replace(across(speed_m_s=0.0)), np.array([0.7])).spots[
        0, SUB_STEPS:
    ]
    assert np.array_equal(still, there)
    line = across(speed_m_s=0.0).timelines[0]
    at_middle = dataclasses.replace(line, tip_m=np.tile([1.0, 0.9], (2, 1)))
    rest = expose(world, Script("strokes", (at_middle,), (), 2.0), np.array([0.7]))
    grown = moving[:, 2] - rest.spots[0, SUB_STEPS:, 2]
    assert np.allclose(grown, way[0] ** 2 / 12, rtol=0.02)


def test_a_light_that_goes_out_within_the_exposure_leaves_its_share(make_world):
    world = make_world(causes=(), cameras={"exposure_s": [[0.008]]})
    whole = expose(world, across(), np.array([0.7])).states[0]
    half = expose(world, across(lit=[(0.0, 0.7)]), np.array([0.7])).states[0]
    assert half.electrons[0] == pytest.approx(whole.electrons[0] / 2, rel=5e-3)
    assert np.allclose(half.px[0], place_in_picture(world, 1.0 - 0.002), atol=2e-3)


@pytest.mark.parametrize("lit", [(), [(0.0, 0.5)], [(0.9, 1.2)], [(0.1, 0.2), (0.3, 0.4)]])
def test_a_dark_light_leaves_nothing(make_world, lit):
    exposed = expose(make_world(causes=()), across(lit=lit), np.array([0.7]))
    assert exposed.spots[..., 5].sum() == 0
    state = exposed.states[0]
    assert not state.lit[0]
    assert np.isnan(state.px[0]).all()
    assert state.electrons[0] == 0


def test_a_stylus_that_takes_no_part_is_nowhere(make_world):
    state = expose(make_world(causes=()), across(), np.array([0.7])).states[0]
    assert np.isnan(state.tip_m[1]).all()
    assert not state.lit[1]


@pytest.mark.parametrize(("body_x_m", "hidden"), [(1.04, True), (1.9, False)])
def test_a_body_between_light_and_camera_hides_it(make_world, body_x_m, hidden):
    stand = Standing(body_x_m, body_x_m, 0.5, 1, 0.2, 1.7)
    cast = dataclasses.replace(Cast.unnamed(2), standing=(stand, None))
    world = make_world(causes=(), cast=cast)
    exposed = expose(world, across(y_m=0.2), np.array([0.7]))
    assert exposed.states[0].occluded[0] == hidden
    assert (exposed.spots[..., 5].sum() == 0) == hidden
    assert exposed.states[0].lit[0]


def test_people_step_aside_with_their_hand_as_far_as_their_place_reaches():
    right = Standing(0.5, 1.5, 0.6, 1, 0.2, 1.7)
    assert right.body_at(np.array([1.0, 0.6, 2.0]))[:, 0].tolist() == pytest.approx(
        [0.65, 0.5, 1.5]
    )
    left = dataclasses.replace(right, hand_sign=-1)
    assert left.body_at(np.array([1.0]))[0].tolist() == pytest.approx([1.35, 0.6, 0.2, 1.7])
