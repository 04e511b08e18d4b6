"""Cameras and phones that stream over RTSP, carried within TCP so that no packet goes astray."""

from __future__ import annotations

import threading
import time
from collections.abc import Generator, Iterator
from fractions import Fraction
from typing import Any

from rushlight.capture.address import masked, split_address
from rushlight.capture.clock import Stamper
from rushlight.capture.feed import Arrival, SourceBroken, note_once
from rushlight.capture.multipart import SILENCE_S
from rushlight.capture.settings import CameraSettings
from rushlight.capture.video import grey_picture
from rushlight.errors import Finding, RushlightError

OPENING_S = 6.0
"""How long the first packets are waited for [s]; no source."""

OPTIONS = {
    "rtsp_transport": "tcp",
    "fflags": "nobuffer",
    "analyzeduration": "500000",
    "reorder_queue_size": "0",
}
"""Of FFmpeg's reader (its documentation, "Formats" and "Protocols"; from memory): no buffering,
and at most half a second spent on finding out what the stream holds."""


class RtspFeed:
    """A stream over RTSP.

    Parameters
    ----------
    address
        As the user gave it; a name and password in it log in.
    settings
        What is known of the camera.
    """

    simulated = False
    full_scale_dn = 255
    renewable = True

    def __init__(self, address: str, settings: CameraSettings) -> None:
        split_address(address)
        self.name, self.camera = masked(address), settings.camera
        self.size_px: tuple[int, int] | None = None
        self.times = "the stream's stamps, on the host's clock"
        self.findings: list[Finding] = []
        self._address, self._settings = address, settings

    def arrivals(self, stopping: threading.Event) -> Generator[Arrival | None, None, None]:
        """Ask for the stream, and give its pictures.

        Raises
        ------
        RushlightError
            When it holds no video.
        SourceBroken
            When it cannot be reached, ends, or falls silent.
        """
        import av  # loads the codecs: only where a stream is really read

        try:
            container = av.open(self._address, options=OPTIONS, timeout=(OPENING_S, SILENCE_S))
        except (av.FFmpegError, OSError) as error:
            raise SourceBroken(f"cannot be opened ({_reason(error)})") from None
        with container:
            if not container.streams.video:
                raise RushlightError.of(
                    self.name, "", "holds no video", "give the address of a camera", "video-missing"
                )
            try:
                yield from self._pictures(container, stopping)
            except (av.FFmpegError, OSError) as error:
                raise SourceBroken(f"broke off ({_reason(error)})") from None
        raise SourceBroken("ended")

    def _pictures(
        self, container: Any, stopping: threading.Event
    ) -> Generator[Arrival | None, None, None]:
        stream = container.streams.video[0]
        base = Fraction(stream.time_base)
        settings = self._settings
        stamper = Stamper(settings.exposure_s, settings.delay_s, float(base * 1_000_000_000))
        for frame, arrived_ns in self._decoded(container, stream, stopping):
            source_ns = None if frame.pts is None else round(frame.pts * base * 1_000_000_000)
            capture_ns, std_ns = stamper(arrived_ns, source_ns)
            if stamper.unfit:
                self._tell_unfit()
            yield Arrival(capture_ns, std_ns, grey_picture(frame))

    def _decoded(
        self, container: Any, stream: Any, stopping: threading.Event
    ) -> Iterator[tuple[Any, int]]:
        """Pictures with the arrival of their packets."""
        import av

        # Decoding several pictures at once, each in a thread, holds back as many.
        stream.thread_type = "SLICE"
        stream.codec_context.flags |= av.codec.context.Flags.low_delay
        for packet in container.demux(stream):
            arrived_ns = time.monotonic_ns()
            if stopping.is_set():
                return
            try:
                frames = packet.decode()
            except av.InvalidDataError:
                continue  # the first pictures of a stream joined midway lack what they build on
            for frame in frames:
                yield frame, arrived_ns

    def _tell_unfit(self) -> None:
        self.times = "arrival, by the host's clock"
        note_once(
            self.findings,
            Finding(
                "note",
                "stream-clock",
                self.name,
                "",
                "stamps its pictures with no steady clock, so their arrival is taken",
                "expect their times to be less even",
            ),
        )


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or type(error).__name__
