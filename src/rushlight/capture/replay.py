"""Recordings at their own pace, as if they were filmed now."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Generator, Iterator
from pathlib import Path

import numpy as np

from rushlight.capture.feed import Arrival, note_once
from rushlight.capture.footage import Footage
from rushlight.capture.live import LiveDots, LiveFrames
from rushlight.errors import Finding, RushlightError
from rushlight.keep.session import SessionReader
from rushlight.records.dots import Dots, Frame

_LOOK_S = 0.05  # how often a replay that waits for the others looks whether it shall stop

BEHIND_S = 0.5
"""A replay later than this is told of, and goes on from there [s]; no source."""


class Pace:
    """One clock for the recordings of several cameras, so that their times stay as they were.

    A replay of one camera begins with its own first frame; here all begin with the first of any,
    begin again together, and are late together.

    Parameters
    ----------
    first_ns
        Capture time of the first frame of any of them [ns].
    """

    def __init__(self, first_ns: int) -> None:
        self._first_ns = first_ns
        self._start_ns: int | None = None
        self._end_ns = self._gap_ns = 0
        self._newest_ns = first_ns
        self._late: list[tuple[int, int]] = []
        self._count = self._at_end = self._round = 0
        self._changed = threading.Condition()

    def join(self) -> None:
        """Count one more recording."""
        self._count += 1

    def begin(self, round_number: int, stopping: threading.Event) -> bool:
        """Wait until all begin their recordings for the nth time, from 0; False when stopping."""
        with self._changed:
            if self._start_ns is None:
                self._start_ns = time.monotonic_ns()
            while self._round < round_number:
                if stopping.is_set():
                    return False
                self._changed.wait(_LOOK_S)
        return True

    def due_ns(self, capture_ns: int, speed: float) -> int:
        """When a frame is due on the host's clock [ns]."""
        with self._changed:
            assert self._start_ns is not None
            self._newest_ns = max(self._newest_ns, capture_ns)
            later_ns = sum(later for from_ns, later in self._late if capture_ns > from_ns)
            return self._start_ns + round((capture_ns - self._first_ns) / speed) + later_ns

    def late(self, capture_ns: int, late_ns: int) -> None:
        """Go on so much later [ns], all of them, since one frame is late by that.

        What is filmed at one time stays so: only frames beyond those that any recording has
        reached are due later.
        """
        with self._changed:
            if not self._late or capture_ns > self._late[-1][0]:
                self._late.append((self._newest_ns, late_ns))

    def ended(self, last_ns: int, gap_ns: int) -> None:
        """Tell that a recording is at its end: its last frame's due time, and its period [ns]."""
        with self._changed:
            self._end_ns = max(self._end_ns, last_ns)
            self._gap_ns = max(self._gap_ns, gap_ns)
            self._at_end += 1
            if self._at_end == self._count:
                self._start_ns = self._end_ns + self._gap_ns
                self._newest_ns = self._first_ns
                self._late.clear()
                self._at_end = 0
                self._round += 1
                self._changed.notify_all()


Recording = Callable[[], Iterator[tuple[Frame, Dots | None]]]


