"""Every press of a switch, and where it was: who pressed is told by the marks, not the names."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.assess.recording import Recording, Track
from rushlight.records.arrays import Array
from rushlight.records.session import Event

LONGEST_WAIT_NS = 200_000_000
"""From the switch going down to its first fix; no source."""


@dataclass(frozen=True, eq=False)
class Press:
    """A switch going down.

    Attributes
    ----------
    down_ns
        When [ns].
    carried
        The name that it bears.
    place_m
        (2,) first fix from then on [m]; NaN without one.
    """

    down_ns: int
    carried: str
    place_m: Array


def presses_of(recording: Recording) -> list[Press]:
    """The presses of a session, in order of time."""
    presses = []
    for event in recording.events:
        track = recording.tracks.get(event.carried or "")
        if event.kind == "switch-down" and track is not None and event.carried:
            presses.append(Press(event.time_ns, event.carried, _place(track, event)))
    return presses


def _place(track: Track, event: Event) -> Array:
    own = track.trail == event.trail if event.trail >= 0 else np.ones(len(track.trail), bool)
    late = track.capture_ns - event.time_ns
    rows = np.flatnonzero(own & (late >= 0) & (late <= LONGEST_WAIT_NS))
    return track.xy_m[rows[0]] if len(rows) else np.full(2, np.nan)
