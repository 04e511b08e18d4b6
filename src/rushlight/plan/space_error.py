"""How far off a thing is found in its zone, cause by cause, to first order about the true pose.

At each place of the zone and for each way of turning: the noise-free dots are fitted as they will
be when the rig runs (see `rushlight.physics.geometry.pose_fit`), which gives what the dots leave
open of the pose; and the fit's gains turn the dots' noise, and what is wrong with cameras, lenses,
lights and point, into errors. What was wrong at the registration with the same lights or the same
point is taken along with its sign.

Axes: G places, M ways of turning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.physics.geometry.pose_fit import Looks, belief_of_facing, fit_pose
from rushlight.physics.geometry.rotation import cross_matrix, pose_difference
from rushlight.plan.space_light import SpaceDots, space_dots, space_light
from rushlight.plan.space_poses import poses_at, ways_of_turning
from rushlight.plan.space_register import SpaceRegistered
from rushlight.records.arrays import Array
from rushlight.records.figure import SPACE_CAUSES
from rushlight.records.space import ANOTHERS, ResolvedSpace, Thing

WAYS = 24
"""Ways of turning at each place, evenly spread over the ranges (our choice)."""
REASONS = (
    "out of the picture",
    "too weak toward the camera",
    "too wide, out of focus",
    "too near one another",
)
LOST_WORDS = dict(zip(REASONS, ("view", "light", "focus", "apart"), strict=True))
"""One word for each reason, as maps have it."""


@dataclass(frozen=True)
class SpaceField:
    """One thing over its zone.

    Attributes
    ----------
    thing
        Which.
    places_m
        (G, 3) of its main point [m].
    dots
        Its dots, axes (C, G·M, L).
    works
        (G, M) whether enough lights are seen to follow it there.
    fails
        Reason to (G, M): dots are lost so, whether or not it still works.
    bias_m, turn_bias_rad
        (G, M, 3) what a fit without any noise is off by [m], [rad]; NaN where it does not work.
    pose_cov
        Cause to (G, M, 6, 6) of the main point's place and the turn about it [m, rad], bias left
        out.
    toward_m
        (G, M, 3) unit vector from the camera that sees most of it.
    """

    thing: Thing
    places_m: Array
    dots: SpaceDots
    works: Array
    fails: dict[str, Array]
    bias_m: Array
    turn_bias_rad: Array
    pose_cov: dict[str, Array]
    toward_m: Array

    def square_m2(self, cause: str) -> Array:
        """(G, M) mean square distance [m²] of one cause, or of `all`; NaN where it fails."""
        if cause == "all":
            return np.asarray(sum(self.square_m2(one) for one in SPACE_CAUSES))
        spread = np.einsum("gmii->gm", self.pose_cov[cause][..., :3, :3])
        return spread + (np.sum(self.bias_m**2, axis=-1) if cause == "turning" else 0.0)

    def turn_square_rad2(self, cause: str) -> Array:
        """(G, M) mean square angle [rad²] of one cause, or of `all`."""
        if cause == "all":
            return np.asarray(sum(self.turn_square_rad2(one) for one in SPACE_CAUSES))
        own = np.einsum("gmii->gm", self.pose_cov[cause][..., 3:, 3:])
        return own + (np.sum(self.turn_bias_rad**2, axis=-1) if cause == "turning" else 0.0)

    def along_square_m2(self, direction: Array, cause: str) -> Array:
        """(G, M) mean square error [m²] along unit vectors (G, M, 3)."""
        if cause == "all":
            return np.asarray(sum(self.along_square_m2(direction, one) for one in SPACE_CAUSES))
        spread = np.einsum(
            "gmi,gmij,gmj->gm", direction, self.pose_cov[cause][..., :3, :3], direction
        )
        pulled = np.sum(self.bias_m * direction, axis=-1) ** 2
        return np.asarray(spread + (pulled if cause == "turning" else 0.0))

    def of_map_square(self, by_place: Array, cause: str) -> Array:
        """(G, M) mean square of what a linear map (G, M, K, 3) makes of the place's error."""
        if cause == "all":
            return np.asarray(sum(self.of_map_square(by_place, one) for one in SPACE_CAUSES))
        spread = np.einsum(
            "gmki,gmij,gmkj->gm", by_place, self.pose_cov[cause][..., :3, :3], by_place
        )
        pulled = np.sum(np.einsum("gmki,gmi->gmk", by_place, self.bias_m) ** 2, axis=-1)
        return np.asarray(spread + (pulled if cause == "turning" else 0.0))


def mean_over(square: Array, works: Array, axis: int | tuple[int, ...] | None = None) -> Array:
    """Root of the mean of squares where it works; NaN where it never does."""
    count = works.sum(axis=axis)
    whole = np.where(works, np.nan_to_num(square), 0.0).sum(axis=axis)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.sqrt(np.where(count > 0, whole / count, np.nan)))


