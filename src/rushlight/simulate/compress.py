"""Pictures as they come out of a compressed stream: encoded, and decoded again."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
import numpy.typing as npt

from rushlight.records.rig import Stream

Image = npt.NDArray[np.uint8]

FULL_RANGE = 2
"""FFmpeg's number for luma that spans 0–255 (libavutil, AVCOL_RANGE_JPEG)."""


class Compressor:
    """An encoder and a decoder in a row, for the pictures of one camera.

    MJPEG is FFmpeg's own encoder with a fixed quantiser, H.264 is libx264 with a constant rate
    factor, set as a live stream is: preset ultrafast, tune zerolatency. A camera's own encoder
    is another one; this stands for it.

    Parameters
    ----------
    stream
        Codec and quality; raw pictures pass as they are.
    size_px
        Width and height [px]; an odd side is continued by one pixel for the coder.
    rate_hz
        Frame rate [Hz], > 0.

    Attributes
    ----------
    bytes
        Size of all that was encoded so far.
    """

    def __init__(self, stream: Stream, size_px: tuple[int, int], rate_hz: float) -> None:
        self.bytes = 0
        self._raw = stream.codec == "raw"
        if self._raw:
            return
        import av  # loads the codecs: only where pictures are really compressed

        name = "mjpeg" if stream.codec == "mjpeg" else "libx264"
        encoder: Any = av.CodecContext.create(name, "w")
        # Colour planes have half the sides, which must therefore be even.
        encoder.width, encoder.height = (side + side % 2 for side in size_px)
        encoder.time_base = Fraction(1, max(1, round(rate_hz)))
        encoder.framerate = Fraction(max(1, round(rate_hz)))
        encoder.thread_count = 1
        if stream.codec == "mjpeg":
            encoder.pix_fmt = "yuvj420p"
            # With both ends of its range alike the encoder is left no other quantiser.
            quantiser = str(stream.quality)
            encoder.options = {"qmin": quantiser, "qmax": quantiser}
        else:
            encoder.pix_fmt = "yuv420p"
            encoder.options = {
                "preset": "ultrafast",
                "tune": "zerolatency",
                "crf": str(stream.quality),
            }
        self._encoder = encoder
        self._decoder: Any = av.CodecContext.create("mjpeg" if name == "mjpeg" else "h264", "r")
        self._decoder.thread_count = 1
        # Without it a decoder keeps a picture back, in case a later one is to be shown earlier.
        self._decoder.options = {"flags": "+low_delay"}
        self._frames = 0

    def __call__(self, image: Image) -> Image:
        """A picture after its way through the stream.

        Parameters
        ----------
        image
            (H, W) of uint8.

        Returns
        -------
        ndarray
            (H, W) of uint8, a new array where the stream is compressed.
        """
        if self._raw:
            return image
        import av

        encoder = self._encoder
        picture: Any = av.VideoFrame(encoder.width, encoder.height, encoder.pix_fmt)
        picture.color_range = FULL_RANGE
        picture.pts = self._frames
        luma, *chroma = picture.planes
        height, width = image.shape
        more = ((0, encoder.height - height), (0, encoder.width - width))
        _rows(luma)[:, : encoder.width] = np.pad(image, more, mode="edge")
        for plane in chroma:
            _rows(plane)[:] = 128
        self._frames += 1
        decoded: list[Any] = []
        for packet in encoder.encode(picture):
            self.bytes += packet.size
            decoded += self._decoder.decode(packet)
        if len(decoded) != 1:
            raise ValueError(f"expected one picture out for one picture in, got {len(decoded)}")
        return np.array(_rows(decoded[0].planes[0])[:height, :width])


def _rows(plane: Any) -> Image:
    """A plane's memory as rows, padding included."""
    return np.frombuffer(plane, np.uint8).reshape(plane.height, plane.line_size)
