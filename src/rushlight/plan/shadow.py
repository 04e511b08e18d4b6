"""How often bodies, arms and hands hide a light: shares of many equally likely scenes.

A scene is one way in which people stand and touch, drawn once for a room with a fixed seed. The
scenes do not depend on the cameras, so that many places for cameras are judged by the same ones.
In every scene, whoever holds the light stands for each place where it lies within comfortable
reach, on the hand's side of the body, within their standing outline; everyone else touches some
place of their own.

What is assumed of the draws is our own choice throughout, no source: the constants below.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.shadow import arm_to_grip, body_capsules, hidden_by, working_shoulder
from rushlight.physics.stylus import held_direction, turned_onto
from rushlight.records.person import Person
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.shelf.people import standing_outline_m
from rushlight.shelf.resolve import holder, lit_emitters

Array = NDArray[Any]

SCENES = 200
SEED = 20
COMFORTABLE = (0.6, 0.95)
"""Between which shares of the reach people like to touch, evenly drawn."""
STEPS = 24
"""Standing points that a person chooses from in a scene, drawn evenly within the outline."""
CROSSING = 1.0
"""What reaching across one's own body costs, against as large a miss of the comfortable reach."""
TURN_SHARE, TURN_STD_RAD = 0.5, 0.25
"""Share of the bearing to the touched place by which the trunk turns to it, and the spread."""
GRIP_SHARE = (0.5, 1.0)
"""Where along what the stylus adds to the arm the hand grips it, evenly drawn."""
LEAST_GRIP_M = 0.08
"""Nearest distance of the hand's middle from the tip."""
CLEAR_OF_LIGHT_M = 0.06
"""Least distance from the light to the hand's middle: nobody holds the light itself."""
STATURE_STD_M = 0.02
"""Spread of stature, for shoes and bearing."""
OTHERS = 8
"""Ways of standing of everyone else that are tried, to find one beside the holder."""
SEATED_HEAD_SHARE = 0.18
"""Head's top above the shoulder over stature, of someone who sits: stature less shoulder height
in ANSUR II, NATICK/TR-15/007 (soldiers, not the public)."""
GREATEST_SHADOW = 0.5
"""Share of the scenes from which a place counts as lost to shadow (our own choice)."""


@dataclass(frozen=True)
class _Body:
    """One person's sizes and habits in numbers, all [m]."""

    outline: Array
    stature: float
    shoulder: float
    breadth: float
    reach: float
    reach_std: float
    hand: float
    seated: bool

    @classmethod
    def of(cls, person: Person, resolved: ResolvedRig, index: int) -> _Body:
        people = resolved.people
        return cls(
            standing_outline_m(person),
            float(people.stature_m[0, index]),
            float(people.shoulder_m[0, index]),
            float(people.breadth_m[0, index]),
            float(people.reach_m[0, index]),
            person.reach_spread.value if person.reach_spread else 0.0,
            1.0 if person.hand == "right" else -1.0,
            person.seated,
        )


@dataclass(frozen=True)
class Scenes:
    """Equally likely ways in which people stand and hold, the same for every camera.

    Attributes
    ----------
    light_m
        (E, S, G, 3) where the light stands while its holder touches each place [m].
    own_m
        (E, S, G, 8, 7) capsules of the holder (`physics.shadow.body_capsules`).
    others_m
        (E, S, G, O, 7) capsules of everyone else.
    """

    light_m: Array
    own_m: Array
    others_m: Array


@dataclass(frozen=True)
class ShadowField:
    """Shares of the scenes in which lights are hidden.

    Attributes
    ----------
    alone
        (E, C, G) from each camera, with the holder alone in the room.
    together
        (E, C, G) from each camera, with everyone at work.
    everywhere
        (E, G) from all the cameras at once, with everyone at work: the place's shadow.
    std_error
        (E, G) standard error of `everywhere` by the number of scenes, binomial.
    """

    alone: Array
    together: Array
    everywhere: Array
    std_error: Array


