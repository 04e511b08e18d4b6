"""Cameras and compressed pictures through OpenCV: properties in SI, pictures in grey.

Never tried on a real camera: what drivers do with these properties differs from one to the next,
which is why every one is read back.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Protocol

import numpy as np

from rushlight.records.arrays import Array

V4L2_EXPOSURE_UNIT_S = 1e-4
"""Step of the exposure control of Linux cameras [s]; from memory: Linux media documentation,
camera control reference, V4L2_CID_EXPOSURE_ABSOLUTE."""

V4L2_MANUAL, V4L2_BY_ITSELF = 1.0, 3.0
"""Linux kernel, include/uapi/linux/v4l2-controls.h: V4L2_EXPOSURE_MANUAL and
V4L2_EXPOSURE_APERTURE_PRIORITY."""

OTHER_MANUAL, OTHER_BY_ITSELF = 0.25, 0.75
"""What other systems' drivers take for the same; common practice, no source."""


class Capture(Protocol):
    """What is used of the library's open camera."""

    def read(self) -> tuple[bool, Any]:
        """Whether a picture came, and the picture."""

    def get(self, prop: int) -> float:
        """A property, 0 or −1 where it has none."""

    def set(self, prop: int, value: float) -> bool:
        """Ask for a property; whether the driver took it, by its own word."""

    def isOpened(self) -> bool:
        """Whether the camera is there."""

    def release(self) -> None:
        """Let go of the camera."""


class Device:
    """An open camera with its properties in SI.

    Parameters
    ----------
    capture
        The library's object, or one that behaves so.
    v4l2
        Whether the driver is Linux's, with its units of exposure.
    """

    def __init__(self, capture: Capture, v4l2: bool) -> None:
        self._capture = capture
        self._v4l2 = v4l2

    def read(self) -> Array | None:
        """The next picture as the driver hands it, None when none came."""
        came, picture = self._capture.read()
        return np.asarray(picture) if came and picture is not None else None

    def close(self) -> None:
        """Let go of the camera."""
        self._capture.release()

    def take_raw(self) -> None:
        """Ask for pictures as they leave the camera, so that grey levels are its own.

        Only on Linux: elsewhere the library hands what it cannot convert in shapes of its own.
        """
        if self._v4l2:
            self._set("CAP_PROP_CONVERT_RGB", 0.0)

    def ask_size(self, size_px: tuple[int, int]) -> tuple[int, int]:
        """Ask for a picture size (width, height) [px]; what it is now."""
        self._set("CAP_PROP_FRAME_WIDTH", size_px[0])
        self._set("CAP_PROP_FRAME_HEIGHT", size_px[1])
        return self.size_px()

    def size_px(self) -> tuple[int, int]:
        """Width and height of the pictures [px], 0 where the driver does not tell."""
        width, height = self._get("CAP_PROP_FRAME_WIDTH"), self._get("CAP_PROP_FRAME_HEIGHT")
        return (0, 0) if math.isnan(width + height) else (round(width), round(height))

    def ask_rate(self, rate_hz: float) -> float:
        """Ask for a frame rate [Hz]; what it is now, NaN when untold."""
        self._set("CAP_PROP_FPS", rate_hz)
        return self.rate_hz()

    def rate_hz(self) -> float:
        """Frame rate that the driver means to give [Hz], NaN when untold."""
        return self._get("CAP_PROP_FPS")

    def ask_format(self, code: str) -> str:
        """Ask for a pixel format by its four letters; what it is now."""
        self._set("CAP_PROP_FOURCC", float(int.from_bytes(code.encode("latin-1"), "little")))
        return self.format()

    def format(self) -> str:
        """Four letters of the pixel format, empty when untold."""
        import cv2

        number = self._capture.get(cv2.CAP_PROP_FOURCC)
        if not math.isfinite(number) or number <= 0:
            return ""
        letters = int(number).to_bytes(8, "little")[:4].decode("latin-1")
        return letters.strip() if letters.isprintable() else ""

    def ask_exposure(self, exposure_s: float) -> float:
        """Ask for a fixed exposure [s]; what it is now, NaN when untold."""
        self._set("CAP_PROP_AUTO_EXPOSURE", V4L2_MANUAL if self._v4l2 else OTHER_MANUAL)
        if self._v4l2:
            self._set("CAP_PROP_EXPOSURE", max(1, round(exposure_s / V4L2_EXPOSURE_UNIT_S)))
        else:
            # From memory: other systems count in powers of two of a second.
            self._set("CAP_PROP_EXPOSURE", round(math.log2(exposure_s)))
        return self.exposure_s()

    def exposure_s(self) -> float:
        """Exposure [s], NaN when untold."""
        import cv2

        value = self._capture.get(cv2.CAP_PROP_EXPOSURE)
        if self._v4l2:
            return value * V4L2_EXPOSURE_UNIT_S if value > 0 else math.nan
        return 2.0**value if math.isfinite(value) and -20 <= value < 0 else math.nan

    def exposes_by_itself(self) -> bool:
        """Whether the driver says that it still chooses the exposure."""
        by_itself = V4L2_BY_ITSELF if self._v4l2 else OTHER_BY_ITSELF
        return self._get("CAP_PROP_AUTO_EXPOSURE") == by_itself

    def ask_gain(self, gain: float) -> float:
        """Ask for a gain in the driver's own units; what it is now, NaN when untold."""
        self._set("CAP_PROP_GAIN", gain)
        import cv2

        value = self._capture.get(cv2.CAP_PROP_GAIN)
        return value if math.isfinite(value) and value >= 0 else math.nan

    def hold_focus(self) -> bool:
        """Ask the lens to stay as it is; False where the driver says that it still moves."""
        self._set("CAP_PROP_AUTOFOCUS", 0.0)
        return not self._get("CAP_PROP_AUTOFOCUS") >= 1.0

    def stamp_s(self) -> float:
        """The driver's own time of the last picture [s], NaN where it gives none."""
        return self._get("CAP_PROP_POS_MSEC") * 1e-3

    def _set(self, name: str, value: float) -> None:
        import cv2

        self._capture.set(getattr(cv2, name), float(value))

    def _get(self, name: str) -> float:
        import cv2

        value = float(self._capture.get(getattr(cv2, name)))
        return value if math.isfinite(value) and value > 0 else math.nan


