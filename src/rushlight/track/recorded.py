"""Raw trails of a recorded session, and where in them the hand rests or moves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from rushlight.keep.session import SessionReader
from rushlight.physics.geometry.plane import apply_homography, fit_homography, homography_jacobian
from rushlight.records.arrays import Array
from rushlight.track.switch import RELEASE_S

SLOPE_S = 0.1
"""Span over which a speed is taken [s]; no source."""
REST_S = 0.75
MOVING_S = 0.2
"""Shortest stretch at rest and in motion [s]; no source."""
SETTLE_S = 0.5
"""What is left out at a resting stretch's beginning, so that filters have settled [s]; no
source."""
REST_SHARE, MOVING_SHARE = 0.03, 0.2
"""Of the speed that 99 % of the dots do not reach: rest is slower, motion is faster; no source."""
REST_SIGMAS, MOVING_SIGMAS = 5.0, 10.0
"""And never below what noise alone looks like; no source."""
LEAST_WAY_SIGMAS = 50.0
"""A moving stretch goes at least so many deviations of a dot; no source."""
_FEWEST_PAIRS = 20
_LEAST_SPREAD = 0.02  # narrow over wide side of the pairs; a map from a line is none; no source


@dataclass(frozen=True, eq=False)
class RawTrail:
    """The dots of one trail as they were measured.

    Attributes
    ----------
    time_s
        (N,) since the session's first frame, rising [s].
    xy_px, cov_px2
        (N, 2) [px] and (N, 2, 2) [px²]; an unknown covariance is the trails' common noise.
    """

    time_s: Array
    xy_px: Array
    cov_px2: Array


@dataclass(frozen=True)
class Stretch:
    """Rows ``start`` to before ``end`` of the trail of a number."""

    trail: int
    start: int
    end: int


@dataclass(frozen=True)
class Stretches:
    """Where trails rest and move, and by which speeds that was told.

    Attributes
    ----------
    rest, moving
        In order.
    rest_below_px_s, moving_above_px_s
        [px/s].
    """

    rest: tuple[Stretch, ...]
    moving: tuple[Stretch, ...]
    rest_below_px_s: float
    moving_above_px_s: float


def raw_trails(reader: SessionReader) -> list[RawTrail]:
    """Every trail's measured dots.

    Parameters
    ----------
    reader
        An open session.

    Returns
    -------
    list of RawTrail
        Those of four dots or more, by camera and trail, and parted where a light was off: there
        the run began to smooth afresh.
    """
    rows = _joined(reader)
    trails = []
    for which in _groups(rows["camera"], rows["trail"]):
        order = which[np.argsort(rows["time_s"][which], kind="stable")]
        order = order[np.append(True, np.diff(rows["time_s"][order]) > 0)]
        off = np.flatnonzero(np.diff(rows["time_s"][order]) > RELEASE_S) + 1
        trails += [
            RawTrail(*(rows[name][press] for name in ("time_s", "xy", "cov")))
            for press in np.split(order, off)
            if len(press) >= 4
        ]
    noise = noise_px(trails)
    return [
        RawTrail(
            each.time_s,
            each.xy_px,
            np.where(
                np.isfinite(each.cov_px2).all(axis=(1, 2), keepdims=True),
                each.cov_px2,
                noise**2 * np.eye(2),
            ),
        )
        for each in trails
    ]


def _joined(reader: SessionReader) -> dict[str, Array]:
    """Dots that belong to a trail, with their times."""
    frames, dots, links = reader.frame_table(), reader.dot_table(), reader.trail_table()
    when = {
        (camera, frame): ns
        for camera, frame, ns in zip(
            frames["camera"], frames["frame"], frames["capture_ns"], strict=True
        )
    }
    where = {
        key: row
        for row, key in enumerate(zip(dots["camera"], dots["frame"], dots["dot"], strict=True))
    }
    seen = [
        (row, where[key], when[key[:2]])
        for row, key in enumerate(zip(links["camera"], links["frame"], links["dot"], strict=True))
        if key in where and key[:2] in when
    ]
    link, dot, ns = np.array(seen, dtype=np.int64).reshape(-1, 3).T
    xx, xy, yy = (dots[f"cov_{axes}_px2"][dot] for axes in ("xx", "xy", "yy"))
    return {
        "camera": links["camera"][link],
        "trail": links["trail"][link],
        "frame": links["frame"][link],
        "time_s": (ns - ns.min(initial=np.iinfo(np.int64).max)) * 1e-9,
        "xy": np.stack([dots["x_px"][dot], dots["y_px"][dot]], axis=-1),
        "cov": np.stack([xx, xy, xy, yy], axis=-1).reshape(-1, 2, 2),
    }


def _groups(camera: Array, trail: Array) -> Iterator[Array]:
    """Rows of each trail."""
    for name in sorted(set(camera.tolist())):
        for number in np.unique(trail[camera == name]):
            yield np.flatnonzero((camera == name) & (trail == number))


@dataclass(frozen=True, eq=False)
class PlaneMap:
    """From the picture to the surface in mm, as the session's own fixes tell it.

    Attributes
    ----------
    mm_from_px
        (3, 3).
    misfit_mm
        Root-mean-square distance from the fixes [mm]: the lens's curves, and the lag of fixes
        that were smoothed.
    """

    mm_from_px: Array
    misfit_mm: float

    def place(self, xy_px: Array) -> Array:
        """(..., 2) places [mm]."""
        return np.asarray(apply_homography(self.mm_from_px, xy_px))

    def cov(self, xy_px: Array, cov_px2: Array) -> Array:
        """(..., 2, 2) covariances [mm²]."""
        slope = homography_jacobian(self.mm_from_px, xy_px)
        return np.asarray(slope @ cov_px2 @ np.swapaxes(slope, -1, -2))


def plane_map(reader: SessionReader) -> PlaneMap | None:
    """The map of the surface that best fits the fixes of a session of one camera.

    Parameters
    ----------
    reader
        An open session.

    Returns
    -------
    PlaneMap or None
        None without fixes on a surface, with several cameras, and where the fixes cover too
        little to tell a map.
    """
    rows, fixes = _joined(reader), reader.fix_table()
    if len(set(rows["camera"].tolist())) != 1:
        return None
    dots = {
        (frame, trail): row
        for row, (frame, trail) in enumerate(
            zip(rows["frame"].tolist(), rows["trail"].tolist(), strict=True)
        )
    }
    known = np.isfinite(fixes["x_m"]) & np.isfinite(fixes["y_m"])
    known &= ~fixes["predicted"] & (fixes["dimensions"] == 2)
    pairs = [
        (dots[key], row)
        for row, key in enumerate(
            zip(fixes["frame"].tolist(), fixes["trail"].tolist(), strict=True)
        )
        if known[row] and key in dots
    ]
    if len(pairs) < _FEWEST_PAIRS:
        return None
    dot, fix = np.array(pairs).T
    source = rows["xy"][dot]
    target = 1e3 * np.stack([fixes["x_m"][fix], fixes["y_m"][fix]], axis=-1)
    spread = np.linalg.svd(source - source.mean(axis=0), compute_uv=False)
    if not spread[1] > _LEAST_SPREAD * spread[0] or len(np.unique(source.round(), axis=0)) < 8:
        return None
    mm_from_px = fit_homography(source, target)
    apart = np.linalg.norm(apply_homography(mm_from_px, source) - target, axis=-1)
    return PlaneMap(mm_from_px, float(np.sqrt(np.mean(apart**2))))


def noise_px(trails: Sequence[RawTrail]) -> float:
    """Deviation of a raw dot along each axis [px]; NaN where nothing tells it.

    Third differences of evenly spaced dots hardly see the hand: their deviation is √20 times
    that of a dot (computed here: 1 + 9 + 9 + 1). By the median, so that jumps do not count.
    """
    found = [np.zeros(0)]
    for trail in trails:
        steps = np.diff(trail.time_s)
        even = np.abs(sliding_window_view(steps, 3) / np.median(steps) - 1.0).max(axis=1) < 0.2
        found.append(np.abs(np.diff(trail.xy_px, n=3, axis=0)[even]).ravel())
    all_found = np.concatenate(found)
    # The median of |x| of a normal law is 0.6745 of its deviation.
    return float(np.median(all_found) / 0.6745 / np.sqrt(20.0)) if len(all_found) else np.nan


def stretches(trails: Sequence[RawTrail]) -> Stretches:
    """Where the trails rest, and where they move.

    Parameters
    ----------
    trails
        From `raw_trails`.

    Returns
    -------
    Stretches
        Both kinds may be empty.
    """
    noise = noise_px(trails)
    speeds = [speed_px_s(trail) for trail in trails]
    known = np.concatenate([np.zeros(0), *speeds])
    known = known[np.isfinite(known)]
    if len(known) == 0:
        return Stretches((), (), np.nan, np.nan)
    fast = float(np.quantile(known, 0.99))
    period_s = float(np.median(np.concatenate([np.diff(trail.time_s) for trail in trails])))
    rows = _window(period_s)
    # Deviation of a least-squares slope over evenly spaced rows; computed here.
    speed_std = noise * np.sqrt(12.0 / (rows * (rows**2 - 1.0))) / period_s
    rest_below = max(REST_SIGMAS * speed_std, REST_SHARE * fast)
    moving_above = max(MOVING_SIGMAS * speed_std, MOVING_SHARE * fast)
    rest: list[Stretch] = []
    moving: list[Stretch] = []
    for number, (trail, speed) in enumerate(zip(trails, speeds, strict=True)):
        for start, end in _runs(trail, speed < rest_below, REST_S, period_s):
            settled = int(np.searchsorted(trail.time_s, trail.time_s[start] + SETTLE_S))
            if end - settled >= 4:
                rest.append(Stretch(number, settled, end))
        for start, end in _runs(trail, speed > moving_above, MOVING_S, period_s):
            way = np.ptp(trail.xy_px[start:end], axis=0).max()
            if way > LEAST_WAY_SIGMAS * noise:
                moving.append(Stretch(number, start, end))
    return Stretches(tuple(rest), tuple(moving), float(rest_below), float(moving_above))


def _window(period_s: float) -> int:
    return max(5, 2 * round(0.5 * SLOPE_S / period_s) + 1)


def speed_px_s(trail: RawTrail) -> Array:
    """(N,) speed by a straight line through the dots around each [px/s]; NaN in short trails."""
    rows = _window(float(np.median(np.diff(trail.time_s))))
    if len(trail.time_s) < rows:
        return np.full(len(trail.time_s), np.nan)
    time_s = sliding_window_view(trail.time_s, rows)
    xy = sliding_window_view(trail.xy_px, rows, axis=0)
    away = time_s - time_s.mean(axis=-1, keepdims=True)
    slope = np.einsum("nr,ndr->nd", away, xy) / np.sum(away**2, axis=-1)[:, None]
    speed = np.linalg.norm(slope, axis=-1)
    side = rows // 2
    return np.concatenate([np.repeat(speed[:1], side), speed, np.repeat(speed[-1:], side)])


def _runs(
    trail: RawTrail, holds: Array, least_s: float, period_s: float
) -> Iterator[tuple[int, int]]:
    """Rows over which something holds for long enough without a gap."""
    joined = np.diff(trail.time_s) < 2.5 * period_s
    inside = holds[1:] & holds[:-1] & joined
    edges = np.diff(np.concatenate([[0], inside.astype(int), [0]]))
    for start, end in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        if trail.time_s[end] - trail.time_s[start] >= least_s:
            yield int(start), int(end) + 1


def needed(
    trails: Sequence[RawTrail], found: Stretches, most_dots: int
) -> tuple[list[int], Stretches]:
    """Which trails hold stretches, in order until they hold so many dots, and their stretches.

    Parameters
    ----------
    trails, found
        As found.
    most_dots
        After so many dots no further trail is taken; at least one with each kind is.

    Returns
    -------
    numbers
        Of the trails.
    found
        Numbered anew, for those trails alone.
    """
    resting = [each.trail for each in found.rest]
    moving = [each.trail for each in found.moving]
    first = {*resting[:1], *moving[:1]}
    count = sum(len(trails[number].time_s) for number in first)
    taken = set(first)
    for number in sorted({*resting, *moving} - first):
        if count + len(trails[number].time_s) > most_dots:
            break
        taken.add(number)
        count += len(trails[number].time_s)
    numbers = sorted(taken)
    anew = {number: index for index, number in enumerate(numbers)}
    rest, moving_kept = (
        tuple(
            Stretch(anew[each.trail], each.start, each.end) for each in kind if each.trail in anew
        )
        for kind in (found.rest, found.moving)
    )
    return numbers, Stretches(rest, moving_kept, found.rest_below_px_s, found.moving_above_px_s)
