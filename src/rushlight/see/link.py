"""Link the dots of successive frames into trails, one for each light.

Each trail is a Kalman filter with constant velocity: it foretells where its dot will be, and how
surely. Dots and trails are paired so that the whole frame is most likely. A trail that finds no
dot coasts on its prediction, turning as it did of late, while its uncertainty grows. Where two
trails meet and their spots melt into one dot, that dot tells where the middle of the pair is and
not which is which: both coast, their middle steered by the dot, until two dots part again and the
motion before tells them apart.
"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from rushlight.errors import RushlightError
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots
from rushlight.see.link_frame import COAST_NS, ID, MARKS, link_frame

State = Literal["tentative", "held", "coasting"]
STATES: tuple[State, ...] = ("tentative", "held", "coasting")
"""What a trail is, by the number that stands in `TrailLinks.state`."""

COAST_S = 0.4
"""Longest time that a trail is kept without a dot of its own [s]; no source. Long enough for a
light that fails, is hidden by an arm, or is lifted for a moment: it comes back under its own name.
When a light counts as switched off is another matter, and for `track` to say."""

_ROOM = 64  # trails and dots for which there is room at first


class TrailLinks(NamedTuple):
    """Which dot of a frame belongs to which trail, and where every trail is.

    The arrays are filled for this frame alone and are the receiver's own. They are no checked
    record, since a frame's linking takes less time than the checks would.

    Attributes
    ----------
    time_ns
        The frame's time [ns].
    trail
        (N,) int64, trail id of each dot; −1 for none, for trails not yet confirmed, and for a dot
        that two trails share.
    shared
        (N, 2) int64, the two trails that share a dot; −1 for a dot of one trail or none.
    live
        (T,) int64, ids of the confirmed trails, rising.
    dot
        (T,) int64, the dot of each live trail; −1 while it coasts.
    state
        (T,) int64, index into `STATES`; live trails are held or coasting.
    xy
        (T, 2) position after this frame's dots [px].
    velocity
        (T, 2) velocity [px/s].
    cov
        (T, 4, 4) covariance of x, y [px] and velocity [px/s].
    births
        Ids confirmed at this frame.
    deaths
        Ids given up at this frame.
    """

    time_ns: int
    trail: Array
    shared: Array
    live: Array
    dot: Array
    state: Array
    xy: Array
    velocity: Array
    cov: Array
    births: tuple[int, ...]
    deaths: tuple[int, ...]


class Linker:
    """Keeps the identity of lights from frame to frame.

    Parameters
    ----------
    agility_px2_s3
        Spectral density of the white acceleration that hands are credited with [px²/s³], > 0.
    confirm_frames
        Frames in a row, each with its dot, after which a trail gets an id, ≥ 1.
    coast_s
        Longest time a trail is kept without a dot of its own [s], ≥ 0; `let_coast` sets another
        for one trail.
    gate_sigmas
        Greatest distance of a dot from its prediction, in standard deviations, > 0.
    reach_px
        Greatest distance of a dot from its prediction [px], whatever the uncertainty, > 0.
    merge_px
        Distance at which two spots melt into one dot [px], ≥ 0.
    dot_std_px
        Deviation of a dot that does not know its own [px], > 0.
    speed_std_px_s
        Deviation of the speed of a light that was just found [px/s], > 0.

    Raises
    ------
    RushlightError
        When a setting is outside its range.
    """

    def __init__(
        self,
        *,
        agility_px2_s3: float = 1e6,
        confirm_frames: int = 3,
        coast_s: float = COAST_S,
        gate_sigmas: float = 5.0,
        reach_px: float = 90.0,
        merge_px: float = 5.0,
        dot_std_px: float = 0.3,
        speed_std_px_s: float = 800.0,
    ) -> None:
        settings = {
            "agility_px2_s3": (agility_px2_s3, agility_px2_s3 > 0, "must be above 0 px²/s³"),
            "confirm_frames": (confirm_frames, confirm_frames >= 1, "must be 1 frame or more"),
            "coast_s": (coast_s, coast_s >= 0, "must be 0 s or more"),
            "gate_sigmas": (gate_sigmas, gate_sigmas > 0, "must be above 0"),
            "reach_px": (reach_px, reach_px > 0, "must be above 0 px"),
            "merge_px": (merge_px, merge_px >= 0, "must be 0 px or more"),
            "dot_std_px": (dot_std_px, dot_std_px > 0, "must be above 0 px"),
            "speed_std_px_s": (speed_std_px_s, speed_std_px_s > 0, "must be above 0 px/s"),
        }
        for name, (value, fits, allowed) in settings.items():
            if not fits:
                raise RushlightError.of(f"linker: {name}", str(value), allowed, "correct it")
        self.confirm_frames = confirm_frames
        self.coast_s = coast_s
        self.reach_px = reach_px
        self.dot_std_px = dot_std_px
        self._settings = np.array(
            [
                agility_px2_s3,
                confirm_frames,
                gate_sigmas,
                reach_px,
                merge_px,
                dot_std_px,
                speed_std_px_s,
                coast_s * 1e9,
            ]
        )
        self._time_ns: int | None = None
        self._trails = self._next_id = self._room = 0
        self._mean = np.zeros((0, 4))
        self._cov = np.zeros((0, 4, 4))
        self._turn = np.zeros((0, 2))
        self._marks = np.zeros((0, MARKS), np.int64)
        self._make_room(_ROOM)

    def step(self, time_ns: int, dots: Dots) -> TrailLinks:
        """Link the dots of the next frame.

        Parameters
        ----------
        time_ns
            The frame's time [ns], later than the frame before; intervals may vary.
        dots
            All its dots. Only dots without a reason against them begin a trail; a doubtful one
            may continue a trail when it is faint, at the edge or a reflection and its light is
            mostly explained.

        Returns
        -------
        TrailLinks

        Raises
        ------
        RushlightError
            When time does not advance.
        """
        before_ns = time_ns if self._time_ns is None else self._time_ns
        if self._time_ns is not None and time_ns <= before_ns:
            raise RushlightError.of(
                "frame time",
                f"{time_ns} ns",
                f"is not after the frame before, at {before_ns} ns",
                "give the frames in the order of their capture",
            )
        xy = dots.xy
        count = len(xy)
        if self._trails + count > self._room:
            self._make_room(2 * (self._trails + count))
        known = self._trails
        trail = np.empty(count, np.int64)
        shared = np.empty((count, 2), np.int64)
        live = np.empty(known, np.int64)
        dot = np.empty(known, np.int64)
        state = np.empty(known, np.int64)
        places = np.empty((known, 2))
        speeds = np.empty((known, 2))
        spreads = np.empty((known, 4, 4))
        first_id = self._next_id
        self._trails, lives, births, deaths = link_frame(
            time_ns,
            before_ns,
            xy,
            dots.cov,
            dots.reason,
            dots.quality,
            self._settings,
            self._mean,
            self._cov,
            self._turn,
            self._marks,
            known,
            first_id,
            trail,
            shared,
            live,
            dot,
            state,
            places,
            speeds,
            spreads,
            self._ended,
        )
        self._time_ns = time_ns
        self._next_id = first_id + births
        if lives < known:
            live, dot, state = live[:lives], dot[:lives], state[:lives]
            places, speeds, spreads = places[:lives], speeds[:lives], spreads[:lives]
        return TrailLinks(
            time_ns,
            trail,
            shared,
            live,
            dot,
            state,
            places,
            speeds,
            spreads,
            tuple(range(first_id, first_id + births)) if births else (),
            tuple(self._ended[:deaths].tolist()) if deaths else (),
        )

    def let_coast(self, trail: int, coast_s: float) -> None:
        """Set how long one trail is kept without a dot of its own, as for a light that blinks.

        Parameters
        ----------
        trail
            Its id; nothing happens when it is no more.
        coast_s
            Longest time [s], ≥ 0.
        """
        rows = np.flatnonzero(self._marks[: self._trails, ID] == trail)
        self._marks[rows, COAST_NS] = round(coast_s * 1e9)

    def _make_room(self, room: int) -> None:
        """Let this many trails, and as many dots, find a place."""
        more = room - self._room
        self._mean = np.concatenate([self._mean, np.zeros((more, 4))])
        self._cov = np.concatenate([self._cov, np.zeros((more, 4, 4))])
        self._turn = np.concatenate([self._turn, np.zeros((more, 2))])
        self._marks = np.concatenate([self._marks, np.zeros((more, MARKS), np.int64)])
        self._ended = np.zeros(room, np.int64)
        self._room = room


def nearest_live(links: TrailLinks, xy: npt.ArrayLike) -> int:
    """The live trail nearest to a place, −1 when there is none.

    Parameters
    ----------
    links
        The frame's links.
    xy
        (2,) the place [px].

    Returns
    -------
    int
        Trail id.
    """
    if len(links.live) == 0:
        return -1
    gap = np.asarray(xy, float) - links.xy
    distance = [math.hypot(x, y) for x, y in gap]
    return int(links.live[int(np.argmin(distance))])
