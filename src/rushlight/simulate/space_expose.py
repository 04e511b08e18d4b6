"""Which lights fall on which frame of each camera: shutter, motion within the exposure, codes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.space import Thing
from rushlight.simulate.optics import View, project
from rushlight.simulate.space_optics import lights_in_space, space_view
from rushlight.simulate.space_paths import Path
from rushlight.simulate.space_scripts import Hidden, SpaceScript
from rushlight.simulate.space_world import SpaceWorld

SUB_STEPS = 5
"""A moving light is drawn at this many moments of the exposure."""
_STILL_M = 1e-9  # rounding in a held place is no motion


@dataclass(frozen=True, eq=False)
class SpaceState:
    """What is true of one camera's frame, E lights.

    Attributes
    ----------
    px
        (E, 2) mean place of each light in the picture [px]; NaN where the frame holds none of it.
    electrons
        (E,) that it leaves [e⁻].
    hidden
        (E,) whether something covers it.
    """

    px: Array
    electrons: Array
    hidden: Array


class SpaceExposed(NamedTuple):
    """The lights of F frames: spots (F, M, 6) as `render.Sensor` takes them, and the truth."""

    spots: Array
    states: list[SpaceState]


class _Part(NamedTuple):
    """One light's share: spots (F, SUB_STEPS, 6), px (F, 2), electrons (F,), hidden (F,)."""

    spots: Array
    px: Array
    electrons: Array
    hidden: Array


def true_poses(world: SpaceWorld, script: SpaceScript, path: Path, time_s: Array) -> Array:
    """Poses (..., 4, 4) of a thing's own frame in the rig at true times (...) [s]."""
    place, rotation = path.at(time_s)
    point = world.main_point_m(world.space.thing(path.thing), script.name)
    pose = np.zeros((*rotation.shape[:-2], 4, 4))
    pose[..., :3, :3] = rotation
    pose[..., :3, 3] = place - rotation @ point
    pose[..., 3, 3] = 1.0
    return pose


def expose_space(
    world: SpaceWorld, script: SpaceScript, camera: int, true_s: Array
) -> SpaceExposed:
    """The lights of some frames of one camera.

    Parameters
    ----------
    world, script
        What is filmed.
    camera : int
    true_s : (F,) [s]
        Middle of the exposure of the middle row, by the first camera's clock.

    Notes
    -----
    A rolling shutter exposes row r by row_time·(r − (H − 1)/2) later; a light takes the time of
    the row that its centre falls on, so its own shape is not sheared.
    """
    view = space_view(world, camera)
    frames = len(true_s)
    lights = world.space.emitters.position_m.shape[1]
    idle = _Part(
        np.zeros((frames, 0, 6)),
        np.full((frames, 2), np.nan),
        np.zeros(frames),
        np.zeros(frames, bool),
    )
    parts = [idle] * lights
    for path in script.paths:
        thing = world.space.thing(path.thing)
        for own, light in enumerate(thing.lights):
            parts[light] = _expose_one(world, script, view, camera, (thing, path, own), true_s)
    states = [
        SpaceState(
            np.stack([part.px[frame] for part in parts]),
            np.array([part.electrons[frame] for part in parts]),
            np.array([part.hidden[frame] for part in parts]),
        )
        for frame in range(frames)
    ]
    return SpaceExposed(np.concatenate([part.spots for part in parts], axis=1), states)


