"""One candidate after another, compiled: from a camera's pose to errors and lost places.

Dots are fitted at nodes (`swift_nodes`); all else is worked out at every place.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from rushlight.plan.swift_fit import (
    CELL,
    LANES,
    STEADY,
    F,
)
from rushlight.plan.swift_map import (
    PARAMETERS,
    PLANE,
    local_map,
    pixel,
    seen,
    view_of_pose,
)
from rushlight.plan.swift_nodes import (
    COV_XX,
    COV_YY,
    FACTS,
    LOG_HIGH,
    LOG_LOW,
    LOG_VARIANCE,
    MEAN_X,
    MEAN_Y,
    NODES,
    SHIFT2,
    UNEVEN,
    carry,
    extremes,
    fit_nodes,
    known,
    light_nodes,
    parabolas,
    part,
    streamed,
    suitable,
    too_wide,
)
from rushlight.plan.swift_register import (
    register,
)
from rushlight.plan.swift_rows import (
    Found,
    Limits,
    Rows,
)
from rushlight.plan.swift_sight import (
    hidden_by_column,
)

Array = NDArray[Any]


@njit(**STEADY)
def judge(
    begin: int,
    end: int,
    row: Array,
    poses: Array,
    exposures: Array,
    drives: Array,
    rows: Rows,
    table: Array,
    limits: Limits,
    grid: int,
    found: Found,
) -> None:
    """Judge the candidates from `begin` to `end`; `grid` places are judged, the rest are beacons
    and the middle."""
    emitters, places = rows.still_px2.shape[1], rows.places_m.shape[1]
    view = np.empty(13)
    sight = np.empty((emitters, places), np.uint8)
    ambient = np.empty((emitters, places))
    facts = np.empty((emitters, FACTS, NODES))
    at_place = np.empty((emitters, FACTS, places))
    cells, cell = np.empty((emitters * NODES, CELL), F), np.empty(CELL, F)
    parting = np.empty(emitters, np.uint8)
    box, shares = np.empty(4), np.empty((NODES, places))
    work = np.zeros((3, PARAMETERS, PARAMETERS))
    # Filled up to whole lanes, so that no place is worked on alone.
    columns = np.zeros((PARAMETERS, 2, _up(places)), F)
    told = np.empty((5, 2, _up(grid)), F)
    maps = np.empty((places, 4))
    last = -1
    for r in range(begin, end):
        m = row[r]
        if m != last:
            columns[:PLANE, :, :places], last = rows.plane[m], m
        view_of_pose(poses[r], rows.places_m[m, -1, 0], rows.places_m[m, -1, 1], view)
        found.state[r] = 0
        found.cause_m[r] = math.nan
        found.error_m[r] = math.nan
        found.exposure_s[r] = exposures[r]
        any_seen = look(view, rows, m, limits, sight, ambient, maps, box)
        if not any_seen:
            found.state[r] = 2
            if math.isnan(exposures[r]):
                found.exposure_s[r] = rows.exposure_s[m, 1]
            mark(found.lost[r], sight, rows, m, grid)
            continue
        if not light_nodes(view, rows, m, drives[r], box, cells, facts):
            found.state[r] = 1
            continue
        parabolas(rows, m, box, shares)
        carry(shares, facts, at_place, LOG_HIGH, LOG_LOW + 1)
        exposure = exposures[r]
        brightest, miss = extremes(view, rows, m, drives[r], sight, ambient, at_place, cell)
        if math.isnan(exposure):
            exposure = suitable(rows, m, limits, brightest)
        found.exposure_s[r] = exposure
        fit_nodes(view, rows, m, exposure, box, cells, table, facts, parting)
        if not known(facts, cells):
            found.state[r] = 1
            continue
        if miss > UNEVEN or too_wide(cells):
            found.state[r] = 3
        carry(shares, facts, at_place, 0, LOG_HIGH)
        streamed(rows, m, at_place)
        touches = register(view, rows, m, limits, sight, at_place, maps, grid, work, columns, told)
        spoil(rows, m, limits, exposure, sight, ambient, at_place, grid)
        for e in range(emitters):
            if parting[e] and part(rows, e, limits, shares, cells, sight, grid):
                found.state[r] = 3
        mark(found.lost[r], sight, rows, m, grid)
        if touches < limits.least_beacons:
            found.state[r] = 2
            for e in range(emitters):
                for p in range(grid):
                    found.lost[r, e, p] |= np.uint8(128)
            continue
        add_up(rows, m, sight, at_place, maps, grid, told, found, r)


@njit(**STEADY)
def _up(count: int) -> int:
    """Filled up to whole lanes."""
    return (count + LANES - 1) // LANES * LANES


@njit(**STEADY)
def look(
    view: Array,
    rows: Rows,
    m: int,
    limits: Limits,
    sight: Array,
    ambient: Array,
    maps: Array,
    box: Array,
) -> bool:
    """Which places each light is seen at, the room's light there, and the box round them all."""
    emitters, places = sight.shape
    f, c, k, limit = rows.focal_px[m], rows.middle_px[m], rows.k[m], rows.limit[m]
    width, height = rows.size_px[m, 0], rows.size_px[m, 1]
    focus = rows.lens_m[m, 1] / (view[12] - rows.lens_m[m, 0])
    box[0] = box[2] = math.inf
    box[1] = box[3] = -math.inf
    any_seen = False
    for p in range(places):
        x, y = rows.places_m[m, p, 0], rows.places_m[m, p, 1]
        ok, maps[p, 0], maps[p, 1], maps[p, 2], maps[p, 3], _, _ = local_map(
            view, f, k, limit, x, y, 0.0
        )
        inside = p == places - 1 and ok
        for e in range(emitters):
            sight[e, p] = 1
            arm = rows.arm_m[m, e]
            px, py, depth = seen(view, x + arm[0], y + arm[1], arm[2])
            if not (ok and depth > 0.0 and px * px + py * py < limit * limit):
                continue
            u, v = pixel(f, c, k, px, py)
            image, circle = rows.image_px_m[m, e] / depth, focus * (depth - view[12]) / depth
            wide = rows.still_px2[m, e] + (image * image + circle * circle) / 16.0
            edge = limits.edge_sigmas * math.sqrt(wide)
            gradient = 1.0 + rows.ambient[m, 1] * (u / (width - 1.0) - 0.5)
            ambient[e, p] = max(rows.ambient[m, 0] * gradient, 0.0)
            if edge <= u <= width - 1.0 - edge and edge <= v <= height - 1.0 - edge:
                sight[e, p] = 0
                any_seen = inside = True
                if rows.body[m, e, p, 2] > 0.0 and hidden_by_column(
                    view, rows.body[m, e, p], rows.floor_m[m], x + arm[0], y + arm[1], arm[2]
                ):
                    sight[e, p] = 8
        if inside:
            box[0], box[1] = min(box[0], x), max(box[1], x)
            box[2], box[3] = min(box[2], y), max(box[3], y)
    if not any_seen:
        return False
    for i in (0, 2):
        middle, half = (box[i] + box[i + 1]) / 2.0, max((box[i + 1] - box[i]) / 2.0, 0.01)
        box[i], box[i + 1] = middle, half
    return True


