"""Worlds, movements and pictures of rigs of space, against formulas and libraries of others."""

import dataclasses
from pathlib import Path

import cv2
import numpy as np
import pytest

import rushlight.jobs as jobs
from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.physics.geometry import invert_transform
from rushlight.records.space_plan import PlannedMark
from rushlight.shelf.resolve_space import resolve_space
from rushlight.simulate import space_scripts as scripts
from rushlight.simulate.space_expose import expose_space, true_poses
from rushlight.simulate.space_frames import space_frames, space_times
from rushlight.simulate.space_optics import lights_in_space, space_background, space_view
from rushlight.simulate.space_world import ALL_SPACE_CAUSES, draw_space

SCENARIOS = Path(jobs.__file__).parent / "scenarios"


def rig(name, exposure_s=2e-4):
    space = resolve_space(*load_rig(SCENARIOS / name))
    cameras = space.cameras
    told = np.full(cameras.exposure_s.shape, exposure_s)
    return dataclasses.replace(space, cameras=cameras.replace(exposure_s=told))


def test_a_cause_that_is_off_leaves_the_others_as_they_were():
    space = rig("ferry-model")
    whole = draw_space(space, 5)
    only = draw_space(space, 5, ["lens"])
    assert np.array_equal(only.K, whole.K) and np.array_equal(only.k, whole.k)
    assert np.array_equal(only.rig_from_camera[0], space.cameras.rig_from_camera[0, 0])
    assert np.array_equal(only.lights_m["ferry"], space.things[0].lights_m)
    assert not np.array_equal(whole.lights_m["ferry"], space.things[0].lights_m)


def test_draws_have_the_deviations_that_the_rig_tells():
    space = rig("choir-baton")
    worlds = [draw_space(space, seed) for seed in range(400)]
    moved = np.array(
        [
            world.rig_from_camera[1, :3, 3] - space.cameras.rig_from_camera[0, 1, :3, 3]
            for world in worlds
        ]
    )
    # 1200 numbers: their deviation is known to 2 %, five of which are allowed.
    assert np.std(moved) == pytest.approx(space.placed_std_m[1], rel=0.1)
    turned = [
        cv2.Rodrigues(w.rig_from_camera[1, :3, :3] @ space.cameras.rig_from_camera[0, 1, :3, :3].T)[
            0
        ]
        for w in worlds
    ]
    assert np.std(turned) == pytest.approx(space.turned_std_rad[1], rel=0.1)
    lenses = np.array([[w.K[1, 0, 0], w.K[1, 1, 1], w.K[1, 0, 2], *w.k[1]] for w in worlds])
    wanted = np.sqrt(np.diag(space.lens_cov[1]))[[0, 1, 2, 4, 5, 6, 7, 8]]
    told = np.std(lenses, axis=0)
    assert told[wanted > 0] == pytest.approx(wanted[wanted > 0], rel=0.2)
    # The first camera of a rig of kind volume is the rig's frame.
    assert all(
        np.array_equal(w.rig_from_camera[0], space.cameras.rig_from_camera[0, 0]) for w in worlds
    )


def test_an_eye_point_is_another_wearers_in_use():
    space = rig("paper-theatre")
    world = draw_space(space, 1)
    assert not np.array_equal(world.points_m["cap"], world.registering_points_m["cap"])
    ferry = draw_space(rig("ferry-model"), 1)
    assert np.array_equal(ferry.points_m["ferry"], ferry.registering_points_m["ferry"])


def test_unknown_causes_and_exposures_are_refused():
    space = rig("ferry-model")
    with pytest.raises(RushlightError, match=r'"tip" is no cause of error of a rig'):
        draw_space(space, 1, ["tip"])
    with pytest.raises(RushlightError, match="is not settled"):
        draw_space(rig("ferry-model", float("nan")), 1)
    with pytest.raises(RushlightError, match="is longer than"):
        draw_space(rig("ferry-model", 1.0), 1)


