"""A thing's likeliest pose from dots that bear the names of its lights, and whether they agree."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from rushlight.physics.geometry.pose_fit import Belief
from rushlight.physics.geometry.rotation import cross_matrix
from rushlight.records.arrays import Array
from rushlight.records.space import Thing
from rushlight.track.space_cameras import SpaceCameras
from rushlight.track.space_kernel import fit_one

LEAST_DOUBT_PX = 0.3
"""What dots may be off beside all doubts that are told, since their models are models [px]; our
choice, no source."""

DISAGREES = 5.0
"""At so many deviations a dot does not belong; our choice."""


class Named(NamedTuple):
    """O dots with the lights that made them.

    Fields
    ------
    camera, light, dot : (O,) the camera's place in the rig, the light's among the thing's, and
        the dot's among those seen
    xy : (O, 2) [px]
    cov : (O, 2, 2) [px²]
    """

    camera: Array
    light: Array
    dot: Array
    xy: Array
    cov: Array

    def keep(self, which: Array) -> Named:
        """Some of them, by a mask or by indices."""
        return Named(*(each[which] for each in self))

    @property
    def cameras(self) -> int:
        """How many cameras see any."""
        return len(set(self.camera.tolist()))

    @property
    def lights(self) -> int:
        """How many different lights are seen."""
        return len(set(self.light.tolist()))

    @property
    def most(self) -> int:
        """How many one camera sees at most."""
        return int(np.bincount(self.camera).max()) if len(self.camera) else 0


class Found(NamedTuple):
    """A pose and how it came about.

    Fields
    ------
    pose : (4, 4) ``rig_from_thing``
    cov : (6, 6) of steps from it, with what the registration leaves open
    named : the dots it rests on
    off : (O,) how far each dot is off, in its deviations
    misfit : sum of squares of dots and belief in units of their deviations
    """

    pose: Array
    cov: Array
    named: Named
    off: Array
    misfit: float


def no_dots() -> Named:
    """No dots at all."""
    nothing = np.zeros(0, int)
    return Named(nothing, nothing, nothing, np.zeros((0, 2)), np.zeros((0, 2, 2)))


def enough(thing: Thing, named: Named, begun: bool) -> bool:
    """Whether dots suffice to find a thing, or to keep it once it is followed."""
    if thing.solved_as == "point" or len(thing.lights) == 1:
        return len(named.light) > 0 and int(np.bincount(named.light).max()) >= 2
    if thing.solved_as == "pair" or len(thing.lights) == 2:
        return named.lights >= 2 and (named.most >= 2 or named.cameras >= 2)
    wanted = min(3 if begun else 4, len(thing.lights))
    return named.lights >= wanted and (named.most >= wanted or named.cameras >= 2)


def likeliest(
    cameras: SpaceCameras, thing: Thing, named: Named, start: Array, belief: Belief
) -> Found:
    """The pose that dots and belief make likeliest.

    Parameters
    ----------
    cameras, thing, named
        What is seen.
    start
        (4, 4) from where the search begins.
    belief
        What was known before.
    """
    camera = named.camera
    lights = thing.lights_m[named.light]
    std = thing.lights_std_m[named.light][:, None, None]
    places = np.matvec(start[:3, :3], lights) + start[:3, 3]
    by_point = cameras.sight(places, camera).by_point
    # Dots are weighed by how exactly the lights sit on the thing as well.
    placed = np.nan_to_num(by_point @ np.swapaxes(by_point, -1, -2)) * std**2
    own = cameras.K[camera], cameras.k[camera], cameras.limits[camera]
    fit = fit_one(
        lights, named.xy, named.cov + placed, (*own, cameras.rig_from_camera[camera]), start, belief
    )
    if not np.isfinite(fit.pose).all():
        return Found(start, fit.cov, named, np.full(len(camera), np.inf), np.inf)
    arm = np.matvec(fit.pose[:3, :3], lights)
    sight = cameras.sight(arm + fit.pose[:3, 3], camera)
    by_pose = np.concatenate([sight.by_point, -sight.by_point @ cross_matrix(arm)], axis=-1)
    by_numbers = cameras.by_numbers(sight, camera)
    carried = np.einsum("aox,oxq->aq", fit.gain, by_numbers)
    # What is wrong with the cameras mostly moves the pose; only the rest parts dots from it.
    left = by_numbers - by_pose @ carried
    doubt = (
        named.cov
        + sight.by_point @ np.swapaxes(sight.by_point, -1, -2) * std**2
        + left @ cameras.cov @ np.swapaxes(left, -1, -2)
        + LEAST_DOUBT_PX**2 * np.eye(2)
    )
    missed = named.xy - sight.px
    off = np.sqrt(np.sum(missed * np.linalg.solve(doubt, missed[..., None])[..., 0], axis=-1))
    cov = fit.cov + carried @ cameras.cov @ carried.T
    return Found(fit.pose, cov, named, np.nan_to_num(off, nan=np.inf), float(fit.misfit))


def agreed(
    cameras: SpaceCameras, thing: Thing, named: Named, start: Array, belief: Belief, begun: bool
) -> Found | None:
    """The likeliest pose of dots that agree: those that do not are left out, while enough remain.

    A camera that contradicts the others is outvoted as a whole when three or more see the thing;
    otherwise single dots are left out.

    Returns
    -------
    Found or None
        None when no agreeing dots suffice.
    """
    while enough(thing, named, begun):
        found = likeliest(cameras, thing, named, start, belief)
        if found.off.max() <= DISAGREES:
            return found
        tries = [
            likeliest(cameras, thing, fewer, start, belief)
            for fewer in _fewer(named)
            if enough(thing, fewer, begun)
        ]
        if not tries:
            return None
        named = min(tries, key=lambda one: float(one.off.max())).named
    return None


def _fewer(named: Named) -> list[Named]:
    """The same dots without one camera, where three or more see it, or else without one dot."""
    seen_by = sorted(set(named.camera.tolist()))
    if len(seen_by) >= 3:
        return [named.keep(named.camera != camera) for camera in seen_by]
    return [named.keep(np.arange(len(named.camera)) != dot) for dot in range(len(named.camera))]


def main_cov(thing: Thing, pose: Array, cov: Array) -> Array:
    """(6, 6) of the place of the point that counts and of the rotation about it."""
    arm = pose[:3, :3] @ thing.point_m()
    carry = np.eye(6)
    carry[:3, 3:] = -cross_matrix(arm)
    own = np.zeros((6, 6))
    own[:3, :3] = thing.points_std_m[0] ** 2 * np.eye(3)
    return np.asarray(carry @ cov @ carry.T + own)
