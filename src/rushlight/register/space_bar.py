"""The two lights of a swung bar as one camera sees them: stretches without a break, and between."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from rushlight.physics.cubic import cubic_weights
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots

APART_PX = 5.0
"""Ends nearer than this to one another may be exchanged: a stretch ends there."""

JUMP_PX = 60.0
"""An end that comes to lie farther than this from where it was expected is another light."""

LEAST_FRAMES = 6
"""Shorter stretches are passed over."""

_GAP = 2.5  # frame periods


class Stretch(NamedTuple):
    """F frames in which both ends were followed without a break.

    Fields
    ------
    time_s : (F,) on the camera's own clock, from the origin given [s]
    px, px_cov : (F, 2, 2) [px] and (F, 2, 2, 2) [px²]
    """

    time_s: Array
    px: Array
    px_cov: Array


class Between(NamedTuple):
    """The ends at T moments, whether or not a frame was taken then; NaN where none is near.

    Fields
    ------
    px, px_cov, px_s : (T, 2, 2) [px], (T, 2, 2, 2) [px²], (T, 2, 2) speeds [px/s]
    """

    px: Array
    px_cov: Array
    px_s: Array


def stretches(seen: Sequence[tuple[int, Dots]], origin_ns: int) -> list[Stretch]:
    """The ends of the bar in one camera's frames, each followed from frame to frame.

    Parameters
    ----------
    seen
        Capture time [ns] and dots of every frame, in order of time.
    origin_ns
        Moment from which times are counted.

    Notes
    -----
    Of more than two dots the two brightest begin a stretch. Which end is which is told apart
    within a stretch only.
    """
    times = np.array([t for t, _ in seen], float)
    period = float(np.median(np.diff(times))) * 1e-9 if len(times) > 1 else np.inf
    done: list[list[tuple[float, Array, Array]]] = []
    now: list[tuple[float, Array, Array]] = []
    for time_ns, dots in seen:
        good = dots.good()
        at_s = (time_ns - origin_ns) * 1e-9
        if now and at_s - now[-1][0] > _GAP * period:
            done.append(now)
            now = []
        chosen = _next(now, good, at_s) if now else _first(good)
        if chosen is None and now:
            done.append(now)
            now = []
            chosen = _first(good)
        if chosen is not None:
            now.append((at_s, good.xy[chosen], good.cov[chosen]))
    done.append(now)
    return [
        Stretch(*(np.array(part) for part in zip(*frames, strict=True)))
        for frames in done
        if len(frames) >= LEAST_FRAMES
    ]


def _first(good: Dots) -> list[int] | None:
    if len(good) < 2:
        return None
    two = np.argsort(-np.nan_to_num(good.flux))[:2]
    return _unless_near(good, two.tolist())


def _unless_near(good: Dots, two: list[int]) -> list[int] | None:
    return two if np.linalg.norm(np.subtract(*good.xy[two])) > APART_PX else None


def _next(now: list[tuple[float, Array, Array]], good: Dots, at_s: float) -> list[int] | None:
    """The dots that continue the ends; None where they are not both seen, or may be exchanged."""
    expected = now[-1][1]
    if len(now) > 1:
        (before_s, before, _), (last_s, last, _) = now[-2:]
        expected = last + (last - before) * (at_s - last_s) / (last_s - before_s)
    if len(good) < 2:
        return None
    far = np.linalg.norm(good.xy[None] - expected[:, None], axis=-1)
    best, second = np.argmin(far[0]), np.argmin(far[1])
    if best == second or max(far[0, best], far[1, second]) > JUMP_PX:
        return None
    return _unless_near(good, [int(best), int(second)])


def between(track: Stretch, time_s: Array) -> Between:
    """The ends at moments between frames, by the cubic through the four frames around.

    Parameters
    ----------
    track
        One stretch.
    time_s
        (T,) on the camera's own clock [s].

    Notes
    -----
    Lagrange's cubic: at 60 Hz and 12 m/s² it is off by far less than a dot's noise, where the
    straight line would be off by 0.4 mm.
    """
    frames, many = track.time_s, len(time_s)
    found = Between(
        np.full((many, 2, 2), np.nan),
        np.full((many, 2, 2, 2), np.nan),
        np.full((many, 2, 2), np.nan),
    )
    if len(frames) < 4:
        return found
    at = np.clip(np.searchsorted(frames, time_s) - 1, 1, len(frames) - 3)
    inside = (time_s >= frames[0]) & (time_s <= frames[-1])
    four = at[:, None] + np.arange(-1, 3)
    nodes = frames[four]
    period = float(np.median(np.diff(frames)))
    inside &= np.max(np.diff(nodes, axis=1), axis=1) < _GAP * period
    weight, slope = cubic_weights(nodes, time_s)
    px = np.einsum("tf,tfij->tij", weight, track.px[four])
    cov = np.einsum("tf,tfijk->tijk", weight**2, track.px_cov[four])
    px_s = np.einsum("tf,tfij->tij", slope, track.px[four])
    for whole, part in zip(found, (px, cov, px_s), strict=True):
        whole[inside] = part[inside]
    return found
