"""Open a live source as a rig wants it: its size, exposure, rate, and the noise of its dots."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import numpy as np

from rushlight.capture.live import LiveDots, LiveFrames
from rushlight.capture.open_live import open_live
from rushlight.capture.replay import Pace
from rushlight.capture.rest import noise_path
from rushlight.errors import RushlightError
from rushlight.jobs.load import bits_of, load_rig, rig_path
from rushlight.jobs.rehearsal import is_rehearsal, open_rehearsal
from rushlight.plan.evaluate import evaluate
from rushlight.plan.space_evaluate import exposures_of
from rushlight.records.document import read_document
from rushlight.records.dot_noise import DotNoise
from rushlight.records.resolved import ResolvedCameras
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import resolve
from rushlight.shelf.resolve_space import resolve_space, space_kinds

T = TypeVar("T")


def open_source(
    text: str | None,
    rig_file: Path | None,
    camera: str | None = None,
    loop: bool = False,
    exposure_s: float = math.nan,
    deep: bool = True,
    pace: Pace | None = None,
) -> LiveFrames | LiveDots:
    """The source that the user or the rig names, opened as the rig wants it.

    Parameters
    ----------
    text
        As `open_live` takes it, or ``rehearsal:SEED`` for the rig's simulated room at its own
        rate; None for the rig's own.
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
    pace
        That recordings of several cameras share as they are replayed.

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
    source = text or own.source or ""
    if is_rehearsal(source):
        return open_rehearsal(source, rig_file, which, exposure_s)
    cameras, suitable_s = _cameras_of(rig, shelf, rig_path(rig_file).name)
    wide, high = (int(side) for side in cameras.size_px[0, which])
    if np.isfinite(exposure_s):
        # Asked for by itself: the rig's own may be longer than what is wanted here, or shorter.
        own = own.model_copy(update={"exposure": "auto"})
    else:
        exposure_s = float(cameras.exposure_s[0, which])
    if not np.isfinite(exposure_s):
        exposure_s = suitable_s(which)  # as the plan would choose it
    return open_live(
        source,
        own,
        size_px=(wide, high),
        exposure_s=exposure_s if np.isfinite(exposure_s) else None,
        delay_s=float(cameras.delay_s[0, which]),
        noise=_dot_noise(rig_path(rig_file), own.id),
        loop=loop,
        bits=bits_of(rig, shelf, which) if deep else 8,
        pace=pace,
    )


def source_given(given: str | T | None, rig_file: Path) -> LiveFrames | LiveDots | T:
    """A source that is open already, or else the one named, opened; None names the rig's own.

    Raises
    ------
    RushlightError
        As `open_source`.
    """
    return open_source(given, rig_file) if given is None or isinstance(given, str) else given


def _cameras_of(
    rig: Rig, shelf: Shelf, name: str
) -> tuple[ResolvedCameras, Callable[[int], float]]:
    """The rig's cameras as numbers, and what chooses one's exposure [s] as the plan does."""
    if space_kinds(rig):
        space = resolve_space(rig, shelf, name)
        return space.cameras, lambda which: float(exposures_of(space)[which])
    resolved = resolve(rig, shelf, name)
    return resolved.cameras, lambda which: float(evaluate(resolved).exposure_s[0, which])


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
