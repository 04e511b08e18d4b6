"""Which cameras this computer has, and why one cannot be opened."""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from rushlight.errors import Finding, RushlightError
from rushlight.opencv.video import Device, open_device

DEVICES = Path("/dev")
NAMES = Path("/sys/class/video4linux")

ELSEWHERE = 6
"""How many numbers are tried where the system lists no cameras; no source."""

Opener = Callable[[int | str], Device | None]


@dataclass(frozen=True, slots=True)
class FoundCamera:
    """A camera that was found.

    Attributes
    ----------
    source
        By which it is opened, as ``"camera:0"``.
    name
        As its driver gives it, empty when untold.
    pictures
        Whether it gives pictures; a camera often has a second place that gives none.
    size_px
        What it is set to now [px], or None.
    rate_hz
        What it is set to now [Hz]; NaN when untold.
    format
        Four letters of its pixel format, empty when untold.
    """

    source: str
    name: str = ""
    pictures: bool = False
    size_px: tuple[int, int] | None = None
    rate_hz: float = math.nan
    format: str = ""


@dataclass(frozen=True, slots=True)
class CameraList:
    """The cameras that were found, and what stands in the way of others."""

    cameras: tuple[FoundCamera, ...] = ()
    findings: tuple[Finding, ...] = field(default=())

    def as_dict(self) -> dict[str, Any]:
        """Plain values, for JSON; an untold rate is None."""
        cameras = [asdict(camera) for camera in self.cameras]
        for camera in cameras:
            if math.isnan(camera["rate_hz"]):
                camera["rate_hz"] = None
        return {"cameras": cameras, "findings": [each.as_dict() for each in self.findings]}


def list_cameras(
    probe: bool = True,
    *,
    devices: Path = DEVICES,
    names: Path = NAMES,
    opener: Opener = open_device,
) -> CameraList:
    """The cameras of this computer.

    Parameters
    ----------
    probe
        Whether to open each for a moment, which lights its lamp and fails where it is in use;
        without it only names are told.
    devices, names
        Where Linux lists them.
    opener
        Opens one.

    Returns
    -------
    CameraList
        Empty with a finding where there is none.
    """
    if not sys.platform.startswith("linux"):
        found = [
            _probed(FoundCamera(f"camera:{number}"), number, opener) for number in range(ELSEWHERE)
        ]
        cameras = tuple(camera for camera in found if camera.pictures)
        return CameraList(cameras, () if cameras else (_none_found(),))
    cameras_here, findings = [], []
    for path in _paths(devices):
        number = path.name.removeprefix("video")
        camera = FoundCamera(f"camera:{number}", _name(names / path.name / "name"))
        if not os.access(path, os.R_OK | os.W_OK):
            findings.append(_not_allowed(path, f"camera:{number}"))
        elif probe:
            place = int(number) if devices == DEVICES else str(path)
            camera = _probed(camera, place, opener)
        cameras_here.append(camera)
    if not cameras_here:
        findings.append(_none_found())
    return CameraList(tuple(cameras_here), tuple(findings))


def missing_camera(
    place: int | str, name: str, *, devices: Path = DEVICES, names: Path = NAMES
) -> RushlightError:
    """Why a camera could not be opened, in one sentence.

    Parameters
    ----------
    place
        Its number or path.
    name
        As the user gave it.
    devices, names
        Where Linux lists them.
    """
    if not sys.platform.startswith("linux"):
        return RushlightError.of(
            name, "", "gives no pictures", "check its cable, and its permission", "camera-missing"
        )
    path = devices / f"video{place}" if isinstance(place, int) else Path(place)
    if not path.exists():
        others = [
            f"camera:{other.name.removeprefix('video')}{_shown(names / other.name / 'name')}"
            for other in _paths(devices)
        ]
        remedy = (
            f"use one of {', '.join(others)}"
            if others
            else "plug one in; this computer has no camera now"
        )
        return RushlightError.of(name, "", "is not there", remedy, "camera-missing")
    if not os.access(path, os.R_OK | os.W_OK):
        return RushlightError(_not_allowed(path, name))
    return RushlightError.of(
        name,
        "",
        "is there and gives no pictures",
        "close other programs that use it, or take the number below or above",
        "camera-silent",
    )


def _paths(devices: Path) -> list[Path]:
    """The video devices by number."""
    if not devices.is_dir():
        return []
    inside = [path for path in devices.iterdir() if path.name.removeprefix("video").isdigit()]
    inside = [path for path in inside if path.name.startswith("video")]
    return sorted(inside, key=lambda path: int(path.name.removeprefix("video")))


def _name(path: Path) -> str:
    try:
        return path.read_text(errors="replace").strip()
    except OSError:
        return ""


def _shown(path: Path) -> str:
    name = _name(path)
    return f" ({name})" if name else ""


def _probed(camera: FoundCamera, place: int | str, opener: Opener) -> FoundCamera:
    """The camera with what it tells when opened."""
    device = opener(place)
    if device is None:
        return camera
    try:
        size_px = device.size_px()
        return FoundCamera(
            camera.source,
            camera.name,
            True,
            None if 0 in size_px else size_px,
            device.rate_hz(),
            device.format(),
        )
    finally:
        device.close()


def _not_allowed(path: Path, name: str) -> Finding:
    return Finding(
        "error",
        "camera-not-allowed",
        name,
        str(path),
        "may not be opened by this user",
        'add the user to the group "video" (sudo usermod -aG video "$USER") and log in again',
    )


def _none_found() -> Finding:
    return Finding(
        "warning",
        "camera-none",
        "cameras",
        "",
        "were looked for, and this computer has none",
        "plug one in, or give the address of a network camera",
    )
