"""Things in space followed through simulated frames: labels, poses, hidden lights, voting."""

import dataclasses
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from space_runs import SCENARIOS, Run, rig, three_cameras, true_cameras

from rushlight.jobs.simulate_space import with_exposures
from rushlight.physics.geometry.rotation import facing_angles, rotation_of_facing
from rushlight.plan.space_evaluate import evaluate_space
from rushlight.plan.space_twins import twin_figures, twin_findings
from rushlight.records.document import validate
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import load_shelf
from rushlight.shelf.resolve_space import resolve_space
from rushlight.simulate import space_scripts as scripts
from rushlight.simulate.space_world import draw_space

BLIND = 5  # frames of a start before which nothing is asked


@pytest.mark.parametrize("name", ["paper-theatre", "ferry-model", "choir-baton"])
def test_labels_are_kept_throughout_motion(name):
    world = draw_space(rig(name), 2)
    script = scripts.motion(world, 3.0)
    run = Run(world, script)
    thing = world.space.things[0].id
    fixes = run.fixes[thing]
    frames = round(3.0 * world.frame_rate_hz(0))
    assert len(fixes) >= frames - BLIND and run.wrong == 0
    assert np.mean([fix.predicted for fix in fixes]) < 0.05
    assert [event.kind for event in run.events] == ["found"]
    assert all(fix.dimensions == (6 if name == "ferry-model" else 3) for fix in fixes)


@pytest.mark.parametrize("name", ["paper-theatre", "ferry-model", "choir-baton"])
def test_errors_are_neither_greater_nor_smaller_than_told(name):
    squares, told = [], []
    for seed in (1, 2, 3, 4):
        world = draw_space(rig(name), seed)
        script = scripts.motion(world, 1.0)
        run = Run(world, script)
        thing = world.space.things[0].id
        assert run.wrong == 0
        squares.append(np.mean(np.sum(run.errors_m(world, script, thing) ** 2, -1)))
        fixes = [fix for fix in run.fixes[thing] if not fix.predicted]
        told.append(np.mean([np.trace(fix.cov[:3, :3]) for fix in fixes]))
    # One world of lights and points is one draw of some three numbers: for twelve the deviation
    # of the ratio is 1 / sqrt(2 * 12), and three of them are allowed to either side.
    assert 0.4 < np.sqrt(np.mean(squares) / np.mean(told)) < 1.6


def test_without_errors_of_build_the_pose_is_found_to_the_dots_own_noise():
    world = draw_space(rig("ferry-model"), 3, ["centre"])
    script = scripts.places(world, 6)
    run = Run(world, script)
    assert run.wrong == 0
    error = run.errors_m(world, script, "ferry")
    assert np.sqrt(np.mean(error[BLIND:] ** 2)) < 0.3e-3


def test_a_body_works_on_with_three_lights_and_coasts_below():
    world = draw_space(rig("ferry-model"), 4, ["centre"])
    script = scripts.motion(world, 2.5)
    covers = [
        scripts.Hidden("ferry", "mast", 0.5, 2.0),
        scripts.Hidden("ferry", "bow", 0.7, 2.0),
        scripts.Hidden("ferry", "stern", 1.0, 1.3),
        scripts.Hidden("ferry", "port", 1.5, 1.6),
        scripts.Hidden("ferry", "stern", 1.5, 1.6),
        scripts.Hidden("ferry", "starboard", 1.5, 1.6),
    ]
    script = dataclasses.replace(script, hidden=tuple(covers))
    run = Run(world, script)
    fixes = run.fixes["ferry"]
    seconds = np.array([fix.valid_ns for fix in fixes]) * 1e-9
    predicted = np.array([fix.predicted for fix in fixes])
    assert run.wrong == 0
    assert not predicted[(seconds > 0.75) & (seconds < 0.98)].any()
    assert predicted[(seconds > 1.02) & (seconds < 1.28)].all()
    assert not predicted[(seconds > 1.35) & (seconds < 1.48)].any()
    assert not any(fix.cameras for fix in fixes if 1.52 < fix.valid_ns * 1e-9 < 1.58)
    assert [event.kind for event in run.events] == ["found"]
    error = np.linalg.norm(run.errors_m(world, script, "ferry"), axis=-1)
    # With three lights what is believed of the facing pulls, as the doubt then says.
    assert np.median(error[:25]) < 0.3e-3 and error.max() < 8e-3


