"""From what each camera saw of a swung bar to rows of the solver: common moments, common ends."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from rushlight.errors import RushlightError
from rushlight.physics.geometry import invert_transform, transform_points, undistort_px
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots
from rushlight.register.space_bar import Stretch, between, stretches
from rushlight.register.space_join import LEAST_COMMON, Joined, join, triangulated
from rushlight.register.space_solve import Cameras, Known
from rushlight.register.space_swing import Swing

MOST_MOMENTS = 160
"""More moments of one swing add little (our own choice)."""

APART_S = 0.05
"""Moments nearer than this to one another would share frames, and so their noise."""


class Seen(NamedTuple):
    """A swing as all cameras saw it, before its moments are chosen.

    Fields
    ------
    tracks : the bar's stretches by camera
    flipped : by camera and stretch, whether its ends are counted the other way round
    late_s : (C,) how far each clock runs ahead of the first camera's [s]
    pose : (C, 4, 4) where the cameras stand, roughly
    measured : (C,) whether that began from the measured places
    origin_ns : moment from which times are counted
    """

    tracks: list[list[Stretch]]
    flipped: list[list[bool]]
    late_s: Array
    pose: Array
    measured: Array
    origin_ns: int


def seen_swing(
    seen: Sequence[Sequence[tuple[int, Dots]]],
    ids: Sequence[str],
    known: Known,
    doubt: Array,
    length_m: float,
) -> Seen:
    """The bar in every camera, all clocks and ends counted alike.

    Parameters
    ----------
    seen
        By camera, capture time [ns] and dots of every frame.
    ids
        Of the cameras.
    known
        What is believed of them.
    doubt
        (C, 6) deviations of their places and angles [m, rad].
    length_m
        Of the bar.

    Raises
    ------
    RushlightError
        When a camera never sees both lights, or no other camera sees them with it.
    """
    origin = min((frames[0][0] for frames in seen if frames), default=0)
    tracks = [stretches(frames, origin) for frames in seen]
    for camera, own in zip(ids, tracks, strict=True):
        if not own:
            raise RushlightError.of(
                f"camera {camera}",
                "",
                "never sees both lights of the scale bar for long",
                "swing the bar where every camera sees both its lights, and look at what each "
                "camera shows",
                "bar-unseen",
            )
    count = len(tracks)
    ways = _Ways()
    late, poses = np.zeros(count), np.array(known.cameras.pose)
    measured = np.ones(count, bool)
    joined = [0]
    while len(joined) < count:
        best: tuple[int, int, Joined] | None = None
        for new in (c for c in range(count) if c not in joined):
            for old in joined:
                cameras = Cameras(poses, known.cameras.lens)
                found = join(tracks[old], tracks[new], cameras, (old, new), doubt[new], length_m)
                if found and (best is None or found.moments > best[2].moments):
                    best = (old, new, found)
        if best is None:
            names = ", ".join(ids[c] for c in range(count) if c not in joined)
            raise RushlightError.of(
                f"camera {names}",
                "",
                f"has no view of the bar in common with {', '.join(ids[c] for c in joined)}: fewer "
                f"than {LEAST_COMMON} moments are seen by both",
                "swing the bar where two cameras see both its lights at once, or aim them at one "
                "place",
                "no-common-view",
            )
        old, new, found = best
        late[new], poses[new], measured[new] = late[old] + found.late_s, found.pose, found.measured
        for i, row in enumerate(found.exchanged):
            for j, swap in enumerate(row):
                if swap is not None:
                    ways.differ((old, i), (new, j), swap)
        joined.append(new)
    flipped = [[ways.of((c, i)) for i in range(len(own))] for c, own in enumerate(tracks)]
    return Seen(tracks, flipped, late, poses, measured, origin)


class _Ways:
    """Which way each stretch counts the ends of the bar, so that all that overlap count alike.

    Stretches are (camera, number). Those that hang together are a group, which counts as its head
    does; a stretch that overlaps two groups makes one of them, whichever came first.
    """

    def __init__(self) -> None:
        self._head: dict[tuple[int, int], tuple[int, int]] = {}
        self._differs: dict[tuple[int, int], bool] = {}

    def of(self, stretch: tuple[int, int]) -> bool:
        """Whether it counts the other way than the head of its group."""
        return self._root(stretch)[1]

    def differ(self, one: tuple[int, int], other: tuple[int, int], swap: bool) -> None:
        """Two that overlap count alike, or the other way; what contradicts is passed over."""
        (head, mine), (joins, theirs) = self._root(one), self._root(other)
        if head != joins:
            self._head[joins], self._differs[joins] = head, mine ^ theirs ^ swap

    def _root(self, stretch: tuple[int, int]) -> tuple[tuple[int, int], bool]:
        differs = False
        while stretch in self._head:
            differs ^= self._differs[stretch]
            stretch = self._head[stretch]
        return stretch, differs


def swing_rows(
    seen: Seen, late_s: Array, length_m: float, length_std_m: float, moments_s: Array | None = None
) -> tuple[Swing, Array]:
    """The rows of a swing at common moments.

    Parameters
    ----------
    seen
        From `seen_swing`.
    late_s
        (C,) clocks as now known [s].
    length_m, length_std_m
        Of the bar, and its deviation [m].
    moments_s
        Moments on the first camera's clock [s]; chosen by default.

    Returns
    -------
    swing : Swing
    moments_s : (I,)
        On the first camera's clock, counted from the origin [s].
    """
    if moments_s is None:
        moments_s = _common_moments(seen, late_s)
    many, count = len(moments_s), len(seen.tracks)
    px = np.full((many, count, 2, 2), np.nan)
    cov, speed = np.full((many, count, 2, 2, 2), np.nan), np.zeros((many, count, 2, 2))
    for camera in range(count):
        for track, flip in zip(seen.tracks[camera], seen.flipped[camera], strict=True):
            at = between(track, moments_s + late_s[camera])
            here = np.isfinite(at.px).all(axis=(1, 2))
            ends = slice(None, None, -1) if flip else slice(None)
            px[here, camera] = at.px[here][:, ends]
            # Unlike a held dot, each falls on the pixels in its own way: nothing to add.
            cov[here, camera] = at.px_cov[here][:, ends]
            speed[here, camera] = at.px_s[here][:, ends]
    both = np.isfinite(px).all(axis=(2, 3)).sum(axis=1) >= 2
    swing = Swing(px[both], cov[both], speed[both], length_m, length_std_m)
    return swing, moments_s[both]


def _common_moments(seen: Seen, late_s: Array) -> Array:
    """Moments at which two cameras or more follow the bar, spread evenly over the swing."""
    times = np.sort(
        np.concatenate(
            [
                track.time_s - late
                for own, late in zip(seen.tracks, late_s, strict=True)
                for track in own
            ]
        )
    )
    views = np.zeros(len(times), int)
    for own, late in zip(seen.tracks, late_s, strict=True):
        follows = np.zeros(len(times), bool)
        for track in own:
            follows |= np.isfinite(between(track, times + late).px).all(axis=(1, 2))
        views += follows
    good = times[views >= 2]
    chosen: list[float] = []
    for at in good:
        if not chosen or at - chosen[-1] >= APART_S:
            chosen.append(float(at))
    if len(chosen) > MOST_MOMENTS:
        chosen = [chosen[i] for i in np.linspace(0, len(chosen) - 1, MOST_MOMENTS).astype(int)]
    return np.array(chosen)


def ends_of(swing: Swing, cameras: Cameras) -> Array:
    """Where the ends of the bar are, roughly: (I, 2, 3) [m], by the two cameras farthest apart."""
    ends = np.full((len(swing), 2, 3), np.nan)
    count = swing.px.shape[1]
    rays = np.stack(
        [undistort_px(swing.px[:, c], cameras.K[c], cameras.k[c]) for c in range(count)], axis=1
    )
    order = sorted(
        ((a, b) for a in range(count) for b in range(a + 1, count)),
        key=lambda pair: np.linalg.norm(
            cameras.pose[pair[0], :3, 3] - cameras.pose[pair[1], :3, 3]
        ),
    )
    for a, b in order:
        between_them = invert_transform(cameras.pose[a]) @ cameras.pose[b]
        found = transform_points(
            cameras.pose[a], triangulated(rays[:, a], rays[:, b], between_them)
        )
        here = np.isfinite(found).all(axis=(1, 2))
        ends[here] = found[here]
    return ends
