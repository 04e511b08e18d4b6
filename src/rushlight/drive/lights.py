"""Which lights are known to be on, so that their end can be told when no frames tell it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from rushlight.drive.output import Results
from rushlight.records.session import Event

NO_FRAMES, RUN_ENDED = "no frames came", "the run ended"
"""Details of a switching that no frame told."""


class Lights:
    """Follows switchings and fixes; makes up for those that no frame told in time.

    When frames stay away, or the run ends, `call_off` ends every light. What frames tell of these
    presses later is put right: their end is not told twice, and a light that turns out to have
    been on all the while goes on anew.
    """

    def __init__(self) -> None:
        self._on: dict[int, Event] = {}
        self._called_off: dict[int, Event] = {}

    def put_right(self, results: Results) -> Results:
        """The results as outputs shall see them.

        Parameters
        ----------
        results
            Of a frame later than the one before.
        """
        events = [event for event in results.events if not self._told_before(event)]
        moving = {
            fix.trail: fix  # those of no camera are foretold in the dark
            for fix in results.fixes
            if fix.cameras and fix.trail in self._called_off
        }
        anew = [
            replace(
                self._called_off.pop(trail),
                time_ns=fix.capture_ns,
                frame=fix.frame,
                capture_ns=fix.capture_ns,
                detect_ns=fix.detect_ns,
                map_ns=fix.map_ns,
            )
            for trail, fix in moving.items()
        ]
        for event in [*anew, *events]:
            if event.kind == "switch-down":
                self._on[event.trail] = event
            elif event.kind == "switch-up":
                self._on.pop(event.trail, None)
        return replace(results, events=[*anew, *events])

    def call_off(self, time_ns: int, why: str) -> Sequence[Event]:
        """End every light that is on.

        Parameters
        ----------
        why
            Detail of the events.
        time_ns
            Capture time of the last frame that showed them [ns].
        """
        ended = [
            Event(time_ns, "switch-up", on.carried, on.trail, detail=why)
            for on in self._on.values()
        ]
        self._called_off |= self._on
        self._on = {}
        return ended

    def _told_before(self, event: Event) -> bool:
        ended = event.kind in ("switch-up", "lost") and event.trail in self._called_off
        if ended:
            del self._called_off[event.trail]
        return ended