@njit(**STEADY)
def spoil(
    rows: Rows,
    m: int,
    limits: Limits,
    exposure: float,
    sight: Array,
    ambient: Array,
    at_place: Array,
    grid: int,
) -> None:
    """Mark places whose dots may saturate or be too weak."""
    for e in range(sight.shape[0]):
        for p in range(grid):
            if sight[e, p] & 1:
                continue
            background = ambient[e, p] * exposure
            high = math.exp(at_place[e, LOG_HIGH, p]) * exposure
            low = math.exp(at_place[e, LOG_LOW, p]) * exposure
            if (high + background) >= rows.full_e[m]:
                sight[e, p] |= np.uint8(2)
            noise = math.sqrt(rows.floor_e2[m] + background)
            shift = math.sqrt(max(at_place[e, SHIFT2, p], 0.0))
            if not (low / noise >= limits.faintest and shift <= limits.stream_px):
                sight[e, p] |= np.uint8(4)


@njit(**STEADY)
def mark(lost: Array, sight: Array, rows: Rows, m: int, grid: int) -> None:
    """Write the marks of the places down, with those that nobody reaches."""
    for e in range(sight.shape[0]):
        for p in range(grid):
            lost[e, p] = sight[e, p]
            if rows.reached[m, e, p] == 0.0:
                lost[e, p] |= np.uint8(64)


@njit(**STEADY)
def add_up(
    rows: Rows,
    m: int,
    sight: Array,
    at_place: Array,
    maps: Array,
    grid: int,
    told: Array,
    found: Found,
    r: int,
) -> None:
    """Errors of all causes at every place, and their means over places in view."""
    total = np.zeros(6)
    count = 0
    for e in range(sight.shape[0]):
        for p in range(grid):
            t, j = at_place[e], maps[p]
            square = j[0] ** 2 + j[1] ** 2 + j[2] ** 2 + j[3] ** 2
            bx, by = t[MEAN_X, p] - told[3, 0, p], t[MEAN_Y, p] - told[3, 1, p]
            centre = square * (math.exp(t[LOG_VARIANCE, p]) + t[SHIFT2, p])
            touch = told[0, 0, p] + told[0, 1, p]
            lens = told[1, 0, p] + told[1, 1, p]
            bends = told[2, 0, p] + told[2, 1, p]
            tip = t[COV_XX, p] + t[COV_YY, p] + bx * bx + by * by
            error = math.sqrt(centre + touch + lens + bends + tip + rows.pitch_m2[m])
            if sight[e, p] & 1:
                continue
            found.error_m[r, e, p] = error
            if not error <= rows.goal_m[m]:
                found.lost[r, e, p] |= np.uint8(32)
            if math.isnan(error):
                continue
            count += 1
            total[0] += centre
            total[1] += touch
            total[2] += lens
            total[3] += bends
            total[4] += tip
            total[5] += rows.pitch_m2[m]
    for i in range(6):
        found.cause_m[r, i] = math.sqrt(total[i] / count) if count else math.nan
