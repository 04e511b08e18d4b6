"""Looks past marks and placings on marks, as rows of the solver: each row is a pose of the thing.

Where an eye looks past two marks, it lies on their line; where a point is placed, it lies on its
mark. The dots of the thing's lights, seen meanwhile, tie that to the cameras. Where the lights
sit on the thing, and the point on it, is a doubt that all rows share.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from rushlight.physics.geometry.rotation import cross_matrix, pose_difference, pose_moved
from rushlight.physics.geometry.sight import sight_of
from rushlight.physics.sighting import FACED_STD_RAD, HELD_STD_M, look_line
from rushlight.records.arrays import Array
from rushlight.records.space import Thing
from rushlight.register.space_solve import Known, Linear, Model, Shared

ENOUGH_LIGHTS = 4
"""So many lights tell a pose by themselves: how the thing is turned is then not supposed."""

_LEAST_STD_RAD = 1e-4  # a thing that is said not to turn at all


class Anchor(NamedTuple):
    """What is known of where a thing stands while it is held at a mark.

    Fields
    ------
    place_m : (3,) where its point is [m]
    axes : (3, 3) unit vectors along which that is told; of a look the third is the line
    std_m : (3,) how exactly, along each [m]
    rotation : (3, 3) how the thing is turned
    turn_std_rad : (3,) how exactly, about the rig's axes [rad]
    held : how many of the axes are tied to the mark: 2 of a look, 3 of a placing
    """

    place_m: Array
    axes: Array
    std_m: Array
    rotation: Array
    turn_std_rad: Array
    held: int


def anchor_of_look(near_m: Array, far_m: Array, thing: Thing) -> Anchor:
    """What a look past two marks tells: the eye is on the line, within the thing's zone.

    Raises
    ------
    ValueError
        When the line does not pass the zone, or both marks are at one place.
    """
    line = look_line(near_m, far_m)
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = np.stack([thing.low_m - near_m, thing.high_m - near_m]) / line.direction
    first, last = np.nanmax(ends.min(axis=0)), np.nanmin(ends.max(axis=0))
    if not first < last or last <= 0.0:
        raise ValueError("the line past the two marks does not pass where the eye moves")
    return Anchor(
        near_m + line.direction * (first + last) / 2.0,
        np.vstack([line.across, line.direction]),
        np.array([HELD_STD_M, HELD_STD_M, (last - first) / np.sqrt(12.0)]),
        line.facing,
        np.clip(thing.ranges_rad[[1, 0, 2]] / np.sqrt(3.0), _LEAST_STD_RAD, FACED_STD_RAD),
        2,
    )


def anchor_of_placing(mark_m: Array, thing: Thing) -> Anchor:
    """What a placing tells: the point is on the mark, turned as anywhere in the zone."""
    return Anchor(
        np.asarray(mark_m),
        np.eye(3),
        np.full(3, HELD_STD_M),
        np.eye(3),
        np.maximum(thing.ranges_rad[[1, 0, 2]] / np.sqrt(3.0), _LEAST_STD_RAD),
        3,
    )


@dataclass(frozen=True, eq=False)
class Sightings:
    """I rows of up to O dots, of G lights and P points in all.

    Attributes
    ----------
    anchors
        One a row.
    camera, light, point
        (I, O) which camera sees which light, (I,) which point is held.
    px, px_cov
        (I, O, 2) dots averaged over the hold [px], NaN where there is none; (I, O, 2, 2) [px²].
    lights_m, lights_std_m
        (G, 3) places on their things [m], (G,) deviation of each along each axis.
    points_m, points_std_m
        (P, 3) places on their things [m], (P,) deviation of each along each axis.
    """

    anchors: tuple[Anchor, ...]
    camera: Array
    light: Array
    point: Array
    px: Array
    px_cov: Array
    lights_m: Array
    lights_std_m: Array
    points_m: Array
    points_std_m: Array

    def __len__(self) -> int:
        return len(self.anchors)

    def take(self, which: Array) -> Sightings:
        """Some rows, by a mask."""
        return Sightings(
            tuple(each for each, kept in zip(self.anchors, which, strict=True) if kept),
            self.camera[which],
            self.light[which],
            self.point[which],
            self.px[which],
            self.px_cov[which],
            self.lights_m,
            self.lights_std_m,
            self.points_m,
            self.points_std_m,
        )

    @property
    def seen(self) -> Array:
        """(I, O) where there is a dot."""
        return np.asarray(np.isfinite(self.px).all(axis=-1))

    @property
    def extra(self) -> int:
        """How many shared numbers the lights and points have."""
        return 3 * (len(self.lights_m) + len(self.points_m))


def marks_model(known: Known, rows: Sightings) -> Model[Array]:
    """Looks and placings for the solver; a row's own numbers are its thing's pose (I, 4, 4)."""
    weights = np.zeros((*rows.seen.shape, 2, 2))
    weights[rows.seen] = np.linalg.inv(np.linalg.cholesky(rows.px_cov[rows.seen]))
    count = known.spread.shape[1]
    spread = known.spread.reshape(len(known.cameras.pose), -1, count)
    total = count + rows.extra
    axes = np.stack([each.axes for each in rows.anchors])
    axes = axes / np.stack([each.std_m for each in rows.anchors])[..., None]
    places = np.stack([each.place_m for each in rows.anchors])
    turned = np.tile(np.eye(4), (len(rows), 1, 1))
    turned[:, :3, :3] = [each.rotation for each in rows.anchors]
    seen_lights = [len(set(light[seen])) for light, seen in zip(rows.light, rows.seen, strict=True)]
    supposed = np.array(seen_lights) < ENOUGH_LIGHTS
    turn_weight = supposed[:, None] / np.stack([each.turn_std_rad for each in rows.anchors])
    dots = 2 * rows.px.shape[1]
    lines = np.concatenate(
        [
            np.repeat(rows.seen, 2, axis=1),
            np.ones((len(rows), 3), bool),
            np.repeat(supposed[:, None], 3, axis=1),
        ],
        axis=1,
    )
    marks = np.zeros(lines.shape, bool)
    for row, anchor in enumerate(rows.anchors):
        marks[row, dots : dots + anchor.held] = True
    own_light = count + 3 * rows.light[..., None] + np.arange(3)
    own_point = count + 3 * len(rows.lights_m) + 3 * rows.point[:, None] + np.arange(3)

    def linearise(shared: Shared, pose: Array) -> Linear:
        off = shared.units[count:].reshape(-1, 3)
        light_m = rows.lights_m + off[: len(rows.lights_m)] * rows.lights_std_m[:, None]
        point_m = rows.points_m + off[len(rows.lights_m) :] * rows.points_std_m[:, None]
        rotation, translation = pose[:, :3, :3], pose[:, :3, 3]
        arm = np.matvec(rotation[:, None], light_m[rows.light])
        cameras = shared.cameras
        sight = sight_of(
            arm + translation[:, None],
            cameras.K[rows.camera],
            cameras.k[rows.camera],
            cameras.pose[rows.camera],
        )
        by_shared = np.zeros((*rows.seen.shape, 2, total))
        by_cameras = np.concatenate([sight.by_camera, sight.by_lens], axis=-1)
        by_shared[..., :count] = by_cameras @ spread[rows.camera]
        by_light = (
            sight.by_point @ rotation[:, None] * rows.lights_std_m[rows.light][..., None, None]
        )
        np.put_along_axis(by_shared, own_light[..., None, :], by_light, axis=-1)
        by_own = np.concatenate([sight.by_point, -sight.by_point @ cross_matrix(arm)], axis=-1)
        missed = np.where(rows.seen[..., None], rows.px - sight.px, 0.0)

        point_arm = np.matvec(rotation, point_m[rows.point])
        held = np.matvec(axes, point_arm + translation - places)
        by_held = np.concatenate([axes, -axes @ cross_matrix(point_arm)], axis=-1)
        held_shared = np.zeros((len(rows), 3, total))
        by_point = axes @ rotation * rows.points_std_m[rows.point][:, None, None]
        np.put_along_axis(held_shared, own_point[:, None, :], by_point, axis=-1)
        away = pose_difference(pose, turned)[:, 3:] * turn_weight
        by_turn = np.zeros((len(rows), 3, 6))
        by_turn[:, :, 3:] = turn_weight[..., None] * np.eye(3)

        def flat(of: Array) -> Array:
            """Dots' lines (I, O, 2, ...) in units of their deviations, as (I, 2 O, ...)."""
            clean = np.where(rows.seen[..., None, None], of, 0.0)
            return np.asarray((weights @ clean).reshape(len(rows), dots, *of.shape[3:]))

        return Linear(
            np.concatenate([flat(missed[..., None])[..., 0], -held, -away], axis=1),
            np.concatenate([flat(by_shared), held_shared, np.zeros((len(rows), 3, total))], axis=1),
            np.concatenate([flat(by_own), by_held, by_turn], axis=1),
            lines,
        )

    def take(pose: Array, which: Array) -> tuple[Array, Model[Array]]:
        return pose[which], marks_model(known, rows.take(which))

    return Model(linearise, pose_moved, take, rows.extra, marks)


def spacing_direction(rows: Sightings, known: Known, one: int, other: int) -> Array:
    """How the distance of two lights of one thing moves with the shared numbers' units (S,) [m]."""
    apart = rows.lights_m[other] - rows.lights_m[one]
    along = apart / np.linalg.norm(apart)
    count = known.spread.shape[1]
    told = np.zeros(count + rows.extra)
    told[count + 3 * one : count + 3 * one + 3] = -along * rows.lights_std_m[one]
    told[count + 3 * other : count + 3 * other + 3] = along * rows.lights_std_m[other]
    return told
