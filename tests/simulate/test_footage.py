"""Footage on disk: lossless, exact in time, repeatable, with its truth beside it."""

import hashlib

import av
import numpy as np
import pytest

from rushlight.capture.open import open_footage
from rushlight.capture.video import grey_frames
from rushlight.errors import RushlightError
from rushlight.keep.session import SessionReader
from rushlight.physics.geometry import camera_matrix
from rushlight.records.document import read_document
from rushlight.records.dots import Frame
from rushlight.records.session import FootageHeader
from rushlight.simulate import scripts
from rushlight.simulate.footage import Video, frames, write_footage
from rushlight.simulate.warm import warm
from rushlight.simulate.world import ALL_CAUSES

SMALL = {"size_px": [[[160, 120]]], "K": camera_matrix(120.0, [79.5, 59.5])[None, None]}


@pytest.fixture
def small(make_world):
    """A world with a small picture, and a short script in it."""

    def make(seed=3, causes=ALL_CAUSES):
        world = make_world(seed, causes, cameras=SMALL)
        return world, scripts.grid(world, 2, 2, hold_s=0.1)

    return make


def test_video_gives_back_every_pixel(small, tmp_path):
    world, script = small()
    header = write_footage(world, script, tmp_path)
    with av.open(str(tmp_path / header.picture)) as video:
        decoded = [each.to_ndarray() for each in video.decode(video=0)]
    made = [frame.image for frame, _ in frames(world, script)]
    assert len(decoded) == len(made) == len(header.capture_ns)
    assert all(np.array_equal(ours, theirs) for ours, theirs in zip(made, decoded, strict=True))


@pytest.mark.parametrize("full_dn", [255, 1023, 4095, 65535])
@pytest.mark.parametrize("size_px", [(160, 120), (33, 17), (1, 1)])
def test_video_is_lossless_at_any_depth_and_size(full_dn, size_px, tmp_path):
    """Also of what cannot be compressed: each level as likely as any other."""
    rng = np.random.default_rng(full_dn)
    kind = np.uint8 if full_dn == 255 else np.uint16
    made = [rng.integers(0, full_dn + 1, size_px[::-1]).astype(kind) for _ in range(3)]
    made += [np.zeros_like(made[0]), np.full_like(made[0], full_dn)]
    with Video(tmp_path / "film.avi", size_px, 60.0, full_dn) as video:
        for index, image in enumerate(made):
            video.put(Frame("camera", index, index, 0.0, image))
    held = list(grey_frames(tmp_path / "film.avi"))
    assert len(held) == len(made)
    for image, (found, _, _) in zip(made, held, strict=True):
        assert found.dtype == kind
        assert np.array_equal(image, found)


def test_footage_without_its_sidecar_still_says_that_it_is_simulated(small, tmp_path):
    world, script = small()
    write_footage(world, script, tmp_path / "made")
    alone = tmp_path / "alone.avi"
    alone.write_bytes((tmp_path / "made" / "footage.avi").read_bytes())
    footage = open_footage(alone)
    assert footage.header is None
    assert footage.simulated


def test_same_seed_gives_the_same_file_and_another_seed_another(small, tmp_path):
    digests = []
    for name, seed in (("a", 3), ("b", 3), ("c", 4)):
        world, script = small(seed)
        write_footage(world, script, tmp_path / name)
        digests.append(hashlib.sha256((tmp_path / name / "footage.avi").read_bytes()).hexdigest())
    assert digests[0] == digests[1]
    assert digests[0] != digests[2]


def test_sidecar_tells_exact_times_and_what_was_shown_but_no_truth(small, tmp_path):
    world, script = small()
    written = write_footage(world, script, tmp_path, rig_hash="0" * 64)
    header = read_document(FootageHeader, tmp_path / "footage.json")
    assert header == written
    assert all(type(time) is int for time in header.capture_ns)
    steps = np.diff(header.capture_ns)
    assert set(steps.tolist()) <= {16_666_666, 16_666_667}
    assert header.exposure_ns == 400_000
    assert header.simulated
    assert header.header.basis == "simulated"
    assert header.header.seed == 3
    assert header.header.inputs == {"rig": "0" * 64}
    assert len(header.goals) == 8
    assert set(header.causes) == ALL_CAUSES


def test_truth_holds_places_dots_and_switches(small, tmp_path):
    world, script = small()
    header = write_footage(world, script, tmp_path, rig_name="barn")
    states = [state for _, state in frames(world, script)]
    with SessionReader(tmp_path / "truth.sqlite") as truth:
        assert truth.basis == "simulated"
        assert truth.closed
        assert truth.header.footage == header.header.content_hash
        fix, dot, link, event = (
            truth.fix_table(),
            truth.dot_table(),
            truth.trail_table(),
            truth.event_table(),
        )
    assert len(fix["frame"]) == 2 * len(states)
    for emitter in (0, 1):
        rows = fix["trail"] == emitter
        assert np.array_equal(fix["x_m"][rows], [state.tip_m[emitter, 0] for state in states])
        assert np.array_equal(fix["switch"][rows], [state.lit[emitter] for state in states])
    assert np.isnan(fix["z_m"]).all()
    shown = [state.px[state.electrons > 0] for state in states]
    assert np.array_equal(np.column_stack([dot["x_px"], dot["y_px"]]), np.concatenate(shown))
    assert set(zip(link["trail"], link["carried"], strict=True)) == {
        (0, "stylus-1"),
        (1, "stylus-2"),
    }
    downs = event["time_ns"][(event["kind"] == "switch-down") & (event["trail"] == 1)]
    assert downs.tolist() == [round(t * 1e9) for t in script.timelines[1].lit_s[:, 0]]


def test_existing_footage_is_not_overwritten(small, tmp_path):
    world, script = small()
    write_footage(world, script, tmp_path)
    before = (tmp_path / "footage.avi").read_bytes()
    with pytest.raises(RushlightError, match=r"footage\.avi exists already; choose another"):
        write_footage(world, script, tmp_path)
    assert (tmp_path / "footage.avi").read_bytes() == before


def test_a_place_that_cannot_be_written_is_told(small, tmp_path):
    (tmp_path / "file").write_text("")
    world, script = small()
    with pytest.raises(RushlightError, match="cannot be made"):
        write_footage(world, script, tmp_path / "file" / "below")


@pytest.mark.parametrize(
    ("name", "causes", "noisy"),
    [
        ("grid", ALL_CAUSES, True),
        ("grid", ALL_CAUSES - {"centre"}, False),
        ("registration", ALL_CAUSES - {"centre"}, True),
        ("registration", ALL_CAUSES - {"registration"}, False),
    ],
)
def test_sensor_noise_follows_its_cause(make_world, name, causes, noisy):
    world = make_world(3, causes, cameras=SMALL)
    first, second = (
        frame.image
        for frame, _ in zip(
            (pair[0] for pair in frames(world, getattr(scripts, name)(world))),
            range(2),
            strict=False,
        )
    )
    assert (not np.array_equal(first, second)) == noisy


def test_two_styli_are_seen_at_once(make_world):
    world = make_world(3, ())
    script = scripts.strokes(world)
    middle = script.timelines[0].lit_s[0].mean()
    index = int(middle * world.frame_rate_hz)
    frame, state = next(pair for pair in frames(world, script) if pair[0].index == index)
    assert state.lit.all()
    for x_px, y_px in np.rint(state.px).astype(int):
        near = frame.image[y_px - 2 : y_px + 3, x_px - 2 : x_px + 3]
        assert near.max() > np.median(frame.image) + 40


def test_kernels_can_be_compiled_ahead():
    warm()
