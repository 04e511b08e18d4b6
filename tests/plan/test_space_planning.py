"""Plans of the three invented rigs in space: whole, consistent, and honest where a rig fails."""

import collections
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from tests.once import once
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.jobs.load import load_rig
from rushlight.jobs.plan import plan
from rushlight.plan.constellation import constellation_plan, pose_error_of_lights
from rushlight.plan.space_advice import advise_space, with_baseline
from rushlight.plan.space_design import design_of
from rushlight.plan.space_evaluate import evaluate_space
from rushlight.records.document import read_document
from rushlight.records.figure import SPACE_CAUSES, find_figure
from rushlight.records.space_plan import SpacePlan
from rushlight.shelf.resolve_space import resolve_space

SCENARIOS = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios"
NAMES = ("paper-theatre", "ferry-model", "choir-baton")


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    """Scenario to its plan and the folder it was written to."""
    found = {}
    for name in NAMES:
        folder, made = once(
            tmp_path_factory,
            f"plan-{name}",
            lambda folder, name=name: plan(SCENARIOS / name, folder),
        )
        found[name] = (made, folder)
    return found


def space_of(name, *replacements, folder=None):
    if not replacements:
        return resolve_space(*load_rig(SCENARIOS / name))
    shutil.copytree(SCENARIOS / name, folder / name)
    path = folder / name / "rig.toml"
    text = path.read_text("utf-8")
    for old, new in replacements:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, "utf-8")
    return resolve_space(*load_rig(folder / name))


@pytest.mark.parametrize("name", NAMES)
def test_the_invented_rigs_are_expected_to_meet_their_targets(planned, name):
    document, folder = planned[name]
    assert [each.what for each in document.targets if each.met is not True] == []
    assert [str(each.finding()) for each in document.findings if each.severity != "note"] == []
    assert document.reasons == []
    assert read_document(SpacePlan, folder / "plan.json") == document
    for picture in document.pictures:
        assert (folder / picture).read_bytes().startswith(b"<?xml") or picture.startswith("wiring")


@pytest.mark.parametrize("name", NAMES)
def test_figures_join_on_their_keys_and_causes_add_up(planned, name):
    figures = planned[name][0].figures
    keys = collections.Counter(each.key for each in figures)
    assert [key for key, count in keys.items() if count > 1] == []
    for what in ("error", "turn-error", "range-error"):
        parts = [find_figure(figures, what, cause, "rms") for cause in SPACE_CAUSES]
        whole = find_figure(figures, what, "all", "rms")
        if whole is not None:
            assert whole.value**2 == pytest.approx(sum(each.value**2 for each in parts))


@pytest.mark.parametrize(
    ("name", "method", "dominant"),
    [
        ("paper-theatre", "looks", "turning"),
        ("ferry-model", "placings", "build"),
        ("choir-baton", "swing", "build"),
    ],
)
def test_registration_and_what_dominates(planned, name, method, dominant):
    document = planned[name][0]
    assert document.registration.method == method
    assert document.dominant == dominant
    for camera in document.registration.cameras:
        assert camera.place_after_m <= camera.place_before_m
        assert camera.turn_after_rad <= camera.turn_before_rad
        assert camera.focal_after < camera.focal_before


def test_looks_pass_both_marks_into_the_zone(planned):
    document = planned["paper-theatre"][0]
    space = space_of("paper-theatre")
    cap = space.things[0]
    for mark in document.registration.marks:
        near, far = np.array(mark.from_m), np.array(mark.to_m)
        way = (near - far) / (near - far)[2]
        depths = np.linspace(cap.low_m[2], cap.high_m[2], 50)
        line = near + (depths[:, None] - near[2]) * way
        assert ((line >= cap.low_m - 1e-6) & (line <= cap.high_m + 1e-6)).all(axis=1).any()
        assert abs(far[2]) < 1e-9 and 0 <= far[0] <= 0.6 and 0 <= far[1] <= 0.34


def test_placings_lie_below_a_zone_that_does_not_reach_the_display(tmp_path):
    above = ('low = ["0.12 m", "0.1 m", "0 m"]', 'low = ["0.12 m", "0.1 m", "0.06 m"]')
    design = design_of(space_of("ferry-model", above, folder=tmp_path))
    assert design.method == "placings"
    assert len(design.marks) == 9
    assert all(mark.from_m[2] == 0.0 for mark in design.marks)


def test_without_a_display_the_mounting_counts(tmp_path):
    space = space_of("ferry-model").replace(screens=())
    seen = evaluate_space(space, (2, 2, 2), 4)
    assert seen.design.method == "mounting"
    assert seen.error_m() > evaluate_space(space_of("ferry-model"), (2, 2, 2), 4).error_m()


