"""Where to touch during registration: the places that tell most about the whole model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.geometry import d_optimal_touches
from rushlight.physics.surface_model import PRIOR_PRECISION
from rushlight.physics.touch import over_ways, touch_scatter_m
from rushlight.plan.error import LEAST_BEACONS, design_of, mean_height
from rushlight.plan.evaluate import Evaluation, evaluate, joined
from rushlight.plan.grid import (
    INSET_SHARE,
    Standing,
    hidden_by_holder,
    inset_ring,
    within_reach,
)
from rushlight.plan.light import dots, light_field, suitable_exposure
from rushlight.records.resolved import ResolvedRig

Array = NDArray[Any]

BEACONS = 9
NEARLY = 0.97
"""A place that tells this share of the most is as good, if it is nearer (our own choice)."""

_CANDIDATES = (11, 7)
_VAGUE_PLANE = 1e4  # m⁻², of each plane parameter before anything is touched: a centimetre


def candidate_places(resolved: ResolvedRig) -> Array:
    """Places (R, M, 2) [m] that a beacon may take, whole display pixels, set in from the edges."""
    size, pixels = resolved.surface.size_m[:, None], resolved.surface.display_px[:, None]
    share = [np.linspace(INSET_SHARE, 1.0 - INSET_SHARE, count) for count in _CANDIDATES]
    across, up = np.meshgrid(*share)
    middles = np.stack([across.ravel(), up.ravel()], axis=-1) * size
    pitch = size / pixels
    return np.asarray((np.floor(middles / pitch) + 0.5) * pitch)


class BeaconField(NamedTuple):
    """Where beacons may stand, and what a touch there would tell; S styli, M places, G nodes.

    Fields
    ------
    places_m
        (M, 2) [m].
    touchable
        (S, M) whether each stylus can touch the place and is seen there.
    suitable
        Whether six places at least are reached and seen by one; if fewer, `touchable` is what
        is in view, or everything.
    design
        (M, 2, 20) of the places.
    scatter_m
        (S, M) how far a touch lies from its beacon, each axis [m].
    design_at
        (G, 2, 20) of nodes all over the surface, over which the map's variance is averaged.
    """

    places_m: Array
    touchable: Array
    suitable: bool
    design: Array
    scatter_m: Array
    design_at: Array


def beacon_field(
    resolved: ResolvedRig, standing: Standing, registering: tuple[int, ...], camera: int = 0
) -> BeaconField:
    """Where beacons may stand, and what a touch there would tell.

    Parameters
    ----------
    resolved
        One rig.
    standing
        Who holds what.
    registering
        The emitters that touch. To reach a place, their holders may walk along the whole surface.
    camera
        Which camera must see them.
    """
    places = candidate_places(resolved)[0]
    field = light_field(resolved, camera, places[None], 2, 3)
    given = resolved.cameras.exposure_s[:, camera]
    exposure = np.where(np.isnan(given), suitable_exposure(resolved, camera, field), given)
    dot = dots(resolved, camera, field, exposure)
    chosen = list(registering)
    hidden = hidden_by_holder(resolved, standing, places[None], camera)
    seen = (field.in_view & ~hidden)[0, chosen]
    walking = standing.walking(float(resolved.surface.size_m[0, 0]))
    reached = within_reach(resolved, walking, places[None])[0, chosen]
    touchable = seen & reached
    suitable = int(touchable.any(axis=0).sum()) >= LEAST_BEACONS
    if not suitable:
        enough = int(seen.any(axis=0).sum()) >= LEAST_BEACONS
        touchable = seen if enough else np.ones_like(seen)
    height_m = mean_height(resolved, registering)
    share = [np.linspace(0.0, 1.0, count) for count in _CANDIDATES]
    nodes = np.stack(np.meshgrid(*share), axis=-1).reshape(-1, 2) * resolved.surface.size_m[0]
    return BeaconField(
        places,
        touchable,
        suitable,
        np.nan_to_num(design_of(resolved, camera, places[None], height_m)[0]),
        touch_scatter_m(
            resolved.emitters.touch_std_m[0, chosen, None],
            np.nan_to_num(over_ways(dot.apparent_m, field.weights).cov_m2)[0, chosen],
        ),
        np.nan_to_num(design_of(resolved, camera, nodes[None], height_m)[0]),
    )


def choose_beacons(
    resolved: ResolvedRig,
    standing: Standing,
    registering: tuple[int, ...],
    count: int = BEACONS,
    camera: int = 0,
) -> tuple[Array, bool]:
    """Which places to touch, in the order of a short way for the hand.

    Parameters
    ----------
    resolved, standing, registering, camera
        As of `beacon_field`. A place counts by how many of the emitters can touch it.
    count
        How many, six at least.

    Returns
    -------
    beacons_m : (B, 2) [m]
    suitable : whether every beacon is reached and seen by one at least, and they tell a map; if
        fewer than six can, or they lie in one line, beacons are chosen from all that are in view,
        or from all.
    """
    field = beacon_field(resolved, standing, registering, camera)
    for touchable in (field.touchable, np.ones_like(field.touchable)):
        touches = touchable.sum(axis=0)
        at = np.flatnonzero(touches)
        scatter = np.sqrt(np.mean(field.scatter_m[:, at] ** 2))
        # Several touches of one beacon tell as much as one of so much less variance.
        noise = (scatter**2 / touches[at])[:, None, None] * np.eye(2)
        try:
            best = d_optimal_touches(field.design[at], PRIOR_PRECISION, noise, min(count, len(at)))
        except ValueError:  # as where all that is seen lies in one line: no map comes of that
            continue
        return in_short_order(field.places_m[at[best]]), (
            field.suitable and touchable is field.touchable
        )
    return in_short_order(inset_ring(resolved.surface.size_m)[0]), False


def evaluate_registered(
    resolved: ResolvedRig,
    columns: int,
    rows: int,
    standing: Standing,
    registering: tuple[int, ...] | None = None,
) -> Evaluation:
    """What can be expected of rigs (R), each with the beacons that are chosen for it.

    Parameters
    ----------
    resolved, columns, rows, standing, registering
        As of `rushlight.plan.evaluate.evaluate`. Beacons are chosen for the first camera.

    Returns
    -------
    Evaluation
        Its ``beacons_m`` are filled up with NaN where fewer than `BEACONS` can be touched and seen.
    """
    touching = tuple(range(resolved.emitters.duty.shape[1])) if registering is None else registering
    parts = []
    for number in range(len(resolved)):
        one = resolved.take(slice(number, number + 1))
        beacons, _ = choose_beacons(one, standing, touching)
        found = evaluate(one, columns, rows, beacons, standing, touching)
        filled = np.full((1, BEACONS, 2), np.nan)
        filled[:, : len(beacons)] = beacons
        parts.append(replace(found, beacons_m=filled))
    return joined(parts)


def next_beacon(
    field: BeaconField, touched: Sequence[tuple[int, int]], stylus: int, free: Array
) -> int | None:
    """Which place to touch next: the one that lowers the map's mean variance most.

    Parameters
    ----------
    field
        From `beacon_field`.
    touched
        Stylus and place of every touch until now.
    stylus
        Which touches next.
    free
        (M,) which places it may take.

    Returns
    -------
    int or None
        The place; of those that tell nearly as much, the nearest to the last touch. None where
        nothing is left.

    Notes
    -----
    The mean over the surface of the variance of the mapped place (I-optimality; Atkinson, Donev
    & Tobias, "Optimum Experimental Designs, with SAS", 2007, chapter 10; from memory), by the
    linear estimator of the plan. The plane begins with a deviation of a centimetre in each
    parameter, which lets the first choices be compared and spreads them over the surface.
    """
    able = np.flatnonzero(field.touchable[stylus] & free)
    if not able.size:
        return None
    prior = np.where(PRIOR_PRECISION > 0.0, PRIOR_PRECISION, _VAGUE_PLANE)
    information = np.diag(prior)
    for who, place in touched:
        rows = field.design[place]
        information = information + rows.T @ rows / field.scatter_m[who, place] ** 2
    cov = np.linalg.inv(information)
    over = np.einsum("gip,giq->pq", field.design_at, field.design_at) / len(field.design_at)
    arm = cov @ np.swapaxes(field.design[able], -1, -2)
    own = field.design[able] @ arm + (field.scatter_m[stylus, able] ** 2)[:, None, None] * np.eye(2)
    told = np.trace(np.linalg.solve(own, np.swapaxes(arm, -1, -2) @ over @ arm), axis1=1, axis2=2)
    good = able[told >= NEARLY * told.max()]
    if not touched:
        return int(good[0])
    here = field.places_m[touched[-1][1]]
    return int(good[np.argmin(np.linalg.norm(field.places_m[good] - here, axis=1))])


def in_short_order(places_m: Array) -> Array:
    """The places (B, 2) in the order of a short way from the upper left one.

    Nearest next, then pieces of the way turned round while that shortens it.
    """
    start = int(np.argmin(places_m[:, 0] - places_m[:, 1]))
    order, left = [start], [i for i in range(len(places_m)) if i != start]
    while left:
        nearest = min(
            left, key=lambda i: (float(np.hypot(*(places_m[i] - places_m[order[-1]]))), i)
        )
        order.append(nearest)
        left.remove(nearest)
    shorter = True
    while shorter:
        shorter = False
        for first in range(1, len(order) - 1):
            for last in range(first + 1, len(order)):
                turned = order[:first] + order[first : last + 1][::-1] + order[last + 1 :]
                if way_length(places_m[turned]) < way_length(places_m[order]) - 1e-9:
                    order, shorter = turned, True
    return places_m[order]


def way_length(places_m: Array) -> float:
    """Length [m] of the way through places (B, 2) in their order."""
    return float(np.hypot(*np.diff(places_m, axis=0).T).sum())
