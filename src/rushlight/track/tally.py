"""Counting what a run finds while it goes on."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from rushlight.errors import Finding
from rushlight.records.arrays import Array
from rushlight.records.dots import REASONS
from rushlight.track.following import Followed


@dataclass
class Tally:
    """What was seen so far.

    Attributes
    ----------
    frames, dots, fixes
        Counts; dots are those without a reason against them, fixes those that were seen.
    doubts
        (R,) dots found, by the reason against them as in `REASONS`.
    first_ns, last_ns
        Capture times of the first and last frame [ns].
    started_s
        When the first frame was done [s], on the monotonic clock.
    trails
        Their ids.
    events
        Counts by kind.
    fault_words
        What was told of faults on the way, each once.
    detect_s, map_s
        (frames,) from having a frame to its dots, and to its fixes [s].
    """

    frames: int = 0
    dots: int = 0
    fixes: int = 0
    first_ns: int = 0
    last_ns: int = 0
    started_s: float = 0.0
    doubts: Array = field(default_factory=lambda: np.zeros(len(REASONS), np.int64))
    trails: set[int] = field(default_factory=set)
    events: Counter[str] = field(default_factory=Counter)
    fault_words: dict[str, None] = field(default_factory=dict)
    detect_s: list[float] = field(default_factory=list)
    map_s: list[float] = field(default_factory=list)

    def add(self, followed: Followed) -> None:
        """Count one frame."""
        if self.frames == 0:
            # The first frame may have to compile the kernels; the clock starts after it.
            self.first_ns = followed.frame.capture_ns
            self.started_s = time.perf_counter()
        self.frames += 1
        self.last_ns = followed.frame.capture_ns
        self.dots += int(followed.doubts[0])
        self.doubts = self.doubts + followed.doubts
        self.fixes += sum(not fix.predicted for fix in followed.fixes)
        self.trails.update(link.trail for link in followed.links)
        self.events.update(event.kind for event in followed.events)
        self.fault_words.update(
            dict.fromkeys(event.detail for event in followed.events if event.kind == "fault")
        )
        self.detect_s.append(followed.detect_s)
        self.map_s.append(followed.map_s)

    def doubtful(self) -> dict[str, int]:
        """How many dots had which reason against them, the most frequent first."""
        told = {REASONS[k]: int(n) for k, n in enumerate(self.doubts) if k and n}
        return dict(sorted(told.items(), key=lambda each: -each[1]))

    def faults(self) -> list[Finding]:
        """What was told of faults on the way, as a camera that has moved."""
        return [
            Finding("warning", "fault", "run:", "", words.rstrip("."), "")
            for words in self.fault_words
        ]

    def share(self, frames: int | None) -> float:
        """Share of that many frames that is done, 0 when the number is unknown."""
        return self.frames / frames if frames else 0.0

    def frames_per_s(self) -> float | None:
        """Speed of the work so far [Hz]."""
        if self.frames < 2:
            return None
        return (self.frames - 1) / (time.perf_counter() - self.started_s)

    def footage_s(self) -> float | None:
        """From the first frame to the last [s]."""
        return (self.last_ns - self.first_ns) * 1e-9 if self.frames else None


def median_ms(durations_s: Sequence[float]) -> float | None:
    """Median of durations [ms], None where there are none.

    Parameters
    ----------
    durations_s
        (N,) [s].
    """
    return float(np.median(durations_s)) * 1e3 if durations_s else None
