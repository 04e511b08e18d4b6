"""Simulate a rig of space, then follow it: by the commands, on files."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import rushlight.jobs as jobs
from rushlight.cli import app
from rushlight.jobs.load import load_rig
from rushlight.jobs.run_space import run_space
from rushlight.jobs.simulate_space import simulate_space, with_exposures
from rushlight.keep.session import SessionReader
from rushlight.records.document import read_document
from rushlight.records.space_footage import SPACE_FOOTAGE, SpaceFootage
from rushlight.records.space_registration import SpaceRegistration
from rushlight.shelf.resolve_space import resolve_space
from rushlight.simulate import space_scripts
from rushlight.simulate.space_footage import write_space_footage
from rushlight.simulate.space_world import draw_space

SCENARIOS = Path(jobs.__file__).parent / "scenarios"
SECONDS = 0.6


@pytest.fixture(scope="module")
def baton(tmp_path_factory, registration_of):
    """Footage of the baton, and its registration."""
    folder = tmp_path_factory.mktemp("baton")
    rig, shelf = load_rig(SCENARIOS / "choir-baton")
    space = with_exposures(resolve_space(rig, shelf))
    world = draw_space(space, 3)
    script = space_scripts.motion(world, SECONDS)
    write_space_footage(world, script, folder / "film", rig_hash=rig.content_hash())
    registration_of(world, rig).write(folder / "registration.json")
    return folder


def run(*words):
    return CliRunner().invoke(app, ["run", *map(str, words)], env={"COLUMNS": "80"})


def test_footage_holds_every_camera_and_the_truth(baton):
    header = read_document(SpaceFootage, baton / "film" / SPACE_FOOTAGE)
    assert header.cameras == ["left", "right"] and header.simulated
    with SessionReader(baton / "film" / "truth.sqlite") as truth:
        assert truth.header.role == "truth"
        fixes = list(truth.fixes())
        assert len(fixes) == round(SECONDS * 60)
        assert all(fix.dimensions == 6 for fix in fixes)
        assert {clock.id for clock in truth.header.clocks} == {"left", "right"}
        assert truth.header.clocks[1].offset_ns != 0


def test_the_followed_tip_is_where_the_truth_has_it(baton):
    out = baton / "session.sqlite"
    told = run(
        "--footage", baton / "film", "--rig", SCENARIOS / "choir-baton",
        "--registration", baton / "registration.json", "--out", out,
    )  # fmt: skip
    assert told.exit_code == 0, told.output
    assert "session from simulated footage" in told.output and "fixes of baton" in told.output
    with SessionReader(out) as session, SessionReader(baton / "film" / "truth.sqlite") as truth:
        assert session.header.header.basis == "simulated"
        true = {fix.frame: fix.position_m for fix in truth.fixes()}
        seen = [fix for fix in session.fixes() if not fix.predicted]
        assert len(seen) >= round(SECONDS * 60) - 5
        error = np.array([fix.position_m - true[fix.frame] for fix in seen])
        assert np.sqrt(np.mean(np.sum(error**2, axis=-1))) < 3e-3
        assert all(fix.dimensions == 3 and fix.detect_ns > fix.capture_ns for fix in seen)


def test_what_does_not_belong_together_is_refused(baton, tmp_path):
    film, rig = baton / "film", SCENARIOS / "choir-baton"
    told = run("--footage", film, "--rig", rig, "--out", tmp_path / "a.sqlite")
    assert "give --rig and --registration" in str(told.exception)
    told = run(
        "--footage", film, "--rig", SCENARIOS / "ferry-model",
        "--registration", baton / "registration.json", "--out", tmp_path / "b.sqlite",
    )  # fmt: skip
    assert 'camera "arm"' in str(told.exception)
    told = run(
        "--footage", film, "--rig", rig, "--registration", baton / "registration.json",
        "--filter", "kalman", "--out", tmp_path / "c.sqlite",
    )  # fmt: skip
    assert "leave --filter out" in str(told.exception)


def test_a_rig_that_changed_since_is_told(baton, tmp_path):
    document = read_document(SpaceRegistration, baton / "registration.json")
    other = document.model_copy(update={"rig": "0" * 64}).stamped("simulated")
    other.write(tmp_path / "registration.json")
    summary = run_space(
        baton / "film", tmp_path / "d.sqlite", SCENARIOS / "choir-baton",
        tmp_path / "registration.json", None, None, None, lambda what, share: None,
    )  # fmt: skip
    assert [finding.code for finding in summary.findings] == ["rig-changed"]
    told = json.loads(json.dumps(summary.as_dict()))
    assert told["moments"] == round(SECONDS * 60)
    assert told["fixes"] == {"baton": summary.fixes["baton"]} and told["fixes"]["baton"] > 20


def test_plain_videos_named_for_their_cameras_will_do(baton, tmp_path):
    film = tmp_path / "film"
    film.mkdir()
    for camera in ("left", "right"):
        shutil.copy(baton / "film" / camera / "footage.avi", film / f"{camera}.avi")
    filmed = SpaceFootage(cameras=["left", "right"], simulated=False).stamped("measured")
    filmed.write(film / SPACE_FOOTAGE)
    told = run(
        "--footage", film, "--rig", SCENARIOS / "choir-baton",
        "--registration", baton / "registration.json", "--out", tmp_path / "session.sqlite",
    )  # fmt: skip
    assert told.exit_code == 0, told.output
    with SessionReader(tmp_path / "session.sqlite") as session:
        seen = [fix for fix in session.fixes() if not fix.predicted]
        assert len(seen) >= round(SECONDS * 60) - 5


def test_the_command_films_and_refuses(tmp_path):
    words = ["simulate", str(SCENARIOS / "ferry-model"), "--script", "registration"]
    told = CliRunner().invoke(app, [*words, "--out", str(tmp_path / "x")])
    assert "--plan" in str(told.exception)
    words = ["simulate", str(SCENARIOS / "ferry-model"), "--script", "grid"]
    told = CliRunner().invoke(app, [*words, "--out", str(tmp_path / "x")])
    assert "places" in str(told.exception)
    rig, shelf = load_rig(SCENARIOS / "paper-theatre")
    filmed = simulate_space(
        rig, shelf, SCENARIOS / "paper-theatre", "places", tmp_path / "film", 1, (), (),
        None, 1, lambda what, share: None,
    )  # fmt: skip
    assert filmed.header.holds and filmed.frames > 100
    assert (tmp_path / "film" / "frame" / "footage.avi").is_file()
