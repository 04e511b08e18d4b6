"""Light and exposure solved together, as one part of a rig's plan, with what to say of it."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.errors import Finding
from rushlight.physics.filter_band import share_at
from rushlight.plan.figures import Names, finite
from rushlight.plan.light import FAINTEST_PEAK, FULLEST_PEAK
from rushlight.plan.light_choices import light_choices
from rushlight.plan.light_filters import filtered, light_together
from rushlight.plan.light_range import Windows, usable_stops, windows_of
from rushlight.plan.strobe import strobes_of
from rushlight.records.light_range import LightPlace, LightRange, LightWindow, Standing
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf

Array = NDArray[Any]


def light_range(
    rig: Rig,
    shelf: Shelf,
    resolved: ResolvedRig,
    exposure_s: Array,
    names: Names,
    columns: int = 9,
    rows: int = 6,
) -> LightRange:
    """The exposures that serve a rig's lights, what would widen them, and what strobing gains.

    Parameters
    ----------
    rig, shelf, resolved, names
        The rig, its parts, the rig as numbers and its names.
    exposure_s
        (R, C) as planned [s]; the first rig's counts.
    columns, rows
        Grid of places.
    """
    windows, strobes, together = [], [], []
    fitted = filtered(rig, shelf)
    for index in range(len(names.cameras)):
        found = windows_of(resolved, index, columns, rows)
        planned = float(exposure_s[0, index])
        own = [
            _window(resolved, index, found, planned, names, [light])
            for light in range(len(names.carried))
        ]
        windows += own
        if len(own) > 1:
            every = list(range(len(names.carried)))
            windows.append(_window(resolved, index, found, planned, names, every))
        each = [[light] for light in range(len(names.carried))]
        groups = each if len(each) == 1 else [*each, list(range(len(each)))]
        together += light_together(
            resolved, index, found, planned, names, groups, fitted, (columns, rows)
        )
        strobes += strobes_of(rig, shelf, resolved, index, found, planned, names)
    return LightRange(
        windows=windows,
        choices=light_choices(rig, shelf, resolved),
        strobes=strobes,
        together=together,
        peak_over_noise=FAINTEST_PEAK,
        fullest=FULLEST_PEAK,
    )


def _window(
    resolved: ResolvedRig,
    camera: int,
    found: Windows,
    exposure_s: float,
    names: Names,
    lights: list[int],
) -> LightWindow:
    """The range of some lights of one camera of the first rig."""
    c = resolved.cameras

    def worst(values: Array, pick: Callable[..., Any]) -> float | None:
        return finite(float(pick(values[0, lights])))

    least, greatest = worst(found.least_s, np.max), worst(found.greatest_s, np.min)
    shortest = float(c.shortest_exposure_s[0, camera])
    period = 1.0 / float(c.frame_rate_hz[0, camera])
    stops = None
    if least is not None and greatest is not None:
        ends = (np.array(each) for each in (least, greatest, shortest, period))
        stops = float(usable_stops(*ends))
    ambient = float(resolved.surface.ambient_w_m2[0])
    alone = lights[0] if len(lights) == 1 else None
    return LightWindow(
        camera=names.cameras[camera],
        carried=None if alone is None else names.carried[alone],
        least_s=least,
        fullest_s=None if greatest is None else FULLEST_PEAK * greatest,
        greatest_s=greatest,
        exposure_s=exposure_s,
        shortest_s=shortest,
        period_s=period,
        standing=_standing(least, greatest, exposure_s, stops),
        usable_stops=stops,
        weakest=None if alone is None else _place(resolved, camera, found, found.weakest, alone),
        strongest=None
        if alone is None
        else _place(resolved, camera, found, found.strongest, alone),
        weakest_e_s=worst(found.weakest_e_s, np.min),
        strongest_e_s=worst(found.strongest_e_s, np.max),
        background_e_s=worst(found.background_e_s, np.max),
        noise_floor_e=math.sqrt(float(found.noise_floor_e2[0])),
        full_scale_e=float(found.full_scale_e[0]),
        ambient_w_m2=finite(ambient),
        ambient_too_weak_w_m2=worst(found.ambient_too_weak(np.array([exposure_s])), np.min),
        ambient_clips_w_m2=worst(found.ambient_clips(np.array([exposure_s])), np.min),
        ambient_none_serves_w_m2=worst(found.ambient_none_serves(), np.min),
    )


def _standing(
    least: float | None, greatest: float | None, exposure_s: float, stops: float | None
) -> Standing:
    if greatest is None:
        return "sees nothing"
    if least is None or stops is None or stops < 0.0:
        return "none serves"
    if exposure_s < least:
        return "too short"
    return "too long" if exposure_s > greatest else "within"


def _place(
    resolved: ResolvedRig, camera: int, found: Windows, index: Array, light: int
) -> LightPlace | None:
    """Where and how an extreme comes about, and what the dot there consists of."""
    place, way = (int(each) for each in index[0, light])
    parts = found.field.seen.rate_e_s[0, light, place, way]
    if not np.isfinite(parts).all() or parts.sum() <= 0.0:
        return None
    x, y = found.places_m[0, place]
    pose = resolved.cameras.rig_from_camera[0, camera]
    ray = np.array([x, y, 0.0]) - pose[:3, 3]
    cosine = float(ray @ pose[:3, 2] / np.linalg.norm(ray))
    own, glow, side = (float(each) for each in parts / parts.sum())
    return LightPlace(
        x_m=float(x),
        y_m=float(y),
        tilt_deg=math.degrees(float(found.tilt_rad[0, light, way])),
        lean_deg=math.degrees(float(found.lean_rad[0, light, way])),
        own_share=own,
        glow_share=glow,
        side_glow_share=side,
        off_axis_deg=math.degrees(math.acos(min(1.0, cosine))),
        filter_share=float(
            share_at(resolved.cameras.angle_share[0, camera, light], math.acos(min(1.0, cosine)))
        ),
    )


def light_findings(light: LightRange, file: str) -> list[Finding]:
    """A warning for each camera for which no exposure serves all lights and ways of holding.

    Parameters
    ----------
    light
        Of the plan.
    file
        Of the rig, to stand in the findings.
    """
    found = []
    cameras = dict.fromkeys(window.camera for window in light.windows)
    for camera in cameras:
        last = [window for window in light.windows if window.camera == camera][-1]
        best = next((choice for choice in light.choices if choice.widens), None)
        remedy = (
            f"the change that widens the range most: {best.change}"
            if best
            else ("bring the camera nearer, diffuse the tip more or darken the room")
        )
        if last.standing == "none serves":
            found.append(
                Finding(
                    "warning",
                    "no-exposure-serves",
                    f"{file}: cameras ({camera}) exposure",
                    "",
                    "has no length at which the strongest dot stays below full scale and the "
                    f"weakest, at the outermost ways of holding, reaches "
                    f"{light.peak_over_noise:g} times the noise",
                    remedy,
                )
            )
        elif last.standing in ("too short", "too long") and last.least_s and last.greatest_s:
            found.append(
                Finding(
                    "note",
                    "exposure-outside-range",
                    f"{file}: cameras ({camera}) exposure",
                    f"{1e3 * last.exposure_s:.3g} ms",
                    f"is {last.standing} for the outermost ways of holding",
                    f"use {1e3 * max(last.least_s, last.shortest_s):.3g} to "
                    f"{1e3 * min(last.greatest_s, last.period_s):.3g} ms",
                )
            )
    return found