def scenes_of(
    rig: Rig, resolved: ResolvedRig, places_m: Array, count: int = SCENES, seed: int = SEED
) -> Scenes:
    """Which scenes stand for the ways in which the people of a rig touch its surface?

    Parameters
    ----------
    rig, resolved
        The rig, and the same as numbers (its first is taken).
    places_m
        (G, 2) places that are touched [m].
    count
        Of scenes, ≥ 1; the doubt of a share p is √(p(1 − p)/count).
    seed
        Of the draws.

    Raises
    ------
    ValueError
        When fewer than one scene is asked for, or a body's sizes are not known.
    """
    if count < 1:
        raise ValueError(f"expected 1 scene or more, got {count}")
    rng = np.random.default_rng(seed)
    if not _sizes_known(resolved):
        raise ValueError("expected sizes of everyone's body, got NaN")
    bodies = [_Body.of(person, resolved, index) for index, person in enumerate(rig.people)]
    holders = [rig.people.index(holder(rig, thing)) for thing, _ in lit_emitters(rig)]
    floor = -float(resolved.surface.floor_m[0])
    size = resolved.surface.size_m[0]
    elsewhere = [_at_work(body, floor, size, (count, OTHERS), rng) for body in bodies]
    lights, own, others = [], [], []
    for emitter, person in enumerate(holders):
        body = bodies[person]
        light, capsules = _touching(body, resolved, emitter, floor, places_m, count, rng)
        lights.append(light)
        own.append(capsules)
        crowd = [
            _beside(capsules, elsewhere[index]) for index in range(len(bodies)) if index != person
        ]
        empty = np.empty((count, len(places_m), 0, 7))
        others.append(np.concatenate([empty, *crowd], axis=-2))
    return Scenes(np.stack(lights), np.stack(own), np.stack(others))


def shadow_field(scenes: Scenes, cameras_m: Array) -> ShadowField:
    """How often is each light hidden from cameras at (C, 3) [m]?

    A place is lost only in scenes in which no camera sees its light.
    """
    camera = np.asarray(cameras_m, float)[:, None, None, :]
    own, all_of_them = [], []
    for light, holder_m, others_m in zip(
        scenes.light_m, scenes.own_m, scenes.others_m, strict=True
    ):
        own.append(hidden_by(light, camera, holder_m))
        all_of_them.append(own[-1] | hidden_by(light, camera, others_m))
    hidden = np.stack(all_of_them)
    everywhere = hidden.all(axis=1).mean(axis=1)
    spread = np.sqrt(everywhere * (1.0 - everywhere) / hidden.shape[2])
    return ShadowField(np.stack(own).mean(axis=2), hidden.mean(axis=2), everywhere, spread)


def scenes_of_rig(rig: Rig, resolved: ResolvedRig, places_m: Array) -> Scenes | None:
    """The scenes at places (G, 2) [m]; None where a body's sizes are not known."""
    return scenes_of(rig, resolved, places_m) if _sizes_known(resolved) else None


def shadow_of_rig(rig: Rig, resolved: ResolvedRig, places_m: Array) -> ShadowField:
    """The shadow at places (G, 2) [m] from the rig's own cameras; NaN where a body's sizes are
    not known."""
    return shadow_of_scenes(scenes_of_rig(rig, resolved, places_m), resolved, len(places_m))


def shadow_of_scenes(scenes: Scenes | None, resolved: ResolvedRig, places: int) -> ShadowField:
    """The shadow from the rig's own cameras in scenes; NaN at as many places where there are
    none."""
    lenses = resolved.cameras.rig_from_camera[0, :, :3, 3]
    if scenes is None:
        one = np.full((resolved.emitters.duty.shape[1], places), np.nan)
        each = np.repeat(one[:, None], len(lenses), axis=1)
        return ShadowField(each, each, one, one)
    return shadow_field(scenes, lenses)


def _sizes_known(resolved: ResolvedRig) -> bool:
    people = resolved.people
    sizes = (people.stature_m, people.shoulder_m, people.breadth_m, people.reach_m)
    return bool(np.isfinite(np.concatenate([one[0] for one in sizes])).all())