def _expose_one(
    world: SpaceWorld,
    script: SpaceScript,
    view: View,
    camera: int,
    which: tuple[Thing, Path, int],
    true_s: Array,
) -> _Part:
    thing, _, own = which
    light = thing.lights[own]
    moment_s = _moment_of_row(world, script, view, camera, which, true_s)
    exposure_s = world.exposure_s(camera)
    hidden = np.zeros(len(true_s), bool)
    for cover in script.hidden:
        hidden |= _covered(world, cover, camera, thing.id, thing.light_ids[own], moment_s)
    step = ((np.arange(SUB_STEPS) + 0.5) / SUB_STEPS - 0.5) * exposure_s
    moments_s = moment_s[:, None] + step
    place, axis = _light_at(world, script, which, moments_s)
    flat = lights_in_space(world, view, camera, light, place.reshape(-1, 3), axis.reshape(-1, 3))
    shape = (len(true_s), SUB_STEPS)
    px, cov = flat.px.reshape(*shape, 2), flat.cov.reshape(*shape, 2, 2)
    share = _lit_share(world, thing, own, moments_s, exposure_s / SUB_STEPS) / SUB_STEPS
    left = np.where(hidden[:, None], 0.0, flat.electrons.reshape(shape) * share)
    # A light at rest that is lit throughout is drawn once, in full.
    rests = np.ptp(place, axis=1).max(axis=-1) <= _STILL_M
    whole = left.sum(axis=1)
    left = np.where(rests[:, None], whole[:, None] * (np.arange(SUB_STEPS) == 0), left)
    known = np.isfinite(px).all(axis=-1) & np.isfinite(cov).all(axis=(-2, -1))
    left = np.where(known, left, 0.0)
    spots = np.zeros((*shape, 6))
    spots[..., :2] = np.where(known[..., None], px, 0.0)
    spots[..., 2], spots[..., 4] = cov[..., 0, 0], cov[..., 1, 1]
    spots[..., 5] = left
    total = left.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.sum(spots[..., :2] * left[..., None], axis=1) / total[:, None]
    return _Part(spots, np.where(total[:, None] > 0.0, mean, np.nan), total, hidden)


def _light_at(
    world: SpaceWorld, script: SpaceScript, which: tuple[Thing, Path, int], time_s: Array
) -> tuple[Array, Array]:
    """Place (..., 3) [m] and direction (..., 3) of a light at true times (...) [s]."""
    thing, path, own = which
    pose = true_poses(world, script, path, time_s)
    axis = np.asarray(world.space.emitters.axis[0, thing.lights[own]])
    place = pose[..., :3, :3] @ world.lights_m[thing.id][own] + pose[..., :3, 3]
    return place, pose[..., :3, :3] @ (axis / np.linalg.norm(axis))


def _moment_of_row(
    world: SpaceWorld,
    script: SpaceScript,
    view: View,
    camera: int,
    which: tuple[Thing, Path, int],
    true_s: Array,
) -> Array:
    """When the row is exposed on which the light falls; twice over, as the light moves on."""
    row_time_s = float(world.space.cameras.row_time_s[0, camera])
    moment_s = np.asarray(true_s, float)
    if row_time_s == 0.0:
        return moment_s
    _, rows = world.size_px(camera)
    for _ in range(2):
        row = project(view, _light_at(world, script, which, moment_s)[0])[0][..., 1]
        row = np.clip(np.nan_to_num(row, nan=(rows - 1) / 2.0), 0.0, rows - 1.0)
        moment_s = true_s + row_time_s * (row - (rows - 1) / 2.0)
    return moment_s


def _covered(
    world: SpaceWorld, cover: Hidden, camera: int, thing: str, light: str, time_s: Array
) -> Array:
    if (cover.thing, cover.light) != (thing, light):
        return np.zeros(len(time_s), bool)
    if cover.camera not in (None, world.space.camera_ids[camera]):
        return np.zeros(len(time_s), bool)
    return np.asarray((time_s >= cover.from_s) & (time_s < cover.until_s))


def _lit_share(
    world: SpaceWorld, thing: Thing, own: int, middle_s: Array, length_s: float
) -> Array:
    """Share of spans (...) about their middles in which a light is lit: 1 without a code."""
    code = thing.codes[own]
    if code is None:
        return np.ones(middle_s.shape)
    bits, bit_s = code
    begin_s = world.code_begin_s(thing.lights[own], len(bits) * bit_s)
    lit = np.concatenate([[0.0], np.cumsum([bit == "1" for bit in bits])])

    def lit_until(time_s: Array) -> Array:
        """Lit time since the code began, in bits."""
        at = (time_s - begin_s) / bit_s
        rounds, rest = np.divmod(at, len(bits))
        return rounds * lit[-1] + np.interp(rest, np.arange(len(bits) + 1), lit)

    spent = lit_until(middle_s + length_s / 2.0) - lit_until(middle_s - length_s / 2.0)
    return np.asarray(spent * bit_s / length_s) if length_s > 0.0 else math.nan * middle_s
