"""Where the lights of a body are best set: the places that tell its pose most exactly."""

from __future__ import annotations

import dataclasses

import numpy as np
from scipy import optimize

from rushlight.physics.geometry.constellation import constellation_shape, nearest_twin
from rushlight.physics.geometry.pose_fit import Belief, belief_of_facing
from rushlight.physics.geometry.rotation import cross_matrix
from rushlight.plan.space_error import placed_cov
from rushlight.plan.space_light import space_dots, space_light
from rushlight.plan.space_poses import poses_at, ways_of_turning
from rushlight.records.arrays import Array
from rushlight.records.space import ResolvedSpace, Thing
from rushlight.records.space_plan import ConstellationPlace, ConstellationPlan

LEAST_TWIN_SHARE = 0.2
"""A better constellation looks like itself after a turn by no less than this share of its size
(our choice)."""
LEAST_GAIN = 0.05
"""Gains below this share are not worth moving a light for (our choice)."""
_TRIES, _ROUNDS, _WAYS = 60, 4, 8  # of the search for better places (our choice)
_GRID_M = 1e-3  # places are told to the millimetre


def pose_error_of_lights(
    space: ResolvedSpace, thing: Thing, exposure_s: Array, belief: Belief | None = None
) -> tuple[float, float]:
    """Root-mean-square error of the main point [m] and of the angle [rad] in the zone's middle.

    Dots and where the lights sit on the thing count; cameras and lenses are taken as known. NaN
    where a pose is left open in one of the ways of turning.
    """
    place = (thing.low_m + thing.high_m) / 2.0
    poses = poses_at(thing, place, ways_of_turning(thing, _WAYS))
    dots = space_dots(space, space_light(space, thing, poses), exposure_s)
    by_point = dots.light.sight.by_point
    cov = dots.cov_px2 + placed_cov(by_point, thing.lights_std_m)
    seen = dots.seen[..., None, None]
    weight = np.linalg.inv(np.where(seen, cov, np.eye(2))) * seen
    arm = np.einsum("nij,lj->nli", poses[:, :3, :3], thing.lights_m - thing.point_m())
    by_pose = np.concatenate([by_point, -by_point @ cross_matrix(arm)], axis=-1)
    by_pose = np.where(seen, by_pose, 0.0)
    normal = np.einsum("cnlia,cnlij,cnljb->nab", by_pose, weight, by_pose)
    normal = normal + (belief_of_facing(thing.ranges_rad) if belief is None else belief).information
    scale = np.sqrt(np.einsum("naa->na", normal))
    if not np.all(scale > 0.0):
        return np.nan, np.nan
    unit = normal / (scale[:, :, None] * scale[:, None, :])
    if not np.all(np.linalg.cond(unit) < 1e12):
        return np.nan, np.nan
    found = np.linalg.inv(unit) / (scale[:, :, None] * scale[:, None, :])
    spread = np.einsum("naa->na", found).mean(axis=0)
    return float(np.sqrt(spread[:3].sum())), float(np.sqrt(spread[3:].sum()))


def constellation_plan(
    space: ResolvedSpace, thing: Thing, exposure_s: Array, seed: int = 1
) -> ConstellationPlan:
    """How well a thing's lights tell its pose, and where they would better stand.

    Parameters
    ----------
    space, thing
        The rig, and a thing of it whose pose is solved.
    exposure_s
        (C,) of the cameras [s].
    seed
        Of the places that are tried: first anywhere in the box that the lights span now, then
        nearer and nearer to the best.
    """
    low, high = thing.lights_m.min(axis=0), thing.lights_m.max(axis=0)
    shape = constellation_shape(thing.lights_m)
    reach = float(min(np.pi, 2.0 * np.sum(thing.ranges_rad)))
    twin = nearest_twin(thing.lights_m, reach)
    now = pose_error_of_lights(space, thing, exposure_s)
    lights = _named(thing.lights_m, _searched(space, thing, exposure_s, low, high, reach, seed))
    then = pose_error_of_lights(space, _with_lights(thing, lights), exposure_s)
    better = bool(_score(space, then) < (1.0 - LEAST_GAIN) * _score(space, now))
    return ConstellationPlan(
        carried=thing.id,
        size_m=float(shape.size_m),
        depth_m=float(shape.depth_m),
        nearest_twin_m=float(shape.size_m) if twin is None else twin.misfit_m,
        turn_error_rad=_known(now[1]),
        better_turn_error_rad=_known(then[1]) if better else None,
        place_error_m=_known(now[0]),
        better_place_error_m=_known(then[0]) if better else None,
        better=[
            ConstellationPlace(light=name, now_m=_point(old), better_m=_point(new))
            for name, old, new in zip(thing.light_ids, thing.lights_m, lights, strict=True)
        ]
        if better
        else [],
        box_low_m=_point(low),
        box_high_m=_point(high),
    )


def _searched(
    space: ResolvedSpace,
    thing: Thing,
    exposure_s: Array,
    low: Array,
    high: Array,
    reach: float,
    seed: int,
) -> Array:
    """(L, 3) the best places found [m]."""
    rng = np.random.default_rng(seed)
    count = len(thing.lights_m)

    def error(lights: Array) -> float:
        size = float(constellation_shape(lights).size_m)
        twin = nearest_twin(lights, reach)
        if twin is not None and twin.misfit_m < LEAST_TWIN_SHARE * size:
            return np.inf
        return _score(space, pose_error_of_lights(space, _with_lights(thing, lights), exposure_s))

    best, lights = np.inf, np.array(thing.lights_m)
    for round_number in range(_ROUNDS):
        step = (high - low) * 0.5**round_number
        middle = lights
        for _ in range(_TRIES):
            drawn = rng.uniform(-1.0, 1.0, (count, 3)) * step
            tried = rng.uniform(low, high, (count, 3)) if round_number == 0 else middle + drawn
            # A wall of the box is as good a place as any, and often the best.
            tried = np.round(np.clip(tried, low, high) / _GRID_M) * _GRID_M
            found = error(tried)
            if found < best:
                best, lights = found, tried
    return lights


def _score(space: ResolvedSpace, error: tuple[float, float]) -> float:
    """Errors of place and angle as shares of what is wanted, together; a twentieth of a turn
    counts as much as the wanted place where no angle is asked for."""
    wanted = space.turn_error_rad if space.turn_error_rad > 0.0 else np.pi / 10.0
    found = float(np.hypot(error[0] / space.worst_error_m, error[1] / wanted))
    return found if np.isfinite(found) else np.inf


def _named(old: Array, new: Array) -> Array:
    """The new places in such an order that each light is moved as little as may be."""
    away = np.linalg.norm(old[:, None] - new[None], axis=-1)
    return np.asarray(new[optimize.linear_sum_assignment(away**2)[1]])


def _with_lights(thing: Thing, lights: Array) -> Thing:
    return dataclasses.replace(thing, lights_m=lights)


def _point(place: Array) -> tuple[float, float, float]:
    x, y, z = (round(float(v), 6) for v in place)
    return x, y, z


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
