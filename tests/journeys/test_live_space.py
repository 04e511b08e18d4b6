"""Rigs of space followed live by the command: their footage is replayed at its own pace.

It is replayed over and over until enough has been followed, however many frames are dropped: how
fast the machine is does not matter. What is compared is what a user gets.
"""

from pathlib import Path

import numpy as np
import pytest

import rushlight.jobs as jobs
from rushlight.drive.output import NOT_SENT
from rushlight.errors import RushlightError
from rushlight.jobs.live import run_live
from rushlight.jobs.live_choice import LiveChoice
from rushlight.jobs.live_outputs import Sending
from rushlight.jobs.load import load_rig
from rushlight.jobs.run_space import run_space
from rushlight.jobs.simulate_space import with_exposures
from rushlight.jobs.space_sources import named_sources, open_sources
from rushlight.keep.session import SessionReader
from rushlight.keep.writer import SessionWriter
from rushlight.physics.geometry.offaxis import off_axis
from rushlight.records.dots import Frame
from rushlight.records.session import SessionHeader
from rushlight.shelf.resolve_space import resolve_space
from rushlight.simulate import space_scripts
from rushlight.simulate.space_footage import write_space_footage
from rushlight.simulate.space_world import draw_space

SCENARIOS = Path(jobs.__file__).parent / "scenarios"
SECONDS, RATE_HZ = 1.6, 15
FRAMES = round(SECONDS * RATE_HZ)
UNTIL_FOUND = 6
"""Frames that may pass before a thing is found in its recording."""
ENOUGH = 8
"""So many fixes are waited for."""
STARTING_S = 300.0
"""The first run compiles the kernels, on a machine that may be at work."""
OUTPUTS = {"paper-theatre": ("--output", "views", "--output", "lines")}
RIGS = {"paper-theatre": 0.03, "ferry-model": 0.01, "choir-baton": 0.01}
"""By rig, how far fixes may be off in the root of the mean square [m]."""


def filmed(name, home, registration_of):
    """A rig of that scenario, slower, its footage and registration; the rig's space."""
    text = (SCENARIOS / name / "rig.toml").read_text()
    lines = [
        f'frame_rate = "{RATE_HZ} Hz"' if line.startswith("frame_rate") else line
        for line in text.splitlines()
    ]
    (home / "rig.toml").write_text("\n".join(lines) + "\n")
    rig, shelf = load_rig(home)
    space = with_exposures(resolve_space(rig, shelf))
    world = draw_space(space, 3)
    script = space_scripts.motion(world, SECONDS)
    write_space_footage(world, script, home / "film", rig_hash=rig.content_hash())
    registration_of(world, rig).write(home / "registration.json")
    return space


def seen_in(lines):
    """The fixes that were seen, in the lines that a run printed."""
    return [fix for line in lines for fix in line.get("fixes", []) if not fix["predicted"]]


class Onlooker:
    """Keeps what a live run shows."""

    def __init__(self):
        self.pictures = []

    def begins(self, source):
        pass

    def seen(self, followed):
        self.pictures.append(followed)

    def space_output(self, space):
        return Nobody()


class Nobody:
    """An output by which nothing leaves."""

    name, sent, lost, findings = "nobody", 0, 0, ()

    def put(self, results, steps):
        return NOT_SENT

    def close(self):
        pass


def fixes_of(path):
    with SessionReader(path) as reader:
        return list(reader.fixes())


@pytest.mark.parametrize("name", RIGS)
def test_it_is_followed_live_as_in_its_recording(name, started, registration_of, tmp_path):
    space = filmed(name, tmp_path, registration_of)
    out = tmp_path / "live.sqlite"
    outputs = OUTPUTS.get(name, ())
    run = started(tmp_path, "simulated:film", "--loop", "--out", out, *outputs).follow()
    run.until(lambda lines: len(seen_in(lines)) >= ENOUGH, STARTING_S, "enough fixes")
    told = run.end()
    assert "session from simulated frames, as they came," in " ".join(told.split())
    run_space(
        tmp_path / "film", tmp_path / "recorded.sqlite", tmp_path,
        tmp_path / "registration.json", None, None, None, lambda what, share: None,
    )  # fmt: skip
    true = {fix.frame: fix.position_m for fix in fixes_of(tmp_path / "film" / "truth.sqlite")}
    recorded = {fix.frame: fix for fix in fixes_of(tmp_path / "recorded.sqlite")}
    with SessionReader(out) as reader:
        assert reader.closed and reader.basis == "simulated"
        assert reader.header.cameras == list(space.camera_ids)
        live = [fix for fix in reader.fixes() if not fix.predicted]
        left = set(reader.departure_table()["output"].tolist())
    assert len(recorded) >= FRAMES - UNTIL_FOUND and len(live) >= ENOUGH
    # Round after round the frames of the film are counted on, those that were dropped too.
    error = [np.sum((fix.position_m - true[fix.frame % FRAMES]) ** 2) for fix in live]
    assert np.sqrt(np.mean(error)) < RIGS[name]
    # Frames may be dropped live, and then things are found anew: most fixes are the recording's.
    apart = [
        np.linalg.norm(fix.position_m - recorded[fix.frame % FRAMES].position_m)
        for fix in live if fix.frame % FRAMES in recorded
    ]  # fmt: skip
    assert np.median(apart) < (1e-4 if len(space.camera_ids) == 1 else 2e-3)
    for fix in live:
        assert fix.capture_ns <= fix.detect_ns <= fix.map_ns <= fix.sent_ns
        assert np.isfinite(fix.quaternion).all() or fix.dimensions == 3
    assert "session" in left and len(left) > 1
    if name == "paper-theatre":
        check_views(run.lines, live, space)
    elif name == "ferry-model":
        sent = seen_in(run.lines)
        assert [fix["frame"] for fix in sent] == [fix.frame for fix in live]
        assert all(None not in fix["quaternion"] for fix in sent)


