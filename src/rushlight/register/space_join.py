"""Two cameras that see one swung bar: how far their clocks stand apart, and how they stand.

Whatever the clocks, both cameras' rays to one end of the bar lie in one plane with the line that
joins the cameras. Only at the right offset do all moments agree in that, so the offset is where
they agree best.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from rushlight.opencv.essential import relative_pose
from rushlight.physics.geometry import invert_transform, undistort_px
from rushlight.physics.geometry.rotation import cross_matrix, pose_difference, pose_moved
from rushlight.records.arrays import Array
from rushlight.register.space_bar import Stretch, between
from rushlight.register.space_solve import Cameras

LONGEST_OFFSET_S = 0.5
"""Clocks are sought so far apart (our own choice; cameras started by one program are nearer)."""

LEAST_COMMON = 15
"""So few moments seen by both cameras tell nothing."""

GOOD_PX = 3.0
"""Where moments agree less well than this, the cameras stand elsewhere than measured, and the
search begins without what was measured."""

_MOST = 150  # moments of a search; our choice, as are the two below
_ROUNDS = 4
_SOFT_PX = 2.0  # misses beyond weigh less than their square


class Joined(NamedTuple):
    """Two cameras, joined.

    Fields
    ------
    late_s : how far the second camera's clock runs ahead of the first's [s]
    pose : (4, 4) ``rig_from_camera`` of the second, the first standing as believed
    rms_px : what the rays of all moments miss one another by [px]
    moments : how many moments were seen by both
    exchanged : (A, B) whether the ends are counted the other way round in the second camera's
        stretch, for each pair of stretches; None where they have no moment in common
    measured : whether the measured places were the start
    """

    late_s: float
    pose: Array
    rms_px: float
    moments: int
    exchanged: list[list[bool | None]]
    measured: bool


class _Pair(NamedTuple):
    """Rays of both cameras at common moments: (N, 2, 2) each, and (N,) their stretches."""

    one: Array
    other: Array
    stretch_one: Array
    stretch_other: Array


def join(
    one: list[Stretch],
    other: list[Stretch],
    cameras: Cameras,
    which: tuple[int, int],
    doubt: Array,
    length_m: float,
) -> Joined | None:
    """How far do two clocks stand apart, and how does the second camera stand?

    Parameters
    ----------
    one, other
        The bar's stretches in each.
    cameras
        As believed; the first of the two is taken to stand so.
    which
        Numbers of the two cameras.
    doubt
        (6,) deviations of the second camera's place and angles [m, rad].
    length_m
        Of the bar.

    Returns
    -------
    Joined or None
        None where hardly any moment is seen by both, whatever the offset.
    """
    moments = _moments(one)
    period = min(float(np.median(np.diff(s.time_s))) for s in (*one, *other)) if moments else 1.0
    offsets = np.arange(-LONGEST_OFFSET_S, LONGEST_OFFSET_S + period, period)
    best = _best(one, other, cameras, which, doubt, moments, offsets)
    if best is None:
        return None
    best = _finer(one, other, cameras, which, doubt, moments, best, period)
    if best.rms_px > GOOD_PX:
        afresh = _afresh(one, other, cameras, which, doubt, moments, offsets, length_m)
        if afresh is not None:
            start = _placed(cameras, which[1], afresh.pose)
            afresh = _finer(one, other, start, which, doubt, moments, afresh, period)
            best = afresh if afresh.rms_px < 0.5 * best.rms_px else best
    return best


def _finer(
    one: list[Stretch], other: list[Stretch], cameras: Cameras, which: tuple[int, int],
    doubt: Array, moments: list[Array], best: Joined, period: float,
) -> Joined:  # fmt: skip
    """The same with its offset sought between the frames."""
    for step in (period / 4.0, period / 16.0):
        near = best.late_s + step * np.arange(-3, 4)
        finer = _best(one, other, cameras, which, doubt, moments, near)
        if finer is not None and finer.rms_px < best.rms_px:
            best = finer._replace(measured=best.measured)
    return best


def _placed(cameras: Cameras, camera: int, pose: Array) -> Cameras:
    poses = np.array(cameras.pose)
    poses[camera] = pose
    return Cameras(poses, cameras.lens)


def _moments(one: list[Stretch]) -> list[Array]:
    """Moments of each stretch, thinned out evenly."""
    every = max(1, sum(len(s.time_s) for s in one) // _MOST)
    return [s.time_s[::every] for s in one]


def _best(
    one: list[Stretch], other: list[Stretch], cameras: Cameras, which: tuple[int, int],
    doubt: Array, moments: list[Array], offsets: Array,
) -> Joined | None:  # fmt: skip
    """The offset at which the moments agree best, by cameras that stand near where believed."""
    found = []
    for late in offsets:
        pair = _pair(one, other, cameras, which, moments, float(late))
        if len(pair.one) < LEAST_COMMON:
            continue
        pose, rms, swaps = _settled(pair, cameras, which, doubt)
        table = _table(pair, swaps, len(one), len(other))
        found.append(Joined(float(late), pose, rms, len(pair.one), table, True))
    if not found:
        return None
    # An offset that leaves few moments agrees too easily.
    most = max(each.moments for each in found)
    return min((f for f in found if f.moments >= 0.6 * most), key=lambda f: f.rms_px)


def _pair(
    one: list[Stretch], other: list[Stretch], cameras: Cameras, which: tuple[int, int],
    moments: list[Array], late_s: float,
) -> _Pair:  # fmt: skip
    ends: tuple[list[Array], list[Array]] = ([], [])
    of: tuple[list[Array], list[Array]] = ([], [])
    for i, (track, times) in enumerate(zip(one, moments, strict=True)):
        mine = between(track, times).px
        seen = np.isfinite(mine).all(axis=(1, 2))
        for j, partner in enumerate(other):
            reach = (times + late_s >= partner.time_s[0]) & (times + late_s <= partner.time_s[-1])
            if not np.any(reach & seen):
                continue
            theirs = between(partner, times[reach & seen] + late_s).px
            both = np.isfinite(theirs).all(axis=(1, 2))
            ends[0].append(mine[reach & seen][both])
            ends[1].append(theirs[both])
            of[0].append(np.full(int(both.sum()), i))
            of[1].append(np.full(int(both.sum()), j))
    if not ends[0]:
        nothing = np.zeros((0, 2, 2))
        return _Pair(nothing, nothing, np.zeros(0, int), np.zeros(0, int))
    rays = [
        undistort_px(np.concatenate(px), cameras.K[camera], cameras.k[camera])
        for px, camera in zip(ends, which, strict=True)
    ]
    kept = np.isfinite(rays[0]).all(axis=(1, 2)) & np.isfinite(rays[1]).all(axis=(1, 2))
    return _Pair(rays[0][kept], rays[1][kept], *(np.concatenate(each)[kept] for each in of))


def _settled(
    pair: _Pair, cameras: Cameras, which: tuple[int, int], doubt: Array
) -> tuple[Array, float, Array]:
    """The second camera's likeliest pose, the miss left over [px], and (N,) exchanged ends."""
    first = invert_transform(cameras.pose[which[0]])
    believed = pose = np.array(cameras.pose[which[1]])
    focal = float(cameras.lens[which[0], 0])
    swaps = np.zeros(len(pair.one), bool)
    unit = np.maximum(doubt, 1e-9)
    for _ in range(_ROUNDS):
        swaps = _exchanged(pair, first @ pose, focal)
        other = np.where(swaps[:, None, None], pair.other[:, ::-1], pair.other)
        miss = sampson(pair.one, other, first @ pose) * focal
        by = np.stack(
            [
                (sampson(pair.one, other, first @ pose_moved(pose, step)) * focal - miss) / 1e-6
                for step in 1e-6 * np.eye(6)
            ],
            axis=-1,
        )
        weight = 1.0 / (1.0 + (miss / (_SOFT_PX * max(1.0, float(np.median(np.abs(miss)))))) ** 2)
        by_unit = by.reshape(-1, 6) * unit
        weighed = by_unit * weight.reshape(-1, 1)
        off = pose_difference(pose, believed) / unit
        normal = weighed.T @ by_unit + np.eye(6)
        step = np.linalg.solve(normal, -(weighed.T @ miss.reshape(-1)) - off)
        pose = pose_moved(pose, step * unit)
    swaps = _exchanged(pair, first @ pose, focal)
    other = np.where(swaps[:, None, None], pair.other[:, ::-1], pair.other)
    miss = np.abs(sampson(pair.one, other, first @ pose) * focal)
    # Root-mean-square of the better three quarters: a few moments may be of another light.
    kept = np.sort(miss.reshape(-1))[: max(1, int(0.75 * miss.size))]
    return pose, float(np.sqrt(np.mean(kept**2))), swaps


