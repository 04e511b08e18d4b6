"""Open whatever the user points at: simulated footage, a video, or a folder of pictures."""

from __future__ import annotations

import json
import math
from pathlib import Path

from rushlight.capture.footage import Footage
from rushlight.capture.pictures import PICTURE_SUFFIXES, open_pictures
from rushlight.capture.sidecar import SIDECAR, open_sidecar
from rushlight.capture.video import open_video
from rushlight.errors import RushlightError
from rushlight.records.session import FootageHeader


def open_footage(
    path: Path | str,
    rate_hz: float | None = None,
    camera: str = "camera",
    *,
    rig_rate_hz: float | None = None,
    bits: int | None = 8,
) -> Footage:
    """Recorded frames, whatever form they are stored in.

    Parameters
    ----------
    path
        A folder with ``footage.json``; that file; a video file; or a folder of pictures, taken
        in the natural order of their names.
    rate_hz
        Frame rate [Hz], > 0, by which times are counted instead of read. Pictures carry no
        times: theirs are counted at 30 Hz when no rate is given. Footage with a sidecar keeps
        its own times, and giving a rate is refused.
    camera
        Id for the camera of footage that does not name it.
    rig_rate_hz
        Frame rate of the rig's camera [Hz], > 0, or None. It counts the times of pictures where
        no `rate_hz` is given, and is left alone by footage that has times of its own.
    bits
        Depth of the camera, 8–16: deeper footage is brought to its levels, in uint16 above 8.
        None hands on the levels that the files hold. Footage with a sidecar knows its own depth.

    Returns
    -------
    Footage
        Its first frame has been looked at, the others are read while iterating.

    Raises
    ------
    RushlightError
        When there is nothing to read, in one sentence that says what was found instead.
    """
    path = Path(path)
    if rate_hz is not None and not (math.isfinite(rate_hz) and rate_hz > 0):
        raise RushlightError.of(
            "rate", f"{rate_hz:g} Hz", "is not a frame rate above 0", 'give one such as "30 Hz"'
        )
    if not path.exists():
        raise RushlightError.of(
            str(path), "", "does not exist", "check the path", "footage-missing"
        )
    sidecar = _sidecar_of(path)
    if sidecar is not None:
        if rate_hz is not None:
            raise RushlightError.of(
                sidecar.name,
                "",
                "holds the exact time of every frame, so a rate cannot be chosen",
                "leave the rate out",
                "rate-needless",
            )
        return open_sidecar(sidecar, bits=bits)
    if path.is_dir():
        return open_pictures(path, rate_hz, camera, rig_rate_hz=rig_rate_hz, bits=bits)
    if path.suffix.lower() in PICTURE_SUFFIXES:
        raise RushlightError.of(
            str(path), "", "is a single picture", "give the folder that holds them all", "picture"
        )
    return open_video(path, rate_hz, camera, bits=bits)


def _sidecar_of(path: Path) -> Path | None:
    """The sidecar that belongs to a path, or None where there is none."""
    if path.is_dir():
        inside = path / SIDECAR
        return inside if inside.is_file() else None
    if path.suffix == ".json":
        return path
    beside = path.with_suffix(".json")
    return beside if beside.is_file() and _describes(beside, path) else None


def _describes(sidecar: Path, picture: Path) -> bool:
    """Whether a neighbouring JSON file is the sidecar of this video."""
    try:
        content = json.loads(sidecar.read_bytes())
    except (OSError, ValueError):
        return False
    return (
        isinstance(content, dict)
        and content.get("schema") == FootageHeader.SCHEMA
        and content.get("picture") == picture.name
    )
