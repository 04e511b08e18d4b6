"""Jitter against lag of smoothing settings, measured on recorded trails.

Every setting is run over the raw dots just as it runs live. Jitter is read off where the hand
rests, lag where it moves; a filter that turns steadiness into lateness shows both.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.interpolate import CubicSpline

from rushlight.records.arrays import Array
from rushlight.records.tuning import TunedPoint
from rushlight.track.filter import (
    AGILITY_PX2_S3,
    BETA_HZ_PER_PX_S,
    MIN_CUTOFF_HZ,
    FilterName,
    KalmanFilter,
    NoFilter,
    OneEuroFilter,
    PointFilter,
)
from rushlight.track.recorded import PlaneMap, RawTrail, Stretch, Stretches

CUTOFFS_HZ = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
SPEED_GAINS = (0.0, 0.005, 0.01, 0.02, 0.04, 0.08, 0.16)
AGILITIES_PX2_S3 = tuple(step * 10.0**power for power in range(7) for step in (1.0, 3.0))
"""What is tried; the defaults are among it."""

LAGS_S = np.arange(-0.020, 0.1501, 0.001)
"""Shifts that are tried [s]; a trail's first 150 ms only serve to look back to."""

PIECE_S = 0.5
"""Moving stretches are cut to pieces of at most so long [s] for the intervals."""

SLOW_SHARE, FEWEST_SLOW = 3, 3
"""Lag is also taken on the slowest third of the pieces, where there are so many; filters that
open with speed lag most there. No source."""

FEWEST_UNITS = 5
"""Below so many stretches or pieces there is no interval."""

LEVEL = 0.95
RESAMPLES = 1000
_SEED = 0


@dataclass(frozen=True)
class Setting:
    """One filter with its numbers; None where it has no such number."""

    filter: FilterName
    cutoff_hz: float | None = None
    speed_gain: float | None = None
    agility_px2_s3: float | None = None

    @property
    def maker(self) -> Callable[[], PointFilter]:
        """Makes the filter of a new trail."""
        if self.filter == "one-euro":
            return partial(OneEuroFilter, self.cutoff_hz, self.speed_gain)  # type: ignore[arg-type]
        if self.filter == "kalman":
            return partial(KalmanFilter, self.agility_px2_s3)  # type: ignore[arg-type]
        return NoFilter


def default_setting(name: FilterName) -> Setting:
    """What a filter runs with where the rig says nothing."""
    if name == "one-euro":
        return Setting(name, MIN_CUTOFF_HZ, BETA_HZ_PER_PX_S)
    if name == "kalman":
        return Setting(name, agility_px2_s3=AGILITY_PX2_S3)
    return Setting("none")


def all_settings() -> list[Setting]:
    """Everything that is tried, no filter first."""
    return [
        Setting("none"),
        *(Setting("one-euro", cutoff, gain) for cutoff in CUTOFFS_HZ for gain in SPEED_GAINS),
        *(Setting("kalman", agility_px2_s3=agility) for agility in AGILITIES_PX2_S3),
    ]


