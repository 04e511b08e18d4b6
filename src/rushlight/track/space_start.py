"""Where a thing may be when nothing of it is known yet: which dots are which of its lights.

Two lights: range by separation, left and right by how the thing is supposed to face. Three or
more: three dots give up to four poses, and the other lights must fall on dots. One or two lights
before several cameras: points where rays meet.
"""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np

from rushlight.opencv.pose import three_point_poses
from rushlight.physics.geometry import undistort_px
from rushlight.physics.geometry.pose_fit import Belief, belief_of_facing
from rushlight.physics.geometry.rotation import matrix_from_rotation_vector, pose_matrix
from rushlight.physics.geometry.triangulate import triangulate
from rushlight.records.arrays import Array
from rushlight.records.space import LEAST_WEIGHT, Thing, within_zone
from rushlight.track.space_cameras import SpaceCameras
from rushlight.track.space_codes import could_be
from rushlight.track.space_moments import Seen
from rushlight.track.space_pose import DISAGREES, Found, Named, agreed, enough, no_dots

MOST_DOTS = 10
"""So many dots of a camera are tried, the surest first; our choice."""
_REACH_PX = 12.0  # from a pose of three dots to the dots of the other lights
_MOST_TRIED = 6


class Start(NamedTuple):
    """Where a thing was found, what else it could be, and the weights of all, this one first."""

    found: Found
    others: tuple[Found, ...]
    weights: tuple[float, ...]


def weights_of(misfit: Array) -> Array:
    """(N,) weights of poses that fit dots and facing with misfits (N,), 1 together."""
    weights = np.exp(-0.5 * (misfit - misfit.min()))
    return np.asarray(weights / weights.sum())


def start(
    cameras: SpaceCameras, thing: Thing, seen: list[Seen | None], around: Belief | None = None
) -> Start | None:
    """Find a thing among dots that nothing else has claimed.

    Parameters
    ----------
    cameras, thing
        The rig's cameras, and what is sought.
    seen
        By camera, the dots that are free.
    around
        Where it is supposed to be by where it was; None when that is not known.
    """
    belief = belief_of_facing(thing.ranges_rad)
    poses = _guesses(cameras, thing, seen)
    if not len(poses):
        return None
    fits: list[Found] = []
    for pose in poses:
        named = nearest_dots(cameras, thing, pose, seen, _REACH_PX)
        if not enough(thing, named, False):
            continue
        found = agreed(cameras, thing, named, pose, belief, False)
        if found is None or not within_zone(thing, found.pose[None])[0]:
            continue
        # Once more from there: dots that were too far from the first guess may fit now.
        named = nearest_dots(cameras, thing, found.pose, seen, 3.0)
        again = agreed(cameras, thing, named, found.pose, belief, False)
        fits.append(again if again is not None else found)
    return _best(fits, around)


def _best(fits: list[Found], around: Belief | None) -> Start | None:
    if not fits:
        return None
    most = max(len(each.named.light) for each in fits)
    fits = [each for each in fits if len(each.named.light) == most]
    different: dict[tuple[bytes, ...], Found] = {}
    for each in sorted(fits, key=lambda one: one.misfit):
        turn = np.round(each.pose[:3, :3] * 4.0).astype(int).tobytes()
        different.setdefault((each.named.light.tobytes(), each.named.dot.tobytes(), turn), each)
    kept = list(different.values())
    weights = weights_of(np.array([each.misfit for each in kept]))
    chosen = int(np.argmax(weights))
    if around is not None:
        gaps = [np.linalg.norm(each.pose[:3, :3] - around.pose[:3, :3]) for each in kept]
        likely = np.flatnonzero(weights > 0.05 * weights.max())
        chosen = int(likely[np.argmin(np.array(gaps)[likely])])
    order = [chosen, *(i for i in np.argsort(-weights) if i != chosen)]
    order = [i for i in order if i == chosen or weights[i] >= LEAST_WEIGHT]
    others = tuple(kept[i] for i in order[1:])
    return Start(kept[chosen], others, tuple(float(weights[i]) for i in order))


def nearest_dots(
    cameras: SpaceCameras, thing: Thing, pose: Array, seen: list[Seen | None], reach_px: float
) -> Named:
    """The dots nearest to where a pose has a thing's lights, each used once."""
    places = np.matvec(pose[:3, :3], thing.lights_m) + pose[:3, 3]
    parts = []
    for camera, own in enumerate(seen):
        if own is None or not len(own.xy):
            continue
        px = cameras.sight(places, camera).px
        gap = np.linalg.norm(px[:, None] - own.xy[None], axis=-1)
        gap = np.where(could_be(thing, own.light), gap, np.inf)
        parts.append(paired(camera, own, np.where(np.isfinite(gap), gap, np.inf), reach_px))
    return joined(parts)


