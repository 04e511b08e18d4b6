"""Cameras of this computer: set as the rig says, read back, and read frame by frame.

Tried against a stand-in for the driver only; no camera was at hand.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Generator
from functools import partial

from rushlight.capture.clock import Stamper
from rushlight.capture.depth import DeepLevels
from rushlight.capture.devices import missing_camera
from rushlight.capture.feed import Arrival, SourceBroken, note_once
from rushlight.capture.settings import CameraSettings
from rushlight.errors import Finding, RushlightError
from rushlight.opencv.video import Device, open_device, raw_in_grey
from rushlight.records.arrays import Array

UNDECODED = 30
"""So many pictures one after another that cannot be decoded end an opening; no source."""

_COMPRESSED = frozenset({"MJPG", "JPEG", "H264", "avc1", "HEVC"})
_DEEP = frozenset({"Y16", "Y10", "Y12"})
_ASKED = {10: ("Y10 ", "Y16 "), 12: ("Y12 ", "Y16 ")}
"""Formats of deep pictures by their bits, the likeliest first; Linux kernel, include/uapi/linux/
videodev2.h: V4L2_PIX_FMT_Y10, _Y12, _Y16; from memory."""

Opener = Callable[[int | str], Device | None]


class DeviceFeed:
    """A camera of this computer.

    Parameters
    ----------
    place
        Its number, or its path on Linux.
    name
        As the user gave it.
    settings
        How it should run.
    opener
        Opens it.
    """

    simulated = False
    renewable = True

    def __init__(
        self, place: int | str, name: str, settings: CameraSettings, opener: Opener = open_device
    ) -> None:
        self.name, self.camera = name, settings.camera
        self.size_px: tuple[int, int] | None = None
        self.times = "arrival, by the host's clock"
        self.findings: list[Finding] = []
        self._place, self._settings, self._opener = place, settings, opener
        # How a driver holds 10 or 12 bits in its 16 differs; it is settled by the first picture.
        self._levels = DeepLevels(name, settings.bits, partial(note_once, self.findings))

    @property
    def full_scale_dn(self) -> int:
        """Level of a pixel at full scale; 255 before a deeper picture came."""
        return self._levels.full_scale_dn

    def arrivals(self, stopping: threading.Event) -> Generator[Arrival | None, None, None]:
        """Open the camera, set it, and give its frames.

        Raises
        ------
        RushlightError
            When there is no such camera or it gives no pictures.
        SourceBroken
            When it stops giving them.
        """
        device = self._opener(self._place)
        if device is None:
            raise missing_camera(self._place, self.name)
        try:
            code = self._set_up(device)
            yield from self._frames(device, code, stopping)
        finally:
            device.close()

    def _frames(
        self, device: Device, code: str, stopping: threading.Event
    ) -> Generator[Arrival | None, None, None]:
        settings = self._settings
        stamper = Stamper(settings.exposure_s, settings.delay_s)
        lost = failed = 0
        size_px = device.size_px()
        while not stopping.is_set():
            raw = device.read()
            arrived_ns = time.monotonic_ns()
            if raw is None:
                raise SourceBroken("gives no more pictures")
            image = self._grey(raw, code, size_px)
            if image is None:
                lost, failed = lost + 1, failed + 1
                if failed >= UNDECODED:
                    raise SourceBroken(f"sends pictures that cannot be decoded ({code or '?'})")
                continue
            stamp_s = device.stamp_s()
            source_ns = round(stamp_s * 1e9) if math.isfinite(stamp_s) else None
            capture_ns, std_ns = stamper(arrived_ns, source_ns)
            if source_ns is not None and not stamper.unfit:
                self.times = "the driver's stamps, on the host's clock"
            yield Arrival(capture_ns, std_ns, image, lost=lost)
            lost = failed = 0

    def _grey(self, raw: Array, code: str, size_px: tuple[int, int]) -> Array | None:
        if 0 in size_px:
            size_px = (raw.shape[1], raw.shape[0]) if raw.ndim > 1 else size_px
        image = raw_in_grey(raw, code, size_px)
        return None if image is None else self._levels(image, 65535)

    def _set_up(self, device: Device) -> str:
        """Set the camera as the rig says, and tell where it did not follow: its format."""
        settings = self._settings
        device.take_raw()
        code = ""
        for wanted in self._wanted_formats():
            code = device.ask_format(wanted)
            if code == wanted.strip():
                break
        self._tell_format(code)
        if settings.size_px is not None:
            got_px = device.ask_size(settings.size_px)
            if got_px != settings.size_px and 0 not in got_px:
                self._differs(
                    "size",
                    f"{settings.size_px[0]}×{settings.size_px[1]} px",
                    f"{got_px[0]}×{got_px[1]} px",
                    "choose a part of that size in the rig, or another camera",
                )
        if math.isfinite(settings.rate_hz):
            self._compare_rate(settings.rate_hz, device.ask_rate(settings.rate_hz))
        if math.isfinite(settings.exposure_s):
            got_s = device.ask_exposure(settings.exposure_s)
            self._compare_exposure(settings.exposure_s, got_s, device.exposes_by_itself())
        if math.isfinite(settings.gain):
            self._compare_gain(settings.gain, device.ask_gain(settings.gain))
        if not device.hold_focus():
            self._note(
                "camera-focus",
                "focus",
                "",
                "still moves by itself, which shifts every dot",
                "switch off its autofocus",
            )
        # Some drivers answer the final format only after size and rate.
        return device.format() or code

    def _wanted_formats(self) -> tuple[str, ...]:
        if self._settings.codec != "raw":
            return ("MJPG",)
        if self._settings.bits == 8:
            return ("YUYV",)
        return _ASKED.get(self._settings.bits, ("Y16 ",))

    def _tell_format(self, code: str) -> None:
        wanted = self._settings.codec
        if wanted == "h264":
            self._note(
                "camera-format",
                "stream",
                "h264",
                "is not read from a camera of this computer, and MJPEG was asked for",
                'write stream = { codec = "mjpeg", quality = 5 } or so',
            )
        elif wanted == "raw" and code in _COMPRESSED:
            self._note(
                "camera-format",
                "stream",
                "raw",
                f"was asked for, and the camera sends {code}, which blurs faint dots",
                'write stream = { codec = "mjpeg", quality = 5 } or so, that the plan knows it',
            )
        elif self._settings.bits > 8 and code and code not in _DEEP:
            self._note(
                "camera-depth",
                "bit depth",
                f"{self._settings.bits} bits",
                f"were asked for, and the camera sends {code}",
                "choose a part with bit_depth = 8 in the rig",
            )

    def _compare_rate(self, asked_hz: float, got_hz: float) -> None:
        # Drivers round 29.97 Hz to 30 and the like: 2 %, no source.
        if math.isfinite(got_hz) and abs(got_hz - asked_hz) > 0.02 * asked_hz:
            self._differs(
                "frame rate",
                f"{asked_hz:g} Hz",
                f"{got_hz:g} Hz",
                f'write frame_rate = "{got_hz:g} Hz" in the rig, or ask for a smaller picture',
            )

    def _compare_exposure(self, asked_s: float, got_s: float, by_itself: bool) -> None:
        if by_itself:
            self._note(
                "camera-auto-exposure",
                "exposure",
                f"{asked_s * 1e3:g} ms",
                "was asked for, and the camera goes on choosing it by itself",
                "switch off its automatic exposure by its own program",
            )
        elif math.isnan(got_s):
            self._note(
                "camera-exposure-untold",
                "exposure",
                f"{asked_s * 1e3:g} ms",
                "was asked for, and the camera does not say what it uses",
                "see in a bright and a dark room whether its pictures change by themselves",
            )
        elif abs(got_s - asked_s) > max(0.05 * asked_s, 5e-5):
            self._differs(
                "exposure",
                f"{asked_s * 1e3:g} ms",
                f"{got_s * 1e3:g} ms",
                f'write exposure = "{got_s * 1e3:g} ms" in the rig, and plan anew',
            )

    def _compare_gain(self, asked: float, got: float) -> None:
        if math.isfinite(got) and abs(got - asked) > 0.02 * asked:
            self._differs(
                "gain",
                f"{asked:g}",
                f"{got:g}",
                "take its numbers as the driver's own, and learn the noise from a dark picture",
            )

    def _differs(self, what: str, asked: str, got: str, remedy: str) -> None:
        code = f"camera-{what.replace(' ', '-')}"
        self._note(code, what, asked, f"was asked for, and the camera says {got}", remedy)

    def _note(self, code: str, what: str, given: str, allowed: str, remedy: str) -> None:
        note_once(
            self.findings,
            Finding("warning", code, f"{self.name}: {what}", given, allowed, remedy),
        )


def device_place(text: str) -> int | str:
    """The camera that ``camera:`` and what follows it mean.

    Parameters
    ----------
    text
        What follows: a number, or a path.

    Raises
    ------
    RushlightError
        When it is neither.
    """
    if text.isascii() and text.isdigit():
        return int(text)
    if text.startswith("/"):
        return text
    raise RushlightError.of(
        f"camera:{text}",
        "",
        "is neither a number nor a path",
        "give one such as camera:0 or camera:/dev/video2",
        "camera-place",
    )
