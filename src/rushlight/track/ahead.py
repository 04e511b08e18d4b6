"""How far off foretold places would have been, by a recording.

Each later dot of a trail stands for the truth of what was foretold before it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.interpolate import CubicSpline

from rushlight.records.arrays import Array
from rushlight.records.tuning import AheadRow
from rushlight.track.foretell import HAND_AGILITY_M2_S3, HAND_SPEED_STD_M_S
from rushlight.track.motion import Motion, foretell
from rushlight.track.recorded import PlaneMap, RawTrail, Stretch
from rushlight.track.tune import FEWEST_UNITS, draws, ends

AHEADS_S = (0.005, 0.010, 0.020, 0.030, 0.050, 0.080)
"""How far ahead is tried [s]."""


def ahead_rows(
    trails: Sequence[RawTrail], maps: Sequence[PlaneMap], pieces: Sequence[Stretch]
) -> list[AheadRow]:
    """Errors of foretelling in motion, beside what its covariance states.

    Parameters
    ----------
    trails
        Raw; foretelling filters them itself, with the settings that it has live.
    maps
        One for each.
    pieces
        Where they move, from `Tryout.pieces`.

    Returns
    -------
    list of AheadRow
        One for each of `AHEADS_S` that fits into the trails, in mm.
    """
    numbers = {piece.trail for piece in pieces}
    learnt = {number: _Learnt(trails[number], maps[number]) for number in numbers}
    rows = [_row(trails, learnt, pieces, ahead_s) for ahead_s in AHEADS_S]
    return [row for row in rows if row is not None]


class _Learnt:
    """A trail on the surface with its state of motion after each dot, in mm."""

    def __init__(self, trail: RawTrail, plane: PlaneMap) -> None:
        self.place = plane.place(trail.xy_px)
        self.doubt = plane.cov(trail.xy_px, trail.cov_px2)
        self.path = CubicSpline(trail.time_s, self.place)
        motion = Motion(HAND_AGILITY_M2_S3 * 1e6, HAND_SPEED_STD_M_S * 1e3)
        means, covs = [], []
        for time_s, place, doubt in zip(trail.time_s, self.place, self.doubt, strict=True):
            motion.seen(float(time_s), place, doubt)
            means.append(motion.mean)
            covs.append(motion.cov)
        self.means, self.covs = np.array(means), np.array(covs)


def _row(
    trails: Sequence[RawTrail],
    learnt: dict[int, _Learnt],
    pieces: Sequence[Stretch],
    ahead_s: float,
) -> AheadRow | None:
    """All pieces at one time ahead; None where nothing lies so far ahead."""
    held, foretold, stated, counts = [], [], [], []
    for piece in pieces:
        trail, known = trails[piece.trail], learnt[piece.trail]
        rows = np.arange(piece.start, piece.end)
        later_s = trail.time_s[rows] + ahead_s
        rows = rows[_between_dots(trail, later_s)]
        true = known.path(trail.time_s[rows] + ahead_s)
        mean, cov = foretell(known.means[rows], known.covs[rows], ahead_s, HAND_AGILITY_M2_S3 * 1e6)
        held.append(_squares(known.place[rows] - true))
        foretold.append(_squares(mean[:, :2] - true))
        own = np.trace(known.doubt[rows], axis1=1, axis2=2)
        stated.append(float(np.sum(cov[:, 0, 0] + cov[:, 1, 1] + own)))
        counts.append(len(rows))
    count = np.array(counts, float)
    if count.sum() == 0:
        return None
    low = high = None
    if np.count_nonzero(count) >= FEWEST_UNITS:
        drawn = draws(len(pieces))
        with np.errstate(invalid="ignore"):
            found = np.sqrt(drawn @ np.array(foretold) / (drawn @ count))
        low, high = ends(found[np.isfinite(found)])
    return AheadRow(
        ahead_ms=1e3 * ahead_s,
        held=float(np.sqrt(sum(held) / count.sum())),
        foretold=float(np.sqrt(sum(foretold) / count.sum())),
        foretold_low=low,
        foretold_high=high,
        stated=float(np.sqrt(sum(stated) / count.sum())),
        n=int(count.sum()),
    )


def _between_dots(trail: RawTrail, time_s: Array) -> Array:
    """Which times lie within the trail and in none of its gaps."""
    after = np.searchsorted(trail.time_s, time_s)
    inside = (after > 0) & (after < len(trail.time_s))
    steps = np.diff(trail.time_s)
    gap = steps[np.clip(after - 1, 0, len(steps) - 1)]
    return np.asarray(inside & (gap < 2.5 * np.median(steps)))


def _squares(apart: Array) -> float:
    return float(np.sum(apart**2))
