"""Dots of several cameras brought to common moments: those of the first camera's frames.

Each camera's dots are linked into trails; between two of its frames a trail's place is
interpolated. Where a shutter rolls, a dot is moved by its trail's speed to the middle row's time.

Of live cameras one may fall silent. The others wait for it no longer than they are told; then their
moments go without it, and while the first camera is silent they are those of the next one's frames.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.dots import Dots
from rushlight.see.link import Linker
from rushlight.track.space_cameras import SpaceCameras
from rushlight.track.space_codes import TrailCodes

_SAME_NS = 1_000
_WIDEST_PERIODS = 2.5
_KEPT = 64  # frames of a camera that wait for the first one's


@dataclass(frozen=True, eq=False)
class Seen:
    """N dots of one camera at one moment.

    Attributes
    ----------
    xy, cov
        (N, 2) [px] and (N, 2, 2) [px²].
    trail
        (N,) the camera's own trails; −1 for none.
    light
        (N,) the light that a dot's blinking tells, as in `rushlight.track.space_codes`.
    frame
        Index of the camera's frame that is nearest.
    dot
        (N,) their indices among that frame's dots.
    time_ns
        Of that frame, by the camera's own clock [ns].
    """

    xy: Array
    cov: Array
    trail: Array
    light: Array
    frame: int
    dot: Array
    time_ns: int

    def keep(self, which: Array) -> Seen:
        """Some of the dots, by their indices."""
        return Seen(
            self.xy[which],
            self.cov[which],
            self.trail[which],
            self.light[which],
            self.frame,
            self.dot[which],
            self.time_ns,
        )


@dataclass(frozen=True, eq=False)
class Moment:
    """What all cameras see at one moment.

    Attributes
    ----------
    time_ns
        Of the first camera's frame, or of the next one's while that is silent, by the first one's
        clock [ns].
    frame
        Its index.
    seen
        By camera; None for one that has no frame near enough.
    """

    time_ns: int
    frame: int
    seen: tuple[Seen | None, ...]


class Moments:
    """Brings the frames of several cameras together.

    Parameters
    ----------
    cameras
        As registered.
    codes
        By camera, what reads the blinking of its trails.
    wait_ns
        A camera that is this far behind the newest frame of any is silent, and is not waited for
        [ns], > 0. None waits for all, as recorded footage can be waited for.

    Attributes
    ----------
    late
        By camera, frames that came after moments of their time had gone without them.
    """

    def __init__(
        self, cameras: SpaceCameras, codes: Sequence[TrailCodes], wait_ns: int | None = None
    ) -> None:
        self._cameras = cameras
        self._wait_ns = wait_ns
        self.late = [0] * len(cameras)
        self._lead = 0
        self._heard_ns: list[int | None] = [None] * len(cameras)
        self._begun_ns: int | None = None
        self._done_ns: int | None = None
        self._codes = codes
        self._linkers = [Linker(confirm_frames=1, coast_s=each.coast_s) for each in codes]
        self._waiting: deque[tuple[int, Seen]] = deque()
        self._frames: list[deque[tuple[int, Seen]]] = [deque(maxlen=_KEPT) for _ in cameras.ids]

    def put(self, camera: int, frame: int, time_ns: int, dots: Dots) -> Iterator[Moment]:
        """Take one camera's next frame, and give the moments that are complete by it.

        Parameters
        ----------
        camera, frame
            The camera's place in the rig, and the frame's index.
        time_ns
            Middle of its exposure by its own clock [ns].
        dots
            All its dots.
        """
        seen = self._linked(camera, frame, time_ns, dots)
        told_ns = time_ns - int(self._cameras.clock_offset_ns[camera])
        if self._begun_ns is None:
            self._begun_ns = told_ns
        self._heard_ns[camera] = told_ns
        gone = self._done_ns is not None and told_ns <= self._done_ns
        if gone and self._wait_ns is not None:
            self.late[camera] += 1
        self._frames[camera].append((told_ns, seen))
        changed = self._choose_lead()
        if camera == self._lead and not gone and not changed:
            self._waiting.append((told_ns, seen))
        yield from self._complete(False)

    def rest(self) -> Iterator[Moment]:
        """The moments that still wait when no more frames come."""
        yield from self._complete(True)

    def _silent(self, camera: int) -> bool:
        """Whether a camera is so far behind that it is not waited for."""
        if self._wait_ns is None:
            return False
        told = [heard_ns for heard_ns in self._heard_ns if heard_ns is not None]
        last_ns = self._heard_ns[camera]
        since_ns = self._begun_ns if last_ns is None else last_ns
        return bool(told) and since_ns is not None and max(told) - since_ns > self._wait_ns

    def _choose_lead(self) -> bool:
        """Whether other frames are the moments now: the first camera's that is not silent."""
        lead = next((c for c in range(len(self._frames)) if not self._silent(c)), self._lead)
        if lead == self._lead:
            return False
        self._lead = lead
        done_ns = self._done_ns
        ahead = (each for each in self._frames[lead] if done_ns is None or each[0] > done_ns)
        self._waiting = deque(ahead)
        return True

    def _complete(self, ended: bool) -> Iterator[Moment]:
        while self._waiting:
            time_ns, first = self._waiting[0]
            late = any(
                (not each or each[-1][0] < time_ns - _SAME_NS) and not self._silent(camera)
                for camera, each in enumerate(self._frames)
                if camera != self._lead
            )
            if late and not ended and len(self._waiting) < _KEPT:
                return
            self._waiting.popleft()
            self._done_ns = time_ns
            found = [
                first if camera == self._lead else _at(each, time_ns, self._wait_ns)
                for camera, each in enumerate(self._frames)
            ]
            yield Moment(time_ns, first.frame, tuple(found))

    def _linked(self, camera: int, frame: int, time_ns: int, dots: Dots) -> Seen:
        links = self._linkers[camera].step(time_ns, dots)
        # A dot that carries a trail on counts whatever is said against it, if its doubt is known.
        told = np.isfinite(dots.cov).all(axis=(-2, -1))
        good = np.flatnonzero(told & ((dots.reason == 0) | (links.trail >= 0)))
        xy = np.array(dots.xy[good])
        row_time_s = float(self._cameras.row_time_s[camera])
        if row_time_s > 0.0 and len(good):
            rows = float(self._cameras.size_px[camera, 1])
            late_s = row_time_s * (xy[:, 1] - (rows - 1.0) / 2.0)
            known = np.isin(links.trail[good], links.live)
            at = np.searchsorted(links.live, links.trail[good][known])
            xy[known] -= late_s[known, None] * links.velocity[at]
        read = self._codes[camera].read(links)
        return Seen(
            xy, np.array(dots.cov[good]), links.trail[good], read[good], frame, good, time_ns
        )