class Tryout:
    """Recorded trails made ready to try settings on.

    Parameters
    ----------
    trails
        Raw.
    found
        Their stretches, at least one of each kind.
    maps
        One for each trail to measure in mm, or None to measure in px.

    Attributes
    ----------
    pieces
        Parts of moving stretches on which lag is measured; may be empty.
    speed
        Root-mean-square speed over them [unit/s].
    """

    def __init__(
        self, trails: Sequence[RawTrail], found: Stretches, maps: Sequence[PlaneMap] | None
    ) -> None:
        self._trails = trails
        self._maps = maps
        self._rest = found.rest
        self.pieces = [piece for each in found.moving for piece in cut(trails[each.trail], each)]
        self._shifted: list[Array] = []
        squares, counts = [], []
        for piece in self.pieces:
            trail = trails[piece.trail]
            path = CubicSpline(trail.time_s, self.place(piece.trail, trail.xy_px))
            time_s = trail.time_s[piece.start : piece.end]
            self._shifted.append(path(time_s - LAGS_S[:, None]))
            squares.append(float(np.sum(path(time_s, 1) ** 2)))
            counts.append(len(time_s))
        self.speed = float(np.sqrt(sum(squares) / sum(counts))) if counts else np.nan
        slow = np.argsort(np.divide(squares, counts), kind="stable")
        slow = slow[: len(slow) // SLOW_SHARE]
        self._slow = slow if len(slow) >= FEWEST_SLOW else slow[:0]

    def place(self, trail: int, xy_px: Array) -> Array:
        """Places of a trail in the unit of measuring."""
        return xy_px if self._maps is None else self._maps[trail].place(xy_px)

    def try_setting(self, setting: Setting) -> TunedPoint | None:
        """What a setting makes of the trails; None where its lag is beyond those tried."""
        smooth = [
            self.place(number, smoothed(trail, setting.maker()))
            for number, trail in enumerate(self._trails)
        ]
        lag = self._lag(smooth)
        if lag is None:
            return None
        lag_s, low_s, high_s, slow_s, stray = lag
        jitter, jitter_low, jitter_high = self._jitter(smooth)
        stray_s = stray / self.speed
        told = [each for each in (lag_s, low_s, high_s, slow_s, stray_s) if each is not None]
        late_s = max(abs(each) for each in told)
        return TunedPoint(
            filter=setting.filter,
            cutoff_hz=setting.cutoff_hz,
            speed_gain=setting.speed_gain,
            agility_px2_s3=setting.agility_px2_s3,
            jitter=jitter,
            jitter_low=jitter_low,
            jitter_high=jitter_high,
            lag_ms=1e3 * lag_s,
            lag_low_ms=None if low_s is None else 1e3 * low_s,
            lag_high_ms=None if high_s is None else 1e3 * high_s,
            slow_lag_ms=None if slow_s is None else 1e3 * slow_s,
            stray=stray,
            stray_ms=1e3 * stray_s,
            late_ms=1e3 * late_s,
            front=False,
        )

    def _jitter(self, smooth: Sequence[Array]) -> tuple[float, float | None, float | None]:
        """Root-mean-square distance from each rest's mean, and its interval over rests."""
        squares, counts = [], []
        for rest in self._rest:
            xy = smooth[rest.trail][rest.start : rest.end]
            squares.append(float(np.sum((xy - xy.mean(axis=0)) ** 2)))
            counts.append(len(xy) - 1)
        value = np.sqrt(sum(squares) / sum(counts))
        if len(squares) < FEWEST_UNITS:
            return float(value), None, None
        drawn = draws(len(squares))
        found = np.sqrt(drawn @ np.array(squares) / (drawn @ np.array(counts)))
        return float(value), *ends(found)

    def _lag(
        self, smooth: Sequence[Array]
    ) -> tuple[float, float | None, float | None, float | None, float] | None:
        """Best shift, ends of its interval over pieces, shift of the slow [s]; what is left."""
        squares = np.array(
            [
                np.sum((smooth[piece.trail][piece.start : piece.end] - raw) ** 2, axis=(1, 2))
                for piece, raw in zip(self.pieces, self._shifted, strict=True)
            ]
        )
        count = sum(piece.end - piece.start for piece in self.pieces)
        lags, left = _least(squares.sum(axis=0)[None])
        drawn = np.zeros(0)
        if len(self.pieces) >= FEWEST_UNITS:
            drawn, _ = _least(draws(len(self.pieces)) @ squares)
        slow = np.zeros(0)
        if len(self._slow):
            slow, _ = _least(squares[self._slow].sum(axis=0)[None])
        if not (np.isfinite(lags[0]) and np.isfinite(drawn).all() and np.isfinite(slow).all()):
            return None
        low, high = ends(drawn) if len(drawn) else (None, None)
        stray = float(np.sqrt(max(left[0], 0.0) / count))
        return float(lags[0]), low, high, float(slow[0]) if len(slow) else None, stray


def smoothed(trail: RawTrail, smooth: PointFilter) -> Array:
    """What a filter makes of a whole trail: (N, 2) [px]."""
    rows = zip(trail.time_s.tolist(), trail.xy_px, trail.cov_px2, strict=True)
    return np.array([smooth(time_s, xy, cov)[0] for time_s, xy, cov in rows])


def cut(trail: RawTrail, stretch: Stretch) -> list[Stretch]:
    """A moving stretch in pieces, as far as all shifts stay within the trail."""
    first = np.searchsorted(trail.time_s, trail.time_s[0] + LAGS_S[-1])
    last = np.searchsorted(trail.time_s, trail.time_s[-1] + LAGS_S[0], side="right")
    start, end = max(stretch.start, int(first)), min(stretch.end, int(last))
    if end - start < 4:
        return []
    count = max(1, round((trail.time_s[end - 1] - trail.time_s[start]) / PIECE_S))
    cuts = np.linspace(start, end, count + 1).round().astype(int).tolist()
    return [Stretch(stretch.trail, a, b) for a, b in itertools.pairwise(cuts)]


def _least(squares: Array) -> tuple[Array, Array]:
    """Where (M, lags) sums of squares are least, between those tried, and how much is left.

    NaN where the least lies at the end of those tried.
    """
    best = np.argmin(squares, axis=1)
    inside = (best > 0) & (best < len(LAGS_S) - 1)
    middle = np.clip(best, 1, len(LAGS_S) - 2)
    rows = np.arange(len(squares))
    before, at, after = (squares[rows, middle + step] for step in (-1, 0, 1))
    bend = before - 2.0 * at + after
    share = 0.5 * (before - after) / np.where(bend > 0, bend, np.inf)
    lag = LAGS_S[middle] + share * (LAGS_S[1] - LAGS_S[0])
    left = at - 0.25 * (before - after) * share
    return np.where(inside, lag, np.nan), np.where(inside, left, np.nan)


def draws(units: int) -> Array:
    """(resamples, units) how often each unit is drawn; the same for every setting."""
    rng = np.random.default_rng(_SEED)
    return rng.multinomial(units, np.full(units, 1.0 / units), size=RESAMPLES).astype(float)


def ends(found: Array) -> tuple[float, float]:
    """Percentile interval."""
    low, high = np.quantile(found, [(1.0 - LEVEL) / 2.0, (1.0 + LEVEL) / 2.0])
    return float(low), float(high)


def with_front(points: Sequence[TunedPoint]) -> list[TunedPoint]:
    """The points, each told whether none is at once steadier and less late.

    Parameters
    ----------
    points
        As measured.
    """
    order = sorted(range(len(points)), key=lambda n: (points[n].late_ms, points[n].jitter))
    front, least = set(), np.inf
    for number in order:
        if points[number].jitter < least:
            front.add(number)
            least = points[number].jitter
    return [
        point.model_copy(update={"front": number in front}) for number, point in enumerate(points)
    ]


def choose(points: Sequence[TunedPoint], most_lag_ms: float | None) -> int:
    """Which point to run with: the steadiest within the limit, or the knee without one.

    Parameters
    ----------
    points
        From `with_front`; no filter is among them.
    most_lag_ms
        What `late_ms` may be at most [ms]; None for the knee: the point of the front that lies
        furthest below the straight line between its ends, both axes counted from 0 to 1 between
        them (common practice, no source).

    Returns
    -------
    int
        Index; no filter where nothing else keeps the limit.
    """
    front = sorted(
        (number for number, point in enumerate(points) if point.front),
        key=lambda number: points[number].late_ms,
    )
    if most_lag_ms is not None:
        within = [n for n in front if points[n].late_ms <= most_lag_ms]
        plain = next(n for n, point in enumerate(points) if point.filter == "none")
        return min(within, key=lambda n: points[n].jitter, default=plain)
    late = np.array([points[number].late_ms for number in front])
    jitter = np.array([points[number].jitter for number in front])
    if len(front) < 3:
        return front[-1]
    below = 1.0 - _from_0_to_1(late) - _from_0_to_1(jitter)
    return front[int(np.argmax(below))]


def _from_0_to_1(values: Array) -> Array:
    return np.asarray((values - values.min()) / (values.max() - values.min()))
