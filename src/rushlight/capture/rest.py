"""What a sensor's dots tell of its noise while the lights stand still."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from rushlight.errors import RushlightError
from rushlight.records.arrays import Array
from rushlight.records.dot_noise import DotNoise
from rushlight.records.dots import Dots, Frame

LEAST_FRAMES = 100
"""Frames with all lights that are wanted: a standard deviation from 100 values is good to 7 %,
as 1/√(2·(100 − 1)) tells for a normal law (computed)."""

MOVED_SIGMAS = 2.0
"""A spread of the quarters' means beyond so many standard deviations of a dot within a quarter is
motion; no source. White noise spreads the means of 25 frames by 0.4 (computed), and the slow
wandering of low-cost sensors by more, which is noise too and must pass."""

_STEPS = (1.0, 0.5, 0.25, 0.2, 0.125, 0.1, 0.0625, 0.05, 0.04, 0.02, 0.01)


def learn_noise(sightings: Iterable[tuple[Frame, Dots]]) -> DotNoise:
    """How much the dots of a sensor scatter, from a recording at rest.

    Parameters
    ----------
    sightings
        Frames and their dots, in order; every light in view stands still.

    Returns
    -------
    DotNoise
        Without its header; `DotNoise.stamped` adds it, ``"measured"`` where the recording was.

    Raises
    ------
    RushlightError
        When there are too few frames, no dots, or the lights moved.
    """
    seen = list(sightings)
    counts = Counter(len(dots) for _, dots in seen if len(dots))
    camera = seen[0][0].camera if seen else "sensor"
    if not counts:
        raise _refused(camera, "saw no dots", "switch a light on and hold it before the sensor")
    # A light lost now and then leaves fewer dots; so the greatest number seen often counts.
    lights = max(number for number, times in counts.items() if times >= 0.05 * len(seen))
    whole = [dots.xy for _, dots in seen if len(dots) == lights]
    if len(whole) < LEAST_FRAMES:
        raise _refused(
            camera,
            f"saw its {lights} dots in {len(whole)} frames, and {LEAST_FRAMES} are wanted",
            "record ten seconds or more with the light at rest",
        )
    places = _by_light(whole)
    moved_px = _check_rest(places, camera)
    step_px = [_step(places[..., axis]) for axis in (0, 1)]
    frames = seen[-1][0].index - seen[0][0].index + 1
    duration_s = (seen[-1][0].capture_ns - seen[0][0].capture_ns) * 1e-9
    shown = sum(min(len(dots), lights) for _, dots in seen)
    return DotNoise(
        camera=camera,
        frames=len(seen),
        dots=lights,
        duration_s=duration_s,
        rate_hz=(frames - 1) / duration_s if duration_s > 0 else math.nan,
        cov_px2=_covariance(places, step_px),
        step_px=(step_px[0], step_px[1]),
        drop_share=min(max(1.0 - shown / (frames * lights), 0.0), 1.0),
        moved_px=moved_px,
    )


def noise_path(rig: Path, camera: str) -> Path:
    """Where a sensor's noise is kept: beside its rig.

    Parameters
    ----------
    rig
        The rig's file.
    camera
        The sensor's id.
    """
    return rig.parent / f"dot-noise-{camera}.json"


def _by_light(whole: list[Array]) -> Array:
    """Places ordered by light, (F, N, 2): sensors may number their dots anew in every frame."""
    from scipy.optimize import linear_sum_assignment

    home = whole[0]
    rows = []
    for xy in whole:
        far = np.linalg.norm(home[:, None] - xy[None], axis=-1)
        rows.append(xy[linear_sum_assignment(far)[1]])
    return np.stack(rows)


def _check_rest(places: Array, camera: str) -> float:
    """How far the lights wandered [px]; refused where they moved."""
    quarters = np.array_split(places, 4)
    means = np.stack([quarter.mean(axis=0) for quarter in quarters])
    spread = np.sqrt(np.mean([quarter.var(axis=0) for quarter in quarters], axis=0))
    wander = means.max(axis=0) - means.min(axis=0)
    # Places that are rounded may flicker between two neighbours for ever.
    rounded = np.nan_to_num([_step(places[..., axis]) for axis in (0, 1)])
    if (wander > np.maximum(MOVED_SIGMAS * spread, rounded)).any():
        raise _refused(
            camera,
            f"saw a light move by {float(wander.max()):.2g} px while it should have stood still",
            "clamp the light, keep off the table, and record again",
        )
    return float(wander.max())


def _covariance(
    places: Array, step_px: list[float]
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Covariance of a place, pooled over the lights, and at least that of rounding."""
    off = places - places.mean(axis=0)
    cov = np.einsum("fni,fnj->ij", off, off) / ((len(places) - 1) * places.shape[1])
    for axis in (0, 1):
        # An error spread evenly over one step has a variance of step²/12 (computed); a sensor
        # quieter than its step shows less, but errs as much.
        rounding = step_px[axis] ** 2 / 12.0
        if not cov[axis, axis] >= rounding and math.isfinite(rounding):
            cov[axis, axis] = rounding
    return (float(cov[0, 0]), float(cov[0, 1])), (float(cov[1, 0]), float(cov[1, 1]))


def _step(values: Array) -> float:
    """Step of the values, NaN where no plain step fits them."""
    for step in _STEPS:
        # Text of few digits is a multiple of its step up to the last bit of a float.
        if np.abs(values / step - np.rint(values / step)).max() < 1e-6:
            return step
    return math.nan


def _refused(camera: str, allowed: str, remedy: str) -> RushlightError:
    return RushlightError.of(f"{camera} at rest", "", allowed, remedy, "rest")
