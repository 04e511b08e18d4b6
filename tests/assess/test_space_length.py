"""Checks of a volume rig by a swung bar: dots that are true, and dots of a wrong registration."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from space_sessions import fix

from rushlight.assess.space_length import length_figures, reprojection_figures
from rushlight.assess.space_recording import read_space_recordings
from rushlight.jobs.load import load_rig
from rushlight.keep.session import SessionWriter
from rushlight.physics.geometry import quaternion_from_matrix
from rushlight.physics.geometry.rotation import rotation_of_facing
from rushlight.physics.geometry.sight import sight_of
from rushlight.records.dots import Dots, Frame
from rushlight.records.figure import Scope
from rushlight.records.registration import Verdict
from rushlight.records.session import Clock, SessionHeader, TrailLink
from rushlight.records.space_registration import SpaceCamera, SpaceRegistration
from rushlight.shelf.resolve_space import resolve_space

SCENARIOS = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios"
FRAMES, PERIOD_S, LATE_S = 200, 1 / 60, 0.007


@pytest.fixture(scope="module")
def space():
    return resolve_space(*load_rig(SCENARIOS / "choir-baton"))


def registered(space, wider=1.0):
    c = space.cameras
    poses = np.array(c.rig_from_camera[0])
    poses[1, :3, 3] = poses[0, :3, 3] + wider * (poses[1, :3, 3] - poses[0, :3, 3])
    cameras = [
        SpaceCamera(
            camera=name,
            size_px=tuple(int(side) for side in c.size_px[0, i]),
            camera_matrix=c.K[0, i].tolist(),
            distortion=c.distortion[0, i].tolist(),
            translation_m=tuple(poses[i, :3, 3].tolist()),
            quaternion=tuple(quaternion_from_matrix(poses[i, :3, :3]).tolist()),
            clock_offset_ns=round(LATE_S * 1e9) * i,
        )
        for i, name in enumerate(space.camera_ids)
    ]
    return SpaceRegistration(
        rig="0" * 64, kinds=["volume"], method="swing", cameras=cameras,
        cov=np.zeros((30, 30)).tolist(), verdict=Verdict(vouched=True, reasons=[]),
    )  # fmt: skip


def swing(space, path, jerk=0.0):
    """A session of a swung bar, its dots exactly where they fall; the second camera runs late."""
    bar, c = space.scale_bar, space.cameras
    head = SessionHeader(
        role="session", rig_name=space.name, footage="f0" * 32, registration="a0" * 32,
        cameras=list(space.camera_ids), carried=[bar.id],
        clocks=[Clock(id="left", kind="file"), Clock(id="right", kind="file")], script="swing",
    )  # fmt: skip
    with SessionWriter(path, head, "measured") as session:
        for camera, name in enumerate(space.camera_ids):
            for frame in range(FRAMES):
                # The second camera's frames fall between those of the first.
                time_s = frame * PERIOD_S + camera * 0.004
                jump = jerk * (frame == FRAMES // 2)
                place = np.array([0.0, 1.35, 0.45]) + 0.1 * np.sin([3 * time_s, 4 * time_s, 2.0])
                turn = rotation_of_facing(0.4 * np.sin(2 * time_s), 0.3, 3 * np.sin(2.5 * time_s))
                lights = place + jump + bar.lights_m @ turn.T
                px = sight_of(
                    lights, c.K[0, camera], c.distortion[0, camera], c.rig_from_camera[0, camera]
                ).px
                at_ns = round((time_s + camera * LATE_S) * 1e9)
                session.put_frame(Frame(name, frame, at_ns, 0.0, None))
                if camera == 0:
                    session.put_fix(fix(at_ns, frame, bar, place, turn))
                two = np.zeros(2)
                session.put_dots(
                    name,
                    frame,
                    Dots(px, np.zeros((2, 2, 2)), two, np.zeros((2, 3)), two, two.astype(int),
                         two, two.astype(int)),
                )  # fmt: skip
                session.put_links(
                    [
                        TrailLink(camera=name, frame=frame, dot=i, trail=bar.lights[i],
                                  carried=bar.id, emitter=bar.light_ids[i], confidence=1.0,
                                  state="held")
                        for i in range(2)
                    ]
                )  # fmt: skip
    return read_space_recordings([path], [])


def figures(space, recordings, registration):
    scope = Scope(rig=space.name)
    found, results = length_figures(recordings, scope, space, registration)
    found += reprojection_figures(recordings, scope, space, registration)
    return {(each.name, each.statistic): each for each in found}, results


def test_true_dots_give_the_length_that_was_told(space, tmp_path):
    """Between the second camera's frames the cubic is off by micrometres here."""
    told, [result] = figures(space, swing(space, tmp_path / "s.sqlite"), registered(space))
    assert result.n > FRAMES - 8 and result.found_m == pytest.approx(0.4, abs=2e-6)
    assert told["length-error", "rms"].value < 0.005
    assert told["length-error", "max"].value < 0.02
    assert told["length-error", "mean"].value == pytest.approx(0.0, abs=0.002)
    assert told["reprojection", "rms"].value < 0.02
    assert {each.scope.carried for each in told.values()} == {"rod"}


def test_a_wrong_baseline_scales_lengths_and_leaves_misses(space, tmp_path):
    told, _ = figures(space, swing(space, tmp_path / "s.sqlite"), registered(space, 1.01))
    assert told["length-error", "mean"].value == pytest.approx(4.0, abs=1.0)
    assert told["length-error", "max"].value >= told["length-error", "rms"].value > 3.0


def test_a_dot_that_jumps_between_frames_does_not_count(space, tmp_path):
    """A cubic through a jump would tell of places where nothing was."""
    _, [steady] = figures(space, swing(space, tmp_path / "a.sqlite"), registered(space))
    told, [jumped] = figures(space, swing(space, tmp_path / "b.sqlite", 0.05), registered(space))
    assert steady.n - 6 <= jumped.n < steady.n
    assert told["length-error", "rms"].value < 5.0
