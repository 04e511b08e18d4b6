"""How far a lossy picture coder shifts the centre of a dot."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[Any]

SHIFT_SIGMAS_PX = (0.8, 1.2, 2.0, 3.0, 4.5)
"""Widths of dots at which shifts are tabulated [px]."""


def stream_shift_px(shift_dn_px: ArrayLike, sigma_px: ArrayLike, peak_dn: ArrayLike) -> Array:
    """How far does a coder shift a dot's centre?

    A coder rounds in steps that do not depend on the light, so the shift falls as the dot grows
    brighter: times the dot's peak it is one figure for a width.

    Parameters
    ----------
    shift_dn_px : (..., 5) [DN px], ≥ 0; shift times peak for dots of `SHIFT_SIGMAS_PX`, 0 for raw
        pictures
    sigma_px : (...) [px], > 0; between the tabulated widths by a straight line over the width's
        logarithm, beyond them as at the last
    peak_dn : (...) [DN], > 0; brightest pixel above the background

    Returns
    -------
    (...) [px], root-mean-square along one axis

    Raises
    ------
    ValueError
        When there is not one figure for each tabulated width.

    Notes
    -----
    Source: computed here; `benchmarks/compression.py` shows how well it holds.

    Examples
    --------
    >>> float(stream_shift_px([3.0, 3.0, 3.0, 3.0, 4.0], 4.5, 100.0))
    0.04
    """
    shifts = np.asarray(shift_dn_px, float)
    nodes = np.log(SHIFT_SIGMAS_PX)
    if shifts.shape[-1:] != nodes.shape:
        raise ValueError(f"expected shift_dn_px of shape (..., {len(nodes)}), got {shifts.shape}")
    width = np.log(np.asarray(sigma_px, float))
    right = np.clip(np.searchsorted(nodes, width), 1, len(nodes) - 1)
    share = np.clip((width - nodes[right - 1]) / (nodes[right] - nodes[right - 1]), 0.0, 1.0)
    spread = np.broadcast_to(shifts, (*np.broadcast_shapes(shifts.shape[:-1], width.shape), 5))
    right = np.broadcast_to(right, spread.shape[:-1])[..., None]
    low = np.take_along_axis(spread, right - 1, axis=-1)[..., 0]
    high = np.take_along_axis(spread, right, axis=-1)[..., 0]
    return np.asarray((low + share * (high - low)) / np.asarray(peak_dn, float))