def _exchanged(pair: _Pair, one_from_other: Array, focal: float) -> Array:
    """(N,) whether the second camera counts the ends the other way, by stretches."""
    straight = np.abs(sampson(pair.one, pair.other, one_from_other)) * focal
    crossed = np.abs(sampson(pair.one, pair.other[:, ::-1], one_from_other)) * focal
    gain = (np.minimum(straight, 50.0) - np.minimum(crossed, 50.0)).sum(axis=1)
    _, group = np.unique(
        np.stack([pair.stretch_one, pair.stretch_other]), axis=1, return_inverse=True
    )
    group = np.reshape(group, -1)
    return np.asarray(np.bincount(group, weights=gain)[group] > 0.0)


def _table(pair: _Pair, swaps: Array, ones: int, others: int) -> list[list[bool | None]]:
    table: list[list[bool | None]] = [[None] * others for _ in range(ones)]
    for i, j, swap in zip(pair.stretch_one, pair.stretch_other, swaps, strict=True):
        table[int(i)][int(j)] = bool(swap)
    return table


def _afresh(
    one: list[Stretch], other: list[Stretch], cameras: Cameras, which: tuple[int, int],
    doubt: Array, moments: list[Array], offsets: Array, length_m: float,
) -> Joined | None:  # fmt: skip
    """The same without what was measured: by the essential matrix, scaled by the bar's length."""
    focal = float(cameras.lens[which[0], 0])
    best: Joined | None = None
    for late in offsets:
        pair = _pair(one, other, cameras, which, moments, float(late))
        if len(pair.one) < LEAST_COMMON or len(np.unique(pair.stretch_one)) == 0:
            continue
        chief = (pair.stretch_one == np.bincount(pair.stretch_one).argmax()) & (
            pair.stretch_other == np.bincount(pair.stretch_other).argmax()
        )
        for crossed in (False, True):
            mine = pair.one[chief]
            theirs = pair.other[chief][:, ::-1] if crossed else pair.other[chief]
            if len(mine) < LEAST_COMMON:
                continue
            try:
                other_from_one = relative_pose(
                    mine.reshape(-1, 2), theirs.reshape(-1, 2), 2.0 / focal
                )
            except ValueError:
                continue
            one_from_other = invert_transform(other_from_one)
            ends = triangulated(mine, theirs, one_from_other)
            length = float(np.median(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=-1)))
            if not length > 0.0:
                continue
            one_from_other[:3, 3] *= length_m / length
            start = _placed(cameras, which[1], cameras.pose[which[0]] @ one_from_other)
            pose, rms, swaps = _settled(pair, start, which, doubt)
            if best is None or rms < best.rms_px:
                table = _table(pair, swaps, len(one), len(other))
                best = Joined(float(late), pose, rms, len(pair.one), table, False)
    return best


