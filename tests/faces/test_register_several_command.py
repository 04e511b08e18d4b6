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
from rushlight.records.registration import DisplaySurvey
from rushlight.track.mapping import SurfaceMap

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


def test_a_survey_puts_the_places_of_every_camera_where_the_picture_hangs(room, tmp_path):
    barn = tmp_path / "barn"
    shutil.copytree(room / "barn", barn)
    register_several([room / "beam", room / "rafter"], barn, tmp_path / "plain.json")
    # As if the picture hung 50 mm to the right of where the rig says, and 20 mm lower.
    moved_m = np.array([0.05, -0.02])
    survey = DisplaySurvey(
        surface="wall",
        surface_from_display=[
            [2.4 / 1280, 0.0, moved_m[0]], [0.0, -1.5 / 800, 1.5 + moved_m[1]], [0.0, 0.0, 1.0],
        ],
        size_m=(2.4, 1.5),
    ).stamped("measured")  # fmt: skip
    survey.write(barn / "survey.json")
    out = tmp_path / "registration.json"
    result = run(
        "register", "--footage", room / "beam", "--footage", room / "rafter", "--rig", barn,
        "--survey", barn / "survey.json", "--out", out,
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    joint = read_document(JointRegistration, out)
    without = read_document(JointRegistration, tmp_path / "plain.json")
    assert without.registrations[0].valid_for.survey is None
    for with_it, bare in zip(joint.registrations, without.registrations, strict=True):
        assert with_it.valid_for.survey == survey.content_hash()
        size_px, camera = with_it.valid_for.size_px, with_it.valid_for.camera
        places = [
            SurfaceMap(each, camera, size_px)(np.array([[320.0, 200.0]]), np.eye(2)[None])[0][0]
            for each in (with_it, bare)
        ]
        assert places[0] - places[1] == pytest.approx(moved_m, abs=1e-3)
    # The cameras agree as well as without, and a run heeds that survey and no other.
    assert joint.agreements[0].apart_m == pytest.approx(without.agreements[0].apart_m, abs=2e-4)
    run_job(room / "rafter", tmp_path / "with.sqlite", barn, out)
    survey.model_copy(update={"misfit": 1.0}).stamped("measured").write(barn / "survey.json")
    with pytest.raises(RushlightError, match="not the survey that the registration was made with"):
        run_job(room / "rafter", tmp_path / "other.sqlite", barn, out)


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


def test_both_cameras_are_joined_live_as_they_are_when_recorded(room, tmp_path):
    """Replayed at their own pace, they tell the same presses at the same places."""
    register_several([room / "beam", room / "rafter"], room / "barn", tmp_path / "r.json")
    by = ("--rig", room / "barn", "--registration", tmp_path / "r.json")
    recorded, live = tmp_path / "recorded.sqlite", tmp_path / "live.sqlite"
    films = [each for camera in ("beam", "rafter") for each in ("--footage", room / camera)]
    assert run("run", *films, *by, "--out", recorded).exit_code == 0
    sources = [
        each
        for camera in ("beam", "rafter")
        for each in ("--camera", f"{camera}=simulated:{room / camera}")
    ]
    result = run("run", *sources, *by, "--output", "none", "--out", live)
    assert result.exit_code == 0, result.output
    pressed = {}
    for session in (recorded, live):
        with SessionReader(session) as reader:
            assert reader.header.cameras == ["beam", "rafter"]
            assert reader.basis == "simulated"
            fixes = [fix for fix in reader.fixes() if not fix.predicted]
            events = [each for each in reader.events() if each.kind.startswith("switch-")]
        assert {("beam", "rafter"), ("beam",)} <= {fix.cameras for fix in fixes}
        assert [each.kind for each in events] == ["switch-down", "switch-up"] * (len(events) // 2)
        pressed[session] = np.array(
            [
                np.median(
                    [f.position_m[:2] for f in fixes if down.time_ns <= f.valid_ns <= up.time_ns],
                    axis=0,
                )
                for down, up in zip(events[::2], events[1::2], strict=True)
            ]
        )
    assert pressed[live].shape == pressed[recorded].shape == (9, 2)
    np.testing.assert_allclose(pressed[live], pressed[recorded], atol=5e-4)


def test_several_live_cameras_want_their_joint_registration(room):
    result = run("run", "--camera", "beam=camera:0", "--camera", "rafter=camera:1",
                 "--rig", room / "barn")  # fmt: skip
    assert isinstance(result.exception, RushlightError)
    assert "give --rig and the joint registration of its cameras" in str(result.exception)


def test_one_camera_twice_is_refused(room, tmp_path):
    with pytest.raises(RushlightError, match='is of the camera "beam", as another one is'):
        register_several([room / "beam"] * 2, room / "barn", tmp_path / "r.json")


def test_folders_of_a_rig_in_space_are_refused(room, tmp_path):
    space = BARN_WALL.parent / "paper-theatre"
    with pytest.raises(RushlightError, match="its cameras film at once"):
        register_several([room / "beam", room / "rafter"], space, tmp_path / "r.json")
