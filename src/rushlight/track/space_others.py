"""What else a thing could be: poses that its dots allow beside the one that is taken.

Three lights before one camera allow up to four poses; how a thing is supposed to face weighs them
against one another. They are followed beside the one that is taken, and weighed anew at each
moment by how well they fit its dots and its facing then.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from rushlight.opencv.pose import three_point_poses
from rushlight.physics.geometry.pose_fit import Belief
from rushlight.physics.geometry.rotation import pose_difference
from rushlight.records.arrays import Array
from rushlight.records.space import LEAST_WEIGHT, SAME_RAD, Thing, within_zone
from rushlight.track.space_cameras import SpaceCameras
from rushlight.track.space_pose import Found, Named, likeliest
from rushlight.track.space_start import weights_of

SURE = 0.95
"""Another pose is taken instead once it weighs so much [1]; our choice, no source."""


class Weighed(NamedTuple):
    """The pose that is taken, those it could be besides, and the weights of all, this one first."""

    found: Found
    others: tuple[Found, ...]
    weights: tuple[float, ...]


def weigh_again(
    cameras: SpaceCameras,
    thing: Thing,
    belief: Belief,
    found: Found,
    before: Found,
    others: tuple[Found, ...],
) -> Weighed:
    """Weigh poses by the dots of another moment.

    Parameters
    ----------
    cameras, thing, belief
        As followed.
    found
        The pose that is taken, by the dots of this moment.
    before, others
        That of the moment before, and what it could have been besides.
    """
    alive = [found]
    tries = []
    for other in others:
        light = _renamed(before, other, len(thing.lights))[found.named.light]
        if not np.any(light < 0):
            tries.append((found.named._replace(light=light), other.pose))
    # Ways that met may part again: what three dots allow is looked up at each moment.
    tries += [(found.named, pose) for pose in _of_three(cameras, thing, found.named)]
    for named, pose in tries:
        near = found._replace(named=named, pose=pose)
        if not all(_differ(near, one) for one in alive):
            continue
        again = likeliest(cameras, thing, named, pose, belief)
        if not np.isfinite(again.misfit) or not within_zone(thing, again.pose[None])[0]:
            continue
        if all(_differ(again, one) for one in alive):
            alive.append(again)
    weights = weights_of(np.array([each.misfit for each in alive]))
    likely = int(np.argmax(weights))
    first = likely if weights[likely] > SURE else 0
    order = [first, *(i for i in np.argsort(-weights) if i != first)]
    order = [i for i in order if i == first or weights[i] >= LEAST_WEIGHT]
    return Weighed(
        alive[first],
        tuple(alive[i] for i in order[1:]),
        tuple(float(weights[i]) for i in order),
    )


def _of_three(cameras: SpaceCameras, thing: Thing, named: Named) -> Array:
    """(N, 4, 4) poses that the three dots of a thing of three lights allow before one camera."""
    if len(thing.lights) != 3 or len(named.light) != 3 or named.cameras != 1:
        return np.zeros((0, 4, 4))
    camera = int(named.camera[0])
    found = three_point_poses(
        thing.lights_m[named.light], named.xy, cameras.K[camera], cameras.k[camera]
    )
    poses = np.array([cameras.rig_from_camera[camera] @ pose for pose in found])
    return poses[within_zone(thing, poses)] if len(poses) else np.zeros((0, 4, 4))


def _renamed(one: Found, other: Found, lights: int) -> Array:
    """(L,) which light another pose takes each for; -1 where that is not known."""
    mine = {
        (int(camera), int(dot)): int(light)
        for camera, dot, light in zip(one.named.camera, one.named.dot, one.named.light, strict=True)
    }
    names = np.full(lights, -1)
    for camera, dot, light in zip(
        other.named.camera, other.named.dot, other.named.light, strict=True
    ):
        if (int(camera), int(dot)) in mine:
            names[mine[int(camera), int(dot)]] = int(light)
    return names


def _differ(one: Found, other: Found) -> bool:
    same_names = np.array_equal(one.named.light, other.named.light)
    turn = pose_difference(one.pose, other.pose)[3:]
    return not same_names or float(np.linalg.norm(turn)) > SAME_RAD
