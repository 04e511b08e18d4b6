"""How well a person points: throughput, misses, the ring of targets.

Follows the guidance of ISO/TS 9241-411:2012 and of Soukoreff & MacKenzie 2004; no conformity is
claimed. Throughput mixes hand and device: it says how well people point *with* a rig, not how
true the rig is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.difficulty import effective_width as effective_width
from rushlight.physics.difficulty import (
    effective_width_from_error_rate as effective_width_from_error_rate,
)
from rushlight.physics.difficulty import index_of_difficulty as index_of_difficulty
from rushlight.physics.difficulty import lagged_movement_time as lagged_movement_time
from rushlight.physics.difficulty import movement_time_line as movement_time_line
from rushlight.physics.paths import path_measures as path_measures
from rushlight.physics.uncertainty import Interval, t_interval

Array = NDArray[np.float64]
DistanceForm = Literal["nominal", "serial"]


def tapping_order(n: int) -> NDArray[np.int64]:
    """In which order the targets of a ring are tapped, so that each move crosses the ring.

    Parameters
    ----------
    n : int, ≥ 3
        Number of targets; odd for equal distances. With an even number, moves of D and
        D cos(π/n) alternate and the way back from the last to the first target is short.

    Returns
    -------
    (n,) indices, 0-based, each once; with an odd number, close the ring by tapping 0 again.

    Raises
    ------
    ValueError
        When there are fewer than three targets.

    Notes
    -----
    Source: the multi-directional tapping task of ISO/TS 9241-411:2012; computed here.

    Examples
    --------
    >>> tapping_order(13).tolist()
    [0, 7, 1, 8, 2, 9, 3, 10, 4, 11, 5, 12, 6]
    """
    if n < 3:
        raise ValueError(f"a ring needs at least 3 targets, got {n}")
    step = np.arange(n, dtype=np.int64)
    if n % 2:
        return step * ((n + 1) // 2) % n
    return step // 2 + np.where(step % 2, n // 2, 0)


def ring_targets(n: int, diameter_m: float, centre_m: ArrayLike = (0.0, 0.0)) -> Array:
    """Where the targets of a ring lie on the surface, from the top, clockwise.

    Parameters
    ----------
    n : int, ≥ 3
    diameter_m : float [m], > 0
        From centre to centre of opposite targets.
    centre_m : (..., 2) [m]

    Returns
    -------
    (..., n, 2) [m], surface frame

    Notes
    -----
    Source: ISO/TS 9241-411:2012, multi-directional tapping. A move of `tapping_order` with odd
    n is D cos(π/2n) long, not D; computed here.

    Examples
    --------
    >>> ring_targets(4, 2.0).round(6).tolist()
    [[0.0, 1.0], [1.0, 0.0], [0.0, -1.0], [-1.0, -0.0]]
    """
    if n < 3 or not diameter_m > 0:
        raise ValueError(f"need 3 targets or more and diameter > 0, got {n} and {diameter_m}")
    turn = 2 * np.pi * np.arange(n) / n
    unit = np.stack([np.sin(turn), np.cos(turn)], axis=-1)
    return np.asarray(centre_m, float)[..., None, :] + diameter_m / 2 * unit


class AxisDeviation(NamedTuple):
    """Signed miss along the task axis, and the distance asked for."""

    dx: Array
    distance: Array


def axis_deviation(start: ArrayLike, target: ArrayLike, selected: ArrayLike) -> AxisDeviation:
    """How far beyond the target centre a selection fell, along the line from start to target.

    Parameters
    ----------
    start, target, selected : (..., D) [m]

    Returns
    -------
    AxisDeviation
        dx (...) [m], positive beyond the target; distance (...) [m].

    Raises
    ------
    ValueError
        When a start and its target coincide: there is no axis.

    Notes
    -----
    Source: Soukoreff & MacKenzie 2004. The two-dimensional spread is a known mistake here: it
    gives another effective width.

    Examples
    --------
    >>> axis_deviation([0.0, 0.0], [0.3, 0.0], [0.31, 0.05]).dx.round(6).item()
    0.01
    """
    f, t, s = (np.asarray(a, float) for a in (start, target, selected))
    way = t - f
    distance = np.linalg.norm(way, axis=-1)
    if np.any(distance == 0):
        raise ValueError("a trial's start and target coincide, so it has no task axis")
    return AxisDeviation(np.sum((s - t) * way, axis=-1) / distance, distance)


@dataclass(frozen=True, slots=True)
class TappingThroughput:
    """Throughput of one sequence with every number that led to it (leading axes kept)."""

    distance_m: Array
    """A, mean distance from start to target."""
    sd_x_m: Array
    """SDx, spread along the task axis."""
    effective_width_m: Array
    """We."""
    effective_distance_m: Array
    """Ae, in the form named by `ae_form`."""
    effective_difficulty_bit: Array
    """IDe."""
    movement_time_s: Array
    """MT, mean."""
    throughput_bit_s: Array
    """TP = IDe/MT."""
    ae_form: DistanceForm
    ddof: int
    n: int


def tapping_throughput(
    start: ArrayLike,
    target: ArrayLike,
    selected: ArrayLike,
    movement_time_s: ArrayLike,
    ae: DistanceForm = "nominal",
    ddof: int = 1,
) -> TappingThroughput:
    """How many bits a second one sequence of taps carried.

    One sequence is one participant in one condition; average sequences afterwards
    (`mean_of_means`), never pool their trials, and never take 1/slope of a regression.

    Parameters
    ----------
    start, target, selected : (..., N, D) [m], N ≥ 2
        In the order tapped. Misses belong in; trials that never ended do not.
    movement_time_s : (..., N) [s], > 0
    ae : "nominal" or "serial"
        Ae = mean(a + dx), each move from the centre of its start. In ``"serial"`` tapping the
        hand starts where the last tap fell, so the previous dx is added as well; exact when
        moves reverse, nearly so on a ring (they turn by π/n from a reversal).
    ddof : int
        1: divide by N − 1; 0: by N.

    Returns
    -------
    TappingThroughput

    Raises
    ------
    ValueError
        When shapes differ, a number is unknown, a time is not positive, or every tap fell at
        the same place along its axis (the width is then 0 and throughput has no value).

    Notes
    -----
    Source: ISO/TS 9241-411:2012 (guidance) and Soukoreff & MacKenzie 2004 for IDe/MT, 4.133 SDx
    and mean(a + dx); the serial form is computed here.

    Examples
    --------
    >>> a, b = [0.0, 0.0], [0.3, 0.0]
    >>> result = tapping_throughput(
    ...     [a, b, a], [b, a, b], [[0.306, 0], [0.0, 0.01], [0.294, 0]], [0.6, 0.7, 0.65])
    >>> print(f"{result.throughput_bit_s:.3f} bit/s")
    5.710 bit/s
    """
    f, t, s = (np.asarray(a, float) for a in (start, target, selected))
    mt = np.asarray(movement_time_s, float)
    if not f.shape == t.shape == s.shape == (*mt.shape, f.shape[-1]) or mt.shape[-1] < 2:
        raise ValueError(
            "expected start, target, selected (..., N, D) and times (..., N) with N ≥ 2, got "
            f"{f.shape}, {t.shape}, {s.shape}, {mt.shape}"
        )
    if not all(np.isfinite(a).all() for a in (f, t, s, mt)) or np.any(mt <= 0):
        raise ValueError("every place must be known and every movement time > 0 s")
    if ae not in ("nominal", "serial"):
        raise ValueError(f'ae must be "nominal" or "serial", got {ae!r}')
    dx, a = axis_deviation(f, t, s)
    sd_x = np.std(dx, axis=-1, ddof=ddof)
    if np.any(sd_x == 0):
        raise ValueError("all taps fell at the same place along their axis: no width, no value")
    covered = a + dx
    if ae == "serial":
        covered = covered + np.concatenate([np.zeros_like(dx[..., :1]), dx[..., :-1]], axis=-1)
    width = effective_width(sd_x)
    distance = np.mean(covered, axis=-1)
    difficulty = index_of_difficulty(distance, width)
    mean_time = np.mean(mt, axis=-1)
    return TappingThroughput(
        distance_m=np.mean(a, axis=-1),
        sd_x_m=sd_x,
        effective_width_m=width,
        effective_distance_m=distance,
        effective_difficulty_bit=difficulty,
        movement_time_s=mean_time,
        throughput_bit_s=difficulty / mean_time,
        ae_form=ae,
        ddof=ddof,
        n=mt.shape[-1],
    )


def error_rate(selected: ArrayLike, target: ArrayLike, width: ArrayLike) -> Array:
    """Which share of the selections fell outside their round targets.

    Parameters
    ----------
    selected, target : (..., N, D) [m], N ≥ 1
    width : (..., N) or one number [m], > 0
        Diameter; a selection on the rim is a hit.

    Returns
    -------
    (...) [1]; NaN when a selection is unknown

    Notes
    -----
    Source: ISO/TS 9241-411:2012 (error as a selection outside the target).

    Examples
    --------
    >>> print(error_rate([[0.0, 0.0], [0.2, 0.0]], [[0.0, 0.0], [0.0, 0.0]], 0.1))
    0.5
    """
    miss = np.linalg.norm(np.asarray(selected, float) - np.asarray(target, float), axis=-1)
    outside = np.where(np.isnan(miss), np.nan, miss > np.asarray(width, float) / 2)
    return np.asarray(np.mean(outside, axis=-1))[()]


def mean_of_means(values: ArrayLike, level: float = 0.95) -> Interval:
    """What a group of people reaches on average, and how surely.

    Parameters
    ----------
    values : (P, C), P ≥ 2
        One number (such as throughput) for each participant and condition, all known.
    level : float [1], 0 < level < 1

    Returns
    -------
    Interval
        Conditions are averaged within a participant first; the interval is Student's over the
        participants, so it speaks of people like these, not of these people's repeats.

    Notes
    -----
    Source: Soukoreff & MacKenzie 2004 (mean of means).

    Examples
    --------
    >>> group = mean_of_means([[4.0, 5.0], [3.0, 4.0], [5.0, 6.0]])
    >>> print(f"{group.value:.2f} [{group.low:.2f}, {group.high:.2f}]")
    4.50 [2.02, 6.98]
    """
    table = np.asarray(values, float)
    if table.ndim != 2 or not np.isfinite(table).all():
        raise ValueError(f"expected known values (participants, conditions), got {table.shape}")
    return t_interval(table.mean(axis=1), level)
