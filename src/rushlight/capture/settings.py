"""What is asked of a live camera, taken from the rig."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from rushlight.records.quantity import Quantity
from rushlight.records.rig import Camera, DotLines


@dataclass(frozen=True, slots=True)
class CameraSettings:
    """How a live camera should run, and what is known of its delay.

    Attributes
    ----------
    camera
        Its id.
    size_px
        Width and height [px], or None to take what comes.
    rate_hz, exposure_s
        Frame rate [Hz] and exposure [s], > 0; NaN to leave as they are.
    gain
        In the driver's own units; NaN to leave it.
    delay_s
        From the end of the exposure to the frame in memory [s], ≥ 0.
    codec
        How pictures travel.
    bits
        Depth of its pictures, 8–16.
    lines
        For a sensor that sends coordinates.
    """

    camera: str = "camera"
    size_px: tuple[int, int] | None = None
    rate_hz: float = math.nan
    exposure_s: float = math.nan
    gain: float = math.nan
    delay_s: float = 0.0
    codec: Literal["raw", "mjpeg", "h264"] = "raw"
    bits: int = 8
    lines: DotLines | None = None


def settings_of(
    camera: Camera | None,
    *,
    size_px: tuple[int, int] | None = None,
    exposure_s: float | None = None,
    delay_s: float = 0.0,
    bits: int = 8,
) -> CameraSettings:
    """What the rig says of a camera, with what only the shelf or the plan knows.

    Parameters
    ----------
    camera
        Of the rig; None leaves the camera as it is.
    size_px
        Of the camera's part [px], or None to take what comes.
    exposure_s
        Chosen by the plan where the rig says "auto" [s], or None; a time in the rig goes first.
    delay_s
        Of the camera's part [s], ≥ 0.
    bits
        Depth of the pictures that its part gives, 8–16.
    """
    if camera is None:
        exposure = math.nan if exposure_s is None else exposure_s
        return CameraSettings(size_px=size_px, exposure_s=exposure, delay_s=delay_s, bits=bits)
    exposure = math.nan if exposure_s is None else exposure_s
    if isinstance(camera.exposure, Quantity):
        exposure = camera.exposure.value
    return CameraSettings(
        camera=camera.id,
        size_px=camera.lines.size_px if camera.lines else size_px,
        rate_hz=camera.frame_rate.value,
        exposure_s=exposure,
        gain=camera.gain,
        delay_s=delay_s,
        codec=camera.stream.codec if camera.stream else "raw",
        bits=bits,
        lines=camera.lines,
    )
