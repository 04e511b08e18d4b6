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

_NODE_RAD = np.radians(12.0)
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
    best: list[tuple[float, Named]] = []
    for chosen in itertools.islice(itertools.product(*ways), 4 * _ASSIGNMENTS):
        lights = [
            np.full(len(each.px), -1) if way is None else way[0]
            for each, way in zip(held, chosen, strict=True)
        ]
        starts = [way[1] for way in chosen if way is not None]
        misfit, pose = _fitted(held, lights, starts, thing, anchor, cameras, reach_m)
        if np.isfinite(misfit):
            best.append((misfit, Named(lights, pose, False)))
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
    found: dict[tuple[int, ...], tuple[float, Array]] = {}
    for rotation, one in zip(rotations, told, strict=True):
        if not np.all(np.isfinite(one)):
            continue
        cost, lights = _matched(px, one)
        key = tuple(lights.tolist())
        if key not in found or cost < found[key][0]:
            found[key] = (cost, rotation)
    ranked = sorted(found.items(), key=lambda item: item[1][0])[:_ASSIGNMENTS]
    return [(np.array(key), rotation) for key, (_, rotation) in ranked] or [None]


def _matched(px: Array, told: Array) -> tuple[float, Array]:
    """Least cost of matching dots to lights up to a common shift, and the light of each dot."""
    if len(px) == len(told):
        shifts = [px.mean(axis=0) - told.mean(axis=0)]
    else:
        shifts = [dot - light for dot in px for light in told]
    best: tuple[float, Array] = (np.inf, np.full(len(px), -1))
    for shift in shifts:
        apart = np.sum((px[:, None] - told - shift) ** 2, axis=-1)
        dots, lights = linear_sum_assignment(apart)
        matched = apart[dots, lights]
        # The shift is laid anew on what was matched.
        cost = float(np.sum(matched) - np.sum(np.mean((px[dots] - told[lights] - shift), 0) ** 2))
        if cost < best[0]:
            named = np.full(len(px), -1)
            named[dots] = lights
            best = (cost, named)
    return best


def _fitted(
    held: Sequence[HeldDots],
    lights: list[Array],
    rotations: list[Array],
    thing: Thing,
    anchor: Anchor,
    cameras: Cameras,
    reach_m: float,
) -> tuple[float, Array]:
    """Misfit and pose of one way of naming, the dots taken as exact as a camera's place allows."""
    camera = np.concatenate([np.full(len(each), i) for i, each in enumerate(lights)])
    light = np.concatenate(lights)
    px, cov = (np.concatenate([getattr(each, name) for each in held]) for name in ("px", "px_cov"))
    on = light >= 0
    looks = Looks(cameras.K[camera[on]], cameras.k[camera[on]], cameras.pose[camera[on]])
    arm = float(np.linalg.norm(thing.point_m()))
    place = anchor.axes.T @ np.diag(anchor.std_m**2) @ anchor.axes
    place = place + (reach_m**2 + (arm * float(anchor.turn_std_rad.max())) ** 2) * np.eye(3)
    information = np.zeros((6, 6))
    information[:3, :3] = np.linalg.inv(place)
    information[3:, 3:] = np.diag(1.0 / anchor.turn_std_rad**2)
    at = anchor.place_m - anchor.rotation @ thing.point_m()
    belief = Belief(pose_matrix(anchor.rotation, at), information)
    starts = np.stack(
        [pose_matrix(turn, anchor.place_m - turn @ thing.point_m()) for turn in rotations]
    )
    # Lens and lights are off by far more than a held dot's noise.
    spread = np.broadcast_to(cov[on] + np.eye(2), (len(starts), int(on.sum()), 2, 2))
    fits = fit_pose(thing.lights_m[light[on]], px[on], spread, looks, starts, belief)
    chosen = int(np.nanargmin(fits.misfit)) if np.any(np.isfinite(fits.misfit)) else 0
    return float(fits.misfit[chosen]), fits.pose[chosen]