def space_field(
    space: ResolvedSpace,
    thing: Thing,
    places_m: Array,
    exposure_s: Array,
    known: SpaceRegistered,
    ways: int = WAYS,
) -> SpaceField:
    """How well a thing is found at places (G, 3) [m] of its zone.

    Parameters
    ----------
    space, thing
        The rig, and the thing of it.
    places_m
        Of the thing's main point.
    exposure_s
        (C,) of the cameras [s].
    known
        What the registration leaves open.
    ways
        How many ways of turning, an even number.
    """
    turns = ways_of_turning(thing, ways)
    poses = poses_at(thing, places_m[:, None], turns[None]).reshape(-1, 4, 4)
    return field_of_poses(space, thing, places_m, poses, exposure_s, known)


def field_of_poses(
    space: ResolvedSpace,
    thing: Thing,
    places_m: Array,
    poses: Array,
    exposure_s: Array,
    known: SpaceRegistered,
) -> SpaceField:
    """The same for poses (G·M, 4, 4) whose main points are at places (G, 3), M ways each."""
    shape = (len(places_m), len(poses) // len(places_m))
    dots = space_dots(space, space_light(space, thing, poses), exposure_s)
    works = _works(thing, dots)
    fit = _Fit(space, thing, poses, dots, works)
    effects = _effects(thing, poses, dots, fit, known)
    pose_cov = {
        cause: (each @ np.swapaxes(each, -1, -2)).reshape(*shape, 6, 6)
        for cause, each in effects.items()
    }
    works = works & np.isfinite(fit.cov).all(axis=(-2, -1))
    fails = {
        REASONS[0]: ~dots.in_view,
        REASONS[1]: dots.in_view & ~dots.bright,
        REASONS[2]: dots.in_view & dots.bright & ~dots.sharp,
        REASONS[3]: dots.in_view & dots.bright & dots.sharp & ~dots.apart,
    }
    most = dots.seen.sum(axis=-1).argmax(axis=0)
    from_camera = poses[:, :3, 3] - space.cameras.rig_from_camera[0, most, :3, 3]
    toward = from_camera / np.linalg.norm(from_camera, axis=-1, keepdims=True)
    return SpaceField(
        thing,
        places_m,
        dots,
        works.reshape(shape),
        {why: _lost(thing, lost, dots).reshape(shape) for why, lost in fails.items()},
        fit.bias[:, :3].reshape(*shape, 3),
        fit.bias[:, 3:].reshape(*shape, 3),
        pose_cov,
        toward.reshape(*shape, 3),
    )


def wanted_lights(thing: Thing) -> int:
    """So many lights must be seen to begin a fit of a thing."""
    return {"point": 1, "pair": 2}.get(thing.solved_as, min(4, len(thing.lights)))


def _works(thing: Thing, dots: SpaceDots) -> Array:
    """(N,) whether the dots suffice to begin a fit and to keep it."""
    seen = dots.seen
    cameras = (seen.sum(axis=-1) > 0).sum(axis=0)
    lights = seen.any(axis=0).sum(axis=-1)
    most = seen.sum(axis=-1).max(axis=0)
    if thing.solved_as == "point":
        return np.asarray((seen.sum(axis=0) >= 2).any(axis=-1))
    wanted = wanted_lights(thing)
    return np.asarray((lights >= wanted) & ((most >= wanted) | (cameras >= 2)))


def _lost(thing: Thing, lost: Array, dots: SpaceDots) -> Array:
    """(N,) whether dots lost in this way, if they alone were lost, would stop the work."""
    kept = SpaceDots(
        dots.light,
        dots.electrons,
        dots.grey_peak,
        dots.peak_over_noise,
        dots.cov_px2,
        ~lost,
        *([np.ones_like(lost)] * 3),
    )
    return np.asarray(~_works(thing, kept))


class _Fit:
    """The noise-free fit; observations run over cameras, then lights.

    Attributes
    ----------
    bias, cov, gain
        (N, 6), (N, 6, 6), (N, 6, C, L, 2).
    rotation
        (N, 3, 3) as fitted.
    by_point, by_camera
        (C, N, L, 2, 3), (C, N, L, 2, 15) about the fit.
    """

    def __init__(
        self, space: ResolvedSpace, thing: Thing, poses: Array, dots: SpaceDots, works: Array
    ) -> None:
        c = space.cameras
        cameras, count, lights = dots.seen.shape
        many = cameras * lights
        used = dots.seen & works[None, :, None]
        px = np.where(used[..., None], dots.light.sight.px, np.nan)
        weights = dots.cov_px2 + placed_cov(dots.light.sight.by_point, thing.lights_std_m)
        looks = Looks(
            np.repeat(c.K[0], lights, axis=0),
            np.repeat(c.distortion[0], lights, axis=0),
            np.repeat(c.rig_from_camera[0], lights, axis=0),
        )
        found = fit_pose(
            np.tile(thing.lights_m, (cameras, 1)),
            np.moveaxis(px, 0, 1).reshape(count, many, 2),
            np.moveaxis(weights, 0, 1).reshape(count, many, 2, 2),
            looks,
            poses,
            belief_of_facing(thing.ranges_rad),
        )
        pose = np.where(works[:, None, None], found.pose, np.nan)
        moved = pose_difference(np.where(np.isfinite(pose), pose, np.eye(4)), poses)
        self.rotation = pose[:, :3, :3]
        arm = np.einsum("nij,j->ni", self.rotation, thing.point_m())
        main = pose[:, :3, 3] + arm
        true_main = poses[:, :3, 3] + np.einsum("nij,j->ni", poses[:, :3, :3], thing.point_m())
        self.bias = np.where(
            works[:, None], np.concatenate([main - true_main, moved[:, 3:]], axis=-1), np.nan
        )
        # From the thing's origin to its main point: that is what the error is told of.
        to_main = np.tile(np.eye(6), (count, 1, 1))
        to_main[:, :3, 3:] = -cross_matrix(np.nan_to_num(arm))
        self.cov = found.cov
        gain = np.einsum("nab,nbox->naox", to_main, found.gain)
        self.gain = gain.reshape(count, 6, cameras, lights, 2)
        sight = space_light(space, thing, np.where(np.isfinite(pose), pose, poses)).sight
        self.by_point = sight.by_point
        self.by_camera = np.concatenate([sight.by_camera, sight.by_lens], axis=-1)


def placed_cov(by_point: Array, lights_std_m: Array) -> Array:
    """(..., L, 2, 2) covariance of dots from where the lights sit on their thing [px²].

    Parameters
    ----------
    by_point
        (..., L, 2, 3) how dots move with the lights [px/m].
    lights_std_m
        (L,) deviation of each along each axis [m].
    """
    square = by_point @ np.swapaxes(by_point, -1, -2)
    return np.asarray(square * (lights_std_m**2)[:, None, None])


def _effects(
    thing: Thing, poses: Array, dots: SpaceDots, fit: _Fit, known: SpaceRegistered
) -> dict[str, Array]:
    """Cause to how place and angles (N, 6, K) go wrong with K unit deviations."""
    count = len(poses)
    gain = np.where(dots.seen.transpose(1, 0, 2)[:, None, ..., None], fit.gain, 0.0)
    root = np.linalg.cholesky(
        np.where(dots.seen[..., None, None], dots.cov_px2, np.eye(2))
    )  # (C, N, L, 2, 2)
    centre = np.einsum("naclx,cnlxy->nacly", gain, root).reshape(count, 6, -1)
    by_point = np.nan_to_num(fit.by_point)
    by_cameras = np.einsum("naclx,cnlxk->nack", gain, np.nan_to_num(fit.by_camera))
    by_cameras = by_cameras.reshape(count, 6, -1)
    turned = np.einsum("cnlxi,nij->cnlxj", by_point, np.nan_to_num(fit.rotation))
    by_lights = np.einsum("naclx,cnlxj->nalj", gain, turned) * thing.lights_std_m[:, None]
    by_lights = by_lights.reshape(count, 6, -1)
    by_eye = np.zeros((count, 6, 3))
    by_eye[:, :3] = -poses[:, :3, :3] * thing.points_std_m[0]
    made = {
        cause: by_cameras @ root_of(known.cov.get(cause, np.zeros((by_cameras.shape[-1],) * 2)))
        for cause in ("registration", "lens", "turning")
    }
    lights_then = by_cameras @ known.by_lights
    point_then = by_cameras @ known.by_point
    same = known.thing is not None and known.thing.id == thing.id
    build = [by_lights - lights_then] if same else [by_lights, lights_then]
    ours = same and thing.kind not in ANOTHERS
    point = [by_eye - point_then] if ours else [by_eye, point_then]
    whole = {"centre": centre, **made}
    whole |= {"build": np.concatenate(build, axis=-1), "point": np.concatenate(point, axis=-1)}
    return whole


def root_of(cov: Array) -> Array:
    """A matrix whose product with its transpose is a covariance (K, K)."""
    values, vectors = np.linalg.eigh(_balanced(cov))
    scale = np.sqrt(np.maximum(np.diag(cov), 0.0))
    return np.asarray(scale[:, None] * vectors * np.sqrt(np.maximum(values, 0.0)))


def _balanced(cov: Array) -> Array:
    scale = np.sqrt(np.maximum(np.diag(cov), 0.0))
    safe = np.where(scale > 0.0, scale, 1.0)
    return np.asarray(cov / np.outer(safe, safe))