def _touching(
    body: _Body,
    resolved: ResolvedRig,
    emitter: int,
    floor: float,
    places_m: Array,
    count: int,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Lights (S, G, 3) and capsules (S, G, 8, 7) of someone who touches every place."""
    e = resolved.emitters
    low, high = e.tilt_rad[0, emitter]
    tilt = rng.uniform(low, high, (count, 1))
    lean = rng.normal(e.lean_rad[0, emitter], e.lean_std_rad[0, emitter], (count, 1))
    direction = held_direction(tilt, lean)
    offset = e.position_m[0, emitter]
    tip = np.concatenate([places_m, np.zeros((len(places_m), 1))], axis=-1)
    light = tip + turned_onto(direction, offset)
    nearest = max(LEAST_GRIP_M, float(offset[2]) + CLEAR_OF_LIGHT_M)
    return light, _posed(body, floor, tip, direction, nearest, rng)


def _posed(
    body: _Body, floor: float, tip: Array, direction: Array, nearest: float, rng: Any
) -> Array:
    """Capsules (S, G, 8, 7) of someone whose tip is at (S or 1, G, 3), held along (S, 1, 3)."""
    count = len(direction)
    stature = rng.normal(body.stature, STATURE_STD_M, (count, 1))
    shoulder = body.shoulder + (stature - body.stature) * body.shoulder / body.stature
    reach = np.maximum(rng.normal(body.reach, body.reach_std, (count, 1)), nearest)
    beyond = np.maximum(reach - arm_to_grip(stature), nearest)
    grip = tip + np.maximum(rng.uniform(*GRIP_SHARE, (count, 1)) * beyond, nearest)[
        ..., None
    ] * np.broadcast_to(direction, (count, 1, 3))
    comfortable = rng.uniform(*COMFORTABLE, (count, 1)) * reach
    turn_aside = rng.normal(0.0, TURN_STD_RAD, (count, 1))
    steps = _points_within(body.outline, (count, STEPS), rng)
    standing = _step_for(body, floor, tip, steps, stature, shoulder, reach, comfortable)
    turn = TURN_SHARE * np.arctan2(tip[..., 0] - standing[..., 0], standing[..., 1]) + turn_aside
    top = shoulder + SEATED_HEAD_SHARE * stature if body.seated else stature
    return body_capsules(
        grip, standing, floor, stature, shoulder, body.breadth, body.hand, turn, top
    )


def _step_for(
    body: _Body,
    floor: float,
    tip: Array,
    steps: Array,
    stature: Array,
    shoulder: Array,
    reach: Array,
    comfortable: Array,
) -> Array:
    """Which of the points (S, N, 2) someone stands on to touch each place: (S, G, 2)."""
    joint = working_shoulder(steps, floor, stature, shoulder, body.breadth, body.hand, 0.0)
    away = np.linalg.norm(joint[:, None] - tip[..., None, :], axis=-1)
    far = np.maximum(away - reach[..., None], 0.0)
    crossing = np.maximum(body.hand * (steps[:, None, :, 0] - tip[..., None, 0]), 0.0)
    # Beyond the reach nothing else matters: the point from which least is missing.
    cost = np.abs(away - comfortable[..., None]) + CROSSING * crossing + 100.0 * far
    best = np.argmin(cost, axis=-1)
    return np.asarray(np.take_along_axis(steps, best[..., None], axis=1))


def _at_work(
    body: _Body, floor: float, size_m: Array, shape: tuple[int, int], rng: np.random.Generator
) -> Array:
    """Capsules (S, K, 8, 7) of someone who touches places of their own, evenly drawn."""
    flat = shape[0] * shape[1]
    places = np.concatenate([rng.uniform(0.0, size_m, (flat, 1, 2)), np.zeros((flat, 1, 1))], -1)
    direction = held_direction(rng.uniform(0.2, 0.7, (flat, 1)), rng.uniform(-np.pi, 0, (flat, 1)))
    return _posed(body, floor, places, direction, LEAST_GRIP_M, rng).reshape(*shape, 8, 7)


def _beside(own: Array, elsewhere: Array) -> Array:
    """Of the ways (S, K, 8, 7) of someone else to stand, one (S, G, 8, 7) beside the holder.

    The first that leaves both their breadth; where none does, the one farthest away.
    """
    foot = own[:, :, None, 1][..., [0, 2]] - elsewhere[:, None, :, 1][..., [0, 2]]
    apart = np.linalg.norm(foot, axis=-1)
    breadths = _breadth(own)[:, :, None] + _breadth(elsewhere)[:, None, :]
    free = apart >= breadths / 2.0
    choice = np.where(free.any(axis=-1), np.argmax(free, axis=-1), np.argmax(apart, axis=-1))
    rows = np.arange(len(own))[:, None]
    return np.asarray(elsewhere[rows, choice])


def _breadth(capsules: Array) -> Array:
    """Breadth of the trunk [m] of bodies (..., 8, 7)."""
    across = capsules[..., 2, :3] - capsules[..., 0, :3]
    return np.asarray(np.linalg.norm(across, axis=-1) + 2.0 * capsules[..., 0, 6])


def _points_within(outline_m: Array, shape: tuple[int, int], rng: np.random.Generator) -> Array:
    """Points (*shape, 2), evenly drawn within an outline (N, 2) [m]."""
    low, high = outline_m.min(axis=0), outline_m.max(axis=0)
    wanted = shape[0] * shape[1]
    found = np.empty((0, 2))
    # A triangle fills half its box, a thin ring little: draw until enough lie within.
    for _ in range(1000):
        drawn = rng.uniform(low, high, (2 * wanted, 2))
        found = np.concatenate([found, drawn[_inside(drawn, outline_m)]])
        if len(found) >= wanted:
            return found[:wanted].reshape(*shape, 2)
    raise ValueError(f"the standing outline {outline_m.tolist()} encloses next to nothing")


def _inside(points: Array, outline: Array) -> Array:
    """Whether points (N, 2) lie within an outline: a ray crosses it an odd number of times."""
    x, y = points[:, None, 0], points[:, None, 1]
    ax, ay = outline.T
    bx, by = np.roll(outline, -1, axis=0).T
    straddles = (ay > y) != (by > y)
    rise = np.where(by == ay, 1.0, by - ay)
    crossed = straddles & (x < ax + (y - ay) / rise * (bx - ax))
    return np.asarray(crossed.sum(axis=1) % 2 == 1)