def paired(camera: int, seen: Seen, cost: Array, most: float) -> Named:
    """Lights and dots of one camera paired so that the costs (L, N) add up to the least."""
    from scipy.optimize import linear_sum_assignment

    lights, dots = linear_sum_assignment(np.minimum(cost, most * 1e3))
    near = cost[lights, dots] <= most
    lights, dots = lights[near], dots[near]
    return Named(np.full(len(lights), camera), lights, dots, seen.xy[dots], seen.cov[dots])


def joined(parts: list[Named]) -> Named:
    """The dots of several cameras together."""
    if not parts:
        return no_dots()
    return Named(*(np.concatenate(each) for each in zip(*parts, strict=True)))


def _surest(own: Seen) -> Seen:
    """At most `MOST_DOTS` of the dots, those whose places are known best."""
    if len(own.xy) <= MOST_DOTS:
        return own
    kept = np.sort(np.argsort(np.trace(own.cov, axis1=-2, axis2=-1), kind="stable")[:MOST_DOTS])
    return own.keep(kept)


def _guesses(cameras: SpaceCameras, thing: Thing, seen: list[Seen | None]) -> Array:
    """Poses (N, 4, 4) where the thing may be."""
    lights = len(thing.lights)
    if len(cameras) > 1 and lights <= 2:
        points = _meeting_points(cameras, seen)
        found = _from_points(thing, points)
        if len(found):
            return found
    own = [(camera, _surest(each)) for camera, each in enumerate(seen) if each is not None]
    own.sort(key=lambda one: -len(one[1].xy))
    for camera, dots in own:
        if lights == 2:
            found = _of_pairs(cameras, thing, camera, dots)
        elif lights >= 3:
            found = _of_triples(cameras, thing, camera, dots)
        else:
            break
        if len(found):
            return found
    return np.zeros((0, 4, 4))


def _of_pairs(cameras: SpaceCameras, thing: Thing, camera: int, own: Seen) -> Array:
    """Two dots taken for both lights, each way round: range by their separation."""
    poses = [
        pose
        for one, other in itertools.permutations(range(len(own.xy)), 2)
        if (pose := _pair_pose(cameras, thing, camera, own.xy[[one, other]])) is not None
    ]
    found = np.array(poses).reshape(-1, 4, 4)
    return found[within_zone(thing, found)] if len(found) else found


def _pair_pose(cameras: SpaceCameras, thing: Thing, camera: int, xy: Array) -> Array | None:
    flat = undistort_px(xy, cameras.K[camera], cameras.k[camera])
    camera_turn = cameras.rig_from_camera[camera][:3, :3]
    apart = camera_turn.T @ (thing.lights_m[1] - thing.lights_m[0])
    # Were the thing to face straight ahead: what of its spacing shows, and how it lies there.
    shown, seen = apart[:2] - flat[1] * apart[2], flat[1] - flat[0]
    length = float(np.linalg.norm(seen))
    if not length > 0.0:
        return None
    depth = float(np.linalg.norm(shown)) / length
    roll = np.arctan2(seen[1], seen[0]) - np.arctan2(shown[1], shown[0])
    roll = (roll + np.pi) % (2.0 * np.pi) - np.pi
    turned = camera_turn @ matrix_from_rotation_vector([0.0, 0.0, roll]) @ camera_turn.T
    place = cameras.rig_from_camera[camera] @ np.array([*(flat[0] * depth), depth, 1.0])
    return pose_matrix(turned, place[:3] - turned @ thing.lights_m[0])


