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
    Spare,
)
from rushlight.plan.swift_spots import (
    lay,
    look,
    spots_for,
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
    spare: Spare,
    grid: int,
    found: Found,
) -> None:
    """Judge the candidates from `begin` to `end`; `grid` places are judged, the rest are beacons
    and the middle."""
    emitters, places = rows.still_px2.shape[1], rows.places_m.shape[1]
    view = np.empty(13)
    facts = np.empty((emitters, FACTS, NODES))
    at_place = np.empty((emitters, FACTS, places))
    cells, cell = np.empty((emitters * NODES, CELL), F), np.empty(CELL, F)
    parting = np.empty(emitters, np.uint8)
    box, shares = np.empty(4), np.empty((NODES, places))
    work = np.zeros((3, PARAMETERS, PARAMETERS))
    told = np.empty((5, 2, (grid + LANES - 1) // LANES * LANES), F)
    spots = spots_for(rows, spare)
    sight, ambient, maps, columns = spots.sight, spots.ambient, spots.maps, spots.columns
    laid = -1
    for r in range(begin, end):
        m = row[r]
        if m != laid:
            lay(rows, m, spots)
        view_of_pose(poses[r], rows.places_m[m, -1, 0], rows.places_m[m, -1, 1], view)
        found.state[r] = 0
        found.cause_m[r] = math.nan
        found.error_m[r] = math.nan
        found.exposure_s[r] = exposures[r]
        any_seen, moved = look(view, rows, m, limits, spare, grid, spots, box)
        laid = -1 if moved else m
        if not any_seen:
            found.state[r] = 2
            if math.isnan(exposures[r]):
                found.exposure_s[r] = rows.exposure_s[m, 1]
            mark(found.lost[r], sight, rows, m, grid)
            continue
        if not light_nodes(view, rows, m, drives[r], box, cells, facts):
            found.state[r] = 1
            continue
        parabolas(spots.sides_m, box, shares)
        carry(shares, facts, at_place, LOG_HIGH, LOG_LOW + 1)
        exposure = exposures[r]
        brightest, miss = extremes(
            view, rows, m, drives[r], spots.places_m, sight, ambient, at_place, cell
        )
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
        touches = register(
            view,
            rows,
            m,
            limits,
            spots.sides_m,
            spots.bends,
            sight,
            at_place,
            maps,
            grid,
            work,
            columns,
            told,
        )
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
