"""What a plan says of the room: light by hour, other lights, the beam, readers, reach."""

from __future__ import annotations

import re

import numpy as np
import pytest

from rushlight.errors import Finding
from rushlight.jobs.load import load_rig
from rushlight.physics.geometry import project
from rushlight.physics.shadow import hidden_by
from rushlight.plan.beam import beam_shadow, hidden_behind
from rushlight.plan.grid import places_of_grid
from rushlight.plan.pictures import error_map
from rushlight.plan.planning import Planned, plan_rig
from rushlight.plan.room import top_view
from rushlight.plan.shade_maps import shade_maps
from rushlight.plan.shadow import scenes_of
from rushlight.records.figure import find_figure
from rushlight.records.rig import Rig
from rushlight.shelf.resolve import resolve

ROOM = {
    "width": "5 m",
    "depth": "6 m",
    "height": "3.2 m",
    "left": "1.3 m",
    "farthest_reader": "6 m",
    "windows": [
        {
            "id": "west",
            "corner": ["-1.3 m", "0.75 m", "3 m"],
            "opposite": ["-1.3 m", "1.5 m", "4 m"],
        },
        {
            "id": "beside",
            "corner": ["2.5 m", "0.5 m", "0 m"],
            "opposite": ["3 m", "1 m", "0 m"],
            "light": "sky",
        },
    ],
    "lamps": [
        {"id": "low", "kind": "halogen", "position": ["2 m", "1 m", "1 m"], "watts": "30 W"},
        {"id": "back", "kind": "led", "position": ["2 m", "2 m", "5 m"], "lumens": "800 lm"},
    ],
    "neighbours": [
        {
            "id": "other",
            "corner": ["2.3 m", "0 m", "0.1 m"],
            "opposite": ["2.8 m", "1 m", "0.1 m"],
            "part": "ir850-5mm-17",
            "current": "20 mA",
        }
    ],
    "disturbers": [
        {"id": "clicker", "kind": "remote-control", "position": ["1 m", "0.4 m", "0.5 m"]},
        {
            "id": "spark",
            "kind": "range-finder",
            "position": ["1 m", "0.4 m", "0.5 m"],
            "intensity": "0.01 mW/sr",
        },
    ],
}


def changed(rig, room=ROOM, **of_surface) -> Rig:
    """The rig with a room, and with changes of its surface, as read from a file."""
    data = rig.model_dump(mode="json", by_alias=True)
    data["room"] = room
    data["surfaces"][0].update(of_surface)
    return Rig.model_validate(data)


@pytest.fixture(scope="module")
def barn(examples):
    return load_rig(examples / "barn-wall")


@pytest.fixture(scope="module")
def planned(barn) -> Planned:
    rig, shelf = barn
    lens = {"position": ["1.2 m", "1.7 m", "1.2 m"]}
    return plan_rig(changed(rig, projector=lens, text_height="20 mm"), shelf, 4, 3)


def findings(planned: Planned) -> dict[str, list[Finding]]:
    found: dict[str, list[Finding]] = {}
    for one in planned.plan.findings:
        found.setdefault(one.code, []).append(one.finding())
    return found


def test_light_by_hour(planned) -> None:
    light = planned.plan.room.ambient
    assert light.used == "given"
    assert light.used_w_m2 == pytest.approx(0.1)
    assert sum(one.told_w_m2 for one in light.lights) == pytest.approx(light.estimated_w_m2)
    assert sum(one.sun_w_m2 for one in light.lights) == pytest.approx(light.sun_w_m2)
    assert light.sun_greatest_w_m2 > light.sun_w_m2 > 5.0 * light.estimated_w_m2
    assert light.sun_coverage < light.coverage
    # Background and light of the room are in proportion: both shares tell the same exposure.
    gain = light.sun_full_share / light.full_share
    assert gain == pytest.approx(light.sun_greatest_w_m2 / light.used_w_m2, rel=0.01)
    (sun,) = findings(planned)["sun-comes-round"]
    assert sun.severity == "warning"
    assert "west" in str(sun)
    assert "shade west" in str(sun)


def test_figures_tell_the_same(planned) -> None:
    plan, light = planned.plan, planned.plan.room.ambient
    values = {
        (f.scope.condition, f.statistic): f.value for f in plan.figures if f.name == "ambient"
    }
    assert values["while the sun does worst", "max"] == light.sun_greatest_w_m2
    assert find_figure(plan.figures, "reading-distance", statistic="max").value == pytest.approx(
        4.0
    )
    shade = [f.value for f in plan.figures if f.name == "projector-shadow"]
    assert len(shade) == 4
    assert all(0.0 <= one <= 100.0 for one in shade)


