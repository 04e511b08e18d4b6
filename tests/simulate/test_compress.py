"""Pictures through a coder and back: one out for one in, worse with every step of quality."""

import numpy as np
import pytest

from rushlight.capture.open import open_footage
from rushlight.physics.geometry import camera_matrix
from rushlight.records.rig import Stream
from rushlight.simulate import scripts
from rushlight.simulate.compress import Compressor
from rushlight.simulate.footage import frames, write_footage
from rushlight.simulate.world import ALL_CAUSES

MJPEG, COARSER = Stream(codec="mjpeg", quality=2), Stream(codec="mjpeg", quality=20)
H264, COARSEST = Stream(codec="h264", quality=18), Stream(codec="h264", quality=35)


def pictures(count, size_px):
    """A spot that moves over noise, (count, H, W)."""
    rng = np.random.default_rng(5)
    y, x = np.mgrid[: size_px[1], : size_px[0]]
    found = []
    for index in range(count):
        light = 150.0 * np.exp(-((x - 20 - 2 * index) ** 2 + (y - 30) ** 2) / 4.5)
        level = light + rng.normal(6.0, 1.0, light.shape)
        found.append(np.clip(np.rint(level), 0, 255).astype(np.uint8))
    return found


def rms(stream, size_px=(96, 64)):
    """How far decoded pictures are from those that went in [DN]."""
    compress = Compressor(stream, size_px, 30.0)
    apart = [compress(picture) - picture.astype(float) for picture in pictures(8, size_px)]
    return float(np.sqrt(np.mean(np.square(apart))))


def test_raw_pictures_pass_untouched():
    picture = pictures(1, (96, 64))[0]
    assert Compressor(Stream(codec="raw"), (96, 64), 30.0)(picture) is picture


@pytest.mark.parametrize(("finer", "coarser"), [(MJPEG, COARSER), (H264, COARSEST)])
def test_a_coarser_quality_changes_pictures_more(finer, coarser):
    assert 0.0 < rms(finer) < rms(coarser) < 10.0


def test_h264_without_loss_gives_back_every_pixel():
    assert rms(Stream(codec="h264", quality=0)) == 0.0


@pytest.mark.parametrize("stream", [MJPEG, H264])
def test_grey_levels_keep_their_range(stream):
    compress = Compressor(stream, (64, 64), 30.0)
    for level in (0, 100, 255):
        assert abs(int(compress(np.full((64, 64), level, np.uint8))[32, 32]) - level) <= 2


@pytest.mark.parametrize("stream", [MJPEG, H264])
def test_odd_sides_serve_too(stream):
    picture = pictures(1, (97, 65))[0]
    decoded = Compressor(stream, (97, 65), 30.0)(picture)
    assert decoded.shape == picture.shape
    assert np.abs(decoded.astype(int) - picture).max() < 60


def test_a_coder_shows_each_picture_at_once():
    """The spot stands where it stood in the picture that went in, not in an earlier one."""
    compress = Compressor(H264, (96, 64), 30.0)
    for picture in pictures(8, (96, 64)):
        brightest = np.unravel_index(picture.argmax(), picture.shape)
        decoded = np.unravel_index(compress(picture).argmax(), picture.shape)
        assert np.abs(np.subtract(brightest, decoded)).max() <= 1


@pytest.fixture
def small(make_world):
    def make(causes=ALL_CAUSES):
        lens = camera_matrix(120.0, [79.5, 59.5])[None, None]
        world = make_world(3, causes, cameras={"size_px": [[[160, 120]]], "K": lens})
        return world, scripts.grid(world, 2, 1, hold_s=0.1)

    return make


def test_footage_of_a_compressed_stream_is_really_compressed_and_says_so(small, tmp_path):
    world, script = small()
    header = write_footage(world, script, tmp_path, stream=COARSER)
    assert header.stream == COARSER
    kept = [frame.image for frame in open_footage(tmp_path)]
    compressed = [frame.image for frame, _ in frames(world, script, COARSER)]
    raw = [frame.image for frame, _ in frames(world, script)]
    assert all(np.array_equal(*pair) for pair in zip(kept, compressed, strict=True))
    assert not any(np.array_equal(*pair) for pair in zip(kept, raw, strict=True))


def test_compression_goes_with_the_cause_it_belongs_to(small, tmp_path):
    world, script = small(frozenset({"lens"}))
    header = write_footage(world, script, tmp_path, stream=COARSER)
    assert header.stream is None
    raw = [frame for frame, _ in frames(world, script)]
    kept = list(open_footage(tmp_path))
    assert all(np.array_equal(a.image, b.image) for a, b in zip(raw, kept, strict=True))
