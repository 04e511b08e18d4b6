"""Fixes of several cameras of one surface joined as they come, so that no camera waits for another.

As `fuse_fixes` does for recorded ones, but a camera's place between its frames is foretold along
the straight line of its last two fixes, for its next frame is not there yet.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.session import Event, Fix
from rushlight.track.fuse import fuse

ACCELERATION_M_S2 = 5.0
"""Root-mean-square acceleration of a hand that moves from mark to mark, along each axis [m/s²],
by which a foretold place may be off (from memory, no source)."""

_STALE = 1.5  # of a camera's own frame period: what is older it may not see any more
_LONGEST_NS = 0.1e9  # of a period, while it is not known (the project's own choice)
_PERIODS = 30  # intervals of frames over whose median a camera's period is taken


@dataclass
class _Seen:
    """One thing before one camera, of late: moments [ns], places (2,) [m], covariances (2, 2)."""

    last: deque[tuple[int, Array, Array]] = field(default_factory=lambda: deque(maxlen=2))
    in_newest: bool = False

    def add(self, fix: Fix) -> None:
        self.in_newest = True
        at = np.array(fix.position_m[:2]), np.array(fix.cov[:2, :2])
        self.last.append((fix.valid_ns, *at))

    def at(self, time_ns: int, period_ns: float) -> tuple[Array, Array]:
        """Place and covariance at a moment; NaN where the camera does not see it then."""
        dark = np.full(2, np.nan), np.full((2, 2), np.nan)
        if not self.in_newest or time_ns - self.last[-1][0] > _STALE * period_ns:
            return dark
        newest_ns, place, cov = self.last[-1]
        if newest_ns == time_ns:
            return place, cov
        if len(self.last) < 2:
            return dark
        before_ns, before, _ = self.last[0]
        step_ns = newest_ns - before_ns
        if not 0 < step_ns <= _STALE * period_ns:
            return dark
        late_s, step_s = (time_ns - newest_ns) * 1e-9, step_ns * 1e-9
        # A straight line through two points of a parabola misses it by ½ a t (t + step).
        off_m = 0.5 * ACCELERATION_M_S2 * late_s * (late_s + step_s)
        foretold = place + (place - before) * (late_s / step_s)
        return foretold, cov + off_m**2 * np.eye(2)


class LiveFusing:
    """Makes one course of fixes and switchings of what several cameras tell, frame by frame.

    A thing's fixes come at the moments of the first camera that sees it then. Its trail is one
    from its light's going on, seen by any camera, until no camera sees it any more.

    Parameters
    ----------
    cameras
        Their ids, the first one leading where it sees.
    """

    def __init__(self, cameras: Sequence[str]) -> None:
        self._ids = tuple(cameras)
        self._things: dict[str, list[_Seen]] = {}
        self._frames: list[deque[int]] = [deque(maxlen=_PERIODS + 1) for _ in self._ids]
        self._lit: dict[str, set[int]] = {}
        self._trail: dict[str, int] = {}
        self._told_ns: dict[str, int] = {}

    def moved(self, trail: int, camera: int) -> int:
        """A camera's own trail's number among those of all; −1 is none."""
        return trail if trail < 0 else trail * len(self._ids) + camera

    def step(
        self, camera: int, time_ns: int, fixes: Sequence[Fix], events: Sequence[Event]
    ) -> tuple[list[Fix], list[Event]]:
        """What one frame of one camera adds.

        Parameters
        ----------
        camera
            Its number among those given.
        time_ns
            The frame's moment of capture, on the clock of all [ns].
        fixes, events
            What the camera tells by itself.

        Returns
        -------
        fixes, events
            Of all cameras together. A thing before a camera that does not lead it gives no fix; a
            switching that another camera told before gives no event.
        """
        self._frames[camera].append(time_ns)
        for ways in self._things.values():
            ways[camera].in_newest = False
        for fix in sorted(fixes, key=lambda each: each.valid_ns):
            ways = self._things.setdefault(fix.carried, [_Seen() for _ in self._ids])
            if not fix.predicted:
                ways[camera].add(fix)
        joined = [each for each in (self._event(event, camera) for event in events) if each]
        told = [self._fused(fix, camera) for fix in fixes if self._leads(fix, camera)]
        for event in joined:
            if event.kind == "switch-up" and event.carried is not None:
                self._trail.pop(event.carried, None)
        return told, joined

    def _period_ns(self, camera: int) -> float:
        """Median interval of its frames, as long as can be after a single one."""
        frames = self._frames[camera]
        return float(np.median(np.diff(frames))) if len(frames) > 1 else _LONGEST_NS

    def _leads(self, fix: Fix, camera: int) -> bool:
        """Whether this camera's moment is one of the thing's."""
        if fix.valid_ns <= self._told_ns.get(fix.carried, -1):
            return False
        ways = self._things[fix.carried]
        others = range(len(ways)) if fix.predicted else range(camera)
        seen = [
            ways[each].in_newest
            and fix.valid_ns - ways[each].last[-1][0] <= _STALE * self._period_ns(each)
            for each in others
            if each != camera
        ]
        return not any(seen)

    def _fused(self, fix: Fix, camera: int) -> Fix:
        """A fix by all cameras that see its light then; as it is where none does."""
        self._told_ns[fix.carried] = fix.valid_ns
        trail = self._trail.setdefault(fix.carried, self.moved(fix.trail, camera))
        if fix.predicted:
            return fix.replace(trail=trail)
        seen = [
            way.at(fix.valid_ns, self._period_ns(number))
            for number, way in enumerate(self._things[fix.carried])
        ]
        one = fuse(np.stack([place for place, _ in seen]), np.stack([cov for _, cov in seen]))
        position, cov = np.array(fix.position_m), np.array(fix.cov)
        position[:2], cov[:2, :2] = one.place, one.cov
        names = tuple(name for name, used in zip(self._ids, one.used, strict=True) if used)
        return fix.replace(trail=trail, position_m=position, cov=cov, cameras=names)

    def _event(self, event: Event, camera: int) -> Event | None:
        """The event among those of all cameras; None where another camera told it."""
        own = self.moved(event.trail, camera)
        if event.kind not in ("switch-down", "switch-up") or event.carried is None:
            return replace(event, trail=own)
        by = self._lit.setdefault(event.carried, set())
        before = bool(by)
        (by.add if event.kind == "switch-down" else by.discard)(camera)
        if bool(by) == before:
            return None
        return replace(event, trail=self._trail.setdefault(event.carried, own))