def test_other_lights_stand_where_the_camera_projects_them(planned) -> None:
    seen = {one.id: one for one in planned.plan.room.seen}
    assert set(seen) == {"beside", "low", "other", "clicker", "spark"}
    cameras = planned.resolved.cameras
    place = project(
        [1.0, 0.4, 0.5], cameras.K[0, 0], cameras.distortion[0, 0], cameras.rig_from_camera[0, 0]
    )[0]
    assert (seen["clicker"].x_px, seen["clicker"].y_px) == pytest.approx(tuple(place))
    assert [one.id for one in seen.values() if not one.passes] == ["spark"]
    found = findings(planned)
    assert found["range-finder-in-view"][0].severity == "note"
    for code in (
        "window-in-view",
        "halogen-lamp-in-view",
        "neighbour-in-view",
        "remote-control-in-view",
    ):
        assert found[code][0].severity == "warning"


def test_a_rig_s_own_light_as_neighbour_is_as_strong_as_its_own(barn) -> None:
    """A bare emitter that faces the lens, told as the weakest of the rig's diffused dots, is
    the ratio of intensities toward the lens, by range."""
    rig, shelf = barn
    near, far = (
        {**ROOM["neighbours"][0], "corner": [x, "0.7 m", z], "opposite": [x, "0.7 m", z]}
        for x, z in (("1.2 m", "0.85 m"), ("1.2 m", "0.1 m"))
    )
    ratios = [
        plan_rig(changed(rig, {"neighbours": [one]}), shelf, 3, 2).plan.room.seen[0].ratio
        for one in (near, far)
    ]
    lens = np.array([1.2, 1.6, 2.85])
    ranges = [np.sum((lens - [1.2, 0.7, z]) ** 2) for z in (0.85, 0.1)]
    assert ratios[0] / ratios[1] == pytest.approx(ranges[1] / ranges[0])


def test_beam_and_heads(planned, barn) -> None:
    rig, shelf = barn
    beam = planned.plan.room.beam
    assert beam.cameras == []
    assert 0.0 < beam.picture_mean < beam.picture_max < 0.5
    assert "head-in-beam" in findings(planned)
    assert len(planned.plan.maps[0].of("picture-shaded")) == 3
    far = plan_rig(changed(rig, projector={"position": ["1.2 m", "1.9 m", "4 m"]}), shelf, 4, 3)
    assert far.plan.room.beam.cameras == ["beam"]
    assert far.plan.room.beam.picture_mean > beam.picture_mean
    assert far.plan.room.beam.touched_mean > 5.0 * beam.touched_mean
    assert {"camera-in-beam", "throw-misfit", "own-shadow"} <= set(findings(far))


def test_a_projector_in_the_line_of_sight_hides_what_is_behind_it() -> None:
    camera, places = np.array([1.2, 0.7, 4.0]), np.array([[1.2, 0.7], [1.2, 1.2], [0.2, 0.7]])
    assert hidden_behind(np.array([1.2, 0.7, 2.0]), camera, places) == pytest.approx(1 / 3)
    # At half the way a ball of 15 cm hides 30 cm of the wall to either side of its middle.
    assert hidden_behind(np.array([1.2, 0.7, 2.0]), camera, np.array([[1.2, 0.99]])) == 1.0
    assert hidden_behind(np.array([1.2, 0.7, 2.0]), camera, np.array([[1.2, 1.01]])) == 0.0
    assert hidden_behind(np.array([1.2, 0.7, 4.5]), camera, places) == 0.0


def test_projection_from_behind_throws_no_shadow(barn) -> None:
    rig, shelf = barn
    found = plan_rig(changed(rig, projector={"position": ["1.2 m", "0.7 m", "-2 m"]}), shelf, 3, 2)
    assert found.plan.room.beam is None
    assert "picture-shaded" not in found.plan.maps[0].names


def test_shadow_on_the_picture_is_that_of_each_line(barn) -> None:
    """Mean over scenes and picture points, one line of sight after the other."""
    rig, shelf = barn
    resolved = resolve(rig, shelf)
    size, lens = resolved.surface.size_m[0], np.array([1.2, 1.7, 1.2])
    places = places_of_grid(resolved.surface.size_m, 2, 2)[0]
    scenes = scenes_of(rig, resolved, places, count=10)
    found = beam_shadow(scenes, lens, places, size)
    points = [
        [(i + 0.5) / 12 * size[0], (j + 0.5) / 8 * size[1], 0.0]
        for j in range(8)
        for i in range(12)
    ]
    hits = [
        hidden_by(point, lens, scenes.own_m[1, scene, 2]) for scene in (0, 5) for point in points
    ]
    assert found.picture[1, 2] == pytest.approx(np.mean(hits))
    tip = [*places[2], 0.0]
    assert found.touched[1, 2] == pytest.approx(
        np.mean([hidden_by(tip, lens, scenes.own_m[1, scene, 2]) for scene in range(10)])
    )