@pytest.mark.parametrize("name", ["paper-theatre", "ferry-model", "choir-baton"])
def test_places_of_lights_in_the_picture_agree_with_opencv(name):
    space = rig(name)
    world = draw_space(space, 3)
    script = scripts.motion(world, 2.0)
    path = script.paths[0]
    thing = space.thing(path.thing)
    for camera in range(len(space.camera_ids)):
        true_s = np.array([0.3, 0.9, 1.5])
        states = expose_space(world, script, camera, true_s).states
        poses = true_poses(world, script, path, true_s)
        camera_from_rig = invert_transform(world.rig_from_camera[camera])
        for state, pose in zip(states, poses, strict=True):
            whole = camera_from_rig @ pose
            turn, _ = cv2.Rodrigues(whole[:3, :3])
            px, _ = cv2.projectPoints(
                world.lights_m[thing.id],
                turn,
                whole[:3, 3],
                world.K[camera],
                world.k[camera],
            )
            # Over so short an exposure the mean place is that of its middle.
            assert state.px[list(thing.lights)] == pytest.approx(px[:, 0], abs=2e-3)


def test_electrons_follow_from_flux_and_solid_angle():
    """A lamp on the axis, by energy of photons and angles added up here."""
    space = rig("ferry-model")
    world = draw_space(space, 1, [])
    view = space_view(world, 0)
    range_m = 0.8
    place = view.position_m + range_m * view.forward
    light = space.things[0].lights[0]
    off_axis = np.radians(20.0)
    across = world.rig_from_camera[0, :3, 0]
    axis = -np.cos(off_axis) * view.forward + np.sin(off_axis) * across
    left = lights_in_space(world, view, 0, light, place[None], axis[None]).electrons[0]
    e, c = space.emitters, space.cameras
    angles = np.linspace(0.0, np.pi / 2, 200_001)
    m, peak = float(e.exponent[0, light]), float(e.intensity_w_sr[0, light])
    flux = np.trapezoid(peak * np.cos(angles) ** m * 2.0 * np.pi * np.sin(angles), angles)
    side = float(e.side_share[0, light])
    strength = side * flux / (4.0 * np.pi) + (1.0 - side) * peak * np.cos(off_axis) ** m
    pupil = np.pi / 4.0 * (float(c.focal_m[0, 0]) / float(c.f_number[0, 0])) ** 2
    watts = strength * float(e.transmission[0, light]) * pupil / range_m**2
    photon_j = 6.62607015e-34 * 299792458.0 / float(e.wavelength_m[0, light])
    wanted = (
        watts * float(c.transmission[0, 0, light]) * float(c.exposure_s[0, 0]) / photon_j
    ) * float(c.quantum_efficiency[0, 0, light])
    assert left == pytest.approx(wanted, rel=1e-3)


def test_a_light_that_faces_away_leaves_only_what_its_cap_scatters():
    space = rig("ferry-model")
    emitters = space.emitters
    bare = dataclasses.replace(
        space, emitters=emitters.replace(side_share=np.zeros(emitters.side_share.shape))
    )
    world = draw_space(bare, 1, [])
    view = space_view(world, 0)
    place = (view.position_m + 0.8 * view.forward)[None]
    found = lights_in_space(world, view, 0, 0, place, view.forward[None])
    assert found.electrons[0] == 0.0


def test_the_eye_lies_on_the_lines_past_the_marks():
    space = rig("paper-theatre")
    world = draw_space(space, 2, ["point"])
    marks = [
        PlannedMark(
            carried="cap",
            point="eye",
            kind="look",
            from_m=(0.15 + 0.3 * i, 0.2, 0.12),
            to_m=(0.15 + 0.3 * i, 0.19, 0.0),
        )
        for i in range(2)
    ]
    script = scripts.register_by_marks(world, marks)
    for mark in script.marks:
        middle_s = (mark.from_ns + mark.until_ns) / 2e9
        pose = true_poses(world, script, script.paths[0], np.array(middle_s))
        eye = pose[:3, :3] @ world.registering_points_m["cap"][0] + pose[:3, 3]
        way = np.subtract(mark.from_m, mark.to_m)
        off = np.cross(eye - mark.from_m, way / np.linalg.norm(way))
        assert np.linalg.norm(off) < 1e-9 and eye[2] > 0.7
    strays = scripts.register_by_marks(draw_space(space, 2), marks)
    assert not np.array_equal(strays.paths[0].place_m, script.paths[0].place_m)


