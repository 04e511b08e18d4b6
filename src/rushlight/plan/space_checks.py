"""What checks that need no truth are expected to show: a length told beforehand, reprojection.

Points are met from the dots of several cameras as the check does it, every dot weighing alike. To
first order the point's error is linear in the dots' noise and in what is wrong with cameras,
lenses and lights: the same doubts, with their signs, as the error of the place itself.

Axes: C cameras, N poses of a thing, L lights of the thing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.plan.space_design import swing_of
from rushlight.plan.space_error import root_of
from rushlight.plan.space_evaluate import SpaceEvaluation
from rushlight.plan.space_light import SpaceDots, space_dots, space_light
from rushlight.plan.space_poses import grid_places, poses_at, ways_of_turning
from rushlight.plan.space_register import SpaceRegistered
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, Scope, Statistic
from rushlight.records.space import ResolvedSpace, Thing

_DRAWS, _DRAW_SEED = 400, 1
_LEVEL, _SPAN = 0.95, 1.959964  # of a normal distribution: two-sided quantile
_LEAST_SHARE = 1e-9
"""Of a normal matrix's greatest eigenvalue: lines that cross at some 0.005° (our choice)."""
_HOW = "first-order budget of points met by all cameras"


@dataclass(frozen=True)
class Meeting:
    """How lights are met from their dots, rows of two for each camera.

    Attributes
    ----------
    gain
        (N, L, 3, 2 C) from dots to place [m/px].
    noise_px
        (N, L, 2 C, 2 C) root of the dots' covariance.
    shared_px
        (N, L, 2 C, K) how dots lie off for unit deviations of what all moments share: cameras and
        lenses as registered.
    seen
        (C, N, L) dots that count.
    met
        (N, L) whether two cameras or more see the light, not all from one place.
    by_lights_px
        (N, L, 2 C, 3 B) of the B lights of what was used to register, part of `shared_px` too.
    """

    gain: Array
    noise_px: Array
    shared_px: Array
    seen: Array
    met: Array
    by_lights_px: Array


def meeting(
    space: ResolvedSpace, thing: Thing, poses: Array, exposure_s: Array, known: SpaceRegistered
) -> Meeting:
    """How the lights of a thing at poses (N, 4, 4) are met."""
    dots: SpaceDots = space_dots(space, space_light(space, thing, poses), exposure_s)
    seen = dots.seen
    cameras, count, lights = seen.shape
    met = seen.sum(axis=0) >= 2
    sight = dots.light.sight
    shown = seen[..., None, None]
    by_point = _rows(np.where(shown, sight.by_point, 0.0))
    normal = np.swapaxes(by_point, -1, -2) @ by_point
    met = met & _depth_told(normal)
    safe = np.where(met[..., None, None], normal, np.eye(3))
    gain = np.linalg.solve(safe, np.swapaxes(by_point, -1, -2))
    noise = np.zeros((count, lights, 2 * cameras, 2 * cameras))
    numbers = np.concatenate([sight.by_camera, sight.by_lens], axis=-1)
    each = numbers.shape[-1]
    by_cameras = np.zeros((count, lights, 2 * cameras, cameras * each))
    root = np.linalg.cholesky(np.where(shown, dots.cov_px2, np.eye(2)))
    for camera in range(cameras):
        at = slice(2 * camera, 2 * camera + 2)
        noise[:, :, at, at] = np.where(shown, root, 0.0)[camera]
        by_cameras[:, :, at, each * camera : each * (camera + 1)] = np.where(shown, numbers, 0.0)[
            camera
        ]
    by_lights = -by_cameras @ known.by_lights
    parts = [by_cameras @ root_of(cov) for cov in known.cov.values()]
    shared = np.concatenate([*parts, -by_cameras @ known.by_point, by_lights], axis=-1)
    return Meeting(gain, noise, shared, seen, met, by_lights)


def _depth_told(normal: Array) -> Array:
    """Whether lines of sight with the normal matrices (..., 3, 3) cross at an angle at all; those
    of cameras that stand in one place meet everywhere along the line."""
    least, _, most = np.moveaxis(np.linalg.eigvalsh(normal), -1, 0)
    return np.asarray(least > _LEAST_SHARE * most)


def _rows(of: Array) -> Array:
    """(C, N, L, 2, K) as (N, L, 2 C, K)."""
    cameras, count, lights, _, size = of.shape
    return np.moveaxis(of, 0, 2).reshape(count, lights, 2 * cameras, size)


