"""Which lights fall on which frame: shutter, motion within the exposure, people in the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from rushlight.physics.people import blocked_by_body
from rushlight.records.arrays import Array
from rushlight.simulate.hands import Timeline, blinking
from rushlight.simulate.optics import (
    View,
    direct_lights,
    emitter_place,
    project,
    view_of,
    wall_patches,
)
from rushlight.simulate.scripts import Script
from rushlight.simulate.world import World

SUB_STEPS = 5
"""A moving light is drawn at this many moments of the exposure."""
_STILL_M = 1e-9  # rounding in a held place is no motion


@dataclass(frozen=True, eq=False)
class TrueState:
    """What is true of one frame, E emitters.

    Attributes
    ----------
    valid_ns
        (E,) middle of the exposure of the row where the light is [ns].
    tip_m
        (E, 2) place of the tip at that moment [m]; NaN for a stylus that takes no part.
    lit, occluded
        (E,) whether the light is on at that moment, the dark bits of a code included; whether a
        body hides it.
    px
        (E, 2) mean place of the emitter's own light in the picture [px]; NaN when the frame
        holds none of it.
    electrons
        (E,) of the emitter and its patches together [e⁻]; 0 when dark or hidden.
    """

    valid_ns: Array
    tip_m: Array
    lit: Array
    occluded: Array
    px: Array
    electrons: Array


class Exposed(NamedTuple):
    """The lights of F frames: spots (F, M, 6) as `render.Sensor` takes them, and the truth."""

    spots: Array
    states: list[TrueState]


class _Part(NamedTuple):
    """One emitter's share of `Exposed`."""

    spots: Array
    valid_s: Array
    tip_m: Array
    lit: Array
    occluded: Array
    px: Array
    electrons: Array


def expose(world: World, script: Script, capture_s: Array) -> Exposed:
    """The lights of some frames.

    Parameters
    ----------
    world : World
    script : Script
    capture_s : (F,) [s]
        Middle of the exposure of the middle row.

    Returns
    -------
    Exposed

    Notes
    -----
    A rolling shutter exposes row r by row_time·(r − (H − 1)/2) later; a light takes the time of
    the row that its centre falls on, so its own shape is not sheared.
    """
    view = view_of(world)
    parts = {line.emitter: _expose_one(world, view, line, capture_s) for line in script.timelines}
    idle = _idle(capture_s)
    cast = [parts.get(emitter, idle) for emitter in range(len(world.cast.carried))]
    stacked = {
        name: np.stack([getattr(part, name) for part in cast], axis=1)
        for name in _Part._fields
        if name != "spots"
    }
    stacked["valid_ns"] = np.rint(stacked.pop("valid_s") * 1e9).astype(np.int64)
    states = [
        TrueState(**{name: values[frame] for name, values in stacked.items()})
        for frame in range(len(capture_s))
    ]
    return Exposed(np.concatenate([part.spots for part in parts.values()], axis=1), states)


def _idle(capture_s: Array) -> _Part:
    """A stylus that takes no part: nowhere and dark."""
    count = len(capture_s)
    return _Part(
        spots=np.zeros((count, 0, 6)),
        valid_s=np.asarray(capture_s, float),
        tip_m=np.full((count, 2), np.nan),
        lit=np.zeros(count, bool),
        occluded=np.zeros(count, bool),
        px=np.full((count, 2), np.nan),
        electrons=np.zeros(count),
    )


def _expose_one(world: World, view: View, line: Timeline, capture_s: Array) -> _Part:
    valid_s = _moment_of_row(world, view, line, capture_s)
    half_s = world.exposure_s / 2.0
    tip_m, direction = line.at(valid_s)
    occluded = _hidden(world, view, line.emitter, tip_m, direction)
    code = world.code(line.emitter)
    shown = line if code is None else blinking(line, *code)
    start_s, end_s = shown.lit_within(valid_s - half_s, valid_s + half_s)
    shares = np.clip((end_s - start_s) / world.exposure_s, 0.0, 1.0)
    seen = np.flatnonzero((shares > 0.0) & ~occluded)
    spots = np.zeros((len(capture_s), SUB_STEPS + 2, 6))
    px = np.full((len(capture_s), 2), np.nan)
    if seen.size:
        spots[seen] = _spots(world, view, line, start_s[seen], end_s[seen], shares[seen])
        direct = spots[seen, :SUB_STEPS]
        weight = direct[..., 5:]
        with np.errstate(invalid="ignore", divide="ignore"):
            px[seen] = np.sum(direct[..., :2] * weight, axis=1) / np.sum(weight, axis=1)
    now, same = line.lit_within(valid_s, valid_s)
    lit = (now <= valid_s) & (same >= valid_s) & (len(line.lit_s) > 0)
    return _Part(spots, valid_s, tip_m, lit, occluded, px, spots[..., 5].sum(axis=1))


