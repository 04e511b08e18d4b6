"""When frames left by which output; outputs with a thread of their own tell it from there."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable

from rushlight.records.session import Departure

MOST_KEPT = 4096
"""Departures kept for whoever asks; no source: some seconds of all outputs at 120 Hz."""


class Departures:
    """What left, until it is asked for.

    Any thread may tell; nobody waits, since a `deque` takes and gives one item at a time whole
    (Python documentation, ``collections.deque``: "thread-safe").
    """

    def __init__(self) -> None:
        self._told: deque[Departure] = deque(maxlen=MOST_KEPT)

    def left(self, output: str, frames: Iterable[int], sent_ns: int) -> None:
        """Note what one message carried.

        Parameters
        ----------
        output
            Name of the output.
        frames
            Indices of the frames that told what was in it; below 0 where none did. Each is noted
            once.
        sent_ns
            Host monotonic time at which the message had left [ns].
        """
        for frame in dict.fromkeys(frames):
            if frame >= 0:
                self._told.append(Departure(output, frame, sent_ns))

    def take(self) -> list[Departure]:
        """All that was told since the last time, in order."""
        return [self._told.popleft() for _ in range(len(self._told))]
