"""Every morning with a surveyed picture: touches are taken where the beacons really stand."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from rushlight.jobs.ready import ready
from rushlight.jobs.register_live import register_live
from rushlight.jobs.rehearsal import RehearsalSource, rehearsal_world
from rushlight.physics.geometry import apply_homography, fit_homography
from rushlight.physics.geometry.rotation import matrix_from_rotation_vector
from rushlight.records.document import read_document
from rushlight.records.registration import DisplaySurvey, Registration

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"

# A projector that stands aside: its picture is narrower than the rig says, most so at the top.
CORNERS_M = [[0.1, 0.05], [2.3, 0.0], [2.2, 1.4], [0.2, 1.35]]
CORNERS_PX = [[0, 800], [1280, 800], [1280, 0], [0, 0]]


def surveyed(corners_m):
    """A survey whose ruler was good to 1 mm."""
    return DisplaySurvey(
        surface="wall",
        surface_from_display=fit_homography(
            np.array(CORNERS_PX, float), np.array(corners_m, float)
        ).tolist(),
        cov=(1e-6 * np.eye(8)).tolist(),
        size_m=(2.4, 1.5),
    ).stamped("measured")


@pytest.fixture(scope="module")
def morning(tmp_path_factory):
    """A barn wall that was registered with its survey; its folder and its room."""
    home = tmp_path_factory.mktemp("surveyed")
    text = (BARN_WALL / "rig.toml").read_text()
    (home / "rig.toml").write_text(text.replace('frame_rate = "100 Hz"', 'frame_rate = "30 Hz"'))
    surveyed(CORNERS_M).write(home / "survey.json")
    world, _ = rehearsal_world(home, 5)
    register_live(
        home, home / "registration.json", source=RehearsalSource(world, paced=False),
        touched_by=("stylus-wren",), keep=False, survey_path=home / "survey.json",
    )  # fmt: skip
    return home, world


@pytest.fixture
def copied(morning, tmp_path):
    """A folder of its own."""
    home, world = morning
    for name in ("rig.toml", "registration.json", "survey.json"):
        (tmp_path / name).write_text((home / name).read_text())
    return tmp_path, world


class Shown:
    """What the display was told to show."""

    def __init__(self):
        self.beacons = []

    def beacon(self, beacon):
        if beacon is not None:
            self.beacons.append(beacon)

    def state(self, state):
        pass

    def seen(self, frame, dots):
        pass


def told(home, world):
    shown = Shown()
    result = ready(home, source=RehearsalSource(world, paced=False), patience_s=5.0, show=shown)
    return result, {each.code for each in result.findings} - {"styli-unchecked"}, shown


def test_check_touches_are_judged_where_the_surveyed_beacons_stand(copied):
    home, world = copied
    registration = read_document(Registration, home / "registration.json")
    survey = read_document(DisplaySurvey, home / "survey.json")
    assert registration.verdict.vouched
    assert registration.valid_for.survey == survey.content_hash()
    result, codes, shown = told(home, world)
    assert "survey-unused" not in codes
    assert result.as_dict()["go"], result.findings
    shown_px = np.unique([[each.x_px, each.y_px] for each in shown.beacons], axis=0)
    stand_m = apply_homography(np.array(survey.surface_from_display), shown_px)
    goals_m = np.array(result.goals_m)
    for goal_m in goals_m:
        assert np.linalg.norm(stand_m - goal_m, axis=1).min() < 1e-9
    # They stand elsewhere than on the rig's rectangle, by far more than a touch misses.
    plain_m = shown_px * [2.4 / 1280, -1.5 / 800] + [0.0, 1.5]
    assert np.linalg.norm(plain_m - stand_m, axis=1).min() > 0.01
    assert np.all(np.hypot(*result.checked.missed_m.T) < 0.01)


def test_a_camera_that_was_turned_is_noticed_before_a_surveyed_picture(copied):
    home, world = copied
    pose = np.array(world.rig.cameras.rig_from_camera)
    turn = matrix_from_rotation_vector(np.radians([0.0, 0.5, 0.0]))
    pose[0, 0, :3, :3] = pose[0, 0, :3, :3] @ turn
    cameras = world.rig.cameras.replace(rig_from_camera=pose)
    turned = dataclasses.replace(world, rig=dataclasses.replace(world.rig, cameras=cameras))
    result, codes, _ = told(home, turned)
    assert (result.as_dict()["go"], codes) == (False, {"moved"})


def test_without_its_survey_or_with_another_there_is_no_go(copied):
    home, world = copied
    surveyed(np.array(CORNERS_M) * 0.99).write(home / "survey.json")
    result, codes, shown = told(home, world)
    assert "survey-differs" in codes and not result.as_dict()["go"]
    assert not shown.beacons
    (home / "survey.json").unlink()
    result, codes, shown = told(home, world)
    assert "survey-missing" in codes and not result.as_dict()["go"]
    assert not shown.beacons
