"""Where in its zone a thing of three lights can be taken for one that is turned otherwise.

Three dots before one camera allow up to four poses. At places and ways of turning, each of them
is fitted as it will be when the rig runs, and weighed by how well dots and facing fit it.
"""

from __future__ import annotations

import numpy as np

from rushlight.errors import Finding
from rushlight.opencv.pose import three_point_poses
from rushlight.physics.geometry.pose_fit import Looks, belief_of_facing, fit_pose
from rushlight.physics.geometry.rotation import pose_difference
from rushlight.plan.space_error import placed_cov
from rushlight.plan.space_evaluate import SpaceEvaluation
from rushlight.plan.space_light import space_dots, space_light
from rushlight.plan.space_poses import grid_places, poses_at, ways_of_turning
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, Scope, Statistic
from rushlight.records.space import LEAST_WEIGHT, SAME_RAD, ResolvedSpace, Thing, within_zone

_WAYS = 8  # of turning at each place
_MANY = 10.0  # per cent from which it is a warning; our choice, no source


def twin_figures(evaluation: SpaceEvaluation) -> list[Figure]:
    """Of each thing of three lights whose pose is solved: how often another pose is possible."""
    space = evaluation.space
    figures = []
    for thing, axes in zip(space.things, evaluation.axes_m, strict=True):
        if thing.solved_as != "pose" or len(thing.lights) != 3:
            continue
        turns = ways_of_turning(thing, _WAYS)
        poses = poses_at(thing, grid_places(axes)[:, None], turns[None]).reshape(-1, 4, 4)
        second = second_weights(space, thing, poses, evaluation.exposure_s)
        second = second[np.isfinite(second)]
        if not len(second):
            continue
        lines: tuple[tuple[Statistic, float], ...] = (
            ("share", float(np.mean(second >= LEAST_WEIGHT))),
            ("max", float(second.max())),
        )
        figures += [
            Figure(
                name="other-pose",
                statistic=statistic,
                scope=Scope(rig=space.name, carried=thing.id),
                unit="%",
                value=100.0 * value,
                n=len(second),
                method="three dots without noise before one camera, fitted from each pose that "
                "they allow; "
                + (
                    f"share of places and turns where another one weighs {LEAST_WEIGHT:g} or more"
                    if statistic == "share"
                    else "largest weight of a pose beside the likeliest"
                ),
                basis="predicted",
            )
            for statistic, value in lines
        ]
    return figures


def twin_findings(figures: list[Figure], file: str) -> list[Finding]:
    """Where another pose is to be expected, and how likely it is at most."""
    shares = {f.scope.carried: f.value or 0.0 for f in figures if f.statistic == "share"}
    most = {f.scope.carried: f.value or 0.0 for f in figures if f.statistic == "max"}
    return [
        Finding(
            "warning" if share > _MANY else "note",
            "other-pose",
            f"{file}: carried {carried}",
            f"{share:.0f} % of places and turns",
            "allow another pose of its three lights, which facing alone must tell apart; it "
            f"weighs up to {most[carried]:.0f} %",
            "add a fourth light out of their plane, or narrow the ranges of turning",
        )
        for carried, share in shares.items()
        if share > 0.0
    ]


def second_weights(space: ResolvedSpace, thing: Thing, poses: Array, exposure_s: Array) -> Array:
    """(N,) weight of the second pose at poses (N, 4, 4); NaN where fewer than three are seen.

    Where two cameras see all three lights there is one pose: 0.
    """
    dots = space_dots(space, space_light(space, thing, poses), exposure_s)
    whole = dots.seen.all(axis=-1)
    found = np.where(whole.any(axis=0), 0.0, np.nan)
    cameras = space.cameras
    belief = belief_of_facing(thing.ranges_rad)
    weights = dots.cov_px2 + placed_cov(dots.light.sight.by_point, thing.lights_std_m)
    for index in np.flatnonzero(whole.sum(axis=0) == 1):
        camera = int(np.flatnonzero(whole[:, index])[0])
        px = dots.light.sight.px[camera, index]
        K, k = cameras.K[0, camera], cameras.distortion[0, camera]
        stand = cameras.rig_from_camera[0, camera]
        starts = stand @ three_point_poses(thing.lights_m, px, K, k)
        if len(starts) < 2:
            continue
        many = len(starts)
        looks = Looks(*(np.tile(each, (3, *[1] * each.ndim)) for each in (K, k, stand)))
        fit = fit_pose(
            thing.lights_m,
            np.tile(px, (many, 1, 1)),
            np.tile(weights[camera, index], (many, 1, 1, 1)),
            looks,
            starts,
            belief,
        )
        good = np.isfinite(fit.misfit)
        good[good] = within_zone(thing, fit.pose[good])
        order = np.flatnonzero(good)[np.argsort(fit.misfit[good])]
        kept: list[int] = []
        for each in order:
            turns = [pose_difference(fit.pose[each], fit.pose[one])[3:] for one in kept]
            if all(np.linalg.norm(turn) > SAME_RAD for turn in turns):
                kept.append(int(each))
        if len(kept) > 1:
            likely = np.exp(-0.5 * (fit.misfit[kept] - fit.misfit[kept[0]]))
            found[index] = float(likely[1] / likely.sum())
    return found
