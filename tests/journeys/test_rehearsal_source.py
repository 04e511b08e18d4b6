"""`--camera rehearsal:SEED` wherever a live source is taken."""

import numpy as np
import pytest

from rushlight.capture.open_live import check_source, open_live
from rushlight.errors import RushlightError
from rushlight.jobs.check_live import live_findings
from rushlight.jobs.live import run_live
from rushlight.jobs.live_choice import LiveChoice
from rushlight.jobs.load import load_rig
from rushlight.jobs.rehearsal import open_rehearsal
from rushlight.jobs.sources import open_source
from rushlight.keep.session import SessionReader


def test_a_run_follows_rehearsed_hands_and_says_that_they_are_simulated(wall, tmp_path):
    choice = LiveChoice(source="rehearsal:3", outputs=(), length="4 s")
    told = run_live(choice, tmp_path / "run.sqlite", wall.home, wall.home / "registration.json")
    assert told.basis == "simulated"
    assert told.frames > 0
    with SessionReader(tmp_path / "run.sqlite") as session:
        assert session.basis == "simulated"


def test_frames_come_in_real_time_with_their_captures_on_this_clock(wall):
    with open_source("rehearsal:3", wall.home) as source:
        frames = [frame for frame, _ in zip(source, range(20), strict=False)]
    steps = np.diff([frame.capture_ns for frame in frames])
    period_ns = 1e9 / 100.0
    whole = np.rint(steps / period_ns)
    assert np.all(whole >= 1)
    assert source.simulated
    assert source.rehearsed


def test_unpaced_no_frame_is_dropped_and_each_keeps_its_truth(wall):
    source = open_rehearsal("rehearsal:3", wall.home, paced=False)
    with source:
        frames = [frame for frame, _ in zip(source, range(50), strict=False)]
    assert [frame.index for frame in frames] == list(range(50))
    assert np.allclose(np.diff([frame.capture_ns for frame in frames]), 1e7, atol=2)
    assert source.truth(frames[-1].capture_ns).tip_m.shape == (2, 2)
    assert source.truth(0) is None


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("rehearsal:x", "camera = rehearsal:x has no whole number from 0 as its seed"),
        ("rehearsal:-1", "camera = rehearsal:-1 has no whole number from 0 as its seed"),
        ("rehearsal:7", "camera = rehearsal:7 rehearses a rig, and none was given; give the rig"),
    ],
)
def test_what_cannot_be_rehearsed_is_said_in_one_sentence(text, sentence):
    with pytest.raises(RushlightError) as caught:
        open_live(text)
    assert str(caught.value).startswith(sentence)


def test_a_rig_may_name_a_rehearsal_as_its_source(wall):
    check_source("rehearsal:7", "camera")
    rig, _ = load_rig(wall.home)
    for source, wrong in (("rehearsal:7", 0), ("rehearsal:seven", 1)):
        camera = rig.cameras[0].model_copy(update={"source": source})
        found = live_findings(rig.model_copy(update={"cameras": [camera]}), "rig.toml")
        assert len(found) == wrong
