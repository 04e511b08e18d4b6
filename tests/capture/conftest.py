"""Small recordings of known pictures, written for the tests."""

from fractions import Fraction

import av
import numpy as np
import pytest


@pytest.fixture
def pictures():
    """Twelve 64×48 pictures, no two alike."""
    random = np.random.default_rng(3)
    return random.integers(0, 256, (12, 48, 64), dtype=np.uint8)


@pytest.fixture
def write_video():
    """Writes pictures as a video: (path, pictures, pts in ms, codec, pixel format)."""

    def write(path, pictures, times_ms=None, codec="ffv1", pixels="gray"):
        times_ms = [10 * k for k in range(len(pictures))] if times_ms is None else times_ms
        with av.open(str(path), "w") as container:
            stream = container.add_stream(codec, rate=1000)
            stream.height, stream.width = pictures[0].shape
            stream.pix_fmt = pixels
            deep = pixels if pixels.startswith("gray1") else "gray16le"
            depth = deep if pictures[0].dtype == np.uint16 else "gray"
            for picture, time_ms in zip(pictures, times_ms, strict=True):
                frame = av.VideoFrame.from_ndarray(picture, format=depth)
                frame.pts = time_ms
                frame.time_base = Fraction(1, 1000)
                container.mux(stream.encode(frame))
            container.mux(stream.encode())
        return path

    return write