def open_device(place: int | str) -> Device | None:
    """A camera of this computer, or None when it gives no pictures.

    Parameters
    ----------
    place
        Its number, or on Linux its path, as ``"/dev/video2"``.
    """
    import cv2

    v4l2 = sys.platform.startswith("linux")
    with _quiet():
        capture = cv2.VideoCapture(place, cv2.CAP_V4L2 if v4l2 else cv2.CAP_ANY)
    if not capture.isOpened():
        capture.release()
        return None
    return Device(capture, v4l2)


def jpeg_in_grey(content: bytes) -> Array | None:
    """A JPEG's grey levels, (H, W) of uint8; None when it is damaged.

    Parameters
    ----------
    content
        The whole picture.
    """
    import cv2

    if not content:
        return None
    # The note on how a phone was held must not turn the picture: the rig is fixed.
    flags = cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION
    with _quiet():
        image = cv2.imdecode(np.frombuffer(content, np.uint8), flags)
    return None if image is None else np.asarray(image)


def raw_in_grey(raw: Array, code: str, size_px: tuple[int, int]) -> Array | None:
    """Grey levels of a picture as a driver hands it; None when they cannot be told.

    Parameters
    ----------
    raw
        In whatever shape the driver gave it.
    code
        Four letters of its format.
    size_px
        Width and height [px].

    Returns
    -------
    ndarray or None
        (H, W) of uint8, or of uint16 where the camera gives deeper pixels.
    """
    import cv2

    width, height = size_px
    pixels = width * height
    if raw.dtype == np.uint8 and raw.shape == (height, width):
        return raw
    if code in ("MJPG", "JPEG") and (raw.ndim < 3 or raw.shape[-1] == 1):
        return jpeg_in_grey(raw.tobytes())
    if raw.dtype == np.uint16:
        return raw.reshape(height, width) if raw.size == pixels else None
    if raw.dtype != np.uint8:
        return None
    if raw.ndim == 3 and raw.shape[-1] == 3:
        return np.asarray(cv2.cvtColor(raw, cv2.COLOR_BGR2GRAY))
    if raw.size == pixels:
        return raw.reshape(height, width)
    if code in ("NV12", "NV21", "YU12", "YV12", "I420") and 2 * raw.size == 3 * pixels:
        return raw.reshape(-1)[:pixels].reshape(height, width)
    if raw.size != 2 * pixels:
        return None
    if code in ("Y16", "Y10", "Y12"):
        return np.ascontiguousarray(raw).view("<u2").reshape(height, width)
    if code in ("YUYV", "YUY2", "YVYU"):
        return np.ascontiguousarray(raw.reshape(height, width, 2)[..., 0])
    if code == "UYVY":
        return np.ascontiguousarray(raw.reshape(height, width, 2)[..., 1])
    return None


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep the library from writing on the terminal; what failed is told in our own words."""
    from cv2.utils import logging

    before = logging.getLogLevel()
    logging.setLogLevel(logging.LOG_LEVEL_SILENT)
    try:
        yield
    finally:
        logging.setLogLevel(before)
