"""Geometry of one camera before one wall, for the swift evaluation's kernels.

A view is thirteen numbers: the camera's axes as seen in the surface frame (x, y, z rows of the turn
into the camera), its place, and the depth that is in focus.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from rushlight.plan.swift_fit import (
    ASIDE_X,
    ASIDE_Y,
    LANE,
    LANES,
    PIXEL_PX2,
    STEADY,
    ZERO,
    F,
    fading,
    logarithm,
)

Array = NDArray[Any]

PARAMETERS = 20
PLANE, BENDS = 8, 7
_NOWHERE = (False, math.nan, math.nan, math.nan, math.nan, math.nan, math.nan)


@njit(**STEADY)
def view_of_pose(pose: Array, middle_x: float, middle_y: float, view: Array) -> None:
    """Fill in a view (13,) from a pose (4, 4) and the middle of the surface [m]."""
    for i in range(3):
        for j in range(3):
            view[3 * i + j] = pose[j, i]
        view[9 + i] = pose[i, 3]
    ux, uy, uz = middle_x - view[9], middle_y - view[10], -view[11]
    view[12] = view[6] * ux + view[7] * uy + view[8] * uz


@njit(**LANE)
def seen(view: Array, x: float, y: float, z: float) -> tuple[float, float, float]:
    """Normalised coordinates and depth of a point; the coordinates mean nothing at depth ≤ 0."""
    ux, uy, uz = x - view[9], y - view[10], z - view[11]
    depth = view[6] * ux + view[7] * uy + view[8] * uz
    one = 1.0 / depth
    across = (view[0] * ux + view[1] * uy + view[2] * uz) * one
    down = (view[3] * ux + view[4] * uy + view[5] * uz) * one
    return across, down, depth


@njit(**LANE)
def pixel(f: Array, c: Array, k: Array, x: float, y: float) -> tuple[float, float]:
    """The pixel of normalised coordinates, by the lens of `rushlight.physics.geometry.lens`."""
    r2 = x * x + y * y
    radial = 1.0 + r2 * (k[0] + r2 * (k[1] + r2 * k[4]))
    u = x * radial + 2.0 * k[2] * x * y + k[3] * (r2 + 2.0 * x * x)
    v = y * radial + k[2] * (r2 + 2.0 * y * y) + 2.0 * k[3] * x * y
    return f[0] * u + f[1] * v + c[0], f[3] * u + f[2] * v + c[1]


@njit(**STEADY)
def local_map(
    view: Array, f: Array, k: Array, limit: float, x: float, y: float, z: float
) -> tuple[bool, float, float, float, float, float, float]:
    """Metres a pixel at a point of a plane parallel to the surface (`surface_from_px_jacobian`).

    Returns
    -------
    whether the camera sees it; the matrix row by row; the normalised coordinates
    """
    px, py, depth = seen(view, x, y, z)
    if not (depth > 0.0 and px * px + py * py < limit * limit):
        return _NOWHERE
    one = 1.0 / depth
    # d(normalised)/d(surface)
    a, b = (view[0] - px * view[6]) * one, (view[1] - px * view[7]) * one
    c, d = (view[3] - py * view[6]) * one, (view[4] - py * view[7]) * one
    r2 = px * px + py * py
    radial = 1.0 + r2 * (k[0] + r2 * (k[1] + r2 * k[4]))
    slope = 2.0 * (k[0] + r2 * (2.0 * k[1] + r2 * 3.0 * k[4]))
    cross = slope * px * py + 2.0 * k[2] * px + 2.0 * k[3] * py
    along_x = radial + slope * px * px + 2.0 * k[2] * py + 6.0 * k[3] * px
    along_y = radial + slope * py * py + 6.0 * k[2] * py + 2.0 * k[3] * px
    da, db = along_x * a + cross * c, along_x * b + cross * d
    dc, dd = cross * a + along_y * c, cross * b + along_y * d
    ua, ub = f[0] * da + f[1] * dc, f[0] * db + f[1] * dd
    uc, ud = f[3] * da + f[2] * dc, f[3] * db + f[2] * dd
    det = ua * ud - ub * uc
    size = max(max(abs(ua), abs(ub)), max(abs(uc), abs(ud)))
    if not abs(det) > 1e-13 * size * size:
        return _NOWHERE
    one = 1.0 / det
    return True, ud * one, -ub * one, -uc * one, ua * one, px, py


@njit(**STEADY)
def design(
    view: Array,
    f: Array,
    k: Array,
    limit: float,
    spread: Array,
    sides: Array,
    bends: Array,
    height: float,
    columns: Array,
) -> None:
    """Fill in what depends on the view of the columns (20, 2, P) of the design at all places.

    They are those of `rushlight.physics.surface_model.map_design`, but the plane's eight first,
    which stay as they are, the bends next and the lens last; the lens's are zero where the camera
    sees nothing.
    """
    below = 1.0 / (view[11] - height)
    places = sides.shape[1]
    xs, ys = sides[0], sides[1]
    for i in range(BENDS):
        bend, first, second = bends[i], columns[PLANE + i, 0], columns[PLANE + i, 1]
        for p in range(places):
            first[p] = (xs[p] - view[9]) * below * bend[p]
            second[p] = (ys[p] - view[10]) * below * bend[p]
    lens = columns[PLANE + BENDS :]
    for p in range(places):
        ux, uy, uz = xs[p] - view[9], ys[p] - view[10], height - view[11]
        depth = view[6] * ux + view[7] * uy + view[8] * uz
        ahead = depth > 0.0
        one = 1.0 / (depth if ahead else 1.0)
        px = (view[0] * ux + view[1] * uy + view[2] * uz) * one
        py = (view[3] * ux + view[4] * uy + view[5] * uz) * one
        a, b = (view[0] - px * view[6]) * one, (view[1] - px * view[7]) * one
        c, d = (view[3] - py * view[6]) * one, (view[4] - py * view[7]) * one
        xx, yy, r2 = px * px, py * py, px * px + py * py
        radial = 1.0 + r2 * (k[0] + r2 * (k[1] + r2 * k[4]))
        slope = 2.0 * (k[0] + r2 * (2.0 * k[1] + r2 * 3.0 * k[4]))
        cross = slope * px * py + 2.0 * k[2] * px + 2.0 * k[3] * py
        along_x = radial + slope * xx + 2.0 * k[2] * py + 6.0 * k[3] * px
        along_y = radial + slope * yy + 6.0 * k[2] * py + 2.0 * k[3] * px
        da, db = along_x * a + cross * c, along_x * b + cross * d
        dc, dd = cross * a + along_y * c, cross * b + along_y * d
        ua, ub = f[0] * da + f[1] * dc, f[0] * db + f[1] * dd
        uc, ud = f[3] * da + f[2] * dc, f[3] * db + f[2] * dd
        det = ua * ud - ub * uc
        size = max(max(abs(ua), abs(ub)), max(abs(uc), abs(ud)))
        ok = ahead and r2 < limit * limit and abs(det) > 1e-13 * size * size
        one = 1.0 / det if ok else 0.0
        # What a step in normalised coordinates moves on the surface [m].
        a, b = (ud * f[0] - ub * f[3]) * one, (ud * f[1] - ub * f[2]) * one
        c, d = (ua * f[3] - uc * f[0]) * one, (ua * f[2] - uc * f[1]) * one
        x1, y1 = px * r2, py * r2
        x2, y2, both = x1 * r2, y1 * r2, 2.0 * px * py
        x4, y4, x5, y5 = r2 + 2.0 * xx, r2 + 2.0 * yy, x2 * r2, y2 * r2
        tx, ty = x5 * spread[4, 4], y5 * spread[4, 4]
        lens[4, 0, p], lens[4, 1, p] = a * tx + b * ty, c * tx + d * ty
        tx, ty = x4 * spread[3, 3] + x5 * spread[4, 3], both * spread[3, 3] + y5 * spread[4, 3]
        lens[3, 0, p], lens[3, 1, p] = a * tx + b * ty, c * tx + d * ty
        tx = both * spread[2, 2] + x4 * spread[3, 2] + x5 * spread[4, 2]
        ty = y4 * spread[2, 2] + both * spread[3, 2] + y5 * spread[4, 2]
        lens[2, 0, p], lens[2, 1, p] = a * tx + b * ty, c * tx + d * ty
        tx = x2 * spread[1, 1] + both * spread[2, 1] + x4 * spread[3, 1] + x5 * spread[4, 1]
        ty = y2 * spread[1, 1] + y4 * spread[2, 1] + both * spread[3, 1] + y5 * spread[4, 1]
        lens[1, 0, p], lens[1, 1, p] = a * tx + b * ty, c * tx + d * ty
        tx = x1 * spread[0, 0] + x2 * spread[1, 0] + both * spread[2, 0]
        ty = y1 * spread[0, 0] + y2 * spread[1, 0] + y4 * spread[2, 0]
        tx += x4 * spread[3, 0] + x5 * spread[4, 0]
        ty += both * spread[3, 0] + y5 * spread[4, 0]
        lens[0, 0, p], lens[0, 1, p] = a * tx + b * ty, c * tx + d * ty


@njit(**STEADY)
def lights(
    w: Array,
    view: Array,
    f: Array,
    c: Array,
    k: Array,
    limit: float,
    ways: Array,
    beam: Array,
    lens: Array,
    still_px2: float,
    image_px_m: float,
    rate: float,
    x: float,
    y: float,
) -> tuple[bool, float, float, float, float]:
    """Fill in the blobs of a cell for a tip at (x, y) (`physics.touch_lights.lights_seen`).

    Light is in electrons a second. Returns whether the camera sees all of it, and the local map.
    """
    ok, a, b, cc, d, _, _ = local_map(view, f, k, limit, x, y, 0.0)
    if not ok:
        return False, a, b, cc, d
    one = 1.0 / (a * d - b * cc)
    xx, yy, xy = (b * b + d * d) * one * one, (a * a + cc * cc) * one * one, 0.0
    xy = -(a * b + cc * d) * one * one
    cosine = view[11] / math.sqrt((x - view[9]) ** 2 + (y - view[10]) ** 2 + view[11] ** 2)
    focus = lens[1] / (view[12] - lens[0])
    # Pixels of the emitter, in double precision as they may be large; then how far off the axis and
    # how near any blob comes, lane by lane, so that lanes are worked on side by side.
    own = np.empty(4 * LANES)
    for n in range(LANES):
        ex, ey, ez = x + ways[n], y + ways[LANES + n], ways[2 * LANES + n]
        ux, uy, uz = view[9] - ex, view[10] - ey, view[11] - ez
        along = ways[3 * LANES + n] * ux + ways[4 * LANES + n] * uy + ways[5 * LANES + n] * uz
        w[5 * LANES + n] = along / math.sqrt(ux * ux + uy * uy + uz * uz)
        shift = ez / (view[11] - ez)
        w[ASIDE_X + n] = ways[n] - shift * ux
        w[ASIDE_Y + n] = ways[LANES + n] - shift * uy
    lobe, exponent, even = F(beam[0]), F(beam[1]), F(beam[2])
    for n in range(LANES):
        along = w[5 * LANES + n]
        fades = fading(max(-exponent * logarithm(max(along, F(1e-30))), ZERO))
        w[5 * LANES + n] = even + (lobe * fades if along > ZERO else ZERO)
        w[11 * LANES + n] = cosine * ways[8 * LANES + n]
        w[17 * LANES + n] = cosine * ways[10 * LANES + n]
    for i in range(3):
        low = 6 * i * LANES
        spread = 9 * LANES if i == 1 else 11 * LANES
        on_wall = 1.0 if i > 0 else 0.0
        out = 1.0 if i == 1 else 0.0
        size = image_px_m if i == 0 else 0.0
        for n in range(LANES):
            bx = x + ways[n] + out * ways[6 * LANES + n]
            by = y + ways[LANES + n] + out * ways[7 * LANES + n]
            bz = (1.0 - on_wall) * ways[2 * LANES + n]
            px, py, depth = seen(view, bx, by, bz)
            u, v = pixel(f, c, k, px, py)
            own[n] = u if i == 0 else own[n]
            own[LANES + n] = v if i == 0 else own[LANES + n]
            w[low + n], w[low + LANES + n] = u - own[n], v - own[LANES + n]
            ux, uy, uz = bx - view[9], by - view[10], bz - view[11]
            far2 = ux * ux + uy * uy + uz * uz
            w[low + 5 * LANES + n] *= rate * depth / (far2 * math.sqrt(far2))
            turn = 1.0 / depth
            image, circle = size * turn, focus * (depth - view[12]) * turn
            least = still_px2 + (image * image + circle * circle) / 16.0 + PIXEL_PX2
            wall = on_wall * ways[spread + n] * ways[spread + n]
            w[low + 2 * LANES + n] = wall * xx + least
            w[low + 3 * LANES + n] = wall * yy + least
            w[low + 4 * LANES + n] = wall * xy
            r2 = px * px + py * py
            first = i == 0
            own[2 * LANES + n] = r2 if first or r2 > own[2 * LANES + n] else own[2 * LANES + n]
            own[3 * LANES + n] = (
                depth if first or depth < own[3 * LANES + n] else own[3 * LANES + n]
            )
    worst, nearest = 0.0, math.inf
    for n in range(LANES):
        worst, nearest = max(worst, own[2 * LANES + n]), min(nearest, own[3 * LANES + n])
    return nearest > 0.0 and worst < limit * limit and view[12] > lens[0], a, b, cc, d