def _moment_of_row(world: World, view: View, line: Timeline, capture_s: Array) -> Array:
    """When the row is exposed on which the light falls; twice over, as the light moves on."""
    row_time_s = float(world.rig.cameras.row_time_s[0, world.camera])
    moment_s = np.asarray(capture_s, float)
    if row_time_s == 0.0:
        return moment_s
    _, rows = world.size_px
    for _ in range(2):
        tip_m, direction = line.at(moment_s)
        row = project(view, emitter_place(world, line.emitter, tip_m, direction)[0])[0][..., 1]
        row = np.clip(np.nan_to_num(row, nan=(rows - 1) / 2.0), 0.0, rows - 1.0)
        moment_s = capture_s + row_time_s * (row - (rows - 1) / 2.0)
    return moment_s


def _hidden(world: World, view: View, emitter: int, tip_m: Array, direction: Array) -> Array:
    """Whether the holder's body hides the light from the camera: (F,) bool."""
    standing = world.cast.standing[emitter]
    if standing is None:
        return np.zeros(len(tip_m), bool)
    place_m, _, _ = emitter_place(world, emitter, tip_m, direction)
    floor_y_m = -float(world.rig.surface.floor_m[0])
    return np.asarray(
        blocked_by_body(view.position_m, place_m, standing.body_at(tip_m[:, 0]), floor_y_m)
    )


def _spots(
    world: World, view: View, line: Timeline, start_s: Array, end_s: Array, shares: Array
) -> Array:
    """Sub-steps of the emitter, then its two patches: (n, SUB_STEPS + 2, 6)."""
    step = (np.arange(SUB_STEPS) + 0.5) / SUB_STEPS
    moments_s = start_s[:, None] + (end_s - start_s)[:, None] * step
    tip_m, direction = line.at(moments_s)
    spots = np.zeros((len(start_s), SUB_STEPS + 2, 6))
    middle = SUB_STEPS // 2
    moving = np.ptp(tip_m, axis=1).max(axis=-1) > _STILL_M
    still = np.flatnonzero(~moving)
    here = direct_lights(world, view, line.emitter, tip_m[still, 0], direction[still, 0])
    _fill(spots, still, 0, here.px, here.cov, here.electrons * shares[still])
    drift = np.zeros((len(start_s), 2))
    go = np.flatnonzero(moving)
    if go.size:
        flat = direct_lights(
            world, view, line.emitter, tip_m[go].reshape(-1, 2), direction[go].reshape(-1, 3)
        )
        shape = (len(go), SUB_STEPS)
        px, cov = flat.px.reshape(*shape, 2), flat.cov.reshape(*shape, 2, 2)
        electrons = flat.electrons.reshape(shape) * shares[go, None] / SUB_STEPS
        for k in range(SUB_STEPS):
            _fill(spots, go, k, px[:, k], cov[:, k], electrons[:, k])
        drift[go] = (px[:, -1] - px[:, 0]) * SUB_STEPS / (SUB_STEPS - 1)
    # A patch is wider than its way during one exposure: it is drawn once, wider by that way.
    blur = drift[:, :, None] * drift[:, None, :] / 12.0
    for k, patch in enumerate(
        wall_patches(world, view, line.emitter, tip_m[:, middle], direction[:, middle])
    ):
        every = np.arange(len(start_s))
        _fill(spots, every, SUB_STEPS + k, patch.px, patch.cov + blur, patch.electrons * shares)
    return spots


def _fill(spots: Array, frames: Array, slot: int, px: Array, cov: Array, electrons: Array) -> None:
    """Write one light of some frames; one that the camera cannot see leaves no electrons."""
    numbers = np.concatenate([px, cov.reshape(-1, 4)], axis=1)
    known = np.asarray(np.isfinite(numbers).all(axis=1))
    spots[frames, slot, :2] = np.where(known[:, None], px, 0.0)
    spots[frames, slot, 2] = cov[:, 0, 0]
    spots[frames, slot, 3] = cov[:, 0, 1]
    spots[frames, slot, 4] = cov[:, 1, 1]
    spots[frames, slot, 5] = np.where(known, electrons, 0.0)