def test_readers_and_reach(planned, barn) -> None:
    rig, shelf = barn
    reading = planned.plan.room.reading
    assert (reading.farthest_m, reading.needed_m) == pytest.approx((4.0, 0.030))
    assert '"30 mm" or more' in str(findings(planned)["readers-too-far"][0])
    band = {one.who: one for one in planned.plan.room.reach}
    # The surface hangs from 0.75 to 2.25 m above the floor.
    assert band["seated adults"].share == pytest.approx((1.22 - 0.75) / 1.5)
    assert band["children of 3 to 4"].share == pytest.approx((0.915 - 0.75) / 1.5)
    data = rig.model_dump(mode="json", by_alias=True)
    data["people"][0].update(age=7, stature="1.25 m", shoulder_height="1 m", reach="0.8 m")
    child = plan_rig(Rig.model_validate(data), shelf, 3, 2)
    (found,) = findings(child)["beyond-reach-band"]
    assert "grower-wren" in str(found)
    assert "0.46 to 1.01 m" in str(found)


def test_all_at_once_is_the_chance_of_each_together(planned) -> None:
    plan = planned.plan
    whole = next(f for f in plan.figures if f.scope.condition == plan.AT_ONCE)
    each = []
    for one in plan.maps:
        kept = np.array(one.of("covered")) * (1.0 - np.array(one.of("shadow")) / 100.0)
        there = np.array(one.of("reached")) > 0
        each.append(kept[there].mean())
    assert whole.value == pytest.approx(100.0 * np.prod(each))
    assert whole.value < 100.0 * min(each)


def test_a_plan_without_a_room_says_only_what_it_can(barn) -> None:
    rig, shelf = barn
    plain = plan_rig(changed(rig, None, projector=None, text_height=None), shelf, 3, 2).plan
    assert plain.room.ambient is None
    assert plain.room.beam is None
    assert plain.room.reading is None
    assert plain.room.seen == []
    assert "projector-place-missing" in {one.code for one in plain.findings}


def test_top_view_bears_every_word(planned) -> None:
    canvas = top_view(planned, ("grower-wren", "grower-ash"))
    words = {text.get_text() for text in canvas.axes[0].texts}
    for word in (
        "west (sun)",
        "low (halogen)",
        "projector",
        "other (other rig)",
        "clicker (remote-control)",
    ):
        assert word in words


def test_shade_maps_bear_every_number_of_their_layers(planned) -> None:
    canvas = shade_maps(planned.plan)
    drawn = [axes for axes in canvas.axes if axes.get_images()]
    assert len(drawn) == 5
    sun = drawn[-1]
    assert "sun at its worst" in sun.get_title(loc="left")
    values = np.array(planned.plan.maps[0].of("sun"))
    assert [text.get_text() for text in sun.texts] == [f"{v:.2g}" for v in values.ravel()]
    light = planned.plan.room.ambient
    # The map holds what the plan reckons with, and the sun on top of it.
    added = light.sun_w_m2 - light.estimated_w_m2
    assert values.mean() == pytest.approx(light.used_w_m2 + added)
    hidden = [text.get_text() for text in drawn[0].texts]
    assert hidden == [f"{v:.0f}" for v in np.ravel(planned.plan.maps[0].of("shadow"))]


def test_a_plan_without_sun_and_beam_draws_the_shadow_alone(barn) -> None:
    rig, shelf = barn
    plain = plan_rig(changed(rig, None, projector=None), shelf, 3, 2).plan
    assert len([axes for axes in shade_maps(plain).axes if axes.get_images()]) == 2


def drawn_reach(plan) -> dict[str, float]:
    """Heights on the surface [m] of the lines of reach in the error map, by what they say."""
    axes = error_map(plan).figure.axes[0]
    told = (each for each in axes.texts if re.match("seated adult|child of", each.get_text()))
    return {each.get_text(): each.xy[1] for each in told}


def test_reach_is_drawn_over_the_surface_where_it_crosses_it(planned) -> None:
    """2010 ADA Standards, 308.2.1 (15 to 48 in) and advisory 308.1 for children of 3 and 4."""
    plan = planned.plan
    high = drawn_reach(plan)
    assert high["seated adult"] == pytest.approx(1.22 - plan.floor_m, abs=1e-3)
    assert high["child of 3 to 4"] == pytest.approx(0.915 - plan.floor_m, abs=1e-3)
    assert not any("lowest" in who for who in high)  # it hangs above them all
    low = drawn_reach(plan.model_copy(update={"floor_m": 0.2}))
    assert low["seated adult, lowest"] == pytest.approx(0.38 - 0.2, abs=2e-3)
    assert drawn_reach(plan.model_copy(update={"floor_m": None})) == {}
