"""Fixes of several cameras of one surface as one: at each moment the place by all that agree.

The cameras' clocks must be one; their frames need not be taken at the same moments: between its
own frames a camera's place is taken along the straight line.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.session import Event, Fix
from rushlight.track.fuse import fuse

_GAP = 2.5  # of a camera's own frame period: over more it does not see the light
_NEW = 0.75  # of a period: so far from every moment of the cameras before, another camera adds one


class _Way(NamedTuple):
    """One thing before one camera: times (N,) [ns], places (N, 2), covariances (N, 2, 2)."""

    time_ns: Array
    place: Array
    cov: Array
    period_ns: float


def fuse_fixes(by_camera: Sequence[Sequence[Fix]]) -> list[Fix]:
    """One fix for each thing and moment.

    Parameters
    ----------
    by_camera
        Each camera's fixes on the surface. The first camera's moments count; another's only
        where those before it saw nothing.

    Returns
    -------
    list of Fix
        In order of time; `cameras` names those that the place rests on. Where the light coasts in
        the dark before the first camera and another sees it, it is seen.
    """
    fused: list[Fix] = []
    things = dict.fromkeys(fix.carried for fixes in by_camera for fix in fixes)
    for thing in things:
        own = [[fix for fix in fixes if fix.carried == thing] for fixes in by_camera]
        ways = [_way([fix for fix in fixes if not fix.predicted]) for fixes in own]
        ids = [next((f.cameras[0] for f in fixes if f.cameras), "") for fixes in own]
        taken = np.zeros(0)
        for camera, fixes in enumerate(own):
            period, added = ways[camera].period_ns, []
            for fix in fixes:
                if camera and len(taken) and np.min(np.abs(taken - fix.valid_ns)) < _NEW * period:
                    continue
                if camera and fix.predicted:
                    continue
                added.append(_fused(fix, ways, ids))
            fused += added
            taken = np.append(taken, [fix.valid_ns for fix in added if not fix.predicted])
    return sorted(fused, key=lambda fix: fix.valid_ns)


def _way(fixes: Sequence[Fix]) -> _Way:
    ordered = sorted(fixes, key=lambda fix: fix.valid_ns)
    times = np.array([fix.valid_ns for fix in ordered], float)
    period = float(np.median(np.diff(times))) if len(times) > 1 else 0.0
    return _Way(
        times,
        np.array([fix.position_m[:2] for fix in ordered]).reshape(-1, 2),
        np.array([fix.cov[:2, :2] for fix in ordered]).reshape(-1, 2, 2),
        period,
    )


def _at(way: _Way, time_ns: float) -> tuple[Array, Array]:
    """Place (2,) and covariance (2, 2) at a moment; NaN where the camera does not see it then."""
    dark = np.full(2, np.nan), np.full((2, 2), np.nan)
    after = int(np.searchsorted(way.time_ns, time_ns))
    if after < len(way.time_ns) and way.time_ns[after] == time_ns:
        return way.place[after], way.cov[after]
    if after in (0, len(way.time_ns)):
        return dark
    gap = way.time_ns[after] - way.time_ns[after - 1]
    if gap > _GAP * way.period_ns:
        return dark
    late = (time_ns - way.time_ns[after - 1]) / gap
    # What the map errs by is the same before and after, so doubts do not shrink between.
    return (
        (1.0 - late) * way.place[after - 1] + late * way.place[after],
        (1.0 - late) * way.cov[after - 1] + late * way.cov[after],
    )


def _fused(fix: Fix, ways: Sequence[_Way], ids: Sequence[str]) -> Fix:
    """A fix by all cameras that see its light then; as it is where none does."""
    seen = [_at(way, fix.valid_ns) for way in ways]
    one = fuse(np.stack([place for place, _ in seen]), np.stack([cov for _, cov in seen]))
    if not one.used.any():
        return fix
    position, cov = np.array(fix.position_m), np.array(fix.cov)
    position[:2], cov[:2, :2] = one.place, one.cov
    return fix.replace(
        position_m=position,
        cov=cov,
        predicted=False,
        cameras=tuple(name for name, used in zip(ids, one.used, strict=True) if used),
    )


def join_switching(by_camera: Sequence[Sequence[Event]]) -> list[Event]:
    """The cameras' events as one course of things: lit while any camera sees it lit.

    Parameters
    ----------
    by_camera
        Each camera's events.

    Returns
    -------
    list of Event
        In order of time. A switching that only repeats what another camera told before, or a
        going out while another camera still sees the light, is left out; all else is kept.
    """
    lit: dict[str | None, set[int]] = {}
    joined = []
    every = [(event, camera) for camera, events in enumerate(by_camera) for event in events]
    for event, camera in sorted(every, key=lambda each: each[0].time_ns):
        if event.kind not in ("switch-down", "switch-up"):
            joined.append(event)
            continue
        by = lit.setdefault(event.carried, set())
        before = bool(by)
        (by.add if event.kind == "switch-down" else by.discard)(camera)
        if bool(by) != before:
            joined.append(event)
    return joined
