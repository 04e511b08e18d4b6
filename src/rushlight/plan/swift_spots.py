"""Where a candidate is judged and touched: the places of its row, but beacons that no light shows
are moved to where one does."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from rushlight.plan.swift_fit import LANE, LANES, STEADY, F
from rushlight.plan.swift_map import BENDS, PARAMETERS, PLANE, local_map, pixel, seen
from rushlight.plan.swift_rows import Limits, Rows, Spare
from rushlight.plan.swift_sight import hidden_by_column

Array = NDArray[Any]

NEAR = 0.2
"""How far a beacon at which some light shows moves to where more do, as a share of the diagonal (by
trial: errors are then 1 to 2 % larger than a plan's in the middle, without it 4 %)."""
CORNERS = (0, 2, 6, 8)
"""Of nine beacons three by three."""
UNKNOWN = 255


class Spots(NamedTuple):
    """What one candidate's places are and show; E emitters, P places as in `Rows`, S spare ones.

    Fields
    ------
    places_m : (P, 2); sides_m : (2, P) the same across and up
    bends : (7, P) the wall's [m]; body : (E, P, 4) the holders' columns
    columns : (20, 2, W) of the design, single precision, filled up to whole lanes; the plane's
        eight are set here
    sight : (E, P) of uint8, 0 where a light is seen, 1 out of view, 8 hidden
    ambient : (E, P) the room's light there [e⁻/s]
    maps : (P, 4) [m/px]; inside : (P,) whether any light, or the middle itself, is in view
    able : (B + S,) of uint8, how many lights show and can be brought, at beacons and spare places
    lens : (9,) what is the same at every place
    """

    places_m: Array
    sides_m: Array
    bends: Array
    body: Array
    columns: Array
    sight: Array
    ambient: Array
    maps: Array
    inside: Array
    able: Array
    lens: Array


@njit(**STEADY)
def spots_for(rows: Rows, spare: Spare) -> Spots:
    """Room for one candidate's places."""
    emitters, places = rows.still_px2.shape[1], rows.places_m.shape[1]
    # Filled up to whole lanes, so that no place is worked on alone.
    wide = (places + LANES - 1) // LANES * LANES
    return Spots(
        np.empty((places, 2)),
        np.empty((2, places)),
        np.empty((BENDS, places)),
        np.empty((emitters, places, 4)),
        np.zeros((PARAMETERS, 2, wide), F),
        np.empty((emitters, places), np.uint8),
        np.empty((emitters, places)),
        np.empty((places, 4)),
        np.empty(places, np.uint8),
        np.empty(spare.brought.shape[2], np.uint8),
        np.empty(9),
    )


@njit(**STEADY)
def lay(rows: Rows, m: int, spots: Spots) -> None:
    """Put the spots where the row has them."""
    places = rows.places_m.shape[1]
    spots.places_m[:] = rows.places_m[m]
    spots.sides_m[:] = rows.sides_m[m]
    spots.bends[:] = rows.bends[m]
    spots.body[:] = rows.body[m]
    spots.columns[:PLANE, :, :places] = rows.plane[m]


@njit(**STEADY)
def look(
    view: Array,
    rows: Rows,
    m: int,
    limits: Limits,
    spare: Spare,
    grid: int,
    spots: Spots,
    box: Array,
) -> tuple[bool, bool]:
    """Which places each light is seen at, the room's light there, and the box round them all.

    Returns whether any is seen, and whether beacons were moved.
    """
    lens = spots.lens
    lens[0], lens[7], lens[8] = rows.limit[m], rows.floor_m[m], limits.edge_sigmas
    lens[1], lens[2] = rows.size_px[m, 0] - 1.0, rows.size_px[m, 1] - 1.0
    lens[3], lens[4] = rows.lens_m[m, 1] / (view[12] - rows.lens_m[m, 0]), view[12]
    lens[5], lens[6] = rows.ambient[m, 0], rows.ambient[m, 1]
    f, c, k = rows.focal_px[m], rows.middle_px[m], rows.k[m]
    arms, still, image = rows.arm_m[m], rows.still_px2[m], rows.image_px_m[m]
    places, moved = spots.sight.shape[1], False
    _look_at(view, f, c, k, lens, arms, still, image, 0, places, spots)
    if spare.places_m.shape[1]:
        moved = _move_beacons(
            view, f, c, k, lens, arms, still, image, rows.registering, spare, m,
            limits.least_beacons, grid, spots,
        )  # fmt: skip
        if moved:
            _look_at(view, f, c, k, lens, arms, still, image, grid, places - 1, spots)
        for i in range(places - 1 - grid):
            if spots.able[i] == 0:
                # Nobody touches what nobody reaches, though it may be seen.
                for e in range(len(arms)):
                    spots.sight[e, grid + i] |= np.uint8(64)
    return _box(spots, box), moved


@njit(**STEADY)
def _move_beacons(
    view: Array,
    f: Array,
    c: Array,
    k: Array,
    lens: Array,
    arms: Array,
    still: Array,
    image: Array,
    registering: Array,
    spare: Spare,
    m: int,
    least: int,
    grid: int,
    spots: Spots,
) -> bool:
    """Move beacons that no light shows to the nearest spare place where one does, and those between
    the corners that some do not show to one where more do, if any is near; whether any was moved.

    Only lights that register and can be brought count; where fewer than the least number of places
    are left by that, reach does not count, as in `rushlight.plan.beacons`.
    """
    wanted, at, bodies = len(spots.inside) - 1 - grid, spare.places_m[m], spare.body[m]
    brought, able = spare.brought[m], spots.able
    reach, moved = True, False
    if _able(spots.sight, grid, wanted, registering, brought, reach, able) < least:
        shown = 0
        for s in range(len(at)):
            here = _shown(
                view, f, c, k, lens, arms, still, image, at[s], bodies[:, s], registering,
                brought[:, wanted + s], reach,
            )  # fmt: skip
            shown += here > 0
        for i in range(wanted):
            shown += able[i] > 0
        reach = shown >= least
        _able(spots.sight, grid, wanted, registering, brought, reach, able)
    able[wanted:] = UNKNOWN
    near = NEAR**2 * _square(spots.places_m[grid], spots.places_m[grid + wanted - 1])
    for i in range(wanted):
        # A corner stays where any light shows it: beyond the outermost beacon a map errs most.
        if able[i] == len(arms) or (able[i] and i in CORNERS):
            continue
        place = spots.places_m[grid + i]
        nearest, best = near if able[i] else math.inf, -1
        for s in range(len(at)):
            away = _square(at[s], place)
            if away >= nearest:
                continue
            if able[wanted + s] == UNKNOWN:
                able[wanted + s] = _shown(
                    view, f, c, k, lens, arms, still, image, at[s], bodies[:, s], registering,
                    brought[:, wanted + s], reach,
                )  # fmt: skip
            if able[wanted + s] > able[i]:
                nearest, best = away, s
        if best >= 0:
            able[i], able[wanted + best], moved = able[wanted + best], 0, True
            _move(spare, m, best, grid + i, spots)
    return moved


@njit(**LANE)
def _square(one: Array, other: Array) -> float:
    """Squared distance of two places [m²]."""
    across, up = one[0] - other[0], one[1] - other[1]
    return across * across + up * up


@njit(**STEADY)
def _look_at(
    view: Array,
    f: Array,
    c: Array,
    k: Array,
    lens: Array,
    arms: Array,
    still: Array,
    image: Array,
    first: int,
    last: int,
    spots: Spots,
) -> None:
    """What is seen of the lights at the places from `first` to before `last`."""
    maps, sight, ambient, body = spots.maps, spots.sight, spots.ambient, spots.body
    for p in range(first, last):
        x, y = spots.places_m[p, 0], spots.places_m[p, 1]
        ok, maps[p, 0], maps[p, 1], maps[p, 2], maps[p, 3], _, _ = local_map(
            view, f, k, lens[0], x, y, 0.0
        )
        inside = p == len(maps) - 1 and ok
        for e in range(len(arms)):
            sight[e, p] = 1
            if ok:
                sight[e, p], ambient[e, p] = _glimpse(
                    view, f, c, k, lens, arms[e], still[e], image[e], x, y, body[e, p]
                )
            inside = inside or sight[e, p] & 1 == 0
        spots.inside[p] = inside


@njit(**LANE)
def _glimpse(
    view: Array,
    f: Array,
    c: Array,
    k: Array,
    lens: Array,
    arm: Array,
    still: float,
    image: float,
    x: float,
    y: float,
    body: Array,
) -> tuple[int, float]:
    """Whether a light is seen at a place (0), out of view (1) or hidden (8); the room's light."""
    px, py, depth = seen(view, x + arm[0], y + arm[1], arm[2])
    shown, ambient = 1, 0.0
    if depth > 0.0 and px * px + py * py < lens[0] * lens[0]:
        u, v = pixel(f, c, k, px, py)
        one, circle = image / depth, lens[3] * (depth - lens[4]) / depth
        edge = lens[8] * math.sqrt(still + (one * one + circle * circle) / 16.0)
        ambient = max(lens[5] * (1.0 + lens[6] * (u / lens[1] - 0.5)), 0.0)
        if edge <= u <= lens[1] - edge and edge <= v <= lens[2] - edge:
            shown = 0
            if body[2] > 0.0 and hidden_by_column(
                view, body, lens[7], x + arm[0], y + arm[1], arm[2]
            ):
                shown = 8
    return shown, ambient


@njit(**STEADY)
def _shown(
    view: Array,
    f: Array,
    c: Array,
    k: Array,
    lens: Array,
    arms: Array,
    still: Array,
    image: Array,
    place: Array,
    bodies: Array,
    registering: Array,
    brought: Array,
    reach: bool,
) -> int:
    """How many lights that register are seen at a spare place and, if reach counts, brought."""
    found = 0
    for e in range(len(arms)):
        if registering[e] != 0.0 and (not reach or brought[e] != 0.0):
            shown, _ = _glimpse(
                view, f, c, k, lens, arms[e], still[e], image[e], place[0], place[1], bodies[e]
            )
            found += shown == 0
    return found


@njit(**STEADY)
def _able(
    sight: Array,
    grid: int,
    wanted: int,
    registering: Array,
    brought: Array,
    reach: bool,
    able: Array,
) -> int:
    """Note how many lights that register are seen at each beacon and, if reach counts, brought;
    at how many beacons any is."""
    found = 0
    for i in range(wanted):
        able[i] = 0
        for e in range(len(registering)):
            held = not reach or brought[e, i] != 0.0
            if sight[e, grid + i] == 0 and held and registering[e] != 0.0:
                able[i] += 1
        found += able[i] > 0
    return found


@njit(**STEADY)
def _move(spare: Spare, m: int, s: int, p: int, spots: Spots) -> None:
    """Put a spot at a spare place."""
    spots.places_m[p] = spare.places_m[m, s]
    spots.sides_m[:, p] = spare.places_m[m, s]
    spots.bends[:, p] = spare.bends[m, :, s]
    spots.body[:, p] = spare.body[m, :, s]
    spots.columns[:PLANE, :, p] = spare.plane[m, :, :, s]


@njit(**STEADY)
def _box(spots: Spots, box: Array) -> bool:
    """Middle and half sides of what is in view; whether any light is."""
    any_seen = False
    box[0] = box[2] = math.inf
    box[1] = box[3] = -math.inf
    for p in range(len(spots.inside)):
        if spots.inside[p]:
            x, y = spots.places_m[p, 0], spots.places_m[p, 1]
            box[0], box[1] = min(box[0], x), max(box[1], x)
            box[2], box[3] = min(box[2], y), max(box[3], y)
            for e in range(len(spots.sight)):
                any_seen = any_seen or spots.sight[e, p] & 1 == 0
    for i in (0, 2):
        middle, half = (box[i] + box[i + 1]) / 2.0, max((box[i + 1] - box[i]) / 2.0, 0.01)
        box[i], box[i + 1] = middle, half
    return any_seen
