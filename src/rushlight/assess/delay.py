"""How late fixes are: by switches, by motion, and by the clock of the computer.

A file's fixes bear the time of their picture, so what lies between light and picture in memory,
and everything after the fix, the display above all, is not in these figures.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.assess.intervals import LEVEL
from rushlight.assess.recording import Recording, Track
from rushlight.physics.uncertainty import coverage_factor, t_interval
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, Scope, Statistic

GREATEST_SWITCH_DELAY_NS = 150_000_000
"""A switch event later than this belongs to another press; no source."""
LAGS_S = np.arange(-0.030, 0.151, 0.001)
"""Lags that are tried [s]."""
LEAST_SPEED_M_S = 0.05
"""Below this root-mean-square speed a lag cannot be told from an offset; no source."""
_NOT_IN = "not in it: readout, transfer, computing and display"
_MS = 1e3


def delay_figures(recording: Recording, scope: Scope) -> list[Figure]:
    """Every delay that a session can show, in ms.

    Parameters
    ----------
    recording
        With truth for the delays by switch and by motion.
    scope
        What they speak of.
    """
    figures = []
    if recording.header.footage is not None:
        figures += _computing(recording, scope)
    if recording.truth is not None:
        figures += _by_switch(recording, scope)
        if recording.kind == "strokes":
            figures += _by_motion(recording, scope)
    return figures


def _figure(
    recording: Recording, scope: Scope, statistic: Statistic, value_s: float, method: str, n: int
) -> Figure:
    return Figure(
        name="delay",
        statistic=statistic,
        scope=scope,
        value=value_s * _MS,
        unit="ms",
        n=n,
        method=method,
        basis=recording.basis,
    )


def computing_s(track: Track) -> Array:
    """From having the picture to having the fix, one for each frame: (M,) [s].

    A light is traced back to its first pictures once it is confirmed; those older fixes waited
    for later pictures and are left out.
    """
    known = track.map_ns >= 0
    capture, done = track.capture_ns[known], track.map_ns[known]
    latest = np.lexsort((capture, done))
    last = np.append(np.diff(done[latest]) != 0, True) if len(latest) else np.zeros(0, bool)
    rows = latest[last]
    return np.asarray((done[rows] - capture[rows]) * 1e-9)


def _computing(recording: Recording, scope: Scope) -> list[Figure]:
    spent = np.concatenate([computing_s(track) for track in recording.tracks.values()])
    spent = spent[spent > 0]
    if len(spent) == 0:
        return []
    method = "from having the picture to having the fix, timed on this computer"
    both: list[tuple[Statistic, float]] = [
        ("mean", float(spent.mean())), ("p95", float(np.quantile(spent, 0.95)))
    ]  # fmt: skip
    # Timed on a real computer even where the pictures are simulated.
    return [
        _figure(recording, scope, statistic, value, method, len(spent)).model_copy(
            update={"cause": "computing", "basis": "measured"}
        )
        for statistic, value in both
    ]


def switch_delays_s(recording: Recording) -> tuple[Array, int]:
    """From each true switching-on to its event: (M,) [s], and how many were not found."""
    delays, missed = [], 0
    for carried in recording.truth or {}:
        true = _downs(recording.truth_events, carried)
        found = _downs(recording.events, carried)
        for moment in true:
            # A picture whose exposure the light's beginning falls into may be stamped earlier.
            after = found[(found >= moment - 50_000_000)]
            if len(after) and after[0] - moment <= GREATEST_SWITCH_DELAY_NS:
                delays.append((after[0] - moment) * 1e-9)
            else:
                missed += 1
    return np.array(delays), missed


def _downs(events: Sequence[object], carried: str) -> Array:
    times = [
        event.time_ns  # type: ignore[attr-defined]
        for event in events
        if event.kind == "switch-down" and event.carried == carried  # type: ignore[attr-defined]
    ]
    return np.array(sorted(times), dtype=np.int64)


def _by_switch(recording: Recording, scope: Scope) -> list[Figure]:
    delays, missed = switch_delays_s(recording)
    if len(delays) < 2:
        return []
    mean = t_interval(delays, LEVEL)
    method = (
        "from the true switching-on to the picture in which it was first found, "
        f"{len(delays)} presses, {missed} not found; {_NOT_IN}"
    )
    named = scope.model_copy(update={"condition": "switch-down"})
    return [
        _figure(recording, named, "mean", mean.value, f"{method}; Student t", mean.n).model_copy(
            update={"low": mean.low * _MS, "high": mean.high * _MS, "level": LEVEL}
        ),
        _figure(recording, named, "max", float(delays.max()), method, mean.n),
    ]


def motion_lag_s(recording: Recording) -> tuple[float, float, int] | None:
    """By how much fixes lag behind the true motion, best in least squares.

    Returns
    -------
    lag_s, std_s, n, or None
        None when nothing moved fast enough, or the best lag lies at the end of those tried.

    Notes
    -----
    Source: least squares over the lag, the residual's slope being the speed; computed here.
    """
    squares, speeds, count = np.zeros(len(LAGS_S)), [], 0
    for carried, track in recording.tracks.items():
        true = (recording.truth or {}).get(carried)
        if true is None:
            continue
        lagged = [_apart(track, true, lag) for lag in LAGS_S]
        known = np.all([np.isfinite(each).all(axis=1) for each in lagged], axis=0)
        squares += [float(np.sum(each[known] ** 2)) for each in lagged]
        speeds.append(_speed(track, true)[known])
        count += int(known.sum())
    speed = np.concatenate(speeds) if speeds else np.zeros(0)
    if count < 10 or not np.sqrt(np.mean(speed**2)) > LEAST_SPEED_M_S:
        return None
    best = int(np.argmin(squares))
    if best in (0, len(LAGS_S) - 1):
        return None
    before, at, after = squares[best - 1 : best + 2]
    step = LAGS_S[1] - LAGS_S[0]
    lag = LAGS_S[best] + 0.5 * step * (before - after) / (before - 2 * at + after)
    residual = np.sqrt(at / (2 * count))
    return float(lag), float(residual / np.sqrt(np.sum(speed**2))), count


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
    lag, std, n = found
    half = coverage_factor(LEVEL) * std
    named = scope.model_copy(update={"condition": "motion"})
    method = (
        "lag of the fixes behind the true motion at the moment each speaks of, least squares "
        f"over {n} fixes; what a filter adds is in it; {_NOT_IN}; errors of neighbouring frames "
        "go together, so the interval is too narrow"
    )
    return [
        _figure(recording, named, "mean", lag, method, n).model_copy(
            update={"low": (lag - half) * _MS, "high": (lag + half) * _MS, "level": LEVEL}
        )
    ]


def stroke_figures(recording: Recording, scope: Scope) -> list[Figure]:
    """Error while moving: distance of each fix from the truth of its own moment, in mm."""
    distances = []
    for carried, track in recording.tracks.items():
        true = (recording.truth or {}).get(carried)
        if true is not None:
            distances.append(np.linalg.norm(_apart(track, true, 0.0), axis=1))
    apart = np.concatenate(distances) if distances else np.zeros(0)
    apart = apart[np.isfinite(apart)]
    if len(apart) == 0:
        return []
    statistics: list[tuple[Statistic, float]] = [
        ("rms", float(np.sqrt(np.mean(apart**2)))),
        ("median", float(np.median(apart))),
        ("p95", float(np.quantile(apart, 0.95))),
        ("max", float(apart.max())),
    ]
    return [
        Figure(
            name="error",
            cause=recording.cause,
            statistic=statistic,
            scope=scope.model_copy(update={"condition": "moving"}),
            value=value * 1e3,
            unit="mm",
            n=len(apart),
            method="distance of each fix from the truth at the moment it speaks of, over fixes; "
            "not rounded to display pixels; no interval, neighbouring frames go together",
            basis=recording.basis,
        )
        for statistic, value in statistics
    ]
