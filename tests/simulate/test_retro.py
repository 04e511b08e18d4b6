"""Markers and lamplight in footage, lamp by lamp, beside the plan's ring taken as one."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.physics.geometry import project, rig_from_camera_looking_at
from rushlight.physics.stylus import held_direction
from rushlight.plan.grid import with_fields
from rushlight.plan.light import field_of_ways, lamp_rate
from rushlight.plan.light_range import windows_of
from rushlight.simulate.optics import background, direct_lights, view_of, wall_patches
from rushlight.simulate.retro import lamps_m, marker_intensity
from rushlight.simulate.world import draw_world

SHEET = [[250.0, 150.0], [95.0, 65.0]]


@pytest.fixture
def markers(rig):
    """The tests' rig with markers in the place of its lights and a ring of eight lamps."""
    plain = rig()
    e, c = plain.emitters, plain.cameras
    count = e.duty.shape[1]
    return with_fields(
        plain,
        cameras={
            "lamp_w_sr": np.full_like(c.f_number, 0.64),
            "lamp_exponent": np.full_like(c.f_number, 14.0),
            "lamp_radius_m": np.full_like(c.f_number, 0.014),
            "lamp_count": np.full_like(c.f_number, 8.0),
        },
        emitters={
            "intensity_w_sr": np.zeros_like(e.duty),
            "retro_cd_lx_m2": np.broadcast_to(SHEET, (1, count, 2, 2)),
            "retro_area_m2": np.full_like(e.duty, np.pi * 0.005**2),
            "retro_ball": np.ones_like(e.duty),
        },
    )


def settled(rig, exposure_s=2e-4):
    return rig.with_exposure(np.full(rig.cameras.f_number.shape, exposure_s))


@pytest.mark.parametrize("ball", [1.0, 0.0])
def test_lamp_by_lamp_agrees_with_the_ring_as_one(markers, ball) -> None:
    e = markers.emitters
    rig = settled(
        with_fields(
            markers,
            emitters={
                "retro_ball": np.full_like(e.duty, ball),
                "axis": np.broadcast_to([0.0, 0.0, 1.0], e.axis.shape),
            },
        )
    )
    world = draw_world(rig, seed=1, causes=())
    places = rig.surface.size_m[0] * np.array([[0.1, 0.1], [0.5, 0.5], [0.9, 0.8]])
    direction = held_direction(0.4, -0.7)
    field = field_of_ways(rig, 0, places[None], direction[None, None, None, None], np.ones(1))
    told = field.seen.rate_e_s[0, 0, :, 0, 0] * 2e-4
    drawn = direct_lights(world, view_of(world), 0, places, np.tile(direction, (3, 1))).electrons
    np.testing.assert_allclose(drawn, told, rtol=0.02)
    for patch in wall_patches(world, view_of(world), 0, places, np.tile(direction, (3, 1))):
        assert np.all(patch.electrons == 0.0)  # a marker throws no light on the wall


def test_a_ball_turns_as_it_likes(markers) -> None:
    rig = settled(markers)
    place = np.array([[0.6, 0.5, 0.01]])
    faces = [np.array([axis]) for axis in ([0.0, 0.0, 1.0], [1.0, 0.0, 0.0])]
    one, other = (marker_intensity(rig, 0, 0, place, axis) for axis in faces)
    assert one == pytest.approx(other)


def test_lamps_stand_round_the_lens(markers) -> None:
    lens = markers.cameras.rig_from_camera[0, 0]
    away = lamps_m(markers, 0) - lens[:3, 3]
    np.testing.assert_allclose(np.linalg.norm(away, axis=1), 0.014)
    np.testing.assert_allclose(away @ lens[:3, 2], 0.0, atol=1e-12)
    np.testing.assert_allclose(away.mean(axis=0), 0.0, atol=1e-12)


def test_the_wall_in_lamplight_is_as_bright_as_planned(markers) -> None:
    dark = with_fields(markers, surface={"ambient_w_m2": np.zeros(1)})
    world = draw_world(settled(dark), seed=1, causes=())
    picture = background(world)
    places = dark.surface.size_m[0] * np.array([[0.2, 0.2], [0.5, 0.5], [0.8, 0.7]])
    told = lamp_rate(dark, 0, places[None])[0, 0] * 2e-4
    c = dark.cameras
    px, _ = project(
        np.column_stack([places, np.zeros(3)]),
        c.K[0, 0], c.distortion[0, 0], c.rig_from_camera[0, 0],
    )  # fmt: skip
    drawn = [picture[round(y), round(x)] for x, y in px]
    np.testing.assert_allclose(drawn, told, rtol=0.02)
    assert told.max() > 1.0


def test_more_lamplight_on_the_wall_leaves_less_for_the_room(markers) -> None:
    near = markers
    bright = with_fields(
        near, emitters={"retro_area_m2": near.emitters.retro_area_m2 / 8.0},
        cameras={"lamp_w_sr": near.cameras.lamp_w_sr * 8.0},
    )  # fmt: skip
    exposure = np.array([2e-4])
    first, second = (windows_of(one, 0) for one in (near, bright))
    assert first.weakest_e_s[0, 0] == pytest.approx(second.weakest_e_s[0, 0], rel=0.2)
    assert second.background_e_s[0, 0] > first.background_e_s[0, 0]
    assert np.all(second.ambient_too_weak(exposure) <= first.ambient_too_weak(exposure) * 1.2)


def test_the_way_out_and_back_by_hand(markers) -> None:
    """One lamp all but at the lens, a disc that faces it 2 m off on the axis: I R_A A/d²."""
    pose = rig_from_camera_looking_at([1.0, 0.6, 2.0], [1.0, 0.6, 0.0])
    one = np.ones((1, 1))
    rig = with_fields(
        markers,
        cameras={
            "rig_from_camera": pose[None, None],
            "lamp_w_sr": 0.48 * one,
            "lamp_radius_m": 1e-6 * one,
            "lamp_count": one,
        },
        emitters={"retro_ball": np.zeros_like(markers.emitters.retro_ball)},
    )
    found = marker_intensity(rig, 0, 0, np.array([[1.0, 0.6, 0.0]]), np.array([[0.0, 0.0, 1.0]]))
    assert found[0] == pytest.approx(2.356e-3, abs=0.5e-6)