def sampson(one: Array, other: Array, one_from_other: Array) -> Array:
    """How far are two rays from one plane with the line of the cameras, about, in the picture?

    Parameters
    ----------
    one, other
        (..., 2) undistorted normalised coordinates.
    one_from_other
        (4, 4) how the second camera stands to the first.

    Returns
    -------
    (...)
        Signed, as normalised coordinates [1].

    Notes
    -----
    Sampson's first-order distance; Hartley & Zisserman 2004, section 11.4.3 (from memory).
    """
    E = cross_matrix(one_from_other[:3, 3]) @ one_from_other[:3, :3]
    a = np.concatenate([one, np.ones((*one.shape[:-1], 1))], axis=-1)
    b = np.concatenate([other, np.ones((*other.shape[:-1], 1))], axis=-1)
    by_a, by_b = b @ E.T, a @ E
    return np.asarray(
        np.sum(a * by_a, axis=-1)
        / np.sqrt(np.sum(by_a[..., :2] ** 2, axis=-1) + np.sum(by_b[..., :2] ** 2, axis=-1))
    )


def triangulated(one: Array, other: Array, one_from_other: Array) -> Array:
    """Where do pairs of rays come nearest, in the first camera's frame (..., 3)?

    Parameters
    ----------
    one, other, one_from_other
        As for `sampson`.
    """
    a = np.concatenate([one, np.ones((*one.shape[:-1], 1))], axis=-1)
    b = np.concatenate([other, np.ones((*other.shape[:-1], 1))], axis=-1) @ one_from_other[:3, :3].T
    base = one_from_other[:3, 3]
    aa, bb, ab = (np.sum(x * y, axis=-1) for x, y in ((a, a), (b, b), (a, b)))
    least = aa * bb - ab**2
    along_a = (bb * (a @ base) - ab * (b @ base)) / least
    along_b = (ab * (a @ base) - aa * (b @ base)) / least
    return np.asarray((along_a[..., None] * a + base + along_b[..., None] * b) / 2.0)
