"""A live source that is simulated: the rig's own room at its own rate, with hands that obey."""

from __future__ import annotations

import dataclasses
import math
import threading
import time
from collections import deque
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import Any, Protocol, Self

import numpy as np

from rushlight.capture.feed import Arrival, note_once
from rushlight.capture.live import LiveFrames
from rushlight.capture.open_live import ASKEW, check_source, rehearsed
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.hanging import hanging_doubts
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.simulate_space import with_exposures
from rushlight.jobs.surveyed import bends_within
from rushlight.plan.evaluate import evaluate
from rushlight.plan.grid import Standing
from rushlight.records.arrays import Array
from rushlight.records.dots import Frame
from rushlight.records.rig import Stream
from rushlight.records.space_plan import PlannedMark
from rushlight.shelf.resolve import resolve
from rushlight.shelf.resolve_space import resolve_space
from rushlight.simulate.cast import cast_of
from rushlight.simulate.rehearsal import Rehearsal
from rushlight.simulate.space_rehearsal import SpaceRehearsal
from rushlight.simulate.space_world import SpaceWorld, draw_space
from rushlight.simulate.world import World, draw_world, hung

FORM = "rehearsal"

BEHIND_S = 0.1
"""A rehearsal later than this is told of, and goes on from there [s]; no source."""

_BUFFER = 4  # frames drawn before they are due
_TRUTHS = 4096  # frames whose truth is kept


def is_rehearsal(text: str | None) -> bool:
    """Whether a source's name is that of a rehearsal."""
    return text is not None and text.partition(":")[0] == FORM


def askew(text: str | None) -> str | None:
    """The name of a rehearsal whose camera hangs askew; of any other source its own name."""
    return f"{text}:{ASKEW}" if text and text.count(":") == 1 and is_rehearsal(text) else text


def rehearsal_world(
    rig_file: Path,
    seed: int,
    camera: int = 0,
    exposure_s: float = math.nan,
    askew: bool = False,
) -> tuple[World, Stream | None]:
    """A rig's room as it is drawn from a seed, and how its camera's pictures travel.

    Parameters
    ----------
    rig_file
        The rig's file or folder.
    seed
        The same rig and seed are the same room as in `simulate`; but where a survey beside the rig
        tells of the wall, that wall is rehearsed, drawn within what is doubted of its bends.
    camera
        Which of the rig's cameras films.
    exposure_s
        Instead of the rig's, or of what a plan would choose [s]; NaN keeps that.
    askew
        Whether the camera hangs as a builder's hands leave it, not exactly as planned, and its
        lens is one of its kind: drawn within what is doubted of them.

    Raises
    ------
    RushlightError
        When the rig cannot be used, or has no surface.
    """
    rig, shelf = load_rig(rig_file)
    name = rig_path(rig_file).name
    if "surface" not in rig.kinds:
        raise RushlightError.of(
            f"{name}: kinds",
            ", ".join(rig.kinds),
            "has no surface on which hands could obey",
            "rehearse it as a rig in space",
            "rehearsal-kind",
        )
    resolved = resolve(rig, shelf, name)
    exposures_s = np.array(resolved.cameras.exposure_s)
    if not np.all(np.isfinite(exposures_s)):
        exposures_s = evaluate(resolved, standing=Standing.of_rig(rig)).exposure_s
    if np.isfinite(exposure_s):
        exposures_s[0, camera] = exposure_s
    resolved = resolved.with_exposure(exposures_s)
    if askew:
        doubts = hanging_doubts(rig, shelf, camera)
        resolved = hung(resolved, seed, camera, *doubts)
    world = draw_world(resolved, seed, cast=cast_of(rig, resolved, camera), camera=camera)
    bends_m = bends_within(rig_file, rig.surfaces[0], world.bends_m)
    return dataclasses.replace(world, bends_m=bends_m), rig.cameras[camera].stream


def space_world(
    rig_file: Path, seed: int, camera: int = 0, exposure_s: float = math.nan
) -> tuple[SpaceWorld, Stream | None]:
    """The same of a rig that follows things in space; parameters as of `rehearsal_world`.

    Raises
    ------
    RushlightError
        When the rig cannot be used, or has several cameras.
    """
    rig, shelf = load_rig(rig_file)
    name = rig_path(rig_file).name
    if len(rig.cameras) > 1:
        raise RushlightError.of(
            f"{name}: cameras",
            ", ".join(each.id for each in rig.cameras),
            "cannot be rehearsed together yet: each would film a room of its own",
            "simulate footage of this rig instead, and replay it with simulated:FOLDER",
            "rehearsal-cameras",
        )
    space = with_exposures(resolve_space(rig, shelf, name))
    if np.isfinite(exposure_s):
        exposures_s = np.array(space.cameras.exposure_s)
        exposures_s[0, camera] = exposure_s
        space = dataclasses.replace(space, cameras=space.cameras.replace(exposure_s=exposures_s))
    return draw_space(space, seed), rig.cameras[camera].stream


