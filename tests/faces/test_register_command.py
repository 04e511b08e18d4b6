"""The verb register on simulated footage, as a user types it."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from tests.planned_wall import write_plan
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.register import register as job
from rushlight.jobs.simulate import simulate
from rushlight.records.document import read_document
from rushlight.records.registration import Registration
from rushlight.records.session import FootageHeader

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"


def run(*arguments):
    return CliRunner(env={"COLUMNS": "160"}).invoke(app, [str(each) for each in arguments])


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    """A copy of the barn wall, filmed at 30 Hz, with footage of nine touched beacons."""
    folder = tmp_path_factory.mktemp("room")
    shutil.copytree(BARN_WALL, folder / "barn-wall")
    rig = folder / "barn-wall" / "rig.toml"
    rig.write_text(rig.read_text().replace('"100 Hz"', '"30 Hz"'))
    film(folder, "touches", ["stylus-wren"])
    return folder


def film(folder, name, touched_by):
    simulate(
        folder / "barn-wall", "registration", folder / name, 7,
        frames_per_place=14, touched_by=touched_by,
    )  # fmt: skip


def test_register_writes_a_vouched_registration_and_its_picture(room, tmp_path):
    out = tmp_path / "registration.json"
    result = run(
        "register", "--footage", room / "touches", "--rig", room / "barn-wall", "--out", out
    )
    assert result.exit_code == 0, result.output
    assert "registration from simulated touches" in result.output
    assert "9 touches agree" in result.output
    found = read_document(Registration, out)
    assert found.header.basis == "simulated" and found.header.seed == 7
    assert set(found.header.inputs) == {"rig", "footage"}
    assert found.verdict.vouched and len(found.touches) == 9
    assert all(touch.carried == "stylus-wren" and touch.frames > 8 for touch in found.touches)
    # The touches place the camera within a few centimetres of where the rig says it stands.
    assert np.allclose(found.maps[0].camera_position_m, [1.2, 1.6, 2.85], atol=0.1)
    svg = out.with_suffix(".svg").read_text()
    assert "simulated touches" in svg and len(svg) < 300_000


def test_register_gives_the_same_as_json(room, tmp_path):
    out = tmp_path / "registration.json"
    result = run(
        "register", "--footage", room / "touches", "--rig", room / "barn-wall",
        "--out", out, "--json",
    )  # fmt: skip
    told = json.loads(result.stdout)
    assert told["vouched"] and told["basis"] == "simulated" and len(told["touches"]) == 9
    assert 0 < told["worst_error_mm"] < 12


def test_the_same_footage_gives_the_same_registration(room, tmp_path):
    first, second = (
        job(room / "touches", room / "barn-wall", tmp_path / name).registration
        for name in ("a.json", "b.json")
    )
    assert first.content_hash() == second.content_hash()
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def altered(room, tmp_path, **changes):
    """The footage with another sidecar."""
    folder = tmp_path / "footage"
    shutil.copytree(room / "touches", folder)
    header = read_document(FootageHeader, folder / "footage.json")
    header.model_copy(update=changes).write(folder / "footage.json")
    return folder, header


def test_a_beacon_shown_elsewhere_is_left_out_and_told(room, tmp_path):
    folder, header = altered(room, tmp_path)
    goals = list(header.goals)
    x, y = goals[3].place_m
    goals[3] = goals[3].model_copy(update={"place_m": (x + 0.08, y)})
    header.model_copy(update={"goals": goals}).write(folder / "footage.json")
    result = run(
        "register", "--footage", folder, "--rig", room / "barn-wall",
        "--out", tmp_path / "registration.json",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert "no: bad" in result.output
    assert f"left out as bad: the touch at ({x + 0.08:.3f}, {y:.3f}) m" in result.output


def test_five_touches_are_written_but_not_vouched_for(room, tmp_path):
    folder, header = altered(room, tmp_path)
    goals = [header.goals[i] for i in (0, 2, 4, 6, 8)]
    header.model_copy(update={"goals": goals}).write(folder / "footage.json")
    out = tmp_path / "registration.json"
    result = run("register", "--footage", folder, "--rig", room / "barn-wall", "--out", out)
    assert result.exit_code == 1
    assert "NOT vouched for" in result.output and "only 5 touches are usable" in result.output
    assert not read_document(Registration, out).verdict.vouched


def test_footage_without_goals_asks_for_the_plan(room, tmp_path):
    folder, _ = altered(room, tmp_path, goals=[])
    with pytest.raises(RushlightError, match="does not say which beacons were touched"):
        job(folder, room / "barn-wall", tmp_path / "registration.json")


def test_footage_of_something_else_is_refused(room, tmp_path):
    folder, _ = altered(room, tmp_path, script="grid")
    with pytest.raises(RushlightError, match="shows no touched beacons"):
        job(folder, room / "barn-wall", tmp_path / "registration.json")


def test_a_camera_that_stands_elsewhere_is_told(room, tmp_path):
    rig = tmp_path / "barn-wall"
    shutil.copytree(room / "barn-wall", rig)
    text = (rig / "rig.toml").read_text()
    (rig / "rig.toml").write_text(text.replace('"1.6 m", "2.85 m"', '"1.2 m", "2.5 m"'))
    result = job(room / "touches", rig, tmp_path / "registration.json")
    told = " ".join(str(finding) for finding in result.findings)
    assert "from where the touches place it" in told
    assert "has changed since the footage was made from it" in told


def test_two_styli_share_a_map_and_each_is_told_its_way(room, tmp_path):
    film(room, "both", [])
    out = tmp_path / "registration.json"
    result = run("register", "--footage", room / "both", "--rig", room / "barn-wall", "--out", out)
    assert result.exit_code == 0, result.output
    assert "stylus-ash touches" in result.output
    aside = np.array([*read_document(Registration, out).aside_m.values()])
    assert aside.shape == (2, 2) and np.allclose(aside.sum(axis=0), 0.0, atol=1e-12)


def test_footage_that_tells_no_beacons_goes_by_the_order_of_the_plan(room, tmp_path):
    write_plan(room / "barn-wall", tmp_path / "plan")
    planned = tmp_path / "plan" / "plan.json"
    simulate(
        room / "barn-wall", "registration", tmp_path / "touches", 3,
        plan=planned, frames_per_place=14,
    )  # fmt: skip
    header = read_document(FootageHeader, tmp_path / "touches" / "footage.json")
    told = job(tmp_path / "touches", room / "barn-wall", tmp_path / "told.json").registration
    header.model_copy(update={"goals": []}).write(tmp_path / "touches" / "footage.json")
    found = job(
        tmp_path / "touches", room / "barn-wall", tmp_path / "found.json", plan_path=planned
    ).registration
    assert "plan" in found.header.inputs
    assert [touch.carried for touch in found.touches] == [touch.carried for touch in told.touches]
    assert np.allclose(
        found.maps[0].surface_from_normalised, told.maps[0].surface_from_normalised, atol=1e-9
    )


def test_the_plan_of_another_rig_is_refused(room, tmp_path):
    other = tmp_path / "other"
    shutil.copytree(room / "barn-wall", other)
    text = (other / "rig.toml").read_text()
    (other / "rig.toml").write_text(text.replace('width = "2.4 m"', 'width = "2.3 m"'))
    write_plan(other, tmp_path / "plan")
    with pytest.raises(RushlightError, match="is the plan of another rig"):
        job(
            room / "touches",
            room / "barn-wall",
            tmp_path / "registration.json",
            plan_path=tmp_path / "plan" / "plan.json",
        )
    assert not (tmp_path / "registration.json").exists()
