"""The exposures that serve: by the plan's own dots, by drawn footage, and as it is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from rushlight.jobs.load import load_rig
from rushlight.physics.filter_band import ANGLES_RAD, filter_share
from rushlight.physics.stylus import held_direction
from rushlight.plan.figures import Names
from rushlight.plan.light import FAINTEST_PEAK, dots
from rushlight.plan.light_choices import light_choices
from rushlight.plan.light_range import usable_stops, windows_of
from rushlight.plan.light_report import light_findings, light_range
from rushlight.shelf.resolve import resolve
from rushlight.simulate.optics import direct_lights, view_of, wall_patches
from rushlight.simulate.render import Sensor
from rushlight.simulate.world import draw_world


def test_at_its_ends_the_dots_are_just_strong_enough_and_just_full(make_wall) -> None:
    rig = make_wall(ambient_w_m2=[2.0])
    found = windows_of(rig, 0)
    for ends, expected in ((found.least_s, "weak"), (found.greatest_s, "full")):
        for light in range(2):
            dot = dots(rig, 0, found.field, ends[:, light])
            seen = found.field.in_view[0, light]
            if expected == "weak":
                least = dot.peak_over_noise[0, light][seen].min()
                assert least == pytest.approx(FAINTEST_PEAK, rel=1e-6)
            else:
                most = dot.grey_peak[0, light][seen].max()
                assert most == pytest.approx(1.0, rel=1e-6)


def drawn_peak(rig, light: int, place, tilt: float, lean: float, exposure_s: float) -> float:
    """Brightest grey level above the background in a frame drawn without noise."""
    exposed = rig.with_exposure(np.array([[exposure_s]]))
    world = draw_world(exposed, seed=1, causes=())
    view = view_of(world)
    tip, direction = np.array([place]), held_direction([tilt], [lean])
    lights = [
        direct_lights(world, view, light, tip, direction),
        *wall_patches(world, view, light, tip, direction),
    ]
    # The whole touch is shifted so that the light's own image falls on the middle of a pixel.
    shift = np.round(lights[0].px) - lights[0].px
    spots = np.array(
        [
            [*(one.px + shift)[0], one.cov[0, 0, 0], one.cov[0, 0, 1], one.cov[0, 1, 1], flux]
            for one in lights
            for flux in one.electrons
        ]
    )
    c = rig.cameras
    sensor = Sensor(
        np.zeros((480, 640)), float(c.gain_e_per_dn[0, 0]) / 64.0, 0.0, 0.0, 256, False,
        np.random.default_rng(1),
    )  # fmt: skip
    spots[:, 5] /= 64.0  # finer steps, so that rounding to grey levels says nothing here
    return float(sensor.expose(spots).max()) * float(c.gain_e_per_dn[0, 0])


@pytest.mark.parametrize("which", ["weakest", "strongest"])
def test_drawn_footage_shows_the_extremes_as_strong_as_told(make_wall, which) -> None:
    rig = make_wall()
    found = windows_of(rig, 0)
    place, way = getattr(found, which)[0, 0]
    told = getattr(found, f"{which}_e_s")[0, 0]
    exposure = 0.7 * found.greatest_s[0, 0]
    drawn = drawn_peak(
        rig, 0, found.places_m[0, place], found.tilt_rad[0, 0, way], found.lean_rad[0, 0, way],
        exposure,
    )  # fmt: skip
    assert drawn == pytest.approx(told * exposure, rel=0.06)


def band_table() -> np.ndarray:
    """A 50 nm band for an 850 nm light of 35 nm width, coating of index 1.8."""
    shares = filter_share(825e-9, 875e-9, 0.88, 0.001, 1.8, 850e-9, 35e-9, np.array(ANGLES_RAD))
    return np.broadcast_to(shares / shares[0], (1, 1, 2, len(ANGLES_RAD)))


def test_a_band_filter_dims_what_is_seen_aslant_in_plan_and_footage(make_wall) -> None:
    plain, filtered = make_wall(), make_wall(angle_share=band_table())
    found = windows_of(filtered, 0)
    place, way = found.weakest[0, 0]
    at = (0, 0, place, way)
    lost = found.field.peak_rate_e_s[at] / windows_of(plain, 0).field.peak_rate_e_s[at]
    assert 0.4 < lost < 0.95
    held = (found.places_m[0, place], found.tilt_rad[0, 0, way], found.lean_rad[0, 0, way])
    drawn = [drawn_peak(rig, 0, *held, 1e-4) for rig in (filtered, plain)]
    assert drawn[0] / drawn[1] == pytest.approx(lost, rel=0.01)
    # So the range is narrower than without.
    bare = windows_of(plain, 0)
    assert found.greatest_s[0, 0] / found.least_s[0, 0] < bare.greatest_s[0, 0] / bare.least_s[0, 0]


def test_more_light_of_the_room_narrows_the_range_until_none_serves(make_wall) -> None:
    closes = windows_of(make_wall(), 0).ambient_none_serves()[0, 0]
    widths = []
    for factor in (0.5, 0.97, 1.03):
        found = windows_of(make_wall(ambient_w_m2=[factor * closes], ambient_gradient=[0.0]), 0)
        widths.append(float(np.log2(found.greatest_s[0, 0] / found.least_s[0, 0])))
    assert widths[0] > widths[1] > 0.0 > widths[2]


def test_the_limits_of_the_rooms_light_are_limits(make_wall) -> None:
    exposure = np.array([2e-4])
    dark = windows_of(make_wall(), 0)
    weak = dark.ambient_too_weak(exposure)[0, 0]
    clips = dark.ambient_clips(exposure)[0, 0]
    under = windows_of(make_wall(ambient_w_m2=[weak], ambient_gradient=[0.0]), 0)
    assert under.least_s[0, 0] == pytest.approx(exposure[0], rel=1e-6)
    under = windows_of(make_wall(ambient_w_m2=[clips], ambient_gradient=[0.0]), 0)
    assert under.greatest_s[0, 0] == pytest.approx(exposure[0], rel=1e-6)


def test_half_the_light_needs_twice_the_exposure_in_the_dark(make_wall) -> None:
    dark = {"ambient_w_m2": [0.0]}
    full = windows_of(make_wall(**dark), 0)
    half = windows_of(make_wall(**dark, intensity_w_sr=[[0.015] * 2]), 0)
    np.testing.assert_allclose(half.least_s, 2.0 * full.least_s)
    np.testing.assert_allclose(half.greatest_s, 2.0 * full.greatest_s)


def test_usable_range_is_what_camera_and_lights_both_allow() -> None:
    arrays = [np.array(each) for each in (1e-4, 8e-4, 2e-4, 4e-4)]
    assert usable_stops(*arrays) == pytest.approx(1.0)
    assert usable_stops(np.array(np.inf), *arrays[1:]) == -np.inf


def test_a_rig_that_sees_nothing_says_so(make_wall) -> None:
    found = windows_of(make_wall(K=np.diag([5e4, 5e4, 1.0])[None, None]), 0)
    assert np.all(np.isinf(found.least_s)) and np.all(np.isnan(found.greatest_s))


@pytest.fixture(scope="module")
def barn():
    folder = Path(__file__).resolve().parents[2] / "src/rushlight/jobs/scenarios/barn-wall"
    rig, shelf = load_rig(folder)
    return rig, shelf, resolve(rig, shelf)


def test_choices_are_the_rigs_of_that_change(barn) -> None:
    rig, shelf, resolved = barn
    choices = light_choices(rig, shelf, resolved)
    widths = [-1e9 if one.usable_stops is None else one.usable_stops for one in choices]
    assert widths == sorted(widths, reverse=True)
    kinds = {one.kind for one in choices}
    assert kinds == {"current", "aperture", "filter", "tip", "emitter", "gain"}
    assert len({one.change for one in choices}) == len(choices)
    # Two stops of aperture shift the range by a factor of four, as far as noise lets them.
    wide, narrow = (next(c for c in choices if c.change == f"aperture f/{n}") for n in (2.8, 5.6))
    assert wide.greatest_s and narrow.greatest_s
    assert narrow.greatest_s / wide.greatest_s == pytest.approx(4.0, rel=0.15)
    blind = {one.change for one in choices if one.kind == "filter"}
    assert "filter long-pass-930" not in blind  # it blocks 850 nm


def test_the_report_is_whole(barn) -> None:
    rig, shelf, resolved = barn
    names = Names(rig.name, ("beam",), ("stylus-wren", "stylus-ash"))
    light = light_range(rig, shelf, resolved, np.array([[1.1e-4]]), names)
    assert [one.carried for one in light.windows] == ["stylus-wren", "stylus-ash", None]
    whole = light.windows[-1]
    assert whole.standing == "within"
    for one in light.windows[:2]:
        assert one.weakest and one.strongest and one.least_s and one.greatest_s
        for place in (one.weakest, one.strongest):
            total = place.own_share + place.glow_share + place.side_glow_share
            assert total == pytest.approx(1.0)
        assert one.least_s <= (whole.least_s or 0.0) + 1e-12
        assert one.greatest_s >= (whole.greatest_s or 1.0) - 1e-12
    assert light_findings(light, "rig.toml") == []
    long = light_range(rig, shelf, resolved, np.array([[5e-3]]), names)
    assert long.windows[-1].standing == "too long"
    sentence = str(light_findings(long, "rig.toml")[0])
    assert "5 ms is too long for the outermost ways of holding; use 0.1 to 0.152 ms" in sentence
