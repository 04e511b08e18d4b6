"""The kept table of what compressed streams cost, and how a rig's stream is looked up in it."""

import math

import numpy as np
import pytest

from rushlight.jobs.load import load_rig
from rushlight.physics.stream import SHIFT_SIGMAS_PX, stream_shift_px
from rushlight.records.rig import Stream
from rushlight.see.detect import Detector
from rushlight.see.sensor import SensorNoise
from rushlight.shelf.compression import built_in_compression, stream_words
from rushlight.shelf.resolve import resolve
from rushlight.simulate.compress import Compressor

SIZE_PX = (320, 240)
NOISE = SensorNoise(30.0, 1.0, 8.0)


def mjpeg(quality):
    return Stream(codec="mjpeg", quality=quality)


def h264(quality):
    return Stream(codec="h264", quality=quality)


def test_raw_pictures_cost_nothing():
    table = built_in_compression()
    for stream in (None, Stream(codec="raw")):
        assert not table.shift_dn_px(stream).any()
        assert table.stays(stream) == 0.0


@pytest.mark.parametrize("codec", [mjpeg, h264])
def test_every_step_of_quality_costs_more(codec):
    table = built_in_compression()
    shifts = [table.shift_dn_px(codec(quality)) for quality in range(10, 29)]
    if codec is mjpeg:
        shifts = [table.shift_dn_px(mjpeg(quality)) for quality in range(1, 11)]
    assert np.all(np.diff(shifts, axis=0) > 0)
    assert all(0.0 <= table.stays(codec(quality)) <= 1.0 for quality in (10, 14, 18, 28))


def test_tried_qualities_are_given_as_they_stand():
    table = built_in_compression()
    for one in table.streams:
        stream = Stream(codec=one.codec, quality=one.quality)
        np.testing.assert_allclose(table.shift_dn_px(stream), one.shift_dn_px)
        assert table.stays(stream) == pytest.approx(one.stays)
        assert table.beyond(stream) is None


def test_beyond_the_tried_qualities_the_nearest_counts():
    table = built_in_compression()
    np.testing.assert_allclose(table.shift_dn_px(mjpeg(20)), table.shift_dn_px(mjpeg(10)))
    assert table.beyond(mjpeg(20)) == (1, 10)
    assert table.beyond(h264(5)) == (10, 28)


def test_the_numbers_bear_their_source():
    table = built_in_compression()
    assert table.basis == "simulated"
    assert "computed here" in table.source


def test_shift_between_widths_and_beyond_them():
    shift = [1.0, 2.0, 3.0, 4.0, 5.0]
    np.testing.assert_allclose(stream_shift_px(shift, SHIFT_SIGMAS_PX, 1.0), shift)
    middle = math.sqrt(SHIFT_SIGMAS_PX[1] * SHIFT_SIGMAS_PX[2])
    assert float(stream_shift_px(shift, middle, 10.0)) == pytest.approx(0.25)
    np.testing.assert_allclose(stream_shift_px(shift, [0.1, 40.0], 1.0), [1.0, 5.0])
    assert stream_shift_px(np.ones((3, 1, 5)), np.ones((3, 4)), np.ones(4)).shape == (3, 4)
    with pytest.raises(ValueError, match=r"\(\.\.\., 5\)"):
        stream_shift_px([1.0, 2.0], 1.0, 1.0)


def test_a_camera_carries_the_cost_of_its_stream(barn):
    rig, shelf = load_rig(barn)
    assert not resolve(rig, shelf).cameras.stream_shift_dn_px.any()
    camera = rig.cameras[0].model_copy(update={"stream": mjpeg(3)})
    cameras = resolve(rig.model_copy(update={"cameras": [camera]}), shelf).cameras
    table = built_in_compression()
    np.testing.assert_allclose(cameras.stream_shift_dn_px[0, 0], table.shift_dn_px(mjpeg(3)))
    assert cameras.stream_stays[0, 0] == pytest.approx(table.stays(mjpeg(3)))


@pytest.mark.parametrize(
    ("quality", "severity", "said"),
    [
        (0, "error", "use 1 to 31"),
        (32, "error", "use 1 to 31"),
        (20, "warning", "counted as 10, which is too hopeful"),
    ],
)
def test_a_quality_that_cannot_be_or_was_not_tried_is_told(sentences, quality, severity, said):
    stream = f'stream = {{ codec = "mjpeg", quality = {quality} }}\n'
    found = sentences('exposure = "auto"', f'{stream}exposure = "auto"', severity)
    assert any("cameras[0].stream.quality" in one and said in one for one in found)


def test_streams_in_words():
    assert stream_words(None) == "raw"
    assert stream_words(mjpeg(3)) == "MJPEG quantiser 3"
    assert stream_words(h264(23)) == "H.264 rate factor 23"


@pytest.mark.parametrize("stream", [mjpeg(3), h264(23)])
def test_the_table_holds_for_other_pictures_than_it_was_made_from(stream):
    """Another size, noise, brightness and place of the dots; the coder is the same."""
    sigma_px, peak_dn, frames = 1.5, 90.0, 12
    rng = np.random.default_rng(11)
    compress, detector = Compressor(stream, SIZE_PX, 30.0), Detector(*SIZE_PX, NOISE)
    rows, columns = np.mgrid[: SIZE_PX[1], : SIZE_PX[0]]
    middles = np.array([(x, y) for x in range(40, 320, 60) for y in range(40, 240, 50)], float)
    before, after = [], []
    for _ in range(frames):
        middles += rng.uniform(-2.0, 2.0, middles.shape)
        light = sum(
            peak_dn * np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2 * sigma_px**2))
            for x, y in middles
        )
        spread = np.sqrt(NOISE.read_noise_dn**2 + light / NOISE.gain_e_per_dn)
        level = NOISE.offset_dn + light + spread * rng.standard_normal(light.shape)
        picture = np.clip(np.rint(level), 0, 255).astype(np.uint8)
        for kept, image in ((before, picture), (after, compress(picture))):
            gaps = detector(image).xy[None] - middles[:, None]
            nearest = np.linalg.norm(gaps, axis=2).argmin(axis=1)
            kept.append(gaps[np.arange(len(middles)), nearest])
    raw_px2, all_px2 = (float(np.mean(np.square(kept))) for kept in (before, after))
    shift_px = float(stream_shift_px(built_in_compression().shift_dn_px(stream), sigma_px, peak_dn))
    # 300 dots: an rms is known to about 5 %, more where errors stay from frame to frame.
    assert math.sqrt(all_px2) / math.hypot(math.sqrt(raw_px2), shift_px) == pytest.approx(1, 0.25)
