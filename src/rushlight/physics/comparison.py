"""How a rig stands beside a costlier reference, criterion by criterion.

A ratio of 1 means equal, above 1 better than the reference. Costs stand apart: below 1 is cheaper.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.uncertainty import coverage_factor

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RelativePerformance:
    """A rig's figure over the reference's, turned so that more is better."""

    ratio: Array
    low: Array
    high: Array
    log_std: Array
    """Standard uncertainty of ln(ratio); NaN when the rig's own is unknown."""
    level: float
    reference_sampled: bool
    """False for a brochure figure: it has no sampling variance, so the interval covers the
    rig's spread only and no test of equivalence may be made against it."""
    method: str = "delta method on the logarithm"


def relative_performance(
    rig: ArrayLike,
    reference: ArrayLike,
    lower_is_better: bool,
    rig_std: ArrayLike | None = None,
    reference_std: ArrayLike | None = None,
    level: float = 0.95,
    degrees_of_freedom: float = np.inf,
) -> RelativePerformance:
    """How a rig does on one criterion, as a share of what the reference does.

    Parameters
    ----------
    rig, reference : (...), one unit, > 0
    lower_is_better : bool
        True for errors, delays, times; False for throughput, coverage, battery life.
    rig_std : (...) or None, the same unit, ≥ 0
        None when unknown: the interval is then NaN, not zero.
    reference_std : (...) or None
        None for a figure as published or taken as exact.
    level : float [1], 0 < level < 1
    degrees_of_freedom : float, > 0

    Returns
    -------
    RelativePerformance

    Raises
    ------
    ValueError
        When a figure is not positive or an uncertainty is negative.

    Notes
    -----
    Source: delta method on the logarithm of the ratio; common practice, no source. For values
    whose uncertainty nears a third of themselves use `uncertainty.ratio_interval`.

    Examples
    --------
    >>> result = relative_performance(2.5, 2.0, lower_is_better=True, rig_std=0.1)
    >>> print(f"{result.ratio:.2f} [{result.low:.2f}, {result.high:.2f}]")
    0.80 [0.74, 0.87]
    """
    ours, theirs = np.asarray(rig, float), np.asarray(reference, float)
    if not (np.all(ours > 0) and np.all(theirs > 0)):
        raise ValueError(f"figures must be > 0, got {np.min(ours)} and {np.min(theirs)}")
    our_std = np.asarray(np.nan if rig_std is None else rig_std, float)
    their_std = np.asarray(0.0 if reference_std is None else reference_std, float)
    if np.any(our_std < 0) or np.any(their_std < 0):
        raise ValueError("an uncertainty must be ≥ 0")
    ratio = theirs / ours if lower_is_better else ours / theirs
    log_std = np.hypot(our_std / ours, their_std / theirs)
    stretch = np.exp(coverage_factor(level, degrees_of_freedom) * log_std)
    return RelativePerformance(
        ratio=ratio,
        low=ratio / stretch,
        high=ratio * stretch,
        log_std=log_std,
        level=level,
        reference_sampled=reference_std is not None,
    )


def relative_cost(rig_cost: ArrayLike, reference_cost: ArrayLike) -> Array:
    """What share of the reference's price a rig costs.

    Parameters
    ----------
    rig_cost : (...) [one currency, one date], ≥ 0
        Everything that the reference's price includes, computer and projector alike or neither.
    reference_cost : (...) [the same], > 0

    Returns
    -------
    (...) [1]; below 1 is cheaper

    Raises
    ------
    ValueError
        When the reference costs nothing or a cost is negative.

    Notes
    -----
    Source: the definition.

    Examples
    --------
    >>> print(f"{relative_cost(30.0, 1200.0):.3f}")
    0.025
    """
    ours, theirs = np.asarray(rig_cost, float), np.asarray(reference_cost, float)
    if np.any(ours < 0) or not np.all(theirs > 0):
        raise ValueError(f"need rig ≥ 0 and reference > 0, got {np.min(ours)}, {np.min(theirs)}")
    return np.asarray(ours / theirs)[()]


@dataclass(frozen=True, slots=True)
class Overall:
    """One number over several criteria, with how much it hangs on the weights."""

    value: Array
    low: Array
    high: Array
    """NaN when the ratios came without uncertainty."""
    weights: Array
    """(n,), summing to 1."""
    if_weight_lower: Array
    """(..., n): the value with one weight less by `weight_change`, the rest keeping shares."""
    if_weight_higher: Array
    weight_change: float
    level: float


def overall(
    ratios: ArrayLike,
    weights: ArrayLike,
    log_std: ArrayLike | None = None,
    weight_change: float = 0.5,
    level: float = 0.95,
) -> Overall:
    """How a rig stands over all criteria under weights that the user gave.

    The weights are a judgement, not a measurement; show the sensitivity beside the value.

    Parameters
    ----------
    ratios : (..., n) [1], > 0, more is better
    weights : (n,), ≥ 0, not all 0
    log_std : (..., n) or None
        Standard uncertainty of each ln(ratio), taken as independent.
    weight_change : float [1], 0 < change < 1
    level : float [1], 0 < level < 1

    Returns
    -------
    Overall
        The weighted geometric mean: the ranking of two rigs does not depend on the reference.

    Raises
    ------
    ValueError
        When a ratio is unknown or not positive, or the weights cannot be used.

    Notes
    -----
    Source: Fleming & Wallace 1986, Commun. ACM 29(3), for the geometric mean of ratios (from
    memory).

    Examples
    --------
    >>> result = overall([0.5, 2.0], [1.0, 1.0])
    >>> print(result.value, result.if_weight_higher.round(3).tolist())
    1.0 [0.871, 1.149]
    """
    r, w = np.asarray(ratios, float), np.asarray(weights, float)
    if w.ndim != 1 or r.shape[-1:] != w.shape:
        raise ValueError(f"expected ratios (..., n) and weights (n,), got {r.shape}, {w.shape}")
    if not np.all(r > 0) or not np.isfinite(w).all() or np.any(w < 0) or not w.sum() > 0:
        raise ValueError("ratios must be known and > 0, weights ≥ 0 and not all 0")
    if not 0 < weight_change < 1:
        raise ValueError(f"weight_change must lie between 0 and 1, got {weight_change}")
    share = w / w.sum()
    value = np.exp(np.log(r) @ share)
    std = np.asarray(np.nan if log_std is None else log_std, float)
    stretch = np.exp(coverage_factor(level) * np.sqrt(np.sum((share * std) ** 2, axis=-1)))

    def shifted(factor: float) -> Array:
        changed = share * (1 + (factor - 1) * np.eye(len(share)))
        changed = changed / changed.sum(axis=-1, keepdims=True)
        return np.asarray(np.exp(np.log(r) @ changed.T))

    return Overall(
        value=value,
        low=value / stretch,
        high=value * stretch,
        weights=share,
        if_weight_lower=shifted(1 - weight_change),
        if_weight_higher=shifted(1 + weight_change),
        weight_change=weight_change,
        level=level,
    )
