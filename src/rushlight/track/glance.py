"""Look only where lights are foretold, when frames come faster than whole pictures are searched.

A window about each foretold place is searched in a fraction of the time of the whole picture, and
shows the same dots there. What begins elsewhere waits for the next search of the whole picture,
so windows are used only while time is short, and never for longer than `LONGEST_WAIT_S`.
"""

from __future__ import annotations

import math
import time
from collections import deque
from typing import Protocol

import numpy as np
import numpy.typing as npt
from numba import njit

from rushlight.records.arrays import Array
from rushlight.records.dots import Dots, Frame
from rushlight.see.link import TrailLinks
from rushlight.see.link_frame import HELD
from rushlight.see.tiles import JIT

LONGEST_WAIT_S = 0.02
"""Longest time that a new light may have to wait for a search of the whole picture [s]: small
beside the delay of a camera and a display; no source."""

SHORT_SHARE = 0.25
"""Part of the frame period beyond which searching the whole picture leaves too little time for
decoding, mapping and sending; no source."""

RECENT = 16
"""Frames over which the period and the time of a search are taken."""

LEAST_REACH_PX, GREATEST_REACH_PX = 12.0, 90.0
"""Half side of a window [px]: what a spot needs around it, and what is not worth a window."""

REACH_SIGMAS = 5.0
"""A dot is looked for so many deviations of its prediction away."""

HANDS_PX2_S3 = 1e6
"""Spectral density of the acceleration of hands [px²/s³], as the linker has it."""


class Searching(Protocol):
    """A detector of whole pictures and of windows."""

    def __call__(self, image: Array) -> Dots:
        """The dots of a whole picture."""

    def near(self, image: Array, places_px: npt.ArrayLike, reach_px: npt.ArrayLike) -> Dots:
        """The dots in windows about some places [px]."""


class Glance:
    """Finds the dots of one frame after the other, in windows where that is needed and enough.

    Parameters
    ----------
    detect
        Searches whole pictures and windows.
    short_share
        Part of the frame period that a whole search may take before windows are used, ≥ 0.
    longest_wait_s
        Longest time that a new light may wait for a whole search [s], ≥ 0.

    Attributes
    ----------
    whole, windows
        Frames searched either way so far; a frame in which a window missed its dot counts as
        whole.
    """

    def __init__(
        self,
        detect: Searching,
        short_share: float = SHORT_SHARE,
        longest_wait_s: float = LONGEST_WAIT_S,
    ) -> None:
        self._detect = detect
        self._short_share, self._longest_wait_s = short_share, longest_wait_s
        self._periods_s: deque[float] = deque(maxlen=RECENT)
        self._took_s: deque[float] = deque(maxlen=RECENT)
        self._last_ns: int | None = None
        self._whole_ns = 0
        self.whole = self.windows = 0

    def __call__(self, frame: Frame, linked: TrailLinks | None, begun: bool = False) -> Dots:
        """The dots of a frame.

        Parameters
        ----------
        frame
            With its image.
        linked
            What the frame before told; None for the first.
        begun
            Whether a good dot of the frame before belongs to no trail yet.

        Returns
        -------
        Dots
            Where windows were enough, those in them: for unclipped dots and known noise the same
            as from the whole picture.
        """
        if frame.image is None:
            raise ValueError(f"expected an image, got none in frame {frame.index}")
        if self._last_ns is not None:
            self._periods_s.append((frame.capture_ns - self._last_ns) * 1e-9)
        self._last_ns = frame.capture_ns
        if linked is not None and self._windows_do(frame.capture_ns, linked, begun):
            places, reach = foretold_windows(linked, frame.capture_ns)
            dots = self._detect.near(frame.image, places, reach)
            if each_has_one(dots.xy, dots.reason, places, reach):
                self.windows += 1
                return dots
        began_s = time.perf_counter()
        dots = self._detect(frame.image)
        self._took_s.append(time.perf_counter() - began_s)
        self._whole_ns = frame.capture_ns
        self.whole += 1
        return dots

    def _windows_do(self, now_ns: int, linked: TrailLinks, begun: bool) -> bool:
        """Whether time is short, and nothing new can be missed for too long."""
        if begun or len(self._took_s) < RECENT // 2 or len(self._periods_s) < RECENT // 2:
            return False
        # The shortest of each: a frame that was lost, or a search that was held up, is no measure.
        if min(self._took_s) < self._short_share * min(self._periods_s):
            return False
        # A light that would be seen a frame after a whole search is seen with the next one, which
        # follows this frame at the latest.
        if (now_ns - self._whole_ns) * 1e-9 > 1.001 * self._longest_wait_s:
            return False
        return len(linked.live) > 0 and bool((linked.state == HELD).all())


def foretold_windows(linked: TrailLinks, time_ns: int) -> tuple[Array, Array]:
    """Where the trails' dots should be, and how far around to look.

    Parameters
    ----------
    linked
        Of an earlier frame.
    time_ns
        The moment to foretell [ns].

    Returns
    -------
    places_px, reach_px
        (T, 2) and (T,) [px].
    """
    places, reach = np.empty((len(linked.live), 2)), np.empty(len(linked.live))
    ahead_s = (time_ns - linked.time_ns) * 1e-9
    fill_foretold(linked.xy, linked.velocity, linked.cov, ahead_s, places, reach)
    return places, reach


@njit(**JIT)
def fill_foretold(xy, velocity, cov, ahead_s, places, reach):  # type: ignore[no-untyped-def]
    """Foretell places and their windows.

    Parameters
    ----------
    xy, velocity, cov
        (T, 2) [px], (T, 2) [px/s] and (T, 4, 4) of trails.
    ahead_s
        How far to foretell [s].
    places, reach
        (T, 2) and (T,) [px], filled.
    """
    for trail in range(places.shape[0]):
        widest = 0.0
        for axis in range(2):
            places[trail, axis] = xy[trail, axis] + ahead_s * velocity[trail, axis]
            variance = (
                cov[trail, axis, axis]
                + 2.0 * ahead_s * cov[trail, axis, axis + 2]
                + ahead_s * ahead_s * cov[trail, axis + 2, axis + 2]
                + HANDS_PX2_S3 * ahead_s**3 / 3.0
            )
            widest = max(widest, variance)
        reach[trail] = min(LEAST_REACH_PX + REACH_SIGMAS * math.sqrt(widest), GREATEST_REACH_PX)


@njit(**JIT)
def each_has_one(xy, reason, places, reach):  # type: ignore[no-untyped-def]
    """Whether every window shows a good dot of its own, and there is no other good dot.

    Parameters
    ----------
    xy, reason
        (N, 2) [px] and (N,) of the dots found.
    places, reach
        (T, 2) and (T,) of the windows [px].

    Returns
    -------
    bool
    """
    good = 0
    for dot in range(reason.size):
        good += reason[dot] == 0
    if good != reach.size:
        return False
    for place in range(reach.size):
        inside = 0
        for dot in range(reason.size):
            away = max(abs(xy[dot, 0] - places[place, 0]), abs(xy[dot, 1] - places[place, 1]))
            inside += reason[dot] == 0 and away <= reach[place]
        if inside == 0:
            return False
    return True