def _of_triples(cameras: SpaceCameras, thing: Thing, camera: int, own: Seen) -> Array:
    """Three dots taken for three lights in every way; the best by how many lights fall on dots."""
    count = len(thing.lights)
    if len(own.xy) < 3:
        return np.zeros((0, 4, 4))
    K, k, stand = cameras.K[camera], cameras.k[camera], cameras.rig_from_camera[camera]
    kept, counted = [np.zeros((0, 4, 4))], [np.zeros((0, 2))]
    for triple in _widest_triples(thing.lights_m):
        poses = [
            stand @ pose
            for dots in itertools.permutations(range(len(own.xy)), 3)
            for pose in three_point_poses(thing.lights_m[triple], own.xy[list(dots)], K, k)
        ]
        found = np.array(poses).reshape(-1, 4, 4)
        found = found[within_zone(thing, found)] if len(found) else found
        if not len(found):
            continue
        places = np.einsum("nij,lj->nli", found[:, :3, :3], thing.lights_m)
        px = cameras.sight(places + found[:, None, :3, 3], camera).px
        gap = np.linalg.norm(px[:, :, None] - own.xy, axis=-1).min(axis=-1)
        near = gap <= _REACH_PX
        score = np.stack([near.sum(-1), -np.where(near, gap, 0.0).sum(-1)], axis=-1)
        kept.append(found)
        counted.append(score)
        if score[:, 0].max() >= min(count, len(own.xy)):
            break
    poses_found, scores = np.concatenate(kept), np.concatenate(counted)
    if not len(scores):
        return poses_found
    best = np.flatnonzero(scores[:, 0] == scores[:, 0].max())
    order = best[np.argsort(-scores[best, 1], kind="stable")]
    return poses_found[order[: _MOST_TRIED if count > 3 else 4 * _MOST_TRIED]]


def _widest_triples(lights_m: Array) -> list[list[int]]:
    """Triples of lights, those with the greatest triangle first; none on a line."""
    triples = [list(each) for each in itertools.combinations(range(len(lights_m)), 3)]
    area = [
        float(np.linalg.norm(np.cross(lights_m[b] - lights_m[a], lights_m[c] - lights_m[a])))
        for a, b, c in triples
    ]
    order = np.argsort(-np.array(area), kind="stable")
    return [triples[i] for i in order if area[i] > 1e-3 * max(area)]


def _meeting_points(cameras: SpaceCameras, seen: list[Seen | None]) -> Array:
    """(P, 3) points where rays of two cameras meet as nearly as their doubts allow [m]."""
    found = [np.zeros((0, 3))]
    own = [(camera, _surest(each)) for camera, each in enumerate(seen) if each is not None]
    for (one, dots), (other, more) in itertools.combinations(own, 2):
        if not len(dots.xy) or not len(more.xy):
            continue
        left, right = (
            each.ravel() for each in np.meshgrid(np.arange(len(dots.xy)), np.arange(len(more.xy)))
        )
        px = np.stack([dots.xy[left], more.xy[right]], axis=1)
        cov = np.stack([dots.cov[left], more.cov[right]], axis=1)
        pair = np.array([one, other])
        met = triangulate(px, cov, cameras.K[pair], cameras.k[pair], cameras.rig_from_camera[pair])
        good = np.isfinite(met.misfit)
        points, px = met.point_m[good], px[good]
        if not len(points):
            continue
        off = np.zeros(len(points))
        for place, camera in enumerate(pair):
            sight = cameras.sight(points, int(camera))
            doubt = cameras.doubt_px2(sight, np.full(len(points), camera)) + np.eye(2)
            missed = px[:, place] - sight.px
            off += np.sum(missed * np.linalg.solve(doubt, missed[..., None])[..., 0], axis=-1)
        found.append(points[off <= DISAGREES**2])
    return np.concatenate(found)


def _from_points(thing: Thing, points: Array) -> Array:
    """Poses of a thing of one light or two whose lights are at points (P, 3)."""
    if len(thing.lights) == 1:
        poses = np.tile(np.eye(4), (len(points), 1, 1))
        poses[:, :3, 3] = points - thing.lights_m[0]
        return poses[within_zone(thing, poses)]
    told = thing.lights_m[1] - thing.lights_m[0]
    length = float(np.linalg.norm(told))
    poses_found = []
    for one, other in itertools.permutations(range(len(points)), 2):
        apart = points[other] - points[one]
        if abs(np.linalg.norm(apart) - length) > 0.15 * length:
            continue
        turned = _shortest_turn(told, apart)
        poses_found.append(pose_matrix(turned, points[one] - turned @ thing.lights_m[0]))
    poses = np.array(poses_found).reshape(-1, 4, 4)
    return poses[within_zone(thing, poses)] if len(poses) else poses


def _shortest_turn(from_m: Array, to_m: Array) -> Array:
    """The least rotation that takes one direction to another."""
    a, b = from_m / np.linalg.norm(from_m), to_m / np.linalg.norm(to_m)
    axis = np.cross(a, b)
    sine = float(np.linalg.norm(axis))
    angle = float(np.arctan2(sine, a @ b))
    if sine < 1e-9:
        if angle < 1.0:
            return np.eye(3)
        axis = np.cross(a, np.eye(3)[int(np.argmin(np.abs(a)))])
    return matrix_from_rotation_vector(angle * axis / np.linalg.norm(axis))