def test_movements_keep_within_the_zone_and_the_ranges():
    space = rig("choir-baton")
    world = draw_space(space, 1)
    baton = space.things[0]
    for script in (scripts.places(world, 5), scripts.motion(world, 5.0), scripts.still(world)):
        place, rotation = script.paths[0].at(np.linspace(0.0, script.duration_s, 999))
        assert np.all(place >= baton.low_m - 1e-9) and np.all(place <= baton.high_m + 1e-9)
        angle = np.arccos(np.clip((np.trace(rotation, axis1=1, axis2=2) - 1.0) / 2.0, -1.0, 1.0))
        assert angle.max() <= np.sum(baton.ranges_rad)
    way = np.diff(scripts.motion(world, 20.0).paths[0].place_m, axis=0) / 1e-3
    assert np.sqrt(np.mean(np.sum(way**2, axis=-1))) == pytest.approx(space.speed_m_s, rel=0.15)


def test_frames_show_the_background_and_clocks_run_apart():
    space = rig("choir-baton")
    world = draw_space(space, 4)
    script = scripts.motion(world, 0.1)
    seen = list(space_frames(world, script))
    assert [camera for camera, _, _ in seen].count(1) == len(space_times(world, script, 1))
    cameras, level = space.cameras, space_background(world, 0)[0, 0]
    for camera, frame, _ in seen:
        dark = float(np.mean(frame.image[:50]))
        wanted = level / cameras.gain_e_per_dn[0, camera] + cameras.black_dn[0, camera]
        assert dark == pytest.approx(wanted, abs=0.15)
    assert world.clock_offset_ns[0] == 0 and world.clock_offset_ns[1] != 0
    # The second camera's stamps are its own: the light is where it was that much earlier.
    lights = list(space.things[0].lights)
    frame, state = next((frame, state) for camera, frame, state in seen if camera == 1)
    true_s = np.array([(frame.capture_ns - world.clock_offset_ns[1]) * 1e-9])
    again = expose_space(world, script, 1, true_s).states[0]
    assert np.allclose(state.px[lights], again.px[lights])


def test_a_covered_light_leaves_nothing_and_a_code_goes_dark():
    space = rig("ferry-model")
    world = draw_space(space, 4)
    script = scripts.motion(world, 1.0)
    cover = scripts.Hidden("ferry", "mast", 0.2, 0.4)
    script = dataclasses.replace(script, hidden=(cover,))
    mast = space.things[0].lights[space.things[0].light_ids.index("mast")]
    states = expose_space(world, script, 0, np.array([0.1, 0.3, 0.5])).states
    assert [bool(state.electrons[mast] > 0.0) for state in states] == [True, False, True]
    coded = dataclasses.replace(
        space.things[0], codes=(("110100", 0.05), *space.things[0].codes[1:])
    )
    world = draw_space(dataclasses.replace(space, things=(coded,)), 4)
    times_s = np.arange(0.0, 0.9, 0.001)
    states = expose_space(world, scripts.still(world, 1.0), 0, times_s).states
    lit = [bool(state.electrons[0] > 0.0) for state in states]
    # Three whole rounds of a code with three lit bits of six.
    assert np.mean(lit) == pytest.approx(0.5, abs=0.01)
    assert all(state.electrons[1] > 0.0 for state in states)


def test_the_names_of_causes_are_all_there():
    assert {"centre", "registration", "lens", "build", "point", "turning"} == ALL_SPACE_CAUSES
