"""Take what a step of the inspection needs from a running camera, one take after the other."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from rushlight.capture.live import LiveDots, LiveFrames
from rushlight.capture.open_live import open_live
from rushlight.capture.rest import learn_noise, noise_path
from rushlight.errors import Finding, RushlightError
from rushlight.inspect.takes import Label, Take
from rushlight.jobs.inspect import Asked, Inspected, inspect_takes
from rushlight.jobs.load import load_rig, rig_path, typed_length_s
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.sources import open_source
from rushlight.records.dot_noise import DotNoise
from rushlight.records.dots import Frame

DEFAULT_LENGTH = "2 s"
"""How long a take lasts where nobody says (the project's own choice)."""

MOST_FRAMES = 1200
"""Frames kept of a take at most, so that memory is not filled."""

Ready = Callable[[str], None]


def inspect_live(
    step: str,
    source: str | None,
    takes: Sequence[str],
    asked: Asked,
    length: str | None = None,
    ready: Ready = lambda _: None,
    progress: Progress = silent,
) -> Inspected:
    """Go through one step before a running camera.

    Parameters
    ----------
    step
        As of `jobs.inspect.inspect`.
    source
        As `open_live` takes it; None for the rig's own.
    takes
        Names of the takes, in the order in which they are made; a name that tells an exposure
        sets it.
    asked
        What else was asked.
    length
        Of each take, as text with unit.
    ready
        Called with a take's name before it begins; returns when the hands are ready.
    progress
        Told what is being done.

    Raises
    ------
    RushlightError
        When the source gives no pictures, or the step cannot be taken.
    """
    length_s = typed_length_s(length, DEFAULT_LENGTH) or 0.0
    made, findings = [], []
    for name in takes or ("take",):
        ready(name)
        progress(f"filming {name}", 0.0)
        take, found = _take(source, name, asked, length_s)
        progress(f"filming {name}", 1.0)
        made.append(take)
        findings.append(found)
    return inspect_takes(step, made, asked, progress, findings)


def learn_rest(
    source: str | None, rig_file: Path, camera: str | None = None, length: str | None = None
) -> tuple[DotNoise, Path]:
    """Learn the noise of a sensor that sends dots, from lights that lie still; written.

    Parameters
    ----------
    source
        As `open_live` takes it, or ``session:FILE`` of what it sent before; None for the rig's
        own.
    rig_file
        The rig's file or folder; the noise is written beside it, and used from then on.
    camera
        Id of the sensor in the rig; the first when None.
    length
        How long to listen, as text with unit.

    Raises
    ------
    RushlightError
        When the source sends no dots, or the lights moved.
    """
    length_s = typed_length_s(length, "10 s") or 0.0
    rig, _ = load_rig(rig_file)
    with open_source(source, rig_file, camera) as sensor:
        if not isinstance(sensor, LiveDots):
            raise RushlightError.of(
                sensor.name,
                "",
                "gives pictures, whose dots tell their own noise",
                'inspect it with "noise" instead',
                "no-dots",
            )
        with _ended_after(sensor, length_s):
            seen = list(sensor)
    basis = "simulated" if sensor.simulated else "measured"
    noise = learn_noise(seen).stamped(basis, inputs={"rig": rig.content_hash()})
    path = noise_path(rig_path(rig_file), noise.camera)
    noise.write(path)
    return noise, path


def _take(
    source: str | None, name: str, asked: Asked, length_s: float
) -> tuple[Take, list[Finding]]:
    exposure_s = Label.of(name).exposure_s
    opened = (
        open_source(source, asked.rig, asked.camera, exposure_s=exposure_s)
        if asked.rig is not None or source is None
        else open_live(source, exposure_s=exposure_s if np.isfinite(exposure_s) else None)
    )
    with opened as camera:
        if not isinstance(camera, LiveFrames):
            raise RushlightError.of(
                camera.name,
                "",
                "sends dots and no pictures",
                'learn its noise with "rushlight inspect at-rest"',
                "no-pictures",
            )
        frames: list[Frame] = []
        with _ended_after(camera, length_s):
            for frame in camera:
                frames.append(frame)
                if len(frames) == MOST_FRAMES:
                    break
    full_scale_dn = camera.full_scale_dn
    take = Take(name, frames, camera.times, camera.simulated, full_scale_dn)
    return take, camera.findings


class _ended_after:
    """Stop a source after a while [s]."""

    def __init__(self, source: LiveFrames | LiveDots, length_s: float) -> None:
        self._timer = threading.Timer(length_s, source.stop)
        self._timer.daemon = True

    def __enter__(self) -> None:
        self._timer.start()

    def __exit__(self, *_: object) -> None:
        self._timer.cancel()
