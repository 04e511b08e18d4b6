"""How far each of exposure, current and aperture may be set, and all of them together.

A dot's peak grows with exposure × current ÷ f-number²; what the room leaves beside it grows with
exposure ÷ f-number² alone. So much is solved in closed form. An aperture also widens the dot
where it is out of focus, and is therefore tried stop by stop, then halved in upon. Like the
exposure ranges, all of it looks at the outermost ways of holding over the whole surface.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.exposure import greatest_exposure, least_exposure
from rushlight.plan.grid import with_fields
from rushlight.plan.light import FAINTEST_PEAK, lamp_rate
from rushlight.plan.light_range import Windows, windows_of
from rushlight.records.light_range import LightSpan, SpanEnd, SpanSetting
from rushlight.records.resolved import ResolvedRig

Array = NDArray[Any]

MOST_ROOM = 2.0
"""Up to this times the planned exposure ÷ f-number² the product's range holds (our own choice)."""
WIDEST_STOP, NARROWEST_STOP = 1.0, 16.0
"""Apertures looked at (our own choice)."""
_THIRDS = 25
_HALVINGS = 10


@dataclass(frozen=True)
class Span:
    """What a setting may be for each light: values (E,), and what ends it; NaN: none serves."""

    low: Array
    high: Array
    low_by: tuple[SpanEnd, ...]
    high_by: tuple[SpanEnd, ...]


def spans_of(
    resolved: ResolvedRig,
    camera: int,
    found: Windows,
    exposure_s: float,
    columns: int = 9,
    rows: int = 6,
) -> dict[SpanSetting, Span]:
    """How far each setting may go for each light of one camera, the others as planned.

    Parameters
    ----------
    resolved, camera
        A rig (the first counts), and which camera.
    found
        Its exposure ranges, on the same grid.
    exposure_s
        As planned [s].
    columns, rows
        Grid of places.

    Returns
    -------
    dict
        Exposure [s], current [A], aperture [1], product [A s].
    """
    one = resolved.take(np.zeros(1, int))
    current = np.asarray(one.emitters.current_a[0], float)
    rated = np.asarray(one.emitters.greatest_a[0], float)
    stop = float(one.cameras.f_number[0, camera])
    weak, full = drive_scales(one, camera, found, exposure_s)
    weak_lit, full_lit = drive_scales(one, camera, found, exposure_s, MOST_ROOM)
    product = exposure_s * current / stop**2
    c = one.cameras
    return {
        "exposure": _kept(
            found.least_s[0],
            found.greatest_s[0],
            float(c.shortest_exposure_s[0, camera]),
            1.0 / float(c.frame_rate_hz[0, camera]),
            "camera",
        ),
        "current": _kept(weak * current, full * current, 0.0, rated, "part"),
        "aperture": _apertures(one, camera, exposure_s, (columns, rows)),
        "product": _kept(weak_lit * product, full_lit * product, 0.0, np.inf, "part"),
    }


def drive_scales(
    resolved: ResolvedRig, camera: int, found: Windows, exposure_s: float, room: float = 1.0
) -> tuple[Array, Array]:
    """By which factors (E,) the light may change, from too weak to clipped, at one exposure.

    Parameters
    ----------
    resolved, camera, found
        As in `spans_of`.
    exposure_s
        [s]
    room
        By which the light of the room that falls into a pixel is multiplied.
    """
    field, e = found.field, resolved.emitters
    # A marker's own lamps light the wall too, and that grows with their current.
    marker = (e.retro_area_m2[0] > 0.0)[:, None]
    lamps = np.where(marker, lamp_rate(resolved, camera, found.places_m)[0], 0.0)
    steady = np.maximum(field.background_rate_e_s[0] - lamps, 0.0) * exposure_s * room
    peak = np.nan_to_num(field.peak_rate_e_s[0]) * exposure_s
    own = (lamps * exposure_s)[..., None]
    floor, full = float(found.noise_floor_e2[0]), float(found.full_scale_e[0])
    seen = field.in_view[0][..., None] & np.isfinite(field.peak_rate_e_s[0])
    least = least_exposure(peak, own, floor + steady[..., None], FAINTEST_PEAK)
    most = greatest_exposure(peak, own, np.maximum(full - steady, 0.0)[..., None])
    any_seen = seen.any(axis=(1, 2))
    weak = np.where(seen, least, -np.inf).max(axis=(1, 2))
    clipped = np.where(seen, most, np.inf).min(axis=(1, 2))
    # The stream's shift falls in proportion to the dot's peak.
    weak = np.maximum(weak, found.stream_least_s[0] / exposure_s)
    return np.where(any_seen, weak, np.inf), np.where(any_seen, clipped, np.nan)


