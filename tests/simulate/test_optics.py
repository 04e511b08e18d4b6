"""Where lights appear, how wide and how bright, against OpenCV, sampling and plain arithmetic."""

import cv2
import numpy as np
import pytest

from rushlight.physics.stylus import held_direction
from rushlight.simulate.optics import (
    background,
    direct_lights,
    emitter_place,
    project,
    view_of,
    wall_patches,
)


def seen_by_opencv(view, points_m):
    turn, _ = cv2.Rodrigues(view.camera_from_rig[:3, :3])
    px, _ = cv2.projectPoints(
        np.asarray(points_m, float)[:, None, :],
        turn,
        view.camera_from_rig[:3, 3],
        view.K,
        np.asarray(view.lens),
    )
    return px[:, 0, :]


def test_projection_agrees_with_opencv(make_world):
    view = view_of(make_world())
    points = np.random.default_rng(0).uniform([0, 0, -0.01], [2.0, 1.2, 0.05], (500, 3))
    px, depth_m = project(view, points)
    assert np.allclose(px, seen_by_opencv(view, points), atol=1e-9)
    assert np.all(depth_m > 0)


def test_points_behind_the_camera_are_not_seen(make_world):
    view = view_of(make_world())
    px, depth_m = project(view, np.array([[1.1, 1.5, 5.0]]))
    assert np.isnan(px).all()
    assert depth_m[0] < 0


def test_the_beam_lights_the_wall_where_its_axis_runs_through_the_tip(make_world):
    world = make_world()
    view = view_of(world)
    tip = np.array([[0.4, 0.3], [1.5, 1.0]])
    way = held_direction(np.array([0.6, 0.3]), np.array([-0.8, 1.0]))
    beam, side = wall_patches(world, view, 0, tip, way)
    touched = np.column_stack([tip, world.wall_height(tip)])
    assert np.allclose(beam.px, project(view, touched)[0], atol=1e-6)
    place_m, _, _ = emitter_place(world, 0, tip, way)
    foot = np.column_stack([place_m[:, :2], world.wall_height(tip)])
    assert np.allclose(side.px, project(view, foot)[0], atol=1e-9)


def test_a_patch_spreads_as_sampled_points_of_the_wall_do(make_world):
    emitters = {"position_m": [[[0.0, 0.0, 0.04]] * 2], "lean_std_rad": [[0.0, 0.0]]}
    world = make_world(causes=(), emitters=emitters)
    view = view_of(world)
    tip, way = np.array([[1.8, 0.15]]), held_direction(np.array([0.4]), np.array([0.0]))
    _, side = wall_patches(world, view, 0, tip, way)
    sigma_m = np.sqrt(3.0) * 0.04 * np.cos(0.4) / np.sqrt(2.0 * np.log(2.0))
    place_m, _, _ = emitter_place(world, 0, tip, way)
    draws = np.random.default_rng(1).normal(place_m[0, :2], sigma_m / 4, (200_000, 2))
    px = seen_by_opencv(view, np.column_stack([draws, np.zeros(len(draws))]))
    own = direct_lights(world, view, 0, tip, way).cov[0, 0, 0] - (3e-3 * 480 / 2.6) ** 2 / 16
    spread = side.cov[0] - own * np.eye(2)
    # A quarter of the width is sampled, so that the bend of the picture stays small.
    assert np.allclose(spread, 16 * np.cov(px.T), rtol=0.02, atol=0.02 * np.trace(spread))


def test_electrons_by_plain_arithmetic(make_world):
    world = make_world(causes=())
    view = view_of(world)
    tip, way = np.array([[1.0, 0.6]]), np.array([[0.0, 0.0, 1.0]])
    light = direct_lights(world, view, 0, tip, way)
    lamp, lens = np.array([1.0, 0.6, 0.012]), np.array([1.1, 1.5, 2.4])
    ray = lens - lamp
    range_m = np.linalg.norm(ray)
    # The beam shines into the wall: only the even side light reaches the camera.
    flux_w = 2 * np.pi * 0.004 / 7.0 * 0.5 * 0.8
    looking = np.array([1.0, 0.6, 0.0]) - lens
    cosine = -ray @ looking / range_m / np.linalg.norm(looking)
    watts = flux_w / (4 * np.pi) * cosine / range_m**2 * np.pi / 4 * (2.88e-3 / 2.4) ** 2 * 0.7
    photons = watts * 4e-4 / (6.62607015e-34 * 299792458.0 / 850e-9)
    assert light.electrons[0] == pytest.approx(0.25 * photons, rel=1e-9)


def test_spot_width_is_made_of_blur_disc_defocus_and_diffraction(make_world):
    world = make_world(causes=())
    view = view_of(world)
    light = direct_lights(world, view, 0, np.array([[1.0, 0.6]]), np.array([[0.0, 0.0, 1.0]]))
    depth_m = project(view, np.array([[1.0, 0.6, 0.012]]))[1][0]
    disc = (3e-3 * 480.0 / depth_m) ** 2 / 16
    diffraction = (0.42 * 850e-9 * 2.4 / 6e-6) ** 2
    # Focused on the wall's middle, 12 mm behind the light: that circle is under 0.01 px.
    assert light.cov[0, 0, 0] == pytest.approx(0.6**2 + disc + diffraction, abs=1e-4)
    assert light.cov[0, 0, 1] == 0.0


def test_light_of_the_room_rises_across_the_picture(make_world):
    level = background(make_world())
    assert level.shape == (480, 640)
    assert np.allclose(level[:, -1] / level[:, 0], 1.2 / 0.8)
    assert np.mean(level) > 0