def test_what_is_wholly_hidden_is_lost_and_found_again():
    world = draw_space(rig("ferry-model"), 4, ["centre"])
    script = scripts.motion(world, 2.0)
    covers = [scripts.Hidden("ferry", light, 0.5, 1.3) for light in world.space.things[0].light_ids]
    run = Run(world, dataclasses.replace(script, hidden=tuple(covers)))
    assert [event.kind for event in run.events] == ["found", "lost", "found"]
    assert run.wrong == 0 and run.fixes["ferry"][-1].valid_ns > 1.95e9


def test_left_and_right_are_told_by_facing():
    world = draw_space(rig("paper-theatre"), 6)
    run = Run(world, scripts.still(world, 0.3))
    fix = run.fixes["cap"][-1]
    assert run.wrong == 0 and fix.hypotheses[0] > 0.99
    q = fix.quaternion
    assert abs(q[0]) > 0.9  # not upside down


def test_a_third_camera_that_is_off_is_outvoted():
    space = three_cameras()
    baton = space.things[0]
    world = draw_space(space, 3, ["centre"])
    script = scripts.motion(world, 1.0)
    told = true_cameras(world)
    run = Run(world, script, told)
    assert any(len(fix.cameras) == 3 for fix in run.fixes[baton.id])
    moved = np.array(told.rig_from_camera)
    moved[2, :3, 3] += [0.0, 0.1, 0.0]
    run = Run(world, script, dataclasses.replace(told, rig_from_camera=moved))
    sure = [fix for fix in run.fixes[baton.id] if not fix.predicted]
    assert len(sure) > 40 and all(fix.cameras == ("left", "right") for fix in sure)
    assert np.linalg.norm(run.errors_m(world, script, baton.id), axis=-1).max() < 5e-3


def test_a_light_hidden_from_one_of_three_cameras_is_found_by_the_other_two():
    space = three_cameras()
    for seed, camera in enumerate(space.camera_ids, 1):
        world = draw_space(space, seed, ["centre"])
        script = scripts.motion(world, 0.8)
        cover = scripts.Hidden("baton", "tip", 0.3, 0.6, camera)
        script = dataclasses.replace(script, hidden=(cover,))
        run = Run(world, script)
        others = tuple(each for each in space.camera_ids if each != camera)
        during = [fix for fix in run.fixes["baton"] if 0.32 < fix.valid_ns * 1e-9 < 0.58]
        assert len(during) > 10
        assert all(fix.cameras == others and not fix.predicted for fix in during)
        assert run.fixes["baton"][-1].cameras == space.camera_ids
        assert [event.kind for event in run.events] == ["found"] and run.wrong == 0
        assert np.linalg.norm(run.errors_m(world, script, "baton"), axis=-1).max() < 5e-3


def test_three_lights_are_settled_by_facing_and_the_weights_told():
    space = rig("ferry-model")
    ferry = space.things[0]
    three = dataclasses.replace(
        ferry,
        lights=ferry.lights[:3],
        light_ids=ferry.light_ids[:3],
        codes=ferry.codes[:3],
        lights_m=ferry.lights_m[:3],
        lights_std_m=ferry.lights_std_m[:3],
        ranges_rad=np.radians([12.0, 12.0, 40.0]),
    )
    world = draw_space(dataclasses.replace(space, things=(three,)), 8, ["centre"])
    script = scripts.places(world, 5)
    run = Run(world, script)
    fixes = run.fixes["ferry"]
    assert run.wrong == 0 and len(fixes) > 100
    assert all(sum(fix.hypotheses) == pytest.approx(1.0, abs=0.05) for fix in fixes)
    error = np.linalg.norm(run.errors_m(world, script, "ferry"), axis=-1)
    assert np.median(error) < 3e-3


