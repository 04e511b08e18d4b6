"""While a thing was held at a mark: its dots averaged, and which light made which dot."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.optimize import linear_sum_assignment

from rushlight.physics.geometry.pose_fit import Belief, Looks, fit_pose
from rushlight.physics.geometry.rotation import pose_matrix, rotation_of_facing
from rushlight.physics.geometry.sight import sight_of
from rushlight.physics.sighting import DOT_FLOOR_PX
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots
from rushlight.records.space import Thing
from rushlight.register.space_marks import Anchor
from rushlight.register.space_solve import Cameras

MARGIN = 0.1
"""Part of a hold left out at either end, while the thing comes to rest and leaves."""

STEP_PX = 8.0
"""How far a held dot may move between frames and still be the same light."""

MOVED_PX = 8.0
"""A dot that strays farther than this from its mean, root-mean-square, was not held."""

_NODE_RAD = np.radians(12.0)  # between turns that are tried; our choice
_ASSIGNMENTS = 6
_AMBIGUOUS = 9.0  # of misfit, between the likeliest and the next


class HeldDots(NamedTuple):
    """What one camera saw of lights at rest.

    Fields
    ------
    px, px_cov : (M, 2) means [px], (M, 2, 2) their covariance [px²]
    frames : frames looked at
    strayed_px : greatest root-mean-square stray of a dot about its mean [px]
    """

    px: Array
    px_cov: Array
    frames: int
    strayed_px: float


def dots_at_rest(seen: Sequence[tuple[int, Dots]], from_ns: int, until_ns: int) -> HeldDots:
    """The mean of every dot that stayed for most of a hold.

    Parameters
    ----------
    seen
        Capture time [ns] and dots of every frame.
    from_ns, until_ns
        The hold; a tenth is left out at either end.
    """
    margin = MARGIN * (until_ns - from_ns)
    inside = [dots.good() for t, dots in seen if from_ns + margin <= t <= until_ns - margin]
    trails: list[list[tuple[Array, Array]]] = []
    for dots in inside:
        free = list(range(len(trails)))
        for xy, cov in zip(dots.xy, dots.cov, strict=True):
            near = [float(np.linalg.norm(trails[i][-1][0] - xy)) for i in free]
            if near and min(near) <= STEP_PX:
                trails[free.pop(int(np.argmin(near)))].append((xy, cov))
            else:
                trails.append([(xy, cov)])
    lasting = [trail for trail in trails if 2 * len(trail) > len(inside)]
    if not lasting:
        return HeldDots(np.zeros((0, 2)), np.zeros((0, 2, 2)), len(inside), 0.0)
    places = [np.array([xy for xy, _ in trail]) for trail in lasting]
    covs = [np.mean([cov for _, cov in trail], axis=0) / len(trail) for trail in lasting]
    strayed = [float(np.sqrt(np.mean(np.sum((p - p.mean(axis=0)) ** 2, axis=1)))) for p in places]
    return HeldDots(
        np.array([each.mean(axis=0) for each in places]),
        np.nan_to_num(np.array(covs)) + DOT_FLOOR_PX**2 * np.eye(2),
        len(inside),
        max(strayed),
    )


class Named(NamedTuple):
    """Which light made which dot.

    Fields
    ------
    lights : one (M,) array a camera, of the number of the light on its thing, −1 for none
    pose : (4, 4) ``rig_from_thing`` as the dots tell it
    doubtful : whether another way of naming explains the dots nearly as well
    """

    lights: list[Array]
    pose: Array
    doubtful: bool


def name_dots(
    held: Sequence[HeldDots], thing: Thing, anchor: Anchor, cameras: Cameras, reach_m: float
) -> Named | None:
    """Which of a thing's lights made which dots, and how does it stand?

    Parameters
    ----------
    held
        By camera.
    thing
        What was held.
    anchor
        What is known of where it stood.
    cameras
        As believed.
    reach_m
        How far the thing may seem to stand off, by where the cameras are not known to be [m].

    Returns
    -------
    Named or None
        None where fewer than two lights are seen.

    Notes
    -----
    For turns all over what is believed, dots and lights are matched by least distance once their
    middles are laid on one another (Kuhn's assignment, from SciPy); the matches found are then
    fitted one by one, and the likeliest is taken.
    """
    ways = [
        _ways(each.px, thing, anchor, cameras, camera) if len(each.px) >= 2 else [None]
        for camera, each in enumerate(held)
    ]
    if all(way == [None] for way in ways):
        return None
    chosen = list(itertools.islice(itertools.product(*ways), 4 * _ASSIGNMENTS))
    named = [
        [
            np.full(len(each.px), -1) if way is None else way[0]
            for each, way in zip(held, one, strict=True)
        ]
        for one in chosen
    ]
    starts = np.array([[way[1] for way in one if way is not None] for one in chosen])
    misfits, poses = _fitted(held, named, starts, thing, anchor, cameras, reach_m)
    best = [
        (float(misfit), Named(lights, pose, False))
        for misfit, lights, pose in zip(misfits, named, poses, strict=True)
        if np.isfinite(misfit)
    ]
    if not best:
        return None
    best.sort(key=lambda pair: pair[0])
    likeliest = best[0][1]
    doubtful = any(
        misfit - best[0][0] < _AMBIGUOUS and not _same(other.lights, likeliest.lights)
        for misfit, other in best[1:]
    )
    return likeliest._replace(doubtful=doubtful)


def _same(one: list[Array], other: list[Array]) -> bool:
    return all(np.array_equal(a, b) for a, b in zip(one, other, strict=True))


def _nodes(anchor: Anchor, thing: Thing) -> Array:
    """(N, 3, 3) rotations all over what is believed of the thing's turn."""
    if anchor.held == 2:
        return anchor.rotation[None]
    axes = [
        np.linspace(-reach, reach, 2 * int(np.ceil(reach / _NODE_RAD)) + 1)
        for reach in thing.ranges_rad
    ]
    turn, nod, lean = (each.reshape(-1) for each in np.meshgrid(*axes))
    return np.asarray(rotation_of_facing(turn, nod, lean))


def _ways(
    px: Array, thing: Thing, anchor: Anchor, cameras: Cameras, camera: int
) -> list[tuple[Array, Array] | None]:
    """Likely matches of one camera's dots: (M,) lights and the rotation (3, 3), the best first."""
    rotations = _nodes(anchor, thing)
    places = anchor.place_m - np.matvec(rotations, thing.point_m())
    spots = np.matvec(rotations[:, None], thing.lights_m) + places[:, None]
    told = sight_of(spots, cameras.K[camera], cameras.k[camera], cameras.pose[camera]).px
    whole = np.isfinite(told).all(axis=(-2, -1))
    found: dict[tuple[int, ...], tuple[float, Array]] = {}
    trials = _Trials.of(px, told[whole])
    for node in np.argsort(trials.least):
        costs = sorted(cost for cost, _ in found.values())
        if len(costs) >= _ASSIGNMENTS and trials.least[node] >= costs[_ASSIGNMENTS - 1]:
            break  # nor can any of the others be among the best
        cost, lights = trials.matched(node)
        key = tuple(lights.tolist())
        if key not in found or cost < found[key][0]:
            found[key] = (cost, rotations[whole][node])
    ranked = sorted(found.items(), key=lambda item: item[1][0])[:_ASSIGNMENTS]
    return [(np.array(key), rotation) for key, (_, rotation) in ranked] or [None]


class _Trials(NamedTuple):
    """Dots and lights matched by least distance, N turns by S shifts, as far as it is easy.

    Fields
    ------
    off : (N, S, M, L, 2) from each light, shifted, to each dot [px]
    bound : (N, S) no match of the two costs less
    cost : (N, S) of the nearest ones where these are one to one, infinite elsewhere
    least : (N,) the least bound of each turn
    """

    off: Array
    bound: Array
    cost: Array
    least: Array

    @classmethod
    def of(cls, px: Array, told: Array) -> _Trials:
        """Dots (M, 2) and lights as each turn shows them (N, L, 2), M and L ≥ 2."""
        if len(px) == told.shape[1]:
            shifts = px.mean(axis=0) - told.mean(axis=1, keepdims=True)
        else:
            shifts = (px[:, None] - told[:, None]).reshape(len(told), -1, 2)
        off = px[:, None] - told[:, None, None] - shifts[:, :, None, None]
        apart = np.sum(off**2, axis=-1)
        # Whichever are fewer all find a mate: at best the nearest, if no two want the same.
        side = -1 if len(px) <= told.shape[1] else -2
        nearest = np.argmin(apart, axis=side)
        mates = np.sort(nearest, axis=-1)
        easy = np.all(mates[..., 1:] != mates[..., :-1], axis=-1)
        sums = np.sum(np.min(apart, axis=side), axis=-1)
        wanted = np.expand_dims(nearest, (side - 1, -1))
        gaps = np.take_along_axis(off, wanted, axis=side - 1).squeeze(side - 1)
        # The shift is laid anew on what was matched; that takes at most one part of so many off.
        cost = sums - np.sum(np.mean(gaps, axis=-2) ** 2, axis=-1)
        bound = np.where(easy, cost, sums * (1.0 - 1.0 / nearest.shape[-1]))
        return cls(off, bound, np.where(easy, cost, np.inf), bound.min(axis=-1, initial=np.inf))

    def matched(self, node: int) -> tuple[float, Array]:
        """Least cost of matching dots to lights up to a common shift, and the light of each dot."""
        best: tuple[float, Array] = (np.inf, np.full(self.off.shape[2], -1))
        for shift in np.argsort(self.bound[node]):
            if self.bound[node, shift] >= best[0]:
                break
            off = self.off[node, shift]
            dots, lights = linear_sum_assignment(np.sum(off**2, axis=-1))
            gaps = off[dots, lights]
            cost = float(np.sum(gaps**2) - np.sum(np.mean(gaps, axis=0) ** 2))
            if cost < best[0]:
                named = np.full(self.off.shape[2], -1)
                named[dots] = lights
                best = (cost, named)
        return best


def _fitted(
    held: Sequence[HeldDots],
    named: list[list[Array]],
    rotations: Array,
    thing: Thing,
    anchor: Anchor,
    cameras: Cameras,
    reach_m: float,
) -> tuple[Array, Array]:
    """Misfits (W,) and poses (W, 4, 4) of ways of naming, from starts with rotations (W, S, 3, 3).

    The dots are taken for as exact as a camera's place allows. All ways name equally many.
    """
    camera = np.concatenate([np.full(len(each), i) for i, each in enumerate(named[0])])
    light = np.stack([np.concatenate(one) for one in named])
    px, cov = (np.concatenate([getattr(each, name) for each in held]) for name in ("px", "px_cov"))
    on = np.stack([np.flatnonzero(one >= 0) for one in light])
    light = np.take_along_axis(light, on, axis=-1)
    by = camera[on[0]]
    looks = Looks(cameras.K[by], cameras.k[by], cameras.pose[by])
    arm = float(np.linalg.norm(thing.point_m()))
    place = anchor.axes.T @ np.diag(anchor.std_m**2) @ anchor.axes
    place = place + (reach_m**2 + (arm * float(anchor.turn_std_rad.max())) ** 2) * np.eye(3)
    information = np.zeros((6, 6))
    information[:3, :3] = np.linalg.inv(place)
    information[3:, 3:] = np.diag(1.0 / anchor.turn_std_rad**2)
    at = anchor.place_m - anchor.rotation @ thing.point_m()
    belief = Belief(pose_matrix(anchor.rotation, at), information)
    starts = pose_matrix(rotations, anchor.place_m - np.matvec(rotations, thing.point_m()))
    # Lens and lights are off by far more than a held dot's noise.
    spread = (cov[on] + np.eye(2))[:, None]
    fits = fit_pose(thing.lights_m[light][:, None], px[on][:, None], spread, looks, starts, belief)
    misfits = np.where(np.isfinite(fits.misfit), fits.misfit, np.inf)
    chosen = np.argmin(misfits, axis=-1)
    ways = np.arange(len(chosen))
    return misfits[ways, chosen], fits.pose[ways, chosen]
