"""What a registration in space leaves of error: how far off the point that counts is then told."""

from __future__ import annotations

import numpy as np

from rushlight.physics.geometry.pose_fit import Belief, Looks, fit_pose
from rushlight.physics.geometry.rotation import cross_matrix, pose_matrix
from rushlight.physics.geometry.sight import sight_of
from rushlight.records.arrays import Array
from rushlight.records.space import ResolvedSpace, Thing
from rushlight.records.space_registration import CAMERA_NUMBERS, SpaceRegistration

_PLACES = 3  # along each axis of the zone (our choice)
_DOT_PX2 = 0.01


def registration_error_m(space: ResolvedSpace, found: SpaceRegistration) -> Array:
    """By how much is each thing's point told off, because cameras and lenses are doubted?

    Parameters
    ----------
    space
        The rig.
    found
        Its registration.

    Returns
    -------
    (T, K)
        Root-mean-square error by the registration alone at 27 places of each thing's zone, not
        turned [m]; NaN where too few of its lights are in view to place it.
    """
    return np.stack([_of_thing(space, thing, found) for thing in space.things])


def _of_thing(space: ResolvedSpace, thing: Thing, found: SpaceRegistration) -> Array:
    axes = [
        np.linspace(low, high, _PLACES) for low, high in zip(thing.low_m, thing.high_m, strict=True)
    ]
    places = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    poses = pose_matrix(np.eye(3), places - thing.point_m())
    count, lights = len(found.cameras), len(thing.lights)
    camera = np.repeat(np.arange(count), lights)
    light = np.tile(np.arange(lights), count)
    looks = Looks(found.K[camera], found.k[camera], found.rig_from_camera[camera])
    spots = thing.lights_m[light] + poses[:, None, :3, 3]
    sight = sight_of(spots, *looks)
    size = space.cameras.size_px[0][camera]
    inside = ((sight.px >= 0.0) & (sight.px <= size - 1.0)).all(axis=-1)
    px = np.where(inside[..., None], sight.px, np.nan)
    std = np.maximum(thing.ranges_rad[[1, 0, 2]] / np.sqrt(3.0), 1e-4)
    information = np.diag(np.concatenate([np.zeros(3), std**-2]))
    belief = Belief(poses, np.broadcast_to(information, (len(poses), 6, 6)))
    noise = np.broadcast_to(_DOT_PX2 * np.eye(2), (*px.shape, 2))
    fit = fit_pose(thing.lights_m[light], px, noise, looks, poses, belief)
    by_camera = np.where(
        inside[..., None, None], np.concatenate([sight.by_camera, sight.by_lens], axis=-1), 0.0
    )
    shared = np.zeros((len(poses), len(camera), 2, CAMERA_NUMBERS * count))
    for i, which in enumerate(camera):
        at = CAMERA_NUMBERS * which
        shared[:, i, :, at : at + CAMERA_NUMBERS] = by_camera[:, i]
    moved = np.einsum("kaoi,kois->kas", fit.gain, shared)
    arm = np.broadcast_to(cross_matrix(thing.point_m()), (len(poses), 3, 3))
    point = moved[:, :3] - arm @ moved[:, 3:]
    square = np.einsum("kas,st,kat->k", point, found.cov_array, point)
    enough = inside.sum(axis=1) >= 2
    return np.asarray(np.where(enough & np.isfinite(square), np.sqrt(np.abs(square)), np.nan))
