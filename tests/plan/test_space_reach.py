"""How far a thing can be followed: zones moved to either side of each end agree, and pixels."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from rushlight.cli.space_tables import tables
from rushlight.jobs.load import load_rig
from rushlight.plan.space_evaluate import evaluate_space
from rushlight.plan.space_planning import plan_space
from rushlight.plan.space_poses import poses_at, ways_of_turning
from rushlight.plan.space_reach import MOST_TURNS, reach_figures, reach_m
from rushlight.shelf.resolve_space import resolve_space

SCENARIOS = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios"
RIGS = ("paper-theatre", "ferry-model", "choir-baton")


def space_of(name):
    return resolve_space(*load_rig(SCENARIOS / name))


def moved(space, at_m, exposure_s):
    """The first thing alone, its zone one place so far along the line from the first camera."""
    thing = space.things[0]
    eye = space.cameras.rig_from_camera[0, 0, :3, 3]
    middle = (thing.low_m + thing.high_m) / 2.0
    place = eye + at_m * (middle - eye) / np.linalg.norm(middle - eye)
    there = thing.replace(low_m=place, high_m=place)
    # Cameras set, and focused, as they were.
    cameras = space.cameras.replace(exposure_s=exposure_s[None])
    return space.replace(things=(there,), cameras=cameras)


@pytest.mark.parametrize("name", RIGS)
def test_zones_on_either_side_of_each_end(name):
    space = space_of(name)
    planned = evaluate_space(space, (1, 1, 1), 2)
    for end, inward in zip(
        reach_m(space, space.things[0], 0, planned.exposure_s), (1.08, 0.92), strict=True
    ):
        at_m, why = end
        if at_m is None:
            continue
        within = evaluate_space(moved(space, at_m * inward, planned.exposure_s), (1, 1, 1), 20)
        beyond = evaluate_space(moved(space, at_m / inward, planned.exposure_s), (1, 1, 1), 20)
        if len(space.camera_ids) == 1:
            assert within.fields[0].works.mean() >= MOST_TURNS
            assert beyond.fields[0].works.mean() < MOST_TURNS
            assert (
                max(beyond.fields[0].fails, key=lambda w: beyond.fields[0].fails[w].mean()) == why
            )
        lost = {"too weak toward the camera": "bright", "too wide, out of focus": "sharp"}
        if why in lost:
            good = [getattr(each.fields[0].dots, lost[why])[0].mean() for each in (within, beyond)]
            assert good[0] > good[1]


def test_a_weaker_light_reaches_less_far_and_dots_melt_where_focus_is_lost():
    space = space_of("paper-theatre")
    exposure = evaluate_space(space, (1, 1, 1), 2).exposure_s
    (_, far), (_, dim) = (
        reach_m(space, space.things[0], 0, exposure * share)[1][::-1] for share in (1.0, 0.25)
    )
    # A quarter of the light, no room light to speak of: half as far, by the square of distance.
    assert dim == pytest.approx(far / 2.0, rel=0.2)
    blurred = space.replace(focus_m=np.array([0.2]))
    assert reach_m(blurred, space.things[0], 0, exposure)[1][0] < far


def test_what_cannot_be_followed_in_the_middle_has_no_reach():
    space = space_of("paper-theatre")
    turned = space.cameras.rig_from_camera.copy()
    turned[0, 0, :3, :3] = turned[0, 0, :3, :3] @ np.diag([-1.0, 1.0, -1.0])
    away = space.replace(cameras=space.cameras.replace(rig_from_camera=turned))
    assert reach_m(away, space.things[0], 0, np.array([1e-4])) is None


def test_separations_are_those_of_opencv_and_the_table_tells_both():
    space = space_of("paper-theatre")
    seen = evaluate_space(space, (3, 2, 2), 4)
    told = {f.statistic: f.value for f in reach_figures(seen) if f.name == "dot-separation"}
    c, thing = space.cameras, space.things[0]
    into = np.linalg.inv(c.rig_from_camera[0, 0])
    gaps = []

    places = seen.fields[0].places_m
    for pose in poses_at(thing, places[:, None], ways_of_turning(thing, 4)[None]).reshape(-1, 4, 4):
        lights = thing.lights_m @ pose[:3, :3].T + pose[:3, 3]
        px, _ = cv2.projectPoints(
            lights, cv2.Rodrigues(into[:3, :3])[0], into[:3, 3], c.K[0, 0], c.distortion[0, 0]
        )
        gaps.append(np.linalg.norm(px[0, 0] - px[1, 0]))
    assert told["min"] == pytest.approx(min(gaps), rel=1e-6)
    assert told["median"] == pytest.approx(np.median(gaps), rel=1e-6)
    rig, shelf = load_rig(SCENARIOS / "paper-theatre")
    shown = {title: rows for title, _, rows in tables(plan_space(rig, shelf, (2, 2, 2)).plan)}
    assert any("least distance between two dots" in str(row[0]) for row in shown["Light and view"])
    (row,) = shown["How far it can be followed, toward the middle of its zone and beyond"]
    assert row[0] == "cap" and " m" in str(row[4])