def _at(frames: deque[tuple[int, Seen]], time_ns: int, widest_ns: int | None = None) -> Seen | None:
    """One camera's dots at a moment, between two of its frames; earlier ones are forgotten."""
    while len(frames) > 1 and frames[1][0] <= time_ns + _SAME_NS:
        frames.popleft()
    if not frames:
        return None
    before_ns, before = frames[0]
    if abs(before_ns - time_ns) <= _SAME_NS:
        return before
    if before_ns > time_ns or len(frames) < 2:
        return None
    after_ns, after = frames[1]
    if len(frames) > 2 and after_ns - before_ns > _WIDEST_PERIODS * (frames[2][0] - after_ns):
        return None
    if widest_ns is not None and after_ns - before_ns > widest_ns:
        return None
    share = (time_ns - before_ns) / (after_ns - before_ns)
    _, one, other = np.intersect1d(
        np.where(before.trail >= 0, before.trail, -1 - np.arange(len(before.trail))),
        np.where(after.trail >= 0, after.trail, -1_000_000 - np.arange(len(after.trail))),
        return_indices=True,
    )
    near = before if share < 0.5 else after
    return Seen(
        (1.0 - share) * before.xy[one] + share * after.xy[other],
        (1.0 - share) ** 2 * before.cov[one] + share**2 * after.cov[other],
        before.trail[one],
        np.maximum(before.light[one], after.light[other]),
        near.frame,
        near.dot[one] if near is before else near.dot[other],
        near.time_ns,
    )
