"""Things that move, and things that rest long: trajectory error, delay, jitter and drift."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from rushlight.assess.delay import LAGS_S, best_lag_s
from rushlight.assess.intervals import LEVEL, places_interval
from rushlight.assess.space_recording import SpaceRecording, SpaceTrack
from rushlight.assess.space_stands import REST_M_S
from rushlight.physics.geometry.rotation import rotation_vector_from_matrix
from rushlight.physics.uncertainty import rms
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, FigureName, Scope, Statistic

BLOCK_S, REST_BLOCK_S = 1.0, 0.5
"""Moments so far apart count as told anew while things move, and at rest [s]; no source."""
LONG_S = 3.0
"""Shortest rest of which a drift is told [s]; no source."""
_MM, _MS = 1e3, 1e3
_MINUTE_S = 60.0


def motion_figures(recordings: Sequence[SpaceRecording], scope: Scope) -> list[Figure]:
    """Trajectory error and lag of sessions in which things moved, their truth known.

    Parameters
    ----------
    recordings
        Those of kind motion count.
    scope
        What they speak of.

    Returns
    -------
    list of Figure
        In mm, ° and ms.
    """
    figures: list[Figure] = []
    for recording in recordings:
        if recording.kind == "motion" and recording.truth is not None:
            figures += _moving(recording, scope)
    return figures


def _moving(recording: SpaceRecording, scope: Scope) -> list[Figure]:
    truth = recording.truth or {}
    pairs = [(each, truth[name]) for name, each in recording.tracks.items() if name in truth]
    condition = f"moving, filter {recording.header.filter_name}"
    ours = scope.model_copy(update={"condition": condition})
    found: list[Figure] = []
    away = [_apart(track, true, 0.0) for track, true in pairs]
    blocks = [_blocks(track, each) for (track, _), each in zip(pairs, away, strict=True)]
    found += _spreads("error", away, blocks, recording, ours, (_MM, "mm"), "distance")
    turned = [_turned(track, true) for track, true in pairs if track.poses]
    turning = [
        _blocks(track, each)
        for (track, _), each in zip([p for p in pairs if p[0].poses], turned, strict=True)
    ]
    unit = (math.degrees(1.0), "deg")
    found += _spreads("turn-error", turned, turning, recording, ours, unit, "angle")
    lag = lag_s(pairs)
    if lag is not None:
        value, bound, n = lag
        found.append(
            Figure(
                name="delay",
                statistic="mean",
                scope=ours.model_copy(
                    update={"condition": f"motion, filter {recording.header.filter_name}"}
                ),
                value=value * _MS,
                unit="ms",
                low=(value - bound) * _MS,
                high=(value + bound) * _MS,
                n=n,
                method="lag of the fixes behind the true motion at the moment each speaks of, "
                f"least squares over {n} fixes; what a filter adds is in it; not in it: readout, "
                "transfer, computing and display; the ends bound what errors of the places could "
                "do to it",
                basis=recording.basis,
            )
        )
    return found


def _apart(track: SpaceTrack, true: SpaceTrack, lag: float) -> Array:
    """(N,) distance from where it was [m]."""
    place, _ = true.at(track.valid_ns - round(lag * 1e9))
    return np.asarray(np.linalg.norm(track.place_m - place, axis=-1))


def _turned(track: SpaceTrack, true: SpaceTrack) -> Array:
    """(N,) angle from how it was turned [rad]."""
    between = track.rotation @ np.swapaxes(true.at(track.valid_ns)[1], -1, -2)
    known = np.isfinite(between).all(axis=(-2, -1))
    safe = np.where(known[:, None, None], between, np.eye(3))
    angle = np.linalg.norm(rotation_vector_from_matrix(safe), axis=-1)
    return np.where(known, angle, np.nan)


def _blocks(track: SpaceTrack, values: Array) -> Array:
    """Root-mean-square in each block of time."""
    known = np.isfinite(values)
    if not known.any():
        return np.zeros(0)
    block = ((track.valid_ns[known] - track.valid_ns[0]) * 1e-9 // BLOCK_S).astype(int)
    return np.array([rms(values[known][block == each]) for each in np.unique(block)])


def _spreads(
    name: FigureName,
    values: Sequence[Array],
    blocks: Sequence[Array],
    recording: SpaceRecording,
    scope: Scope,
    unit: tuple[float, str],
    what: str,
) -> list[Figure]:
    if not values:
        return []
    every = np.concatenate(values)
    every = every[np.isfinite(every)]
    if not len(every):
        return []
    scale, word = unit
    ends = places_interval(np.concatenate(blocks), rms)
    figures = []
    shown: tuple[tuple[Statistic, float], ...] = (
        ("rms", float(rms(every))),
        ("median", float(np.median(every))),
        ("p95", float(np.quantile(every, 0.95))),
        ("max", float(every.max())),
    )
    for statistic, value in shown:
        whole = statistic == "rms" and ends.low is not None and ends.high is not None
        figures.append(
            Figure(
                name=name,
                cause=recording.cause,
                statistic=statistic,
                scope=scope,
                value=value * scale,
                unit=word,
                low=ends.low * scale if whole and ends.low is not None else None,
                high=ends.high * scale if whole and ends.high is not None else None,
                level=LEVEL if whole else None,
                n=len(every),
                method=f"{what} of each fix from the truth at the moment it speaks of"
                + (
                    f"; {ends.method.replace('places', f'blocks of {BLOCK_S:g} s')}; of this "
                    "build and motion"
                    if whole
                    else "; no interval, neighbouring frames go together"
                ),
                basis=recording.basis,
            )
        )
    return figures


def lag_s(pairs: Sequence[tuple[SpaceTrack, SpaceTrack]]) -> tuple[float, float, int] | None:
    """By how much fixes lag behind the true motion, best in least squares; see `delay`.

    Parameters
    ----------
    pairs
        Fixes and truth of the same thing.

    Returns
    -------
    lag_s, bound_s, n, or None
        None when nothing moved fast enough, or the best lag lies at the end of those tried.
    """
    squares, speeds = np.zeros(len(LAGS_S)), [np.zeros(0)]
    for track, true in pairs:
        apart = [_apart(track, true, lag) for lag in LAGS_S]
        known = np.all(np.isfinite(apart), axis=0)
        squares += [float(np.sum(each[known] ** 2)) for each in apart]
        reach = 5_000_000
        ahead, behind = (true.at(track.valid_ns + side * reach)[0] for side in (1, -1))
        speeds.append(np.linalg.norm(ahead - behind, axis=-1)[known] / (2e-9 * reach))
    return best_lag_s(squares, np.concatenate(speeds))


def rest_figures(recordings: Sequence[SpaceRecording], scope: Scope) -> list[Figure]:
    """Jitter and drift of things at rest; no truth is needed.

    Parameters
    ----------
    recordings
        Those of kind still count, and real ones where something rested; `LONG_S` at least.
    scope
        What they speak of.

    Returns
    -------
    list of Figure
        In mm and mm/min.
    """
    figures: list[Figure] = []
    for recording in recordings:
        filmed = recording.header.script is None
        if recording.kind != "still" and not filmed:
            continue
        for carried, track in recording.tracks.items():
            ours = scope.model_copy(update={"carried": carried})
            figures += _rest(_longest_rest(track) if filmed else track, recording, ours)
    return figures


def _longest_rest(track: SpaceTrack) -> SpaceTrack:
    """The longest stretch in which what was found hardly moved; real films tell no script."""
    t = (track.valid_ns - track.valid_ns[0]) * 1e-9
    block = (t // REST_BLOCK_S).astype(int)
    names = np.unique(block)
    where = np.array([track.place_m[block == each].mean(axis=0) for each in names])
    calm = np.linalg.norm(np.diff(where, axis=0), axis=-1) < REST_M_S * REST_BLOCK_S
    edges = np.flatnonzero(np.diff(np.concatenate([[False], calm, [False]]).astype(int)))
    runs = list(zip(edges[::2], edges[1::2], strict=True))
    if not runs:
        return track.rows(np.zeros(0, int))
    first, last = max(runs, key=lambda run: run[1] - run[0])
    return track.rows(np.flatnonzero((block >= names[first]) & (block <= names[last])))


def _rest(track: SpaceTrack, recording: SpaceRecording, scope: Scope) -> list[Figure]:
    from scipy import stats

    if len(track.valid_ns) < 10:
        return []
    t = (track.valid_ns - track.valid_ns[0]) * 1e-9
    if t[-1] < LONG_S:
        return []
    where = track.place_m
    block = np.minimum((t // REST_BLOCK_S).astype(int), int(t[-1] // REST_BLOCK_S) - 1)
    spreads = np.array(
        [math.sqrt(np.sum(np.var(where[block == each], axis=0, ddof=1))) for each in set(block)]
    )
    ends = places_interval(spreads, rms)
    jitter = Figure(
        name="jitter",
        cause=recording.cause,
        statistic="rms",
        scope=scope,
        value=float(rms(spreads)) * _MM,
        unit="mm",
        low=None if ends.low is None else ends.low * _MM,
        high=None if ends.high is None else ends.high * _MM,
        level=None if ends.low is None else LEVEL,
        n=len(t),
        method="stability at rest: three-dimensional standard deviation within blocks of "
        f"{REST_BLOCK_S:g} s; {ends.method.replace('places', 'blocks')}",
        basis=recording.basis,
    )
    slope, std, freedom = drift_of(t, where)
    value = float(np.linalg.norm(slope))
    half = std * float(stats.t.ppf((1.0 + LEVEL) / 2.0, freedom))
    drift = Figure(
        name="drift",
        cause=recording.cause,
        statistic="value",
        scope=scope,
        value=value * _MM * _MINUTE_S,
        unit="mm/min",
        low=max(0.0, value - half) * _MM * _MINUTE_S,
        high=(value + half) * _MM * _MINUTE_S,
        level=LEVEL,
        n=len(t),
        method=f"speed of the straight line through {t[-1]:.0f} s at rest; interval from the "
        f"scatter of the means of blocks of {REST_BLOCK_S:g} s about it, the least well known "
        "direction",
        basis=recording.basis,
    )
    return [jitter, drift]


def drift_of(t_s: Array, place_m: Array) -> tuple[Array, float, int]:
    """How fast a place at rest wanders.

    Parameters
    ----------
    t_s
        (N,) moments from 0, over at least three blocks [s].
    place_m
        (N, 3) [m].

    Returns
    -------
    slope_m_s, std_m_s, freedom
        (3,) of the straight line, the standard deviation of its least well known axis, and the
        degrees of freedom of that.
    """
    block = (t_s // REST_BLOCK_S).astype(int)
    names = np.unique(block)
    when = np.array([t_s[block == each].mean() for each in names])
    where = np.array([place_m[block == each].mean(axis=0) for each in names])
    from_middle = when - when.mean()
    square = float(np.sum(from_middle**2))
    slope = from_middle @ where / square
    left = where - where.mean(axis=0) - from_middle[:, None] * slope
    freedom = max(len(names) - 2, 1)
    variance = np.sum(left**2, axis=0) / freedom / square
    return slope, float(np.sqrt(variance.max())), freedom
