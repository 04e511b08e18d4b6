"""From a frame's links to places of trails, back to the first dot of each light.

Neither a new light nor one that comes back is believed at once: it takes some frames in a row.
What those frames showed is told when it is believed, with its own moments.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.dots import Dots, Frame
from rushlight.see.link import TrailLinks
from rushlight.see.link_frame import HELD
from rushlight.track.shaking import Shake
from rushlight.track.sighting import Sighting


@dataclass(slots=True)
class _Past:
    """A recent frame, for tracing a just confirmed trail back to its first dot.

    Attributes
    ----------
    frame, capture_ns, dots
        Index, time [ns], and what was seen.
    free
        (N,) which dots no trail has taken.
    shake
        How the camera was turned, None where no anchors tell.
    """

    frame: int
    capture_ns: int
    dots: Dots
    free: Array
    shake: Shake | None


class Tracing:
    """Remembers the last frames, and lights that are off but not forgotten.

    Parameters
    ----------
    confirm_frames
        Frames in a row after which a light is believed, ≥ 1.
    reach_px
        Greatest distance of a dot from where its trail leads back to [px], > 0.
    dot_std_px
        Deviation of a dot that does not know its own [px], > 0.
    """

    def __init__(self, confirm_frames: int, reach_px: float, dot_std_px: float) -> None:
        self._confirm_frames = confirm_frames
        self._reach_px = reach_px
        self._dot_std_px = dot_std_px
        self._past: deque[_Past] = deque(maxlen=max(confirm_frames - 1, 0))
        self._off: dict[int, list[Sighting]] = {}

    def went_off(self, trail: int) -> None:
        """Believe in a trail's light no more until it is seen for some frames in a row."""
        self._off[trail] = []

    def forget(self, trail: int) -> bool:
        """Forget a trail; whether its light was off."""
        return self._off.pop(trail, None) is not None

    def sightings(
        self, frame: Frame, dots: Dots, linked: TrailLinks, shake: Shake | None
    ) -> list[Sighting]:
        """Every place that this frame adds to trails of lights that are on.

        Parameters
        ----------
        frame, dots, linked
            The frame, its dots and their links.
        shake
            How the camera was turned; None where no anchors tell.

        Returns
        -------
        list of Sighting
            Each trail's in the order of time.
        """
        merged = set(linked.shared.ravel().tolist())
        back: list[Sighting] = []
        found: list[Sighting] = []
        for row, trail in enumerate(linked.live.tolist()):
            held = linked.state[row] == HELD
            if trail in self._off:
                seen = [_seen(frame, dots, linked, row)] if held else []
                take_off(shake, seen)
                back += self._come_back(trail, seen)
                continue
            if trail in linked.births:
                back += self._traced_back(frame, linked, row)
            if held:
                found.append(_seen(frame, dots, linked, row))
            elif trail in merged:
                found.append(_foretold(frame, linked, row, dark=False))
        take_off(shake, found)
        self._past.append(_Past(frame.index, frame.capture_ns, dots, _unlinked(linked), shake))
        return back + found

    def _come_back(self, trail: int, seen: list[Sighting]) -> list[Sighting]:
        """What was seen of a light since it came back, once that is believed."""
        since = self._off[trail]
        if not seen:
            since.clear()
            return []
        since += seen
        if len(since) < self._confirm_frames:
            since[-1].state = "tentative"
            return []
        return self._off.pop(trail)

    def _traced_back(self, frame: Frame, linked: TrailLinks, row: int) -> list[Sighting]:
        """The dots of the frames that went into confirming a trail, the earliest first."""
        back: list[Sighting] = []
        for past in reversed(self._past):
            dt_s = (past.capture_ns - frame.capture_ns) * 1e-9
            expected = linked.xy[row] + dt_s * linked.velocity[row]
            gap = np.where(past.free, np.linalg.norm(past.dots.xy - expected, axis=1), np.inf)
            if len(gap) == 0 or not np.min(gap) < self._reach_px:
                break
            dot = int(np.argmin(gap))
            past.free[dot] = False
            cov = past.dots.cov[dot]
            known = np.isfinite(cov).all()
            back.append(
                Sighting(
                    trail=int(linked.live[row]),
                    frame=past.frame,
                    capture_ns=past.capture_ns,
                    dot=dot,
                    state="tentative",
                    predicted=False,
                    peak_dn=float(past.dots.peak[dot]),
                    xy_px=past.dots.xy[dot],
                    cov_px2=cov if known else self._dot_std_px**2 * np.eye(2),
                )
            )
            take_off(past.shake, back[-1:])
        return back[::-1]


def coasting(
    frame: Frame, linked: TrailLinks, trails: Sequence[int], shake: Shake | None
) -> list[Sighting]:
    """Where lights in the dark are taken to be, by their motion; the doubt grows frame by frame.

    Parameters
    ----------
    frame, linked
        The frame and its links.
    trails
        Ids, all among the live ones.
    shake
        See `Tracing.sightings`.
    """
    if not trails:
        return []
    rows = np.searchsorted(linked.live, trails)
    dark = [_foretold(frame, linked, int(row), dark=True) for row in rows]
    take_off(shake, dark)
    return dark


def take_off(shake: Shake | None, sightings: list[Sighting]) -> None:
    """Free the places of one frame from the camera's shaking at that moment."""
    if shake is None or not sightings:
        return
    xy_px, cov_px2 = shake.steady(
        np.array([one.xy_px for one in sightings]), np.array([one.cov_px2 for one in sightings])
    )
    for one, xy, cov in zip(sightings, xy_px, cov_px2, strict=True):
        one.xy_px, one.cov_px2 = xy, cov


def _seen(frame: Frame, dots: Dots, linked: TrailLinks, row: int) -> Sighting:
    """A trail that has a dot of its own."""
    dot = int(linked.dot[row])
    known = bool(np.isfinite(dots.cov[dot]).all())
    return Sighting(
        trail=int(linked.live[row]),
        frame=frame.index,
        capture_ns=frame.capture_ns,
        dot=dot,
        state="held",
        predicted=False,
        peak_dn=float(dots.peak[dot]),
        xy_px=dots.xy[dot],
        cov_px2=dots.cov[dot] if known else linked.cov[row, :2, :2],
    )


def _foretold(frame: Frame, linked: TrailLinks, row: int, dark: bool) -> Sighting:
    """A trail that has none."""
    return Sighting(
        trail=int(linked.live[row]),
        frame=frame.index,
        capture_ns=frame.capture_ns,
        dot=-1,
        state="coasting",
        predicted=True,
        peak_dn=np.nan,
        xy_px=linked.xy[row],
        cov_px2=linked.cov[row, :2, :2],
        dark=dark,
    )


def _unlinked(linked: TrailLinks) -> Array:
    """(N,) which dots could still turn out to begin a trail."""
    return np.asarray((linked.trail < 0) & (linked.shared[:, 0] < 0))
