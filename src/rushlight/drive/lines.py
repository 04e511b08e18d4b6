"""JSON lines: one object a frame, for any program that reads text."""

from __future__ import annotations

import json
import math
import os
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from typing import Any, TextIO

import numpy as np

from rushlight.drive.departures import Departures
from rushlight.drive.output import NOT_SENT, Display, Results, Step
from rushlight.errors import Finding
from rushlight.records.session import Event, Fix

MOST_FRAMES = 600
"""Frames that may wait for a reader: five seconds at 120 Hz; no source."""

STOP_S = 1.0
"""Longest wait at the end for a reader that takes no more."""

_ONE_LINE_AT_A_TIME = threading.Lock()
"""Outputs that share a stream never mix their lines."""


def _known(value: float) -> float | None:
    """The number, or None where it is not known."""
    return value if math.isfinite(value) else None


def _happened(value: int) -> int | None:
    """A moment or number, or None where it did not happen."""
    return value if value >= 0 else None


def fix_object(fix: Fix, display: Display) -> dict[str, Any]:
    """A fix as plain values; null stands for what is not known.

    Parameters
    ----------
    fix
        As tracked.
    display
        Whose pixels are given beside metres for a fix on a surface.
    """
    std_m = np.sqrt(np.diagonal(fix.cov)[:3])
    x_px = y_px = math.nan
    if fix.dimensions == 2 and display.surface in (None, fix.surface):
        x_px, y_px = display.px(float(fix.position_m[0]), float(fix.position_m[1]))
    return {
        "carried": fix.carried,
        "point": fix.point,
        "trail": fix.trail,
        "frame": fix.frame,
        "capture_ns": fix.capture_ns,
        "valid_ns": fix.valid_ns,
        "detect_ns": _happened(fix.detect_ns),
        "map_ns": _happened(fix.map_ns),
        "dimensions": fix.dimensions,
        "surface": fix.surface,
        "position_m": [_known(float(each)) for each in fix.position_m],
        "position_std_m": [_known(float(each)) for each in std_m],
        "quaternion": [_known(float(each)) for each in fix.quaternion],
        "display_px": [_known(x_px), _known(y_px)],
        "switch": fix.switch,
        "predicted": fix.predicted,
        "confidence": fix.hypotheses[0] if fix.hypotheses else None,
    }


def event_object(event: Event) -> dict[str, Any]:
    """An event as plain values."""
    return {
        "kind": event.kind,
        "time_ns": event.time_ns,
        "carried": event.carried,
        "trail": _happened(event.trail),
        "frame": _happened(event.frame),
        "detail": event.detail,
        "capture_ns": _happened(event.capture_ns),
        "detect_ns": _happened(event.detect_ns),
        "map_ns": _happened(event.map_ns),
    }


def line_of(results: Results, display: Display, sent_ns: int) -> str:
    """One frame's results as one line of JSON, without its end.

    Parameters
    ----------
    results, display
        See `fix_object`.
    sent_ns
        Host monotonic time at which it is written [ns].
    """
    body = {
        "frame": _happened(results.frame),
        "capture_ns": results.capture_ns,
        "sent_ns": sent_ns,
        "fixes": [fix_object(fix, display) for fix in results.fixes],
        "events": [event_object(event) for event in results.events],
    }
    return json.dumps(body, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def _printer(stream: TextIO) -> Callable[[str], None]:
    """What writes text through to the reader.

    A stream with a file behind it is written past its buffer: a thread that still waits for a
    slow reader at the end of the process would hold the buffer's lock, and nothing is left in it.
    """
    try:
        file = stream.fileno()
    except (OSError, AttributeError):

        def write_whole(text: str) -> None:
            stream.write(text)
            stream.flush()

        return write_whole
    stream.flush()

    def write_through(text: str) -> None:
        rest = text.encode()
        while rest:
            rest = rest[os.write(file, rest) :]

    return write_through


class LinesOutput:
    """Writes one JSON object a line, flushed, from a thread of its own.

    A frame without fixes and events is left out. When the reader falls far behind, the oldest
    frames are given up and their events go with the next that is kept. A closed pipe ends the
    output, not the run.

    Parameters
    ----------
    display
        See `fix_object`.
    stream
        Text stream to write to; standard output by default.
    departures
        Told of frames as they have been written.
    """

    name = "lines"
    most_frames = MOST_FRAMES

    def __init__(
        self,
        display: Display,
        stream: TextIO | None = None,
        departures: Departures | None = None,
    ) -> None:
        self.sent = self.lost = 0
        self._departures = departures or Departures()
        self.findings: list[Finding] = []
        self._display = display
        self._print = _printer(sys.stdout if stream is None else stream)
        self._waiting: deque[Results] = deque()
        self._changed = threading.Condition()
        self._ending = self._ended = False
        self._thread = threading.Thread(target=self._write, name="rushlight-lines", daemon=True)
        self._thread.start()

    def wants(self, results: Results) -> bool:
        """Whether a frame has anything to tell."""
        return bool(results.fixes or results.events)

    def line(self, results: Results, sent_ns: int) -> str:
        """What is written of a frame, without the line's end."""
        return line_of(results, self._display, sent_ns)

    def put(self, results: Results, steps: Sequence[Step]) -> int:
        """Let one frame wait for its turn; see `output.Output`."""
        if not self._ended and self.wants(results):
            with self._changed:
                self._waiting.append(results)
                if len(self._waiting) > self.most_frames:
                    self._give_up_oldest()
                self._changed.notify()
        return NOT_SENT

    def close(self) -> None:
        """Write what waits, unless the reader takes no more."""
        with self._changed:
            self._ending = True
            self._changed.notify()
        self._thread.join(STOP_S)

    def _give_up_oldest(self) -> None:
        """Drop the oldest frame's fixes; its events go with the next."""
        gone, heir = self._waiting.popleft(), self._waiting.popleft()
        events = [*gone.events, *heir.events]
        self._waiting.appendleft(Results(heir.frame, heir.capture_ns, heir.fixes, events))
        self.lost += 1

    def _next(self) -> Results | None:
        """The oldest frame that waits; None at the end."""
        with self._changed:
            while not self._waiting:
                if self._ending:
                    return None
                self._changed.wait()
            return self._waiting.popleft()

    def _write(self) -> None:
        """Write until the end or until nobody reads."""
        while (results := self._next()) is not None:
            try:
                text = self.line(results, time.monotonic_ns()) + "\n"
                with _ONE_LINE_AT_A_TIME:
                    self._print(text)
            except (OSError, ValueError) as error:  # a closed stream is a ValueError
                self._end(error)
                return
            self.sent += 1
            self._departures.left(self.name, [results.frame], time.monotonic_ns())

    def _end(self, error: Exception) -> None:
        """Note that nobody reads any more."""
        self._ended = True
        closed = isinstance(error, BrokenPipeError | ValueError)
        with self._changed:
            self.lost += len(self._waiting) + 1
            self._waiting.clear()
        self.findings.append(
            Finding(
                "warning",
                "output-ended",
                f"output {self.name}",
                "",
                "is off from here on: " + ("its reader has gone" if closed else str(error)),
                "keep the reading program running as long as the run",
            )
        )
