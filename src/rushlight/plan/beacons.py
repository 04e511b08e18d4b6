"""Where to touch during registration: the places that tell most about the whole model."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.geometry import d_optimal_touches
from rushlight.physics.surface_model import PRIOR_PRECISION
from rushlight.physics.touch import over_ways, touch_scatter_m
from rushlight.plan.error import LEAST_BEACONS, design_of, mean_height
from rushlight.plan.grid import INSET_SHARE, Standing, hidden_by_holder, within_reach
from rushlight.plan.light import dots, light_field, suitable_exposure
from rushlight.records.resolved import ResolvedRig

Array = NDArray[Any]

BEACONS = 9
_CANDIDATES = (11, 7)


def candidate_places(resolved: ResolvedRig) -> Array:
    """Places (M, 2) [m] that a beacon may take, whole display pixels, set in from the edges."""
    size, pixels = resolved.surface.size_m[0], resolved.surface.display_px[0]
    share = [np.linspace(INSET_SHARE, 1.0 - INSET_SHARE, count) for count in _CANDIDATES]
    across, up = np.meshgrid(*share)
    middles = np.stack([across.ravel(), up.ravel()], axis=-1) * size
    pitch = size / pixels
    return np.asarray((np.floor(middles / pitch) + 0.5) * pitch)


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
    resolved
        One rig.
    standing
        Who holds what.
    registering
        The emitters that touch. A place counts by how many of them are seen there and reach
        it; to reach it, their holders may walk along the whole surface.
    count
        How many, six at least.
    camera
        Which camera must see them.

    Returns
    -------
    beacons_m : (B, 2) [m]
    suitable : whether every beacon is reached and seen by one at least; if fewer than six can,
        beacons are chosen from all that are in view, or from all.
    """
    places = candidate_places(resolved)
    field = light_field(resolved, camera, places[None], 2, 3)
    given = resolved.cameras.exposure_s[:, camera]
    exposure = np.where(np.isnan(given), suitable_exposure(resolved, camera, field), given)
    dot = dots(resolved, camera, field, exposure)
    chosen = list(registering)
    hidden = hidden_by_holder(resolved, standing, places[None], camera)
    seen = (field.in_view & ~hidden)[0, chosen]
    walking = standing.walking(float(resolved.surface.size_m[0, 0]))
    reached = within_reach(resolved, walking, places[None])[0, chosen]
    touches = (seen & reached).sum(axis=0)
    suitable = int((touches > 0).sum()) >= LEAST_BEACONS
    if not suitable:
        touches = seen.sum(axis=0)
        touches = touches if (touches > 0).sum() >= LEAST_BEACONS else np.ones(len(places), int)
    at = np.flatnonzero(touches)
    design = design_of(resolved, camera, places[None], mean_height(resolved, registering))[0, at]
    scatter = touch_scatter_m(
        resolved.emitters.touch_std_m[0, chosen].mean(),
        np.nan_to_num(over_ways(dot.apparent_m, field.weights).cov_m2)[0, chosen].mean(axis=(0, 1)),
    )
    # Several touches of one beacon tell as much as one of so much less variance.
    noise = (scatter**2 / touches[at])[:, None, None] * np.eye(2)
    best = d_optimal_touches(np.nan_to_num(design), PRIOR_PRECISION, noise, min(count, len(at)))
    return in_short_order(places[at[best]]), suitable


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