def open_rehearsal(
    text: str, rig_file: Path, camera: int = 0, exposure_s: float = math.nan, paced: bool = True
) -> RehearsalSource | SpaceRehearsalSource:
    """The source that ``rehearsal:SEED`` names, opened.

    Parameters
    ----------
    text
        As typed.
    rig_file, camera, exposure_s
        As of `rehearsal_world`.
    paced
        Whether frames come in real time; if not, each is made as soon as it is asked for, on a
        clock of its own, and none is dropped.

    Raises
    ------
    RushlightError
        When the seed or the rig cannot be used.
    """
    check_source(text, "camera")
    seed, askew = rehearsed(text)
    rig, _ = load_rig(rig_file)
    if "surface" not in rig.kinds:
        if askew and len(rig.cameras) == 1:  # several are refused either way, by `space_world`
            raise RushlightError.of(
                "camera", text, "hangs askew only before a surface", f"use {FORM}:{seed}", "askew"
            )
        space, stream = space_world(rig_file, seed, camera, exposure_s)
        return SpaceRehearsalSource(space, stream, paced, camera).open()
    world = rehearsal_world(rig_file, seed, camera, exposure_s, askew)
    return RehearsalSource(*world, paced).open()


class Rehearsed(Protocol):
    """What is filmed: a room whose people do as they are asked."""

    def frames(self) -> Iterator[tuple[Frame, Any]]:
        """Frames without end, each with its truth; their time begins at 0."""

    def wander(self, on: bool) -> None:
        """Let everybody move on their own, or rest."""


class RehearsalFeed:
    """The frames of a rehearsal, each when a camera would deliver it.

    Parameters
    ----------
    rehearsal
        What is filmed.
    seed
        Of its world.
    camera, size_px, full_scale_dn
        Id of the camera that films, its columns and rows, and the level of a pixel at full scale.
    late_s
        From the middle of the exposure until a frame is there [s].
    """

    renewable = False
    simulated = True
    times = "of a simulated camera, on this computer's clock"

    def __init__(
        self,
        rehearsal: Rehearsed,
        seed: int,
        camera: str,
        size_px: tuple[int, int],
        full_scale_dn: int,
        late_s: float,
    ) -> None:
        self.rehearsal = rehearsal
        self.name, self.camera = f"{FORM}:{seed}", camera
        self.size_px: tuple[int, int] | None = size_px
        self.full_scale_dn = full_scale_dn
        self.findings: list[Finding] = []
        self.truths: deque[tuple[int, Any]] = deque(maxlen=_TRUTHS)
        self._late_ns = round(late_s * 1e9)

    def arrivals(self, stopping: threading.Event) -> Generator[Arrival | None, None, None]:
        """The frames in real time; a capture is its moment on the host's clock."""
        drawn = self.drawn()
        ready: deque[Arrival] = deque()
        behind_ns = 0
        while not stopping.is_set():
            due_ns = ready[0].capture_ns + behind_ns + self._late_ns if ready else 0
            wait_ns = due_ns - time.monotonic_ns()
            if not ready or (wait_ns > 0 and len(ready) < _BUFFER):
                ready.append(next(drawn))
                continue
            if -wait_ns > BEHIND_S * 1e9:
                behind_ns -= wait_ns
                self._tell_behind()
            elif wait_ns > 0 and stopping.wait(wait_ns * 1e-9):
                return
            arrival = ready.popleft()
            yield dataclasses.replace(arrival, capture_ns=arrival.capture_ns + behind_ns)

    def drawn(self) -> Iterator[Arrival]:
        """The frames as fast as they can be drawn; their clock begins with the first of them."""
        start_ns: int | None = None
        for frame, state in self.rehearsal.frames():
            if start_ns is None:
                # Not before: compiling what draws it may have taken seconds.
                start_ns = time.monotonic_ns()
            capture_ns = start_ns + frame.capture_ns
            self.truths.append((capture_ns, state))
            yield Arrival(capture_ns, 0.0, frame.image)

    def _tell_behind(self) -> None:
        note_once(
            self.findings,
            Finding(
                "warning",
                "rehearsal-behind",
                self.name,
                "",
                "cannot be drawn as fast as the rig's camera films, and goes on late",
                "close other programs, or rehearse a rig of a lower frame rate",
            ),
        )


