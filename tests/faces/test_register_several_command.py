"""The verb register for two cameras of one surface, and a run by their joint registration."""

import shutil
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.register_several import register_several
from rushlight.jobs.run import run as run_job
from rushlight.jobs.simulate import simulate
from rushlight.keep.session import SessionReader
from rushlight.records.document import read_document
from rushlight.records.joint_registration import JointRegistration, registration_of

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"

SECOND = """
[[cameras]]
id = "rafter"
part = "vga-global-120"
position = ["0.7 m", "1.7 m", "2.8 m"]
look_at = ["1.2 m", "0.72 m", "0 m"]
exposure = "auto"
frame_rate = "30 Hz"
filter = "long-pass-850"

[[carried]]"""


def run(*arguments):
    return CliRunner(env={"COLUMNS": "160"}).invoke(app, [str(each) for each in arguments])


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    """The barn wall with a second camera; nine beacons touched before both."""
    folder = tmp_path_factory.mktemp("room")
    shutil.copytree(BARN_WALL, folder / "barn")
    rig = folder / "barn" / "rig.toml"
    text = rig.read_text().replace('"100 Hz"', '"30 Hz"').replace("\n[[carried]]", SECOND, 1)
    rig.write_text(text)
    for camera in ("beam", "rafter"):
        simulate(
            folder / "barn", "registration", folder / camera, 7, camera=camera,
            frames_per_place=14, touched_by=["stylus-wren"],
        )  # fmt: skip
    return folder


def test_both_cameras_in_one_document(room, tmp_path):
    out = tmp_path / "registration.json"
    result = run(
        "register", "--footage", room / "beam", "--footage", room / "rafter",
        "--rig", room / "barn", "--out", out,
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert "camera rafter" in result.output
    # One beacon is out of the second camera's view.
    assert "beam and rafter put the same 8 touches" in result.output
    joint = read_document(JointRegistration, out)
    assert joint.verdict.vouched
    assert [each.valid_for.camera for each in joint.registrations] == ["beam", "rafter"]
    # The hand's own error is the same to both, so they agree better than either meets the beacons.
    assert joint.agreements[0].apart_m < joint.registrations[0].rms_residual_m
    for camera in ("beam", "rafter"):
        own = registration_of(tmp_path / f"registration-{camera}.json", camera)
        assert registration_of(out, camera).content_hash() == own.content_hash()
        assert (tmp_path / f"registration-{camera}.svg").exists()
    with pytest.raises(RushlightError, match='holds none of the camera "loft"'):
        registration_of(out, "loft")
    # A run takes from it what belongs to its camera.
    session = run_job(room / "rafter", tmp_path / "session.sqlite", room / "barn", out)
    assert session is not None


def test_a_run_by_both_cameras_keeps_one_session(room, tmp_path):
    """The place of a held light by both lies nearer to the truth than by the worse of them, and
    the beacon that one camera cannot see is there all the same."""
    register_several([room / "beam", room / "rafter"], room / "barn", tmp_path / "r.json")
    out = tmp_path / "both.sqlite"
    # The camera that misses a beacon comes first.
    result = run(
        "run", "--footage", room / "rafter", "--footage", room / "beam", "--rig", room / "barn",
        "--registration", tmp_path / "r.json", "--out", out,
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    with SessionReader(room / "beam" / "truth.sqlite") as reader:
        truth = {fix.valid_ns: fix.position_m[:2] for fix in reader.fixes() if fix.switch}
    errors = {}
    alone = {camera: tmp_path / f"{camera}.sqlite" for camera in ("beam", "rafter")}
    for camera, session in alone.items():
        run_job(room / camera, session, room / "barn", tmp_path / "r.json")
    for name, session in {"both": out, **alone}.items():
        with SessionReader(session) as reader:
            assert (len(reader.header.cameras) == 2) == (name == "both")
            fixes = [fix for fix in reader.fixes() if not fix.predicted]
        times = np.array(sorted(truth))
        near = [times[np.argmin(np.abs(times - fix.valid_ns))] for fix in fixes]
        off = [
            np.linalg.norm(fix.position_m[:2] - truth[at])
            for fix, at in zip(fixes, near, strict=True)
            if abs(at - fix.valid_ns) < 2e6
        ]
        errors[name] = np.sqrt(np.mean(np.square(off)))
        if name == "both":
            used = {fix.cameras for fix in fixes}
            # The corner that only one camera sees.
            corner = [f for f in fixes if np.linalg.norm(f.position_m[:2] - [0.192, 0.12]) < 0.05]
            assert len(corner) > 8
    assert ("rafter", "beam") in used
    assert ("beam",) in used
    assert errors["both"] < max(errors["beam"], errors["rafter"])


def test_one_camera_twice_is_refused(room, tmp_path):
    with pytest.raises(RushlightError, match='is of the camera "beam", as another one is'):
        register_several([room / "beam"] * 2, room / "barn", tmp_path / "r.json")


def test_folders_of_a_rig_in_space_are_refused(room, tmp_path):
    space = BARN_WALL.parent / "paper-theatre"
    with pytest.raises(RushlightError, match="its cameras film at once"):
        register_several([room / "beam", room / "rafter"], space, tmp_path / "r.json")
