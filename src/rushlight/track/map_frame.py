"""The dots of a frame to the surface in one go: `physics.surface_map.map_px`, compiled."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from rushlight.see.scan import JIT

NEWTON_STEPS = 20
NEWTON_TOLERANCE = 1e-12
"""Miss of the distorted point at which the lens counts as inverted, as in `physics` [1]."""
FOLD_SAMPLES = 10
"""Points on the way from the middle of the picture at which the lens must not fold."""
PARALLAX_ROUNDS = 3
SLOPE_STEP_M = 1e-4
ROOT_3, ROOT_5, ROOT_7 = math.sqrt(3.0), math.sqrt(5.0), math.sqrt(7.0)


@njit(**JIT)
def distorted(x, y, k):  # type: ignore[no-untyped-def]
    """Where the lens puts a ray, and how that moves with the ray.

    Parameters
    ----------
    x, y
        Undistorted normalised image coordinates [1].
    k
        (5,) k1 k2 p1 p2 k3.

    Returns
    -------
    x, y, along_x, across, along_y
        Distorted coordinates, and the elements of their symmetric derivative [1].
    """
    r2 = x * x + y * y
    radial = 1.0 + r2 * (k[0] + r2 * (k[1] + r2 * k[4]))
    slope = 2.0 * (k[0] + r2 * (2.0 * k[1] + r2 * 3.0 * k[4]))
    return (
        x * radial + 2.0 * k[2] * x * y + k[3] * (r2 + 2.0 * x * x),
        y * radial + k[2] * (r2 + 2.0 * y * y) + 2.0 * k[3] * x * y,
        radial + slope * x * x + 2.0 * k[2] * y + 6.0 * k[3] * x,
        slope * x * y + 2.0 * k[2] * x + 2.0 * k[3] * y,
        radial + slope * y * y + 6.0 * k[2] * y + 2.0 * k[3] * x,
    )


@njit(**JIT)
def undistorted(goal_x, goal_y, k, limit):  # type: ignore[no-untyped-def]
    """The ray that the lens puts at a point, by plain Newton steps.

    Parameters
    ----------
    goal_x, goal_y
        Distorted normalised image coordinates [1].
    k
        (5,) k1 k2 p1 p2 k3.
    limit
        Radius up to which the lens is one-to-one [1].

    Returns
    -------
    x, y
        [1]; NaN where this quick way does not lead there.
    """
    x, y = goal_x, goal_y
    for _ in range(NEWTON_STEPS):
        at_x, at_y, a, b, d = distorted(x, y, k)
        left_x, left_y = goal_x - at_x, goal_y - at_y
        if math.hypot(left_x, left_y) <= 0.1 * NEWTON_TOLERANCE:
            break
        area = a * d - b * b
        if not area > 0.0:
            return math.nan, math.nan
        x += (d * left_x - b * left_y) / area
        y += (a * left_y - b * left_x) / area
    at_x, at_y, a, b, d = distorted(x, y, k)
    arrived = math.hypot(goal_x - at_x, goal_y - at_y) <= NEWTON_TOLERANCE
    if not (arrived and math.hypot(x, y) < limit):
        return math.nan, math.nan
    for sample in range(1, FOLD_SAMPLES + 1):
        share = sample / FOLD_SAMPLES
        _, _, a, b, d = distorted(share * x, share * y, k)
        if not a * d - b * b > 0.0:
            return math.nan, math.nan
    return x, y


@njit(**JIT)
def parallax(x, y, flatness, size, camera):  # type: ignore[no-untyped-def]
    """How far a place on a bent wall seems moved.

    Parameters
    ----------
    x, y
        On the surface [m].
    flatness
        (7,) amplitudes of the bends [m].
    size
        (2,) width and height of the surface [m].
    camera
        (3,) place of the lens [m].

    Returns
    -------
    x, y
        [m]; NaN where the wall reaches the camera.
    """
    u = 2.0 * x / size[0] - 1.0
    v = 2.0 * y / size[1] - 1.0
    u1, u2, u3 = ROOT_3 * u, ROOT_5 * (1.5 * u * u - 0.5), ROOT_7 * (2.5 * u * u - 1.5) * u
    v1, v2, v3 = ROOT_3 * v, ROOT_5 * (1.5 * v * v - 0.5), ROOT_7 * (2.5 * v * v - 1.5) * v
    height = (
        flatness[0] * u2
        + flatness[1] * u1 * v1
        + flatness[2] * v2
        + flatness[3] * u3
        + flatness[4] * u2 * v1
        + flatness[5] * u1 * v2
        + flatness[6] * v3
    )
    below = camera[2] - height
    if not (below > 0.0 and camera[2] > 0.0):
        return math.nan, math.nan
    return height / below * (x - camera[0]), height / below * (y - camera[1])


@njit(**JIT)
def map_dots(px, px_cov, matrix, k, limit, plane, flatness, size, camera, place, cov):  # type: ignore[no-untyped-def]
    """Where dots are on the surface, and how far their own doubt reaches there.

    Parameters
    ----------
    px, px_cov
        (N, 2) [px] and (N, 2, 2) [px²].
    matrix, k, limit
        (3, 3) camera matrix [px], (5,) lens, radius up to which it is one-to-one [1].
    plane
        (3, 3) from undistorted normalised coordinates to the surface [m].
    flatness, size, camera
        (7,) bends, (2,) size of the surface, (3,) place of the lens [m].
    place, cov
        (N, 2) [m] and (N, 2, 2) [m²], filled; NaN where this quick way finds no place.
    """
    bent = np.any(flatness != 0.0)
    for index in range(len(px)):
        down = (px[index, 1] - matrix[1, 2]) / matrix[1, 1]
        right = (px[index, 0] - matrix[0, 2] - matrix[0, 1] * down) / matrix[0, 0]
        x, y = undistorted(right, down, k, limit)
        _, _, a, b, d = distorted(x, y, k)
        # Derivative of the pixel by the ray, and of the plane's place by the ray.
        e00 = matrix[0, 0] * a + matrix[0, 1] * b
        e01 = matrix[0, 0] * b + matrix[0, 1] * d
        e10, e11 = matrix[1, 1] * b, matrix[1, 1] * d
        third = plane[2, 0] * x + plane[2, 1] * y + plane[2, 2]
        seen_x = (plane[0, 0] * x + plane[0, 1] * y + plane[0, 2]) / third
        seen_y = (plane[1, 0] * x + plane[1, 1] * y + plane[1, 2]) / third
        h00 = (plane[0, 0] - seen_x * plane[2, 0]) / third
        h01 = (plane[0, 1] - seen_x * plane[2, 1]) / third
        h10 = (plane[1, 0] - seen_y * plane[2, 0]) / third
        h11 = (plane[1, 1] - seen_y * plane[2, 1]) / third
        area = e00 * e11 - e01 * e10
        j00 = (h00 * e11 - h01 * e10) / area
        j01 = (h01 * e00 - h00 * e01) / area
        j10 = (h10 * e11 - h11 * e10) / area
        j11 = (h11 * e00 - h10 * e01) / area
        at_x, at_y = seen_x, seen_y
        if bent:
            for _ in range(PARALLAX_ROUNDS):
                off_x, off_y = parallax(at_x, at_y, flatness, size, camera)
                at_x, at_y = seen_x - off_x, seen_y - off_y
            step = SLOPE_STEP_M
            xx, yx = parallax(at_x + step, at_y, flatness, size, camera)
            back_xx, back_yx = parallax(at_x - step, at_y, flatness, size, camera)
            xy, yy = parallax(at_x, at_y + step, flatness, size, camera)
            back_xy, back_yy = parallax(at_x, at_y - step, flatness, size, camera)
            s00 = 1.0 + (xx - back_xx) / (2.0 * step)
            s01 = (xy - back_xy) / (2.0 * step)
            s10 = (yx - back_yx) / (2.0 * step)
            s11 = 1.0 + (yy - back_yy) / (2.0 * step)
            area = s00 * s11 - s01 * s10
            k00, k01 = (s11 * j00 - s01 * j10) / area, (s11 * j01 - s01 * j11) / area
            j10, j11 = (s00 * j10 - s10 * j00) / area, (s00 * j11 - s10 * j01) / area
            j00, j01 = k00, k01
        place[index, 0], place[index, 1] = at_x, at_y
        c00, c01, c11 = px_cov[index, 0, 0], px_cov[index, 0, 1], px_cov[index, 1, 1]
        m00, m01 = j00 * c00 + j01 * c01, j00 * c01 + j01 * c11
        m10, m11 = j10 * c00 + j11 * c01, j10 * c01 + j11 * c11
        cov[index, 0, 0] = m00 * j00 + m01 * j01
        cov[index, 0, 1] = cov[index, 1, 0] = m00 * j10 + m01 * j11
        cov[index, 1, 1] = m10 * j10 + m11 * j11
