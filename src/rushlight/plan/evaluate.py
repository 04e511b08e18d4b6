"""Everything a plan knows of a batch of rigs, at every place: one rig is a batch of one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.geometry import incidence, metres_per_pixel
from rushlight.plan.error import LEAST_BEACONS, ErrorField, error_field
from rushlight.plan.grid import (
    Standing,
    hidden_by_holder,
    inset_ring,
    places_of_grid,
    within_reach,
)
from rushlight.plan.light import (
    FAINTEST_PEAK,
    GREATEST_STREAM_PX,
    DotField,
    dots,
    light_field,
    suitable_exposure,
)
from rushlight.records.figure import ERROR_CAUSES
from rushlight.records.resolved import ResolvedRig

Array = NDArray[Any]

CHUNK_RIGS = 32
"""Rigs evaluated at once: bounds the memory at some hundred megabytes."""


MOST_PARTED = 0.1
"""Share of the ways of holding in which tip and glow may part at a place that still counts as
covered (a choice of ours)."""


@dataclass(frozen=True)
class CameraEvaluation:
    """One camera's share of an evaluation, at the grid's places only; axes R, E, G."""

    exposure_s: Array
    dot: DotField
    error: ErrorField
    in_view: Array
    hidden: Array
    mm_per_px: Array
    incidence_rad: Array
    centre_mm: Array


@dataclass(frozen=True)
class Evaluation:
    """What can be expected of R rigs with E emitters at G places of a grid.

    Where several cameras see a place, everything is told of the one with the least error there.

    Attributes
    ----------
    columns, rows
        Of the grid; places run row by row from below.
    places_m, beacons_m
        (R, G, 2), (R, B, 2) [m].
    exposure_s
        (R, C) chosen or as given [s].
    camera
        (R, E, G) index of the camera that a place is told of.
    in_view, hidden, saturated, weak, parted, reached, covered
        (R, E, G) whether the dot lies in the picture; is hidden by its holder's body; may
        saturate; may be too weak for its noise or its stream; may show tip and glow as two; can
        be touched by its holder; is in view, not hidden, not saturated, weak or parted, and
        meets the error wanted.
    mm_per_px
        (R, E, G, 2) major and minor.
    incidence_rad, sigma_px, electrons, electrons_least, electrons_most, grey_peak,
    background_e, peak_over_noise, centre_px, centre_mm, stream_px
        (R, E, G); see `DotField`; the error of the dot's centre is root-mean-square in the plane.
    error_m
        Cause to (R, E, G) root-mean-square displacement [m]; "all" too.
    coverage
        (R,) share of the places covered, mean over the emitters.
    registerable
        (R,) whether at least six beacons are seen.
    views
        One `CameraEvaluation` a camera.
    """

    columns: int
    rows: int
    places_m: Array
    beacons_m: Array
    exposure_s: Array
    camera: Array
    in_view: Array
    hidden: Array
    saturated: Array
    weak: Array
    parted: Array
    reached: Array
    covered: Array
    mm_per_px: Array
    incidence_rad: Array
    sigma_px: Array
    electrons: Array
    electrons_least: Array
    electrons_most: Array
    grey_peak: Array
    background_e: Array
    peak_over_noise: Array
    centre_px: Array
    centre_mm: Array
    stream_px: Array
    error_m: dict[str, Array]
    coverage: Array
    registerable: Array
    views: tuple[CameraEvaluation, ...]

    def overall_error_m(self) -> Array:
        """Root-mean-square error (R,) [m] over the emitters and the places in view."""
        square = np.where(self.in_view, self.error_m["all"] ** 2, np.nan)
        known = np.isfinite(square)
        total = np.where(known, square, 0.0).sum(axis=(1, 2))
        count = known.sum(axis=(1, 2))
        return np.sqrt(np.where(count > 0, total / np.maximum(count, 1), np.nan))


def evaluate(
    resolved: ResolvedRig,
    columns: int = 9,
    rows: int = 6,
    beacons_m: Array | None = None,
    standing: Standing | None = None,
    registering: Sequence[int] | None = None,
    tilts: int = 3,
    leans: int = 5,
) -> Evaluation:
    """What can be expected of a batch of rigs.

    Parameters
    ----------
    resolved
        The rigs (R). An exposure of NaN is chosen here.
    columns, rows
        Grid of places, ≥ 1.
    beacons_m
        (R, B, 2) or (B, 2) [m], touched once by each registering emitter; by default three by
        three, set in from the edges.
    standing
        Who holds what and stands where; by default each at the middle of their place.
    registering
        Indices of the emitters that touch every beacon once each; by default all.
    tilts, leans
        Nodes over the ways of holding a stylus.
    """
    if columns < 1 or rows < 1:
        raise ValueError(f"a grid needs columns and rows of 1 or more, not {columns} × {rows}")
    habits = standing or Standing.unknown(resolved)
    beacons = inset_ring(resolved.surface.size_m) if beacons_m is None else np.asarray(beacons_m)
    beacons = np.broadcast_to(beacons, (len(resolved), *beacons.shape[-2:]))
    emitters = range(resolved.emitters.duty.shape[1])
    touching = tuple(emitters if registering is None else registering)
    parts = [
        _evaluate_chunk(
            resolved.take(slice(first, first + CHUNK_RIGS)),
            columns,
            rows,
            beacons[first : first + CHUNK_RIGS],
            habits,
            touching,
            (tilts, leans),
        )
        for first in range(0, len(resolved), CHUNK_RIGS)
    ]
    return parts[0] if len(parts) == 1 else joined(parts)


def _evaluate_chunk(
    resolved: ResolvedRig,
    columns: int,
    rows: int,
    beacons: Array,
    habits: Standing,
    registering: tuple[int, ...],
    ways: tuple[int, int],
) -> Evaluation:
    places = places_of_grid(resolved.surface.size_m, columns, rows)
    views = tuple(
        _evaluate_camera(resolved, camera, places, beacons, habits, registering, ways)
        for camera in range(resolved.cameras.size_px.shape[1])
    )
    score = np.stack(
        [
            np.where(
                view.in_view & ~view.hidden, np.nan_to_num(view.error.rms_m("all"), nan=1e9), 1e12
            )
            for view in views
        ]
    )
    best = np.argmin(score, axis=0)

    def chosen(values: Sequence[Array]) -> Array:
        stacked = np.stack(values)
        index = best.reshape(1, *best.shape, *[1] * (stacked.ndim - 4))
        return np.asarray(np.take_along_axis(stacked, index, axis=0)[0])

    def of_dot(name: str) -> Array:
        return chosen([getattr(view.dot, name) for view in views])

    errors = {
        cause: chosen([view.error.rms_m(cause) for view in views])
        for cause in (*ERROR_CAUSES, "all")
    }
    in_view = chosen([view.in_view for view in views])
    hidden = chosen([view.hidden for view in views])
    saturated = of_dot("grey_peak") >= 1.0
    stream_px = of_dot("stream_px")
    weak = ~((of_dot("peak_over_noise") >= FAINTEST_PEAK) & (stream_px <= GREATEST_STREAM_PX))
    parted = of_dot("parted") > MOST_PARTED
    goal = resolved.targets.worst_error_m[:, None, None]
    with np.errstate(invalid="ignore"):
        sound = in_view & ~hidden & ~saturated & ~weak & ~parted
        covered = sound & (errors["all"] <= goal)
    cov = of_dot("centre_cov_px2")
    return Evaluation(
        columns=columns,
        rows=rows,
        places_m=places,
        beacons_m=np.array(beacons),
        exposure_s=np.stack([view.exposure_s for view in views], axis=-1),
        camera=best,
        in_view=in_view,
        hidden=hidden,
        saturated=saturated & in_view,
        weak=weak & in_view,
        parted=parted & in_view,
        reached=within_reach(resolved, habits, places),
        covered=covered,
        mm_per_px=chosen([view.mm_per_px for view in views]),
        incidence_rad=chosen([view.incidence_rad for view in views]),
        sigma_px=of_dot("sigma_px"),
        electrons=of_dot("electrons"),
        electrons_least=of_dot("electrons_least"),
        electrons_most=of_dot("electrons_most"),
        grey_peak=of_dot("grey_peak"),
        background_e=of_dot("background_e"),
        peak_over_noise=of_dot("peak_over_noise"),
        centre_px=np.sqrt(cov[..., 0, 0] + cov[..., 1, 1]),
        centre_mm=chosen([view.centre_mm for view in views]),
        stream_px=stream_px,
        error_m=errors,
        coverage=covered.mean(axis=(1, 2)),
        registerable=np.any(
            [(view.error.seen_touches.sum(axis=-1) >= LEAST_BEACONS) for view in views], axis=0
        ),
        views=views,
    )


def _evaluate_camera(
    resolved: ResolvedRig,
    camera: int,
    places: Array,
    beacons: Array,
    habits: Standing,
    registering: tuple[int, ...],
    ways: tuple[int, int],
) -> CameraEvaluation:
    c = resolved.cameras
    middle = resolved.surface.size_m[:, None, :] / 2.0
    everywhere = np.concatenate([places, beacons, middle], axis=1)
    field = light_field(resolved, camera, everywhere, *ways)
    given = c.exposure_s[:, camera]
    exposure = np.where(np.isnan(given), suitable_exposure(resolved, camera, field), given)
    dot = dots(resolved, camera, field, exposure)

    hidden = hidden_by_holder(resolved, habits, everywhere, camera)
    local = field.seen.surface_from_px[..., 0, :, :]
    error = error_field(
        resolved,
        camera,
        places,
        beacons,
        dot,
        field.weights,
        local,
        field.in_view & ~hidden,
        registering,
    )
    count = places.shape[1]
    shape = (*field.in_view.shape[:2], count)
    pose = c.rig_from_camera[:, camera, None]
    metres = metres_per_pixel(places, c.K[:, camera, None], c.distortion[:, camera, None], pose)
    flat = np.concatenate([places, np.zeros((*places.shape[:-1], 1))], axis=-1)
    angle = incidence(flat, pose[..., :3, 3])
    kept = DotField(**{name: value[:, :, :count] for name, value in vars(dot).items()})
    return CameraEvaluation(
        exposure_s=exposure,
        dot=kept,
        error=error,
        in_view=field.in_view[:, :, :count],
        hidden=hidden[:, :, :count],
        mm_per_px=np.broadcast_to(1e3 * metres[:, None], (*shape, 2)),
        incidence_rad=np.broadcast_to(angle[:, None], shape),
        centre_mm=1e3 * error.rms_m("centre"),
    )


def joined(parts: Sequence[Evaluation]) -> Evaluation:
    """One evaluation of many chunks; the cameras' own shares are left out."""
    fields: dict[str, Any] = {}
    for name, first in vars(parts[0]).items():
        values = [getattr(part, name) for part in parts]
        if name == "error_m":
            fields[name] = {cause: np.concatenate([v[cause] for v in values]) for cause in first}
        elif name == "views":
            fields[name] = ()
        else:
            fields[name] = first if isinstance(first, int) else np.concatenate(values)
    return Evaluation(**fields)