class ReplayFeed:
    """Recorded frames, each given when it is due.

    Parameters
    ----------
    name, camera, size_px, simulated
        Of the recording.
    findings
        Of the recording; shared with it.
    recording
        Reads it from the start.
    speed
        1 for its own pace, 2 for twice as fast; > 0.
    loop
        Whether to begin again at the end.
    full_scale_dn
        Level of a pixel at full scale.
    pace
        That recordings of several cameras share; None for a recording by itself.

    Raises
    ------
    RushlightError
        When the speed is not above 0.
    """

    renewable = False

    def __init__(
        self,
        name: str,
        camera: str,
        size_px: tuple[int, int],
        simulated: bool,
        findings: list[Finding],
        recording: Recording,
        speed: float = 1.0,
        loop: bool = False,
        full_scale_dn: int = 255,
        pace: Pace | None = None,
    ) -> None:
        if not (math.isfinite(speed) and speed > 0):
            raise RushlightError.of(
                "speed", f"{speed:g}", "is not above 0", "give 1 for the recording's own pace"
            )
        self.name, self.camera, self.simulated = name, camera, simulated
        self.full_scale_dn = full_scale_dn
        self.size_px: tuple[int, int] | None = size_px
        self.times = "replayed at its own pace" if speed == 1.0 else f"replayed {speed:g}× as fast"
        self.findings = findings
        self._recording, self._speed, self._loop = recording, speed, loop
        self._pace = pace
        if pace is not None:
            pace.join()

    def arrivals(self, stopping: threading.Event) -> Generator[Arrival | None, None, None]:
        """The frames, each when it is due; its capture is that moment on the host's clock."""
        if self._pace is not None:
            yield from self._in_step(self._pace, stopping)
            return
        start_ns = time.monotonic_ns()
        last_ns, gap_ns = start_ns, 0
        while not stopping.is_set():
            first_ns: int | None = None
            number: int | None = None
            for frame, dots in self._recording():
                if first_ns is None:
                    first_ns = frame.capture_ns
                    # Begun again, the first frame follows the last as the frames before it did.
                    start_ns = last_ns + gap_ns
                due_ns = start_ns + round((frame.capture_ns - first_ns) / self._speed)
                late_ns = time.monotonic_ns() - due_ns
                if late_ns > BEHIND_S * 1e9:
                    self._tell_behind()
                    start_ns, due_ns = start_ns + late_ns, due_ns + late_ns
                elif late_ns < 0 and stopping.wait(-late_ns * 1e-9):
                    return
                if due_ns > last_ns:
                    gap_ns = due_ns - last_ns
                last_ns = due_ns
                lost = 0 if number is None else max(frame.index - number - 1, 0)
                number = frame.index
                std_ns = frame.capture_std_ns / self._speed
                yield Arrival(due_ns, std_ns, frame.image, dots, lost)
            if first_ns is None or not self._loop:
                return

    def _in_step(
        self, pace: Pace, stopping: threading.Event
    ) -> Generator[Arrival | None, None, None]:
        """The frames by a clock that other recordings go by too."""
        round_number = 0
        while pace.begin(round_number, stopping) and not stopping.is_set():
            last_ns = gap_ns = 0
            number: int | None = None
            for frame, dots in self._recording():
                late_ns = time.monotonic_ns() - pace.due_ns(frame.capture_ns, self._speed)
                if late_ns > BEHIND_S * 1e9:
                    self._tell_behind()
                    pace.late(frame.capture_ns, late_ns)
                elif late_ns < 0 and stopping.wait(-late_ns * 1e-9):
                    return
                due_ns = pace.due_ns(frame.capture_ns, self._speed)
                gap_ns, last_ns = (due_ns - last_ns if last_ns else gap_ns), due_ns
                lost = 0 if number is None else max(frame.index - number - 1, 0)
                number = frame.index
                yield Arrival(due_ns, frame.capture_std_ns / self._speed, frame.image, dots, lost)
            if number is None or not self._loop:
                return
            pace.ended(last_ns, gap_ns)
            round_number += 1

    def _tell_behind(self) -> None:
        note_once(
            self.findings,
            Finding(
                "warning",
                "replay-behind",
                self.name,
                "",
                "cannot be read as fast as it was filmed, and goes on late",
                "give a lower speed, or a recording with smaller pictures",
            ),
        )


def replay(
    footage: Footage, speed: float = 1.0, loop: bool = False, pace: Pace | None = None
) -> LiveFrames:
    """Recorded footage as a live source: it waits for nobody, and slow takers miss frames.

    Parameters
    ----------
    footage
        From `open_footage`.
    speed
        1 for its own pace; > 0.
    loop
        Whether to begin again at its end.
    pace
        That it shares with the recordings of other cameras.

    Returns
    -------
    LiveFrames
        It begins when the first frame is asked for.

    Raises
    ------
    RushlightError
        When the speed is not above 0.
    """

    def recording() -> Iterator[tuple[Frame, Dots | None]]:
        return ((frame, None) for frame in footage)

    feed = ReplayFeed(
        footage.name,
        footage.camera,
        footage.size_px,
        footage.simulated,
        footage.findings,
        recording,
        speed,
        loop,
        footage.full_scale_dn,
        pace,
    )
    return LiveFrames(feed)


def replay_session(
    path: Path,
    camera: str | None = None,
    size_px: tuple[int, int] | None = None,
    speed: float = 1.0,
    loop: bool = False,
    pace: Pace | None = None,
) -> LiveDots:
    """The dots of a recorded session as a live source.

    Parameters
    ----------
    path
        The session.
    camera
        Whose dots; None takes the session's first.
    size_px
        Size of the camera's pictures [px], which a session does not hold; None takes what the
        dots span, and says so.
    speed, loop, pace
        As of `replay`.

    Returns
    -------
    LiveDots

    Raises
    ------
    RushlightError
        When it is no session, or holds no frame of that camera.
    """
    with SessionReader(path) as session:
        chosen = session.header.cameras[0] if camera is None else camera
        sightings = list(session.sightings(chosen))
        simulated = session.basis == "simulated"
    if not sightings:
        raise RushlightError.of(
            str(path),
            "",
            f'holds no frame of camera "{chosen}"',
            "give a session of that camera",
            "session-camera",
        )
    findings: list[Finding] = []
    if size_px is None:
        size_px = _spanned(sightings)
        findings.append(
            Finding(
                "note",
                "size-assumed",
                str(path),
                f"{size_px[0]}×{size_px[1]} px",
                "was taken from the dots, as a session does not tell the size of pictures",
                "give the rig",
            )
        )

    def recording() -> Iterator[tuple[Frame, Dots | None]]:
        return iter(sightings)

    feed = ReplayFeed(
        f"session:{path}", chosen, size_px, simulated, findings, recording, speed, loop, pace=pace
    )
    return LiveDots(feed)


def _spanned(sightings: list[tuple[Frame, Dots]]) -> tuple[int, int]:
    """The least picture that holds all dots, at least 8×8 px."""
    corners = [dots.xy.max(axis=0) for _, dots in sightings if len(dots)]
    furthest = np.max(corners, axis=0) if corners else np.zeros(2)
    return max(int(furthest[0]) + 1, 8), max(int(furthest[1]) + 1, 8)
