"""How late fixes are: by switches, by motion, and by the clock of the computer.

A file's fixes bear the time of their picture, so what lies between light and picture in memory,
and everything after the fix, the display above all, is not in these figures.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from rushlight.assess.intervals import LEVEL
from rushlight.assess.presses import presses_of
from rushlight.assess.recording import Recorded, Recording, Track
from rushlight.physics.uncertainty import t_interval
from rushlight.records.arrays import Array
from rushlight.records.document import Basis
from rushlight.records.figure import Figure, Scope, Statistic

EARLIEST_NS, LATEST_NS = -50_000_000, 150_000_000
"""A press found so much before or after a true one may be the same; no source."""
SAME_PLACE_M = 0.1
"""Within which a press found and a true one may be the same; no source."""
LAGS_S = np.arange(-0.030, 0.1505, 0.001)
"""Lags that are tried [s]."""
LEAST_SPEED_M_S = 0.05
"""Below this root-mean-square speed a lag cannot be told from an offset; no source."""
_NOT_IN = "not in it: readout, transfer, computing and display"
_MS = 1e3


def delay_figures(recordings: Sequence[Recording], scope: Scope) -> list[Figure]:
    """Every delay that these sessions can show, in ms.

    Parameters
    ----------
    recordings
        With truth for the delays by switch and by motion.
    scope
        What they speak of.
    """
    known = [recording for recording in recordings if recording.truth is not None]
    moving = [recording for recording in known if recording.kind == "strokes"]
    return [
        *computing_figures(recordings, scope),
        *_by_switch(known, scope),
        *(figure for recording in moving for figure in _by_motion(recording, scope)),
    ]


def computing_s(capture_ns: Array, map_ns: Array) -> Array:
    """From having the picture to having the fix, one for each frame: (M,) [s].

    A light is traced back to its first pictures once it is confirmed; those older fixes waited
    for later pictures and are left out.
    """
    known = map_ns >= 0
    capture, done = capture_ns[known], map_ns[known]
    order = np.lexsort((capture, done))
    if len(order) == 0:
        return np.zeros(0)
    rows = order[np.append(np.diff(done[order]) != 0, True)]
    return np.asarray((done[rows] - capture[rows]) * 1e-9)


def computing_figures(recordings: Sequence[Recorded], scope: Scope) -> list[Figure]:
    """How long the computer took, in ms; of pictures from files alone, which come when asked."""
    spent = [
        computing_s(track.capture_ns, track.map_ns)
        for recording in recordings
        if recording.header.footage is not None
        for track in recording.tracks.values()
    ]
    known = np.concatenate(spent) if spent else np.zeros(0)
    known = known[known > 0]
    if len(known) == 0:
        return []
    both: tuple[tuple[Statistic, float], ...] = (
        ("mean", float(known.mean())),
        ("p95", float(np.quantile(known, 0.95))),
    )
    return [
        Figure(
            name="delay",
            cause="computing",
            statistic=statistic,
            scope=scope,
            value=value * _MS,
            unit="ms",
            n=len(known),
            method="from having the picture to having the fix, timed on the computer that ran it, "
            "also where pictures are simulated; no interval, it differs with the computer's load",
            basis="measured",
        )
        for statistic, value in both
    ]


def switch_delays_s(recording: Recording) -> tuple[Array, int]:
    """From each true switching-on to the press found there: (M,) [s], and how many were not."""
    presses = [each for each in presses_of(recording) if np.isfinite(each.place_m).all()]
    down_ns = np.array([press.down_ns for press in presses], dtype=np.int64)
    places = np.array([press.place_m for press in presses]).reshape(-1, 2)
    delays, missed = [], 0
    for event in recording.truth_events:
        true = (recording.truth or {}).get(event.carried or "")
        if event.kind != "switch-down" or true is None:
            continue
        where = true.at(np.array([event.time_ns]))[0][0]
        late = down_ns - event.time_ns
        near = np.linalg.norm(places - where, axis=1) <= SAME_PLACE_M
        same = late[near & (late >= EARLIEST_NS) & (late <= LATEST_NS)]
        if len(same):
            delays.append(float(same[0]) * 1e-9)
        else:
            missed += 1
    return np.array(delays), missed


def _by_switch(recordings: Sequence[Recording], scope: Scope) -> list[Figure]:
    found = [switch_delays_s(recording) for recording in recordings]
    delays = np.concatenate([each for each, _ in found]) if found else np.zeros(0)
    if len(delays) < 2:
        return []
    mean = t_interval(delays, LEVEL)
    simulated = any(each.basis == "simulated" for each in recordings)
    basis: Basis = "simulated" if simulated else "measured"
    equal = float(np.ptp(delays)) == 0.0  # no spread: whole pictures tell no interval
    method = (
        "from the true switching-on to the picture in which it was first found, "
        f"{len(delays)} presses, {sum(missed for _, missed in found)} not found; {_NOT_IN}"
    )
    values: tuple[tuple[Statistic, float, float | None, float | None, str], ...] = (
        ("mean", mean.value, mean.low, mean.high, f"; {mean.method}"),
        ("max", float(delays.max()), None, None, ""),
    )
    return [
        Figure(
            name="delay",
            statistic=statistic,
            scope=scope.model_copy(
                update={"condition": "of finding a press in the pictures, not the rig's delay"}
            ),
            value=value * _MS,
            unit="ms",
            low=None if low is None or equal else low * _MS,
            high=None if high is None or equal else high * _MS,
            level=None if low is None or equal else LEVEL,
            n=mean.n,
            method=method + how,
            basis=basis,
        )
        for statistic, value, low, high, how in values
    ]


def motion_lag_s(recording: Recording) -> tuple[float, float, int] | None:
    """By how much fixes lag behind the true motion, best in least squares.

    Parameters
    ----------
    recording
        With truth.

    Returns
    -------
    lag_s, bound_s, n, or None
        None when nothing moved fast enough, or the best lag lies at the end of those tried.

    Notes
    -----
    Source: least squares over the lag; to first order errors e of the places shift it by
    −Σ e·v/Σ v², which is at most rms(e)/rms(v) by the inequality of Cauchy and Schwarz; computed
    here.
    """
    squares, speeds = np.zeros(len(LAGS_S)), [np.zeros(0)]
    for track, true in _pairs(recording):
        lagged = [_apart(track, true, lag) for lag in LAGS_S]
        known = np.all([np.isfinite(each).all(axis=1) for each in lagged], axis=0)
        squares += [float(np.sum(each[known] ** 2)) for each in lagged]
        speeds.append(_speed(track, true)[known])
    return best_lag_s(squares, np.concatenate(speeds))


def best_lag_s(squares_m2: Array, speed_m_s: Array) -> tuple[float, float, int] | None:
    """The lag at which fixes lie nearest to the true motion.

    Parameters
    ----------
    squares_m2
        Sums of squared distances at each of `LAGS_S` [m²].
    speed_m_s
        True speed at each fix [m/s]; NaN where it is not known.

    Returns
    -------
    lag_s, bound_s, n, or None
        As `motion_lag_s`.
    """
    speed = speed_m_s[np.isfinite(speed_m_s)]
    if len(speed) < 10 or not np.sqrt(np.mean(speed**2)) > LEAST_SPEED_M_S:
        return None
    best = int(np.argmin(squares_m2))
    if best in (0, len(LAGS_S) - 1):
        return None
    before, at, after = squares_m2[best - 1 : best + 2]
    step = LAGS_S[1] - LAGS_S[0]
    lag = LAGS_S[best] + 0.5 * step * (before - after) / (before - 2 * at + after)
    return float(lag), float(np.sqrt(at / np.sum(speed**2))), len(speed)


def _pairs(recording: Recording) -> list[tuple[Track, Track]]:
    """Fixes with the true motion that they lie nearest to, whatever name they bear."""
    truth: Mapping[str, Track] = recording.truth or {}
    pairs = []
    for track in recording.tracks.values():
        gaps = np.array([_lit_gap(track, true) for true in truth.values()])
        nearest = np.argmin(gaps, axis=0)
        for index, true in enumerate(truth.values()):
            rows = np.flatnonzero((nearest == index) & np.isfinite(gaps[index]))
            if len(rows):
                pairs.append((track.rows(rows), true))
    return pairs


def _lit_gap(track: Track, true: Track) -> Array:
    xy, lit = true.at(track.valid_ns)
    gap = np.linalg.norm(track.xy_m - xy, axis=1)
    return np.where(lit & np.isfinite(gap), gap, np.inf)


def _apart(track: Track, true: Track, lag_s: float) -> Array:
    return track.xy_m - true.at(track.valid_ns - round(lag_s * 1e9))[0]


def _speed(track: Track, true: Track, reach_s: float = 0.005) -> Array:
    ahead, behind = (
        true.at(track.valid_ns + round(side * reach_s * 1e9))[0] for side in (1.0, -1.0)
    )
    return np.asarray(np.linalg.norm(ahead - behind, axis=1) / (2 * reach_s))


def _by_motion(recording: Recording, scope: Scope) -> list[Figure]:
    found = motion_lag_s(recording)
    if found is None:
        return []
    lag, bound, n = found
    return [
        Figure(
            name="delay",
            statistic="mean",
            scope=scope.model_copy(update={"condition": f"motion, filter {_filter(recording)}"}),
            value=lag * _MS,
            unit="ms",
            low=(lag - bound) * _MS,
            high=(lag + bound) * _MS,
            n=n,
            method="lag of the fixes behind the true motion at the moment each speaks of, least "
            f"squares over {n} fixes; what a filter adds is in it; {_NOT_IN}; the ends "
            "bound what errors of the places could do to it",
            basis=recording.basis,
        )
    ]


def _filter(recording: Recording) -> str:
    return recording.header.filter_name


def stroke_figures(recordings: Sequence[Recording], scope: Scope) -> list[Figure]:
    """Error while moving: distance of each fix from the truth of its own moment, in mm.

    Parameters
    ----------
    recordings
        Those that are strokes and have truth count.
    scope
        What they speak of.
    """
    return [
        figure
        for recording in recordings
        if recording.kind == "strokes" and recording.truth is not None
        for figure in _moving(recording, scope)
    ]


def _moving(recording: Recording, scope: Scope) -> list[Figure]:
    apart = [np.linalg.norm(_apart(track, true, 0.0), axis=1) for track, true in _pairs(recording)]
    if not apart:
        return []
    distance = np.concatenate(apart)
    values: tuple[tuple[Statistic, float], ...] = (
        ("rms", float(np.sqrt(np.mean(distance**2)))),
        ("median", float(np.median(distance))),
        ("p95", float(np.quantile(distance, 0.95))),
        ("max", float(distance.max())),
    )
    return [
        Figure(
            name="error",
            cause=recording.cause,
            statistic=statistic,
            scope=scope.model_copy(update={"condition": f"moving, filter {_filter(recording)}"}),
            value=value * 1e3,
            unit="mm",
            n=len(distance),
            method="distance of each fix from the nearest lit tip at the moment it speaks of; not "
            "rounded to display pixels; no interval, neighbouring frames go together",
            basis=recording.basis,
        )
        for statistic, value in values
    ]