class _Source(LiveFrames):
    """A live source that is simulated; `paced` as of `open_rehearsal`."""

    rehearsed = True

    def __init__(self, feed: RehearsalFeed, paced: bool, rate_hz: float) -> None:
        super().__init__(feed)
        self.paced, self._truths = paced, feed.truths
        self._unpaced, self._nominal_hz = feed.drawn, rate_hz
        self._people = feed.rehearsal

    def wander(self, on: bool) -> None:
        """Let everybody move on their own, or rest."""
        self._people.wander(on)

    def truth(self, capture_ns: int) -> Any:
        """What is true of the frame captured at a moment [ns]; None if it is long past.

        A paced source that fell behind shifts its clock, and then knows no truth by it.
        """
        return next((state for at_ns, state in self._truths if at_ns == capture_ns), None)

    def open(self, within_s: float = 0.0) -> Self:
        """Begin, in real time or when the first frame is asked for."""
        return super().open() if self.paced else self

    def rate_hz(self) -> float:
        """Frames a second [Hz]; of an unpaced rehearsal, on its own clock."""
        return super().rate_hz() if self.paced else self._nominal_hz

    def __iter__(self) -> Iterator[Frame]:
        return super().__iter__() if self.paced else self._as_asked_for()

    def _as_asked_for(self) -> Iterator[Frame]:
        for index, arrival in enumerate(self._unpaced()):
            if self._stopping.is_set():
                return
            yield Frame(self.camera, index, arrival.capture_ns, 0.0, arrival.image)


class RehearsalSource(_Source):
    """A live source whose hands can be asked to places on the surface; see `Rehearsal`.

    Parameters
    ----------
    world, stream
        As of `Rehearsal`.
    paced
        As of `open_rehearsal`.
    """

    def __init__(self, world: World, stream: Stream | None = None, paced: bool = True) -> None:
        self._rehearsal = Rehearsal(world, stream)
        delay_s = float(world.rig.cameras.delay_s[0, world.camera])
        feed = RehearsalFeed(
            self._rehearsal,
            world.seed,
            world.cast.camera,
            world.size_px,
            world.full_scale_dn,
            world.exposure_s / 2.0 + delay_s,
        )
        super().__init__(feed, paced, world.frame_rate_hz)

    @property
    def world(self) -> World:
        """The room as it is now."""
        return self._rehearsal.world

    def rehang(self, rig_from_camera: Array) -> None:
        """As `Rehearsal.rehang`."""
        self._rehearsal.rehang(rig_from_camera)

    def invite(self, carried: str, x_m: float, y_m: float, press: bool = True) -> None:
        """As `Rehearsal.invite`."""
        self._rehearsal.invite(carried, x_m, y_m, press)

    def release(self, carried: str) -> None:
        """As `Rehearsal.release`."""
        self._rehearsal.release(carried)


class SpaceRehearsalSource(_Source):
    """A live source before which a head or a hand moves in space; see `SpaceRehearsal`.

    Parameters
    ----------
    world, stream, camera
        As of `SpaceRehearsal`.
    paced
        As of `open_rehearsal`.
    """

    def __init__(
        self, world: SpaceWorld, stream: Stream | None = None, paced: bool = True, camera: int = 0
    ) -> None:
        self._rehearsal = SpaceRehearsal(world, camera, stream)
        delay_s = float(world.space.cameras.delay_s[0, camera])
        feed = RehearsalFeed(
            self._rehearsal,
            world.seed,
            world.space.camera_ids[camera],
            world.size_px(camera),
            world.full_scale_dn(camera),
            world.exposure_s(camera) / 2.0 + delay_s,
        )
        super().__init__(feed, paced, world.frame_rate_hz(camera))
        self.world = world

    def look(self, x_m: float, y_m: float, z_m: float, carried: str | None = None) -> None:
        """As `SpaceRehearsal.look`."""
        self._rehearsal.look(x_m, y_m, z_m, carried)

    def take(self, mark: PlannedMark) -> None:
        """As `SpaceRehearsal.take`."""
        self._rehearsal.take(mark)
