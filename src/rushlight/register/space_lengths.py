"""Distances between lights, found against told: what the sightings say without the told value."""

from __future__ import annotations

import numpy as np
from scipy import special

from rushlight.records.arrays import Array

LEAST_LEARNT = 1e-4
"""Least part of the belief's information that must be new for a found length to be told at all."""

LEAST_SHARE = 0.1
"""A found length whose deviation is a greater part of it than this judges nothing (our choice)."""

LEVEL = 0.99
"""Two-sided level at which told and found agree (our own choice)."""


def found_without_belief(direction: Array, units: Array, unit_cov: Array) -> tuple[float, float]:
    """How far is a length off what was told, by the sightings alone?

    Parameters
    ----------
    direction
        (S,) how the length moves with the shared numbers' units [m].
    units, unit_cov
        (S,) and (S, S) the estimate in those units, and its covariance.

    Returns
    -------
    off_m, std_m
        Found less told [m], and its deviation [m]; NaN where the sightings tell nothing of it.

    Notes
    -----
    The belief, of variance ``direction @ direction``, and the sightings combine by their inverse
    variances; this takes the belief out again.
    """
    before = float(direction @ direction)
    after = float(direction @ unit_cov @ direction)
    if before <= 0.0 or not after < before / (1.0 + LEAST_LEARNT):
        return float("nan"), float("nan")
    variance = 1.0 / (1.0 / after - 1.0 / before)
    return float(direction @ units) * variance / after, float(np.sqrt(variance))


def agrees(off_m: float, std_m: float, told_m: float, told_std_m: float) -> bool | None:
    """Does a found length agree with the told one? None where it is too doubtful to say."""
    if not std_m < LEAST_SHARE * told_m:
        return None
    within = float(special.ndtri((1.0 + LEVEL) / 2.0)) * float(np.hypot(std_m, told_std_m))
    return bool(abs(off_m) <= within)
