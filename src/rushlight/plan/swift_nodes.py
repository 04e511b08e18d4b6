"""Dots at nine nodes of what the camera sees, and what becomes of them at the places between.

Where the full evaluation fits every dot at every place, this one fits at nodes of the part of the
surface that the camera sees, for every way of holding, and carries the outcome to the places by
parabolas: it changes slowly over a surface.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from rushlight.plan.swift_dots import (
    doubtful,
    exact_peak,
    misfit,
    start,
)
from rushlight.plan.swift_fit import (
    ASIDE_X,
    ASIDE_Y,
    LANES,
    MISFIT,
    PEAK,
    PIXEL_PX2,
    SPOT_V,
    SPOT_X,
    SPOT_Y,
    STEADY,
    VARIANCE,
    ZERO,
    F,
    afresh,
    follow,
    logarithm,
    settle,
    variances_of_centres,
    widest,
)
from rushlight.plan.swift_map import (
    lights,
    local_map,
    pixel,
    seen,
)
from rushlight.plan.swift_rows import (
    Limits,
    Rows,
)
from rushlight.plan.swift_sight import (
    stream_shift,
)

Array = NDArray[Any]

NODES = 9
ASIDE = math.cos(math.pi / 6.0)
"""Nodes at Chebyshev's places: parabolas through them err least over the whole side."""
FIRST_STEPS, NEXT_STEPS, ALL_STEPS = 6, 3, 8
"""Steps of the fit at the first node, and at the others, which begin where a neighbour ended; where
a spot is lost by that, as many as the full evaluation takes, from its own start."""
DOUBTFUL = 0.45
"""Miss over peak from which a spot's misfit is looked at (by trial: below it none exceeds 0.44)."""
REFIT = 0.7
"""Misfit from which a node is fitted from its own start (by trial on 160 poses each of a rig with
one light and with two: against doing so from 0.4, errors over a rig differ by up to 0.2 %)."""
UNEVEN = 0.05
"""Part by which parabolas may miss the brightest and the weakest dot (our own choice)."""
WIDEST_PX2 = 2.5**2
"""Variance of spots from which the window cuts so much off that the closed forms err (by trial)."""
(MEAN_X, MEAN_Y, COV_XX, COV_XY, COV_YY, LOG_VARIANCE, SHIFT2, LOG_HIGH, LOG_LOW) = range(9)
FACTS = 9
"""What is carried from the nodes to the places: mean [m] and covariance [m²] of where touches seem
to be XX of the brightest and of the weakest way's peak [e⁻/s]."""


@njit(**STEADY)
def light_place(
    w: Array,
    view: Array,
    f: Array,
    c: Array,
    k: Array,
    lens: Array,
    ways: Array,
    beam: Array,
    light: Array,
    x: float,
    y: float,
) -> bool:
    """Fill a cell for a tip at (x, y) and begin its fits; False where that is out of sight.

    Parameters
    ----------
    lens
        (3,) where the lens model ends, and the row's `lens_m`.
    ways, beam, light
        Of the emitter: `Rows.ways` laid in a row, `Rows.beam`, and (3,) its blur [px²], its image
        [px m] and its rate times the drive.
    """
    ok, _, _, _, _ = lights(
        w, view, f, c, k, lens[0], ways, beam, lens[1:], light[0], light[1], light[2], x, y
    )
    if ok:
        start(w)
    return ok


@njit(**STEADY)
def lens_of(rows: Rows, m: int) -> Array:
    """Where a row's lens model ends, and its `lens_m`: (3,)."""
    lens = np.empty(3)
    lens[0], lens[1], lens[2] = rows.limit[m], rows.lens_m[m, 0], rows.lens_m[m, 1]
    return lens


@njit(**STEADY)
def light_of(rows: Rows, m: int, e: int, drive: float) -> Array:
    """An emitter's blur [px²], its image [px m] and its rate times the drive: (3,)."""
    light = np.empty(3)
    light[0], light[1], light[2] = (
        rows.still_px2[m, e],
        rows.image_px_m[m, e],
        rows.rate[m, e] * drive,
    )
    return light


