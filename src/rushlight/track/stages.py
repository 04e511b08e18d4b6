"""Where the time goes while a run follows live: delay by stage, of places, presses and releases.

All delays count from the light: of a place, from the middle of the exposure that shows it; of a
press, from the first exposure that shows it, though it is known some frames later; of a release,
from the last one, known once the light was missed for a set time. So each stage holds the ones
before it, and the last is the whole.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice
from typing import Literal

import numpy as np

from rushlight.records.session import Departure, Event
from rushlight.track.following import Followed

What = Literal["place", "press", "release"]

KNOWN, DOTS, FIXES = "known", "dots", "fixes"
"""Stages before sending; an output's stage bears its name."""

MOST_KEPT = 200_000
"""Delays of a stage that are kept, the latest; no source: half an hour at 120 Hz."""

MOST_AWAITED = 512
"""Frames of which departures are awaited; no source: four seconds at 120 Hz."""

_EVENTS: dict[str, What] = {"switch-down": "press", "switch-up": "release"}


@dataclass(frozen=True, slots=True)
class StageDelay:
    """How late one stage was.

    Attributes
    ----------
    what
        Of places, of presses or of releases.
    stage
        "known" (the exposure of the frame by which a press or release was known), "dots",
        "fixes", or the name of an output.
    median_ms, p95_ms
        Since the light [ms].
    count
        Places (one a frame), presses or releases.
    """

    what: What
    stage: str
    median_ms: float
    p95_ms: float
    count: int


class Stages:
    """Collects delays frame by frame; departures may come later, and from other threads' work."""

    def __init__(self) -> None:
        self._delays_ms: dict[tuple[What, str], deque[float]] = {}
        self._awaited: dict[int, list[tuple[What, int]]] = {}

    def add(self, followed: Followed) -> None:
        """Note one frame's stages up to its fixes.

        Parameters
        ----------
        followed
            With moments on the host's clock.
        """
        frame = followed.frame
        begun: list[tuple[What, int]] = []
        if followed.fixes:
            newest = followed.fixes[-1]
            begun.append(("place", frame.capture_ns))
            self._note("place", DOTS, newest.detect_ns - frame.capture_ns)
            self._note("place", FIXES, newest.map_ns - frame.capture_ns)
        for event in followed.events:
            if event.kind in _EVENTS and event.map_ns >= 0:
                begun.append(self._switched(_EVENTS[event.kind], event))
        if begun:
            self._awaited[frame.index] = begun
            if len(self._awaited) > MOST_AWAITED:
                del self._awaited[next(iter(self._awaited))]

    def left(self, departures: Iterable[Departure]) -> None:
        """Note when what was added before left by which output."""
        for each in departures:
            for what, since_ns in self._awaited.get(each.frame, ()):
                self._note(what, each.output, each.sent_ns - since_ns)

    def delays(self, latest: int = MOST_KEPT) -> tuple[StageDelay, ...]:
        """Every stage in the order of time, of places, then presses, then releases.

        Parameters
        ----------
        latest
            How many of each stage's latest delays count, ≥ 1.
        """
        told = []
        for (what, stage), values in self._delays_ms.items():
            some = np.fromiter(islice(reversed(values), latest), float)
            median_ms, p95_ms = (float(each) for each in np.quantile(some, (0.5, 0.95)))
            told.append(StageDelay(what, stage, median_ms, p95_ms, len(some)))
        first = ("place", "press", "release")
        early = (KNOWN, DOTS, FIXES)
        return tuple(
            sorted(
                told,
                key=lambda one: (
                    first.index(one.what),
                    early.index(one.stage) if one.stage in early else len(early),
                    one.median_ms,
                ),
            )
        )

    def _switched(self, what: What, event: Event) -> tuple[What, int]:
        """A press or a release, and since when its delay counts."""
        for stage, at_ns in (
            (KNOWN, event.capture_ns),
            (DOTS, event.detect_ns),
            (FIXES, event.map_ns),
        ):
            self._note(what, stage, at_ns - event.time_ns)
        return what, event.time_ns

    def _note(self, what: What, stage: str, delay_ns: int) -> None:
        kept = self._delays_ms.setdefault((what, stage), deque(maxlen=MOST_KEPT))
        kept.append(delay_ns * 1e-6)
