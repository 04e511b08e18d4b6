"""Blocks found in pictures that real coders coded, and not found in raw ones."""

import io
import itertools

import av
import cv2
import numpy as np
import pytest
from PIL import Image

from rushlight.inspect.compression import blockiness, compression

SHAPE = (240, 320)


def texture(rng):
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    light = 80 + 40 * np.sin(x / 17) + 30 * np.cos(y / 11 + x / 40)
    light[60:120, 100:180] += 60
    return light + rng.normal(0, 1.5, SHAPE)


def dots(rng):
    """Six lights that happen to stand a whole number of blocks apart."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    light = np.full(SHAPE, 12.0)
    for k in range(6):
        light += 150 * np.exp(-((x - 40 * k - 30) ** 2 + (y - 32 * k - 40) ** 2) / 2 / 1.2**2)
    return light + rng.normal(0, 0.8, SHAPE)


def flat(rng):
    return 90 + rng.normal(0, 1.5, SHAPE)


def raw(scene, seed, count=4):
    rng = np.random.default_rng(seed)
    return [np.clip(np.rint(scene(rng)), 0, 255).astype(np.uint8) for _ in range(count)]


@pytest.mark.parametrize("scene", [texture, dots, flat])
def test_raw_pictures_show_no_sign(take, scene):
    for seed in range(12):
        result = compression([take("scene", raw(scene, seed))])
        assert result.verdict == "no sign of compression", seed
        assert not result.hints


@pytest.mark.parametrize("scene", [texture, dots])
@pytest.mark.parametrize("quality", [90, 80, 60])
def test_jpeg_pictures_are_found_out(take, scene, quality):
    coded = [
        cv2.imdecode(cv2.imencode(".jpg", each, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], 0)
        for each in raw(scene, 3)
    ]
    result = compression([take("scene", coded)])
    assert result.verdict.startswith("compressed")


@pytest.mark.parametrize("quality", [80, 60, 40])
def test_the_step_is_that_of_the_coder_table(take, quality):
    coded = []
    for each in raw(texture, 4):
        buffer = io.BytesIO()
        Image.fromarray(each).save(buffer, "JPEG", quality=quality)
        picture = Image.open(buffer)
        # In the order of the zigzag: the mean, then the three lowest frequencies.
        table = picture.quantization[0]
        coded.append(np.asarray(picture))
    result = compression([take("scene", coded)])
    assert result.extra["step_of_scale"] in {table[1], table[2], table[4], table[8]}


@pytest.mark.parametrize("quantiser", [1, 3, 8, 12])
def test_the_hint_names_the_video_coder_quantiser(take, quantiser):
    result = compression([take("film", coded_by(raw(texture, 5), quantiser))])
    assert result.hints == (f'stream = {{ codec = "mjpeg", quality = {quantiser} }}',)


@pytest.mark.parametrize("factor", [23, 30])
def test_a_coder_between_pictures_is_found_out_but_its_quality_left_open(take, factor):
    options = {"crf": str(factor), "preset": "ultrafast", "tune": "zerolatency"}
    result = compression([take("film", coded_by(raw(texture, 7, 8), 0, "libx264", options))])
    assert result.verdict.startswith("compressed") and not result.hints


def coded_by(pictures, quantiser, coder="mjpeg", options=None):
    """Pictures sent through a video coder and back."""
    buffer = io.BytesIO()
    colours = "yuvj420p" if coder == "mjpeg" else "yuv420p"
    with av.open(buffer, "w", format="matroska") as film:
        stream = film.add_stream(coder, rate=30, options=options)
        stream.width, stream.height, stream.pix_fmt = SHAPE[1], SHAPE[0], colours
        if quantiser:
            stream.codec_context.qmin = stream.codec_context.qmax = quantiser
        for each in pictures:
            frame = av.VideoFrame.from_ndarray(each, format="gray").reformat(format=colours)
            film.mux(stream.encode(frame))
        film.mux(stream.encode())
    buffer.seek(0)
    with av.open(buffer) as film:
        planes = [frame.planes[0] for frame in film.decode(video=0)]
        return [
            np.frombuffer(bytes(plane), np.uint8)
            .reshape(-1, plane.line_size)[: SHAPE[0], : SHAPE[1]]
            .copy()
            for plane in planes
        ]


def test_the_null_law_of_blockiness_is_even(take):
    """In raw noise, the share called chance is spread evenly, so that 5 % lie below 5 %."""
    chances = [blockiness(np.stack(raw(flat, seed, 1)), axis=2).chance for seed in range(80)]
    assert np.mean(np.array(chances) < 0.05) <= 0.15  # binomial: 1 in 1000 beyond
    assert 0.35 < np.mean(chances) < 0.65


def test_blocks_that_stand_still_are_suspected(take):
    rng = np.random.default_rng(6)
    pictures = raw(texture, 6)
    for before, after in itertools.pairwise(pictures):
        for y in range(0, SHAPE[0], 8):
            for x in range(0, SHAPE[1], 8):
                if rng.random() < 0.3:
                    after[y : y + 8, x : x + 8] = before[y : y + 8, x : x + 8]
    result = compression([take("film", pictures)])
    assert "stand still" in result.verdict


def test_empty_and_small_pictures_cannot_tell(take):
    assert not compression([take("dark", [np.full(SHAPE, 3, np.uint8)])]).told
    assert not compression([take("small", [np.zeros((16, 16), np.uint8)])]).told