def light_spans(
    spans: dict[SpanSetting, Span], planned: dict[SpanSetting, Array], lights: list[int]
) -> list[LightSpan]:
    """The spans of some lights together, as records.

    Parameters
    ----------
    spans
        Of a camera, as `spans_of` gives them.
    planned
        Values (E,) of the rig.
    lights
        Their numbers.
    """
    units: dict[SpanSetting, Any] = {
        "exposure": "s",
        "current": "A",
        "aperture": "1",
        "product": "A s",
    }
    lines = []
    for setting, span in spans.items():
        low, high = span.low[lights], span.high[lights]
        serves = bool(np.all(np.isfinite(low)) and np.all(np.isfinite(high)))
        serves = serves and float(low.max()) <= float(high.min())
        first, last = (lights[int(at)] for at in (np.argmax(low), np.argmin(high)))
        values = planned[setting][lights]
        alike = bool(np.ptp(values) <= 1e-9 * np.max(np.abs(values)))
        lines.append(
            LightSpan(
                setting=setting,
                unit=units[setting],
                planned=float(values[0]) if alike else None,
                low=float(low.max()) if serves else None,
                high=float(high.min()) if serves else None,
                low_by=span.low_by[first] if serves else None,
                high_by=span.high_by[last] if serves else None,
            )
        )
    return lines


def _kept(weak: Array, clips: Array, least: Any, most: Any, by: SpanEnd) -> Span:
    """What the light leaves, kept within what camera or part can do."""
    least, most = np.broadcast_to(least, weak.shape), np.broadcast_to(most, weak.shape)
    low, high = np.maximum(weak, least), np.minimum(clips, most)
    none = ~(np.isfinite(low) & np.isfinite(high) & (low <= high) & (high > 0.0))
    return Span(
        np.where(none, np.nan, low),
        np.where(none, np.nan, high),
        tuple("too weak" if w >= own else by for w, own in zip(weak, least, strict=True)),
        tuple("clips" if c <= own else by for c, own in zip(clips, most, strict=True)),
    )


def _apertures(
    resolved: ResolvedRig, camera: int, exposure_s: float, grid: tuple[int, int]
) -> Span:
    """The stops about the planned one, or nearest to it, at which each light serves."""

    def margins(stops: Array) -> tuple[Array, Array]:
        """How far (R, E) from too weak and from clipped, as logarithms of a factor."""
        rigs = resolved.take(np.zeros(len(stops), int))
        numbers = rigs.cameras.f_number.copy()
        numbers[:, camera] = stops
        found = windows_of(with_fields(rigs, cameras={"f_number": numbers}), camera, *grid)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.log(exposure_s / found.least_s), np.log(found.greatest_s / exposure_s)

    stops = np.geomspace(WIDEST_STOP, NARROWEST_STOP, _THIRDS)
    weak, clips = margins(stops)
    serves = np.nan_to_num(np.minimum(weak, clips), nan=-1.0) >= 0.0
    planned = math.log(float(resolved.cameras.f_number[0, camera]))
    away = np.abs(np.log(stops) - planned)
    count = serves.shape[1]
    # Of each end (light, side) the last stop that serves, and the first beyond that does not.
    inside, outside = np.full((count, 2), np.nan), np.full((count, 2), np.nan)
    for light in range(count):
        good = np.flatnonzero(serves[:, light])
        if not len(good):
            continue
        start = int(good[np.argmin(away[good])])
        for side, step in enumerate((-1, 1)):
            at = start
            while 0 <= at + step < len(stops) and serves[at + step, light]:
                at += step
            inside[light, side] = stops[at]
            if 0 <= at + step < len(stops):
                outside[light, side] = stops[at + step]
    ends = np.argwhere(np.isfinite(outside))
    by: dict[tuple[int, int], SpanEnd] = {}
    if len(ends):
        good, bad = (each[ends[:, 0], ends[:, 1]] for each in (inside, outside))
        own = np.arange(len(ends)), ends[:, 0]
        for _ in range(_HALVINGS):
            middle = np.sqrt(good * bad)
            weak, clips = (each[own] for each in margins(middle))
            well = np.nan_to_num(np.minimum(weak, clips), nan=-1.0) >= 0.0
            good, bad = np.where(well, middle, good), np.where(well, bad, middle)
        weak, clips = (each[own] for each in margins(bad))
        for row, (light, side) in enumerate(ends):
            inside[light, side] = good[row]
            by[int(light), int(side)] = "too weak" if weak[row] < clips[row] else "clips"
    low_by, high_by = (
        tuple(by.get((light, side), "looked") for light in range(count)) for side in (0, 1)
    )
    return Span(inside[:, 0], inside[:, 1], low_by, high_by)
