"""How straight and how steady the way to a target was."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def task_frame(path: ArrayLike, start: ArrayLike, target: ArrayLike) -> tuple[Array, Array]:
    """Where a path runs along and across the line from start to target.

    Parameters
    ----------
    path : (..., N, 2) [m]
    start, target : (..., 2) [m]

    Returns
    -------
    along : (..., N) [m], 0 at the start
    across : (..., N) [m], positive to the left of the direction of motion

    Raises
    ------
    ValueError
        When start and target coincide.

    Notes
    -----
    Source: MacKenzie, Kauppinen & Silfverberg 2001, CHI (the task axis).

    Examples
    --------
    >>> along, across = task_frame([[0.0, 0.0], [1.0, 2.0]], [0.0, 0.0], [0.0, 5.0])
    >>> along.tolist(), across.tolist()
    ([0.0, 2.0], [0.0, -1.0])
    """
    p, f, t = (np.asarray(a, float) for a in (path, start, target))
    if p.shape[-1] != 2 or f.shape[-1] != 2 or t.shape[-1] != 2:
        raise ValueError(f"expected points (..., 2), got {p.shape}, {f.shape}, {t.shape}")
    way = t - f
    length = np.linalg.norm(way, axis=-1, keepdims=True)
    if np.any(length == 0):
        raise ValueError("start and target coincide, so there is no task axis")
    unit = (way / length)[..., None, :]
    offset = p - f[..., None, :]
    along = np.sum(offset * unit, axis=-1)
    across = offset[..., 1] * unit[..., 0] - offset[..., 0] * unit[..., 1]
    return along, across


@dataclass(frozen=True, slots=True)
class PathMeasures:
    """What one path did on its way; lengths in metres, the rest are counts."""

    target_reentries: int | None
    """TRE: entries after the first; None when no width was given."""
    axis_crossings: int
    """TAC."""
    direction_changes: int
    """MDC: the motion across the axis turned round."""
    orthogonal_changes: int
    """ODC: the motion along the axis turned round."""
    variability_m: float
    """MV: spread about the path's own mean offset."""
    error_m: float
    """ME: mean distance from the axis."""
    offset_m: float
    """MO: mean signed distance, positive to the left."""
    dead_band_m: float
    n: int


def path_measures(
    path: ArrayLike,
    start: ArrayLike,
    target: ArrayLike,
    width_m: float | None = None,
    dead_band_m: float = 0.0,
) -> PathMeasures:
    """How straight and how steady one way to a target was.

    Parameters
    ----------
    path : (N, 2) [m], N ≥ 2, every point known
        Sampled evenly in time: the means are over samples, so a slow end weighs more.
    start, target : (2,) [m]
    width_m : float or None [m], > 0
        Diameter of the target, for the re-entries.
    dead_band_m : float [m], ≥ 0
        A side, a turn or an exit counts only once it goes further than this. Take about three
        times the rig's jitter (common practice, no source); with 0 every tremble counts.

    Returns
    -------
    PathMeasures

    Raises
    ------
    ValueError
        When the path is too short or not wholly known.

    Notes
    -----
    Source: MacKenzie, Kauppinen & Silfverberg 2001, CHI. A point on the axis keeps the side it
    came from. The dead-band is ours.

    Examples
    --------
    >>> way = [[0, 0], [1, 0.2], [2, -0.1], [3, 0]]
    >>> result = path_measures(way, [0, 0], [3, 0])
    >>> result.axis_crossings, result.direction_changes, round(result.error_m, 3)
    (1, 2, 0.075)
    """
    p = np.asarray(path, float)
    if p.ndim != 2 or len(p) < 2 or not np.isfinite(p).all():
        raise ValueError(f"expected a known path (N, 2) with N ≥ 2, got {p.shape}")
    if not dead_band_m >= 0:
        raise ValueError(f"dead_band_m must be ≥ 0, got {dead_band_m}")
    along, across = task_frame(p, start, target)
    # On a slanting axis rounding alone would make a straight way tremble.
    reach = np.max(np.abs([*p.ravel(), *np.ravel(start), *np.ravel(target)]))
    band = max(dead_band_m, 16 * np.finfo(float).eps * float(reach))
    reentries = None
    if width_m is not None:
        away = np.linalg.norm(p - np.asarray(target, float), axis=-1)
        reentries = _entries(away, width_m / 2, width_m / 2 + dead_band_m)
    return PathMeasures(
        target_reentries=reentries,
        axis_crossings=_crossings(across, band),
        direction_changes=_turns(across, band),
        orthogonal_changes=_turns(along, band),
        variability_m=float(np.std(across, ddof=1)),
        error_m=float(np.mean(np.abs(across))),
        offset_m=float(np.mean(across)),
        dead_band_m=dead_band_m,
        n=len(p),
    )


def _crossings(across: Array, band: float) -> int:
    """How often the side changes, leaving out points within the band."""
    sides = np.sign(across[np.abs(across) > band])
    return int(np.count_nonzero(np.diff(sides)))


def _turns(value: Array, band: float) -> int:
    """How often a run turns round by more than the band from its extreme."""
    turns, direction = 0, 0
    low = high = value[0]
    for v in value[1:]:
        low, high = min(low, v), max(high, v)
        if direction >= 0 and high - v > band:
            turns, direction, low, high = turns + (direction > 0), -1, v, v
        elif direction <= 0 and v - low > band:
            turns, direction, low, high = turns + (direction < 0), 1, v, v
    return int(turns)


def _entries(away: Array, inner: float, outer: float) -> int:
    """How often a target is entered again after its first entry."""
    entries, inside = 0, False
    for distance in away:
        if not inside and distance <= inner:
            entries, inside = entries + 1, True
        elif inside and distance > outer:
            inside = False
    return max(entries - 1, 0)
