"""Several cameras' places of one light at one moment, made one: those that agree, by their doubt.

A camera may see the light through a hand's edge, or take a glint for it; its place is then off by
far more than its doubt says. Such a camera is left out, where enough others are left to tell.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from rushlight.records.arrays import Array

LEVEL = 0.999
"""Two places agree when they lie no farther apart than their doubts allow at this level (our own
choice): good cameras are then left out once in a thousand moments."""


class Fused(NamedTuple):
    """The one place.

    Fields
    ------
    place : (D,) [m]; NaN where no camera sees the light
    cov : (D, D) its covariance [m²]
    used : (C,) which cameras it rests on
    agrees : whether all cameras that saw the light agreed
    """

    place: Array
    cov: Array
    used: Array
    agrees: bool


def fuse(places: ArrayLike, covs: ArrayLike, level: float = LEVEL) -> Fused:
    """Where is a light that several cameras see?

    Parameters
    ----------
    places
        (C, D) of each camera [m]; NaN where it does not see the light.
    covs
        (C, D, D) covariance of each, independent of the others' [m²].
    level
        At which two places still agree, between 0 and 1.

    Returns
    -------
    Fused
        The inverse-covariance mean of the largest group in which every two agree. Of two cameras
        that disagree nothing tells which is right: the one less in doubt is taken. Of groups of
        one size, that with the least misfit.

    Raises
    ------
    ValueError
        When the shapes do not fit together.

    Notes
    -----
    The mean by inverse covariances is the likeliest place for normal errors (Gauss–Markov; from
    memory). What the cameras share, as the display's own survey, is no part of `covs`: add it
    after.
    """
    at, doubt = np.asarray(places, float), np.asarray(covs, float)
    if at.ndim != 2 or doubt.shape != (*at.shape, at.shape[1]):
        raise ValueError(f"expected places (C, D), covs (C, D, D); got {at.shape}, {doubt.shape}")
    sees = np.isfinite(at).all(axis=1) & np.isfinite(doubt).all(axis=(1, 2))
    seen = np.flatnonzero(sees)
    size = at.shape[1]
    if not len(seen):
        return Fused(np.full(size, np.nan), np.full((size, size), np.nan), sees, True)
    limit = float(special.chdtri(size, 1.0 - level))
    fits = {(a, b): _apart(at, doubt, a, b) <= limit for a in seen for b in seen if a < b}
    if all(fits.values()):
        return Fused(*_mean(at[seen], doubt[seen])[:2], sees, True)
    groups = [g for g in _groups(len(seen)) if _agree(seen[g], fits)]
    most = max(len(g) for g in groups)
    best = min((seen[g] for g in groups if len(g) == most), key=lambda g: _rank(at[g], doubt[g]))
    used = np.isin(np.arange(len(at)), best)
    return Fused(*_mean(at[best], doubt[best])[:2], used, False)


def _groups(count: int) -> list[Array]:
    """All groups of cameras, as indices; a rig has few."""
    return [
        np.flatnonzero([(number >> i) & 1 for i in range(count)]) for number in range(1, 2**count)
    ]


def _agree(group: Array, fits: dict[tuple[int, int], bool]) -> bool:
    return all(fits[a, b] for i, a in enumerate(group) for b in group[i + 1 :])


def _rank(places: Array, covs: Array) -> tuple[float, float]:
    """The less the better: misfit, and then the doubt itself."""
    _, cov, misfit = _mean(places, covs)
    return misfit if len(places) > 1 else 0.0, float(np.trace(cov))


def _apart(places: Array, covs: Array, one: int, other: int) -> float:
    """Squared distance of two places in units of their doubts."""
    off = places[one] - places[other]
    return float(off @ np.linalg.solve(covs[one] + covs[other], off))


def _mean(places: Array, covs: Array) -> tuple[Array, Array, float]:
    """Inverse-covariance mean, its covariance, and the misfit."""
    weights = np.linalg.inv(covs)
    cov = np.linalg.inv(weights.sum(axis=0))
    place = cov @ np.einsum("cij,cj->i", weights, places)
    off = places - place
    return place, cov, float(np.einsum("ci,cij,cj->", off, weights, off))