def test_a_zone_beyond_the_picture_is_told_with_the_reason(tmp_path):
    space = space_of("paper-theatre", ('low = ["0.05 m",', 'low = ["-1.5 m",'), folder=tmp_path)
    seen = evaluate_space(space, (6, 2, 2), 4)
    field = seen.fields[0]
    assert 0.0 < field.works.mean() < 1.0
    assert field.fails["out of the picture"].mean() == pytest.approx(1 - field.works.mean())
    assert seen.coverage < 0.9
    far_left = field.places_m[:, 0] < -1.0
    assert not field.works[far_left].any()


def test_lights_that_shine_away_are_too_weak(tmp_path):
    away = ('drive = "steady"\n', 'drive = "steady"\naxis = [0.0, 0.0, 1.0]\n')
    bare = ('diffuser = { transmission = "60 %", spread = "80 %" }\n', "")
    space = space_of("paper-theatre", away, bare, ("850-5mm-60", "850-5mm-17"), folder=tmp_path)
    space = space.replace(emitters=space.emitters.replace(side_share=np.zeros((1, 2))))
    field = evaluate_space(space, (2, 2, 2), 4).fields[0]
    assert not field.works.any()
    assert field.fails["too weak toward the camera"].all()


def test_dots_far_out_of_focus_are_told_so():
    space = space_of("paper-theatre")
    lens = {"f_number": space.cameras.f_number / 8.0}
    blurred = space.replace(cameras=space.cameras.replace(**lens), focus_m=np.array([0.1]))
    field = evaluate_space(blurred, (2, 2, 2), 4).fields[0]
    assert field.fails["too wide, out of focus"].all()
    assert not field.works.any()


def test_lights_in_line_with_the_camera_hide_one_another(tmp_path):
    behind = (
        ('position = ["-75 mm", "0 mm", "0 mm"]', 'position = ["0 mm", "0 mm", "-10 mm"]'),
        ('position = ["75 mm", "0 mm", "0 mm"]', 'position = ["0 mm", "2 mm", "10 mm"]'),
    )
    field = evaluate_space(
        space_of("paper-theatre", *behind, folder=tmp_path), (2, 2, 2), 4
    ).fields[0]
    assert field.fails["too near one another"].mean() > 0.5


def test_range_error_grows_with_the_square_of_distance_for_noise_alone():
    space = space_of("paper-theatre")
    field = evaluate_space(space, (1, 1, 8), 2).fields[0]
    noise = np.sqrt(field.along_square_m2(field.toward_m, "centre").mean(axis=1))
    pixels = np.sqrt(field.dots.cov_px2[0, ..., 0, 0].reshape(8, -1).mean(axis=1))
    lights = field.places_m - space.things[0].point_m()
    depth = np.linalg.norm(lights - space.cameras.rig_from_camera[0, 0, :3, 3], axis=1)
    slope = np.polyfit(np.log(depth), np.log(noise / pixels), 1)[0]
    assert slope == pytest.approx(2.0, abs=0.05)


def test_a_longer_baseline_lowers_what_the_dots_make():
    space = space_of("choir-baton")
    errors = [
        evaluate_space(with_baseline(space, times), (2, 2, 2), 2).error_m("centre")
        for times in (0.5, 1.0, 2.0)
    ]
    assert errors[0] > errors[1]
    assert errors[0] > errors[2]


def test_advice_says_what_was_tried_and_orders_it():
    advice = advise_space(space_of("paper-theatre"))
    helps = [each.helps for each in advice]
    assert helps == sorted(helps, reverse=True)
    by_change = {each.change: each for each in advice}
    third = by_change["add a third light out of the line of the two, and solve the pose"]
    assert third.error_after_mm < 0.7 * third.error_before_mm
    more = by_change["take every look of the registration three times, looking up between"]
    assert more.error_after_mm < more.error_before_mm
    lens = by_change["calibrate the lens from pictures of a printed pattern"]
    assert lens.error_after_mm < lens.error_before_mm


def test_a_better_constellation_is_better_and_stays_in_its_box():
    space = space_of("ferry-model")
    ferry, exposure = space.things[0], np.array([2e-4])
    found = constellation_plan(space, ferry, exposure)
    assert found.better
    new = np.array([each.better_m for each in found.better])
    assert np.all(new >= np.array(found.box_low_m) - 1e-9)
    assert np.all(new <= np.array(found.box_high_m) + 1e-9)
    place, turn = pose_error_of_lights(space, ferry.replace(lights_m=new), exposure)
    assert turn == pytest.approx(found.better_turn_error_rad)
    assert place == pytest.approx(found.better_place_error_m)
    assert place < found.place_error_m
    assert constellation_plan(space, ferry, exposure) == found


def test_the_command_prints_the_plan_and_its_twin(tmp_path):
    arguments = ["plan", str(SCENARIOS / "choir-baton"), "--out", str(tmp_path)]
    shown = CliRunner().invoke(app, arguments, env={"COLUMNS": "100"})
    assert shown.exit_code == 0
    for words in ("everything here is predicted", "Targets", "Delay", "Eyes and hands", "Assumed"):
        assert words in shown.stdout
    twin = CliRunner().invoke(app, [*arguments, "--json"])
    assert json.loads(twin.stdout)["schema"] == "rushlight/space-plan"
