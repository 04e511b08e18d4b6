"""Open a live source as a rig wants it: its size, exposure, rate, and the noise of its dots."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from rushlight.capture.live import LiveDots, LiveFrames
from rushlight.capture.open_live import open_live
from rushlight.capture.rest import noise_path
from rushlight.errors import RushlightError
from rushlight.jobs.load import bits_of, load_rig, rig_path
from rushlight.plan.evaluate import evaluate
from rushlight.records.document import read_document
from rushlight.records.dot_noise import DotNoise
from rushlight.records.rig import Rig
from rushlight.shelf.resolve import resolve


def open_source(
    text: str | None,
    rig_file: Path | None,
    camera: str | None = None,
    loop: bool = False,
    exposure_s: float = math.nan,
    deep: bool = True,
) -> LiveFrames | LiveDots:
    """The source that the user or the rig names, opened as the rig wants it.

    Parameters
    ----------
    text
        As `open_live` takes it; None for the rig's own.
    rig_file
        The rig's file or folder; None leaves a camera as it is.
    camera
        Which of the rig's cameras; None takes the first.
    loop
        Whether a recording that is replayed begins again at its end.
    exposure_s
        Instead of the rig's [s]; NaN keeps that.
    deep
        Whether pictures deeper than 8 bits are wanted as they are.

    Raises
    ------
    RushlightError
        When no source is named, or it gives nothing.
    """
    if rig_file is None:
        if text is None:
            raise _unnamed("the program was given no rig that could name one")
        return open_live(text, loop=loop, bits=None if deep else 8)
    rig, shelf = load_rig(rig_file)
    which = _which(rig, camera, rig_path(rig_file).name)
    own = rig.cameras[which]
    if text is None and own.source is None:
        raise _unnamed(f'the rig names no source for its camera "{own.id}"')
    resolved = resolve(rig, shelf, rig_path(rig_file).name)
    cameras = resolved.cameras
    wide, high = (int(side) for side in cameras.size_px[0, which])
    if np.isfinite(exposure_s):
        # Asked for by itself: the rig's own may be longer than what is wanted here, or shorter.
        own = own.model_copy(update={"exposure": "auto"})
    else:
        exposure_s = float(cameras.exposure_s[0, which])
    if not np.isfinite(exposure_s):
        exposure_s = float(evaluate(resolved).exposure_s[0, which])  # as the plan would choose it
    return open_live(
        text or own.source or "",
        own,
        size_px=(wide, high),
        exposure_s=exposure_s if np.isfinite(exposure_s) else None,
        delay_s=float(cameras.delay_s[0, which]),
        noise=_dot_noise(rig_path(rig_file), own.id),
        loop=loop,
        bits=bits_of(rig, shelf, which) if deep else 8,
    )


def _which(rig: Rig, camera: str | None, file: str) -> int:
    ids = [each.id for each in rig.cameras]
    if camera is None:
        return 0
    if camera not in ids:
        raise RushlightError.of(
            f"{file}: cameras",
            ", ".join(ids),
            f'has no camera "{camera}"',
            "name one of them",
            "camera-unknown",
        )
    return ids.index(camera)


def _unnamed(why: str) -> RushlightError:
    return RushlightError.of(
        "source",
        "",
        f"of frames is missing, and {why}",
        'give one such as camera:0, or write source = "camera:0" beside the camera in the rig',
        "source-missing",
    )


def _dot_noise(rig_file: Path, camera: str) -> DotNoise | None:
    """The noise of a sensor that sends dots, where it was learnt."""
    path = noise_path(rig_file, camera)
    return read_document(DotNoise, path) if path.is_file() else None
