"""Things found from nothing: points where rays of two cameras meet, and which are lights."""

import dataclasses
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from space_runs import Run, rig, true_cameras

from rushlight.physics.geometry.rotation import pose_matrix, rotation_of_facing
from rushlight.simulate import space_scripts as scripts
from rushlight.simulate.space_world import draw_space
from rushlight.track.space_moments import Seen
from rushlight.track.space_start import MOST_DOTS, _meeting_points, start

STD_PX = 0.05
LEVEL = np.array([[-0.2, 1.3, 0.45], [0.2, 1.3, 0.45]])
"""Two lights at the cameras' own height: one plane holds both, and both cameras."""


def cameras():
    return true_cameras(draw_space(rig("choir-baton"), 1, ["centre"]))


def seen_by(told, points_m, camera, noise=None, light=-1):
    """The dots of points (N, 3) before a camera, the last point's first."""
    xy = told.sight(np.asarray(points_m, float), camera).px[::-1]
    if noise is not None:
        xy = xy + noise.normal(0.0, STD_PX, xy.shape)
    count = len(xy)
    cov = np.tile(STD_PX**2 * np.eye(2), (count, 1, 1))
    index = np.arange(count)
    return Seen(xy, cov, index, np.full(count, light), 0, index, 0)


def both(told, points_m, noise=None):
    return [seen_by(told, points_m, camera, noise) for camera in range(2)]


def bar():
    """The choir's rod, held so that near and far end are told by its lean."""
    rod = rig("choir-baton").scale_bar
    return dataclasses.replace(rod, ranges_rad=np.radians([40.0, 30.0, 60.0]))


def nearest(points, to):
    return np.linalg.norm(points[:, None] - to, axis=-1).min(axis=0)


def test_rays_of_lights_at_different_heights_meet_at_the_lights_alone():
    told, noise = cameras(), np.random.default_rng(1)
    lights = np.array([[-0.3, 1.1, 0.3], [0.1, 1.3, 0.5], [0.2, 1.6, 0.6], [-0.1, 1.5, 0.4]])
    points = _meeting_points(told, both(told, lights, noise))
    assert len(points) == 4
    assert nearest(points, lights).max() < 2e-3


def test_lights_in_one_plane_with_both_cameras_leave_ghosts_where_other_rays_meet():
    told = cameras()
    points = _meeting_points(told, both(told, LEVEL))
    assert len(points) == 4
    assert nearest(points, LEVEL).max() < 1e-3
    # Left camera's ray of one light and right camera's of the other, by straight lines.
    at = told.rig_from_camera[:2, :3, 3]
    for one, other in ((0, 1), (1, 0)):
        ways = np.stack([LEVEL[one] - at[0], at[1] - LEVEL[other]], axis=1)
        share = np.linalg.lstsq(ways, at[1] - at[0], rcond=None)[0][0]
        ghost = at[0] + share * (LEVEL[one] - at[0])
        assert nearest(points, ghost[None])[0] < 1e-3


def test_rays_that_miss_one_another_meet_nowhere():
    told = cameras()
    left, right = both(told, LEVEL[:1])
    aside = dataclasses.replace(right, xy=right.xy + np.array([0.0, 12.0]))
    assert len(_meeting_points(told, [left, right])) == 1
    assert len(_meeting_points(told, [left, aside])) == 0
    assert len(_meeting_points(told, [left, None])) == 0
    assert len(_meeting_points(told, [left, right.keep(np.zeros(0, int))])) == 0


def test_of_very_many_dots_the_surest_are_tried():
    told, noise = cameras(), np.random.default_rng(2)
    many = noise.uniform([-0.5, 1.0, 0.2], [0.5, 1.7, 0.7], (MOST_DOTS + 8, 3))
    seen = []
    for own in both(told, many):
        cov = np.array(own.cov)
        cov[3:] *= 100.0
        seen.append(dataclasses.replace(own, cov=cov))
    points = _meeting_points(told, seen)
    assert nearest(points, many[-3:]).max() < 1e-3


@pytest.mark.parametrize("turn_deg", [-25.0, 0.0, 25.0])
def test_a_bar_whose_epipolar_lines_cross_is_named_rightly(turn_deg):
    told, thing, noise = cameras(), bar(), np.random.default_rng(4)
    for lean_deg in (-2.0, -0.5, 0.0, 0.5, 2.0):
        rotation = rotation_of_facing(*np.radians([turn_deg, 0.0, lean_deg]))
        true = pose_matrix(rotation, np.array([0.0, 1.3, 0.45]))
        lights = thing.lights_m @ rotation.T + true[:3, 3]
        seen = both(told, lights, noise)
        # Right dot on left dot's line and the reverse: all four meetings are within the doubts.
        if lean_deg == 0.0:
            assert len(_meeting_points(told, seen)) == 4
        begun = start(told, thing, seen)
        assert begun is not None and len(begun.found.named.light) == 4
        # Dots stand the other way round than lights.
        assert np.array_equal(begun.found.named.light, 1 - begun.found.named.dot)
        assert np.linalg.norm(begun.found.pose[:3, 3] - true[:3, 3]) < 3e-3
        assert begun.weights[0] > 0.99


def test_a_bar_is_followed_before_two_cameras_while_its_epipolar_lines_cross():
    space = rig("choir-baton")
    for seed in (1, 2, 3):
        world = draw_space(dataclasses.replace(space, things=(bar(),)), seed, ["centre"])
        script = scripts.motion(world, 1.5)
        told = true_cameras(world)
        crossed = 0
        for time_s in np.arange(0.1, 1.5, 0.02):
            place, rotation = script.paths[0].at(np.array(time_s))
            lights = np.matvec(rotation, bar().lights_m - bar().point_m()) + place
            crossed += len(_meeting_points(told, both(told, lights))) > 2
        run = Run(world, script)
        fixes = run.fixes["rod"]
        assert run.wrong == 0 and run.links > 3.5 * len(fixes)
        assert len(fixes) > 80 and not any(fix.predicted for fix in fixes)
        error = np.linalg.norm(run.errors_m(world, script, "rod"), axis=-1)
        assert error.max() < 5e-3
        assert crossed > 0
