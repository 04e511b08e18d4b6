"""How far from each camera a thing can be followed, what ends it, and how far apart its dots lie.

The line runs from the camera through the middle of the thing's zone, the camera set as planned.
"""

from __future__ import annotations

import numpy as np

from rushlight.plan.space_error import REASONS, SpaceField, wanted_lights
from rushlight.plan.space_evaluate import SpaceEvaluation
from rushlight.plan.space_light import space_dots, space_light
from rushlight.plan.space_poses import poses_at, ways_of_turning
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, FigureName, Scope, Statistic
from rushlight.records.space import ResolvedSpace, Thing

NEAREST_M, FARTHEST_M = 0.05, 20.0
"""Between these it is looked for [m]; rooms of these rigs are smaller (our choice)."""
_STEPS = 160  # each about 4 % farther
_WAYS = 20
MOST_TURNS = 0.9
"""A distance counts when a thing can be followed in this share of its turns (our choice)."""


def reach_figures(evaluation: SpaceEvaluation) -> list[Figure]:
    """For each thing and camera, from where to where it can be followed; and the least distance
    between two of its dots in one picture."""
    space, figures = evaluation.space, []
    for field in evaluation.fields:
        for camera, name in enumerate(space.camera_ids):
            scope = Scope(rig=space.name, carried=field.thing.id, camera=name)
            ends = reach_m(space, field.thing, camera, evaluation.exposure_s)
            if ends is not None:
                figures += [
                    _end(scope, "reach-near", "min", *ends[0]),
                    _end(scope, "reach-far", "max", *ends[1]),
                ]
        figures += _separations(field, space.name)
    return figures


def _end(
    scope: Scope, name: FigureName, statistic: Statistic, at_m: float | None, why: str
) -> Figure:
    beyond = f"; beyond it dots are {why}" if why else f"; none within {FARTHEST_M:g} m"
    return Figure(
        name=name,
        statistic=statistic,
        scope=scope.model_copy(update={"condition": why or None}),
        value=at_m,
        unit="m",
        n=_STEPS,
        method=f"along the line from the camera through the zone's middle, in {100 * MOST_TURNS:g} "
        f"% of the turns, exposure as planned{beyond}",
        basis="predicted",
    )


def reach_m(
    space: ResolvedSpace, thing: Thing, camera: int, exposure_s: Array
) -> tuple[tuple[float | None, str], tuple[float | None, str]] | None:
    """Nearest and farthest distance [m] and what ends it there, one of `REASONS`.

    None where it cannot be followed in the middle of the zone itself. A far end of (None, "") lies
    beyond `FARTHEST_M`, a near one before `NEAREST_M`.
    """
    eye = space.cameras.rig_from_camera[0, camera, :3, 3]
    middle = (thing.low_m + thing.high_m) / 2.0
    own_m = float(np.linalg.norm(middle - eye))
    ranges = np.geomspace(NEAREST_M, FARTHEST_M, _STEPS)
    ranges = np.sort(np.append(ranges, own_m))
    places = eye + ranges[:, None] * (middle - eye) / own_m
    turns = ways_of_turning(thing, _WAYS)
    poses = poses_at(thing, places[:, None], turns[None]).reshape(-1, 4, 4)
    dots = space_dots(space, space_light(space, thing, poses), exposure_s)
    in_view, bright = dots.in_view[camera], dots.bright[camera]
    sharp, apart = dots.sharp[camera], dots.apart[camera]
    kept = (
        in_view,
        ~in_view | bright,
        ~(in_view & bright) | sharp,
        ~(in_view & bright & sharp) | apart,
    )
    wanted = wanted_lights(thing)
    good = np.stack([each.sum(axis=-1) >= wanted for each in kept])
    share = good.reshape(len(REASONS), len(ranges), _WAYS).mean(axis=-1)
    whole = np.logical_and.reduce(good).reshape(len(ranges), _WAYS).mean(axis=-1) >= MOST_TURNS
    here = int(np.searchsorted(ranges, own_m))
    if not whole[here]:
        return None
    ends: list[tuple[float | None, str]] = []
    for way in (-1, 1):
        at = here
        while 0 <= at + way < len(ranges) and whole[at + way]:
            at += way
        beyond = at + way
        if 0 <= beyond < len(ranges):
            ends.append((float(ranges[at]), REASONS[int(np.argmin(share[:, beyond]))]))
        else:
            ends.append((None, ""))
    return ends[0], ends[1]


def _separations(field: SpaceField, rig: str) -> list[Figure]:
    """Least distance between two dots of a thing in one picture, over the zone and all turns."""
    if len(field.thing.lights) < 2:
        return []
    px = np.where(field.dots.in_view[..., None], field.dots.light.sight.px, np.nan)
    gap = np.linalg.norm(px[..., :, None, :] - px[..., None, :, :], axis=-1)
    gap = np.where(np.eye(px.shape[-2], dtype=bool) | np.isnan(gap), np.inf, gap)
    least = gap.min(axis=(-2, -1))
    known = least[np.isfinite(least)]
    values: list[tuple[Statistic, float | None]] = [
        ("min", float(known.min()) if known.size else None),
        ("median", float(np.median(known)) if known.size else None),
    ]
    return [
        Figure(
            name="dot-separation",
            statistic=statistic,
            scope=Scope(rig=rig, carried=field.thing.id),
            value=value,
            unit="px",
            n=int(known.size),
            method="between the two nearest dots of the thing in one picture, over places of the "
            "zone and ways of turning",
            basis="predicted",
        )
        for statistic, value in values
    ]