@njit(**STEADY)
def light_nodes(
    view: Array, rows: Rows, m: int, drive: Array, box: Array, cells: Array, facts: Array
) -> bool:
    """The lights at the nodes; False where a node is out of the camera's sight."""
    emitters = rows.still_px2.shape[1]
    f, c, k, lens = rows.focal_px[m], rows.middle_px[m], rows.k[m], lens_of(rows, m)
    for e in range(emitters):
        ways, beam, light = rows.ways[m, e].ravel(), rows.beam[m, e], light_of(rows, m, e, drive[e])
        for node in range(NODES):
            w = cells[e * NODES + node]
            x = box[0] + box[1] * ASIDE * (node % 3 - 1)
            y = box[2] + box[3] * ASIDE * (node // 3 - 1)
            if not light_place(w, view, f, c, k, lens, ways, beam, light, x, y):
                return False
            high, low = 0.0, math.inf
            for n in range(LANES):
                high, low = max(high, w[PEAK + n]), min(low, w[PEAK + n])
            facts[e, LOG_HIGH, node] = math.log(max(high, 1e-300))
            facts[e, LOG_LOW, node] = math.log(max(low, 1e-300))
    return True


@njit(**STEADY)
def carry(shares: Array, facts: Array, at_place: Array, first: int, last: int) -> None:
    """Carry facts from the nodes to all places, by the shares of the nodes."""
    emitters, places = at_place.shape[0], at_place.shape[2]
    s0, s1, s2, s3, s4 = shares[0], shares[1], shares[2], shares[3], shares[4]
    s5, s6, s7, s8 = shares[5], shares[6], shares[7], shares[8]
    for e in range(emitters):
        for q in range(first, last):
            t, found = facts[e, q], at_place[e, q]
            t0, t1, t2, t3, t4, t5, t6, t7, t8 = (
                t[0],
                t[1],
                t[2],
                t[3],
                t[4],
                t[5],
                t[6],
                t[7],
                t[8],
            )
            for p in range(places):
                below = t0 * s0[p] + t1 * s1[p] + t2 * s2[p]
                across = t3 * s3[p] + t4 * s4[p] + t5 * s5[p]
                above = t6 * s6[p] + t7 * s7[p] + t8 * s8[p]
                found[p] = below + across + above


@njit(**STEADY)
def streamed(rows: Rows, m: int, at_place: Array) -> None:
    """Turn the carried logarithm of the stream's shift squared to the square itself."""
    coded = rows.stream[m, 0] > 0.0
    for e in range(at_place.shape[0]):
        for p in range(at_place.shape[2]):
            at_place[e, SHIFT2, p] = math.exp(at_place[e, SHIFT2, p]) if coded else 0.0


@njit(**STEADY)
def parabolas(sides_m: Array, box: Array, shares: Array) -> None:
    """Shares (9, P) of the nodes in each place (2, P), by parabolas across and up."""
    xs, ys = sides_m[0], sides_m[1]
    x_one, y_one = 1.0 / (box[1] * ASIDE), 1.0 / (box[3] * ASIDE)
    for p in range(shares.shape[1]):
        # A place out of sight may lie far outside: there the nearest edge must do.
        u = min(max((xs[p] - box[0]) * x_one, -1.2), 1.2)
        v = min(max((ys[p] - box[2]) * y_one, -1.2), 1.2)
        a0, a1, a2 = 0.5 * u * (u - 1.0), 1.0 - u * u, 0.5 * u * (u + 1.0)
        b0, b1, b2 = 0.5 * v * (v - 1.0), 1.0 - v * v, 0.5 * v * (v + 1.0)
        shares[0, p], shares[1, p], shares[2, p] = b0 * a0, b0 * a1, b0 * a2
        shares[3, p], shares[4, p], shares[5, p] = b1 * a0, b1 * a1, b1 * a2
        shares[6, p], shares[7, p], shares[8, p] = b2 * a0, b2 * a1, b2 * a2


@njit(**STEADY)
def extremes(
    view: Array,
    rows: Rows,
    m: int,
    drive: Array,
    places_m: Array,
    sight: Array,
    ambient: Array,
    at_place: Array,
    cell: Array,
) -> tuple[float, float]:
    """The brightest pixel of all [e⁻/s], and by what part the parabolas miss the extremes.

    The places where each light is told to be brightest and weakest are worked out anew. Exposures
    are rounded down to two digits and so jump by as much as a tenth: the brightest pixel is met
    exactly, so that both evaluations choose the same.
    """
    emitters, places = sight.shape
    brightest, miss = 0.0, 0.0
    f, c, k, lens = rows.focal_px[m], rows.middle_px[m], rows.k[m], lens_of(rows, m)
    for e in range(emitters):
        ways, beam, light = rows.ways[m, e].ravel(), rows.beam[m, e], light_of(rows, m, e, drive[e])
        high, low, at_high, at_low = 0.0, math.inf, -1, -1
        for p in range(places):
            if sight[e, p] & 1 == 0:
                bright = math.exp(at_place[e, LOG_HIGH, p]) + ambient[e, p]
                if bright > high:
                    high, at_high = bright, p
                if at_place[e, LOG_LOW, p] < low:
                    low, at_low = at_place[e, LOG_LOW, p], p
        for i in range(2):
            p = at_high if i == 0 else at_low
            if p < 0:
                continue
            x, y = places_m[p, 0], places_m[p, 1]
            if not light_place(cell, view, f, c, k, lens, ways, beam, light, x, y):
                miss = math.inf
                continue
            if i == 0:
                exact = exact_peak(cell) + ambient[e, p]
                brightest = max(brightest, exact)
                miss = max(miss, abs(exact / high - 1.0))
                continue
            weakest = math.inf
            for n in range(LANES):
                weakest = min(weakest, cell[PEAK + n])
            miss = max(miss, abs(weakest / math.exp(low) - 1.0))
    return brightest, miss


@njit(**STEADY)
def suitable(rows: Rows, m: int, limits: Limits, brightest: float) -> float:
    """The exposure [s] for the brightest pixel, as `rushlight.plan.light.suitable_exposure`."""
    wanted = min(limits.fullest * rows.full_e[m] / brightest, rows.exposure_s[m, 1])
    digits = 10.0 ** (math.floor(math.log10(wanted)) - 1.0)
    whole = math.floor(wanted / digits * (1.0 + 1e-12)) * digits
    return max(math.floor(whole * 1e9 + 0.5) / 1e9, rows.exposure_s[m, 0])


@njit(**STEADY)
def fit_nodes(
    view: Array,
    rows: Rows,
    m: int,
    exposure: float,
    box: Array,
    cells: Array,
    table: Array,
    facts: Array,
    parting: Array,
) -> None:
    """Fit the dots at the nodes and gather mean and spread over the ways of holding."""
    emitters = rows.still_px2.shape[1]
    limit, floor = rows.limit[m], rows.floor_e2[m]
    # Taken out of the rows once: handing all of them to a function costs more than some do.
    focal, middle, k = rows.focal_px[m], rows.middle_px[m], rows.k[m]
    ambient, across = rows.ambient[m], rows.size_px[m, 0] - 1.0
    weights, stream = rows.weights, rows.stream[m]
    for e in range(emitters):
        before, worst = 0, 0.0
        for turn in range(NODES):
            # To and fro, so that each node follows a neighbour; the first is a corner.
            node = turn if (turn // 3) % 2 == 0 else 3 * (turn // 3) + 2 - turn % 3
            w = cells[e * NODES + node]
            for i in range(3):
                for n in range(LANES):
                    w[(6 * i + 5) * LANES + n] *= F(exposure)
            background = exposure * _background(view, focal, middle, k, ambient, across, box, node)
            follow(w, cells[e * NODES + before], exposure, turn == 0)
            settle(w, background, floor, table, FIRST_STEPS if turn == 0 else NEXT_STEPS)
            worst = max(worst, doubtful(w, exposure))
            before = node
        parting[e] = worst > DOUBTFUL
        for node in range(NODES):
            w = cells[e * NODES + node]
            background = exposure * _background(view, focal, middle, k, ambient, across, box, node)
            if parting[e] and not misfit(w) <= REFIT:
                afresh(w)
                settle(w, background, floor, table, ALL_STEPS)
                misfit(w)
            x = box[0] + box[1] * ASIDE * (node % 3 - 1)
            y = box[2] + box[3] * ASIDE * (node // 3 - 1)
            _, a, b, c, d, _, _ = local_map(view, focal, k, limit, x, y, 0.0)
            gather(
                w,
                weights,
                stream,
                rows.step_e[m],
                floor,
                a,
                b,
                c,
                d,
                background,
                exposure,
                table,
                facts[e],
                node,
            )


@njit(**STEADY)
def _background(
    view: Array,
    f: Array,
    c: Array,
    k: Array,
    ambient: Array,
    across: float,
    box: Array,
    node: int,
) -> float:
    """The room's light at a node [e⁻/s]."""
    x = box[0] + box[1] * ASIDE * (node % 3 - 1)
    y = box[2] + box[3] * ASIDE * (node // 3 - 1)
    px, py, _ = seen(view, x, y, 0.0)
    u, _ = pixel(f, c, k, px, py)
    return max(ambient[0] * (1.0 + ambient[1] * (u / across - 0.5)), 0.0)


@njit(**STEADY)
def known(facts: Array, cells: Array) -> bool:
    """Whether the fits ended in numbers at every node of every light that sends any light at all.

    A fit that ends in none would make the registration seem to fail, or drop the light's places
    from every mean. Of a dark light nobody can tell a place: it stays lost as weak.
    """
    for e in range(facts.shape[0]):
        finite = True
        for q in range(LOG_HIGH):
            for node in range(NODES):
                finite = finite and math.isfinite(facts[e, q, node])
        if not finite and _shines(cells[e * NODES : (e + 1) * NODES]):
            return False
    return True


@njit(**STEADY)
def _shines(cells: Array) -> bool:
    """Whether some light comes from every way of holding at every node."""
    for node in range(NODES):
        w = cells[node]
        for n in range(LANES):
            if not w[5 * LANES + n] + w[11 * LANES + n] + w[17 * LANES + n] > 0.0:
                return False
    return True


@njit(**STEADY)
def too_wide(cells: Array) -> bool:
    """Whether any spot is too wide for its window."""
    found = 0.0
    for i in range(cells.shape[0]):
        found = max(found, widest(cells[i]))
    return found > WIDEST_PX2


@njit(**STEADY)
def gather(
    w: Array,
    weights: Array,
    stream: Array,
    step_e: float,
    floor_e2: float,
    a: float,
    b: float,
    c: float,
    d: float,
    background: float,
    exposure: float,
    table: Array,
    facts: Array,
    node: int,
) -> None:
    """Mean and covariance of the touches, the centre's variance and the stream's shift."""
    mx, my, variance, shift2 = 0.0, 0.0, 0.0, 0.0
    variances_of_centres(w, floor_e2 + background, table)
    for n in range(LANES):
        x, y = w[SPOT_X + n], w[SPOT_Y + n]
        w[ASIDE_X + n] += a * x + b * y
        w[ASIDE_Y + n] += c * x + d * y
        share = weights[n]
        mx += share * w[ASIDE_X + n]
        my += share * w[ASIDE_Y + n]
        variance += share * w[VARIANCE + n] if share > 0.0 else 0.0
    if stream[0] > 0.0:
        for n in range(LANES):
            peak = w[PEAK + n] * exposure / step_e
            width = math.sqrt(w[SPOT_V + n] - PIXEL_PX2)
            shift = stream_shift(stream, width, peak)
            shift2 += weights[n] * shift * shift if weights[n] > 0.0 else 0.0
    xx, xy, yy = 0.0, 0.0, 0.0
    for n in range(LANES):
        ux, uy = w[ASIDE_X + n] - mx, w[ASIDE_Y + n] - my
        xx += weights[n] * ux * ux
        xy += weights[n] * ux * uy
        yy += weights[n] * uy * uy
    facts[MEAN_X, node], facts[MEAN_Y, node] = mx, my
    facts[COV_XX, node], facts[COV_XY, node], facts[COV_YY, node] = xx, xy, yy
    facts[LOG_VARIANCE, node], facts[SHIFT2, node] = math.log(variance), math.log(shift2 + 1e-30)


@njit(**STEADY)
def part(
    rows: Rows, e: int, limits: Limits, shares: Array, cells: Array, sight: Array, grid: int
) -> bool:
    """Mark places where a light may show as two dots; whether there are any in view."""
    logs = np.empty((NODES, LANES), F)
    one = F(1.0 / limits.misfit)
    for node in range(NODES):
        w, row = cells[e * NODES + node], logs[node]
        for n in range(LANES):
            row[n] = logarithm(max(w[MISFIT + n] * one, F(1e-30)))
    found = False
    over, of_node = np.empty(LANES, F), np.empty(NODES, F)
    for p in range(grid):
        if sight[e, p] & 1:
            continue
        for node in range(NODES):
            of_node[node] = shares[node, p]
        for n in range(LANES):
            over[n] = ZERO
        for node in range(NODES):
            share, row = of_node[node], logs[node]
            for n in range(LANES):
                over[n] += share * row[n]
        parted = 0.0
        for n in range(LANES):
            parted += rows.weights[n] if over[n] > ZERO else 0.0
        if parted > limits.parted:
            sight[e, p] |= np.uint8(16)
            found = True
    return found