def test_a_session_of_all_cameras_is_followed_over_and_over(registration_of, tmp_path):
    filmed("choir-baton", tmp_path, registration_of)
    recorded = tmp_path / "recorded.sqlite"
    run_space(
        tmp_path / "film", recorded, tmp_path, tmp_path / "registration.json",
        None, None, None, lambda what, share: None,
    )  # fmt: skip
    choice = LiveChoice(
        source=None, cameras=(f"session:{recorded}",), outputs=(), loop=True, length="4 s"
    )
    onlooker = Onlooker()
    told = run_live(
        choice, tmp_path / "again.sqlite", tmp_path, tmp_path / "registration.json",
        watch=onlooker,
    )  # fmt: skip
    # Whoever looks at the first camera's picture sees which of its dots are the baton's.
    named = [each for each in onlooker.pictures if each.links]
    assert len(named) > len(onlooker.pictures) / 2
    for each in named:
        assert {(link.camera, link.frame) for link in each.links} == {("left", each.frame.index)}
        assert all(0 <= link.dot < len(each.dots.xy) for link in each.links)
    indices = [each.frame.index for each in onlooker.pictures]
    assert indices == sorted(set(indices))
    assert told.basis == "simulated" and told.cameras == ["left", "right"]
    before = {fix.frame: fix.position_m for fix in fixes_of(recorded) if not fix.predicted}
    after = [fix for fix in fixes_of(told.session) if not fix.predicted]
    assert len({fix.frame // FRAMES for fix in after}) > 1, "it did not begin again"
    apart = [
        np.linalg.norm(fix.position_m - before[fix.frame % FRAMES])
        for fix in after if fix.frame % FRAMES in before
    ]  # fmt: skip
    # By one clock: were one camera late, a baton at 1 m/s would be centimetres off.
    assert len(apart) >= ENOUGH and np.median(apart) < 2e-3


def test_a_session_without_a_camera_of_the_rig_is_refused(tmp_path):
    header = SessionHeader(cameras=["left"], carried=["baton"], clocks=[])
    with SessionWriter(tmp_path / "half.sqlite", header, "simulated") as session:
        session.put_frame(Frame("left", 0, 10, 0.001, None))
    rig, _ = load_rig(SCENARIOS / "choir-baton")
    with pytest.raises(RushlightError, match='holds no frame of camera "right"'):
        open_sources([f"session:{tmp_path / 'half.sqlite'}"], rig, SCENARIOS / "choir-baton", False)


def check_views(lines, live, space):
    """Every matrix of the stream is the off-axis projection for the fix that was kept."""
    kept = {fix.frame: fix.position_m for fix in live}
    corners = np.stack([screen.corners_m for screen in space.screens])
    views = [
        view for line in lines for view in line.get("views", []) if view["frame"] in kept
    ]  # fmt: skip
    assert views  # a slow reader gets the newest, so not every one
    for view in views:
        drawn = off_axis(corners, kept[view["frame"]], view["near_m"], view["far_m"])
        for i, screen in enumerate(view["screens"]):
            assert screen["clip_from_eye"] == pytest.approx(drawn.projection[i], abs=1e-9)
            assert screen["eye_from_rig"] == pytest.approx(drawn.view[i], abs=1e-9)


@pytest.mark.parametrize("output", ["pointer", "desktop", "touch"])
def test_pointers_are_refused_in_space(output):
    rig, shelf = load_rig(SCENARIOS / "choir-baton")
    with pytest.raises(RushlightError, match="a thing that moves in space touches none"):
        Sending([output], 0.0, rig, resolve_space(rig, shelf))


def test_each_camera_is_given_its_own_source():
    rig, _ = load_rig(SCENARIOS / "choir-baton")
    address = "http://192.0.2.7:8080/video?size=full"
    given = named_sources(["right=camera:2", f"left={address}"], rig, "rig.toml")
    assert given == {"left": address, "right": "camera:2"}
    for wrong, why in (
        ([address], "does not say which of the cameras left, right it is"),
        (["middle=camera:1"], 'has no camera "middle"'),
        (["left=camera:1", "left=camera:2"], "a second source"),
    ):
        with pytest.raises(RushlightError, match=why):
            named_sources(wrong, rig, "rig.toml")
