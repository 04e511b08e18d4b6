"""Who stands in the way, and what the stream makes of a dot, for the swift evaluation's kernels."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from rushlight.physics.stream import SHIFT_SIGMAS_PX
from rushlight.plan.swift_fit import LANE, STEADY

Array = NDArray[Any]

_LOG_SIGMAS = np.log(np.asarray(SHIFT_SIGMAS_PX))


@njit(**LANE)
def _share(along: float, square: float) -> float:
    return min(max(along / square, 0.0), 1.0) if square > 0.0 else 0.0


@njit(**STEADY)
def hidden_by_column(
    view: Array, body: Array, floor_m: float, x: float, y: float, z: float
) -> bool:
    """Whether a body's column hides a light from the camera (`physics.people.blocked_by_body`)."""
    px, py, pz = view[9] - body[0], view[10] - floor_m, view[11] - body[1]
    dx, dy, dz = x - view[9], y - view[10], z - view[11]
    length = body[3] - body[2]
    full = dx * dx + dy * dy + dz * dz
    share = _share(-(px * dx + pz * dz), dx * dx + dz * dz)
    foot = min(max(py + share * dy, 0.0), length)
    share = _share(-(px * dx + (py - foot) * dy + pz * dz), full)
    foot = min(max(py + share * dy, 0.0), length)
    gx, gy, gz = px + share * dx, py + share * dy - foot, pz + share * dz
    return gx * gx + gy * gy + gz * gz <= body[2] * body[2]


@njit(**STEADY)
def stream_shift(stream: Array, sigma_px: float, peak_dn: float) -> float:
    """How far the stream shifts a dot's centre [px] (`physics.stream.stream_shift_px`)."""
    width = math.log(sigma_px)
    right = 1
    while right < 4 and width > _LOG_SIGMAS[right]:
        right += 1
    share = (width - _LOG_SIGMAS[right - 1]) / (_LOG_SIGMAS[right] - _LOG_SIGMAS[right - 1])
    share = min(max(share, 0.0), 1.0)
    return (stream[right - 1] + share * (stream[right] - stream[right - 1])) / peak_dn
