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

BEHIND_S = 0.5
"""A replay later than this is told of, and goes on from there [s]; no source."""

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

    def arrivals(self, stopping: threading.Event) -> Generator[Arrival | None, None, None]:
        """The frames, each when it is due; its capture is that moment on the host's clock."""
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


def replay(footage: Footage, speed: float = 1.0, loop: bool = False) -> LiveFrames:
    """Recorded footage as a live source: it waits for nobody, and slow takers miss frames.

    Parameters
    ----------
    footage
        From `open_footage`.
    speed
        1 for its own pace; > 0.
    loop
        Whether to begin again at its end.

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
    )
    return LiveFrames(feed)


def replay_session(
    path: Path,
    camera: str | None = None,
    size_px: tuple[int, int] | None = None,
    speed: float = 1.0,
    loop: bool = False,
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
    speed, loop
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
        f"session:{path}", chosen, size_px, simulated, findings, recording, speed, loop
    )
    return LiveDots(feed)


def _spanned(sightings: list[tuple[Frame, Dots]]) -> tuple[int, int]:
    """The least picture that holds all dots, at least 8×8 px."""
    corners = [dots.xy.max(axis=0) for _, dots in sightings if len(dots)]
    furthest = np.max(corners, axis=0) if corners else np.zeros(2)
    return max(int(furthest[0]) + 1, 8), max(int(furthest[1]) + 1, 8)