def test_codes_name_what_a_symmetric_body_leaves_open():
    space = rig("ferry-model")
    ferry = space.things[0]
    # Four lights at the corners of a square look the same after each quarter turn.
    corners = np.array([[1.0, 1.0, 0.0], [-1.0, 1.0, 0.0], [-1.0, -1.0, 0.0], [1.0, -1.0, 0.0]])
    square = dataclasses.replace(
        ferry,
        lights=ferry.lights[:4],
        light_ids=ferry.light_ids[:4],
        codes=(("110", 0.1), None, None, None),
        lights_m=0.06 * corners + [0.0, 0.0, 0.04],
        lights_std_m=ferry.lights_std_m[:4],
    )
    for seed in (1, 2, 3):
        world = draw_space(dataclasses.replace(space, things=(square,)), seed, ["centre"])
        script = scripts.motion(world, 2.5)
        run = Run(world, script)
        late = [fix for fix in run.fixes["ferry"] if fix.valid_ns > 1.5e9 and not fix.predicted]
        path = script.paths[0]
        off = [
            np.linalg.norm(fix.position_m - path.at(np.array(fix.valid_ns * 1e-9))[0])
            for fix in late
        ]
        # A body named wrongly by a quarter turn would be found a hinge's length away.
        assert len(late) > 40 and np.median(off) < 5e-3


def test_facing_angles_undo_the_rotation():
    angles = np.random.default_rng(1).uniform(-1.2, 1.2, (50, 3))
    assert facing_angles(rotation_of_facing(*angles.T)) == pytest.approx(angles, abs=1e-12)


def three_lights():
    """A cap with a third light in the plane of the others: a nod up looks like a nod down."""
    text = (SCENARIOS / "paper-theatre" / "rig.toml").read_text()
    data = tomllib.loads(text)
    cap = data["carried"][0]
    cap["solved_as"] = "pose"
    cap["emitters"].append(
        cap["emitters"][0] | {"id": "top", "position": ["0 mm", "40 mm", "0 mm"]}
    )
    cap["zone"] |= {"turn": "30 deg", "nod": "30 deg"}
    space = resolve_space(validate(Rig, data, "three"), load_shelf(SCENARIOS))
    return with_exposures(space)


def test_what_three_lights_could_be_besides_is_weighed_anew_at_each_moment():
    world = draw_space(three_lights(), 2, ["centre"])
    script = scripts.motion(world, 3.0)
    fixes = Run(world, script).fixes["cap"]
    several = [fix.hypotheses for fix in fixes if len(fix.hypotheses) > 1]
    assert len(several) > 0.3 * len(fixes)
    assert len({weights[1] for weights in several}) > 0.9 * len(several)
    assert all(sum(each) == pytest.approx(1.0, abs=4e-4) for each in several)
    assert all(min(each) >= 1e-4 for each in several)
    # What the plan expects over the zone, held against one way through it.
    planned = twin_figures(evaluate_space(world.space, (3, 2, 3), 2))
    share, most = (figure.value for figure in planned)
    assert share == pytest.approx(100.0 * len(several) / len(fixes), abs=25.0)
    assert most > 30.0
    [finding] = twin_findings(planned, "rig.toml")
    assert finding.severity == "warning" and f"{share:.0f} %" in finding.given


def test_four_lights_are_told_apart_and_have_one_pose():
    world = draw_space(rig("ferry-model"), 2, ["centre"])
    fixes = Run(world, scripts.motion(world, 1.0)).fixes["ferry"]
    assert all(fix.hypotheses == (1.0,) for fix in fixes[BLIND:])
    assert twin_figures(evaluate_space(world.space, (1, 1, 1), 2)) == []