def check_figures(evaluation: SpaceEvaluation) -> list[Figure]:
    """Lengths of the scale bar and reprojection as a check is expected to find them.

    None with a single camera; no lengths without a bar of two lights.
    """
    space = evaluation.space
    if len(space.camera_ids) < 2:
        return []
    bar = space.scale_bar
    swung = [] if bar is None else [(bar, swing_of(bar).poses)]
    moved = [
        (
            thing,
            poses_at(thing, grid_places(axes)[:, None], ways_of_turning(thing, 2)[None]).reshape(
                -1, 4, 4
            ),
        )
        for thing, axes in zip(space.things, evaluation.axes_m, strict=True)
    ]
    figures = []
    for thing, poses in [*moved, *swung]:
        how = meeting(space, thing, poses, evaluation.exposure_s, evaluation.known)
        scope = Scope(rig=space.name, carried=thing.id)
        if thing is bar and len(thing.lights) == 2:
            figures += _length(how, thing, poses, evaluation.known, scope)
        figures += _reprojection(how, scope)
    return figures


def _length(
    how: Meeting, bar: Thing, poses: Array, known: SpaceRegistered, scope: Scope
) -> list[Figure]:
    both = how.met.all(axis=-1)
    if not both.any():
        return []
    gain, turn = how.gain[both], poses[both][:, :3, :3]
    apart = bar.lights_m[1] - bar.lights_m[0]
    along = turn @ (apart / np.linalg.norm(apart))
    to_length = np.stack([-1.0, 1.0])[:, None, None] * np.einsum("ni,nlir->lnr", along, gain)
    shared = np.einsum("lnr,nlrk->nk", to_length, how.shared_px[both])
    noise = np.einsum("lnr,nlrs->nls", to_length, how.noise_px[both]).reshape(len(along), -1)
    # The bar's own lights: they are off now as they were when it was swung to register.
    unit = apart / np.linalg.norm(apart)
    own = np.concatenate([-unit * bar.lights_std_m[0], unit * bar.lights_std_m[1]])
    own = np.tile(own, (len(along), 1))
    if known.thing is not None and known.thing.id == bar.id:
        shared[:, -own.shape[1] :] += own
    else:
        shared = np.concatenate([shared, own], axis=-1)
    square = np.sum(shared**2, axis=-1) + np.sum(noise**2, axis=-1)
    common = float(np.linalg.norm(shared.mean(axis=0)))
    rng = np.random.default_rng(_DRAW_SEED)
    drawn = rng.standard_normal((_DRAWS, shared.shape[1])) @ shared.T
    drawn += np.linalg.norm(noise, axis=-1) * rng.standard_normal(drawn.shape)
    worst = float(np.median(np.abs(drawn).max(axis=1)))
    rows: list[tuple[Statistic, float, float | None, str]] = [
        ("rms", float(np.sqrt(square.mean())), None, ""),
        ("mean", 0.0, _SPAN * common, "; interval over builds"),
        ("max", worst, None, f"; median over builds of the largest of {len(along)} moments"),
    ]
    return [
        Figure(
            name="length-error",
            cause="all",
            statistic=statistic,
            scope=scope,
            unit="mm",
            value=1e3 * value,
            low=None if span is None else 1e3 * (value - span),
            high=None if span is None else 1e3 * (value + span),
            level=None if span is None else _LEVEL,
            n=len(along),
            method=f"{_HOW}: length of the swung scale bar minus length told{words}",
            basis="predicted",
        )
        for statistic, value, span, words in rows
    ]


def _reprojection(how: Meeting, scope: Scope) -> list[Figure]:
    """Root-mean-square distance of a dot from where the point that was met is seen."""
    if not how.met.any():
        return []
    # What the gain takes up of the dots' errors moves the point and leaves no miss.
    by_point = np.linalg.pinv(how.gain[how.met])
    left = np.eye(by_point.shape[-2]) - by_point @ how.gain[how.met]
    effects = np.concatenate([how.noise_px, how.shared_px], axis=-1)[how.met]
    square = np.sum((left @ effects) ** 2)
    dots = int(how.seen[:, how.met].sum())
    return [
        Figure(
            name="reprojection",
            cause="all",
            statistic="rms",
            scope=scope,
            unit="px",
            value=float(np.sqrt(square / dots)),
            n=dots,
            method=f"{_HOW}: distance of each dot from where the point is seen",
            basis="predicted",
        )
    ]
