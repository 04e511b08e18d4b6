"""Intervals: where a value lies, at a stated level, by a named method."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Array = NDArray[np.float64]


class Interval(NamedTuple):
    """A value with its standard uncertainty and an interval of stated level and method."""

    value: float
    std: float
    low: float
    high: float
    level: float
    n: int
    method: str


def coverage_factor(level: float = 0.95, degrees_of_freedom: float = np.inf) -> float:
    """By which factor to widen a standard uncertainty to an interval of this level.

    Parameters
    ----------
    level : float [1], 0 < level < 1
    degrees_of_freedom : float, > 0

    Returns
    -------
    float [1]

    Notes
    -----
    Source: JCGM 100:2008 (GUM) annex G (from memory): Student's t, normal for infinitely
    many degrees.

    Examples
    --------
    >>> print(f"{coverage_factor(0.95):.2f} {coverage_factor(0.95, 5):.2f}")
    1.96 2.57
    """
    if not (0 < level < 1 and degrees_of_freedom > 0):
        raise ValueError(f"need 0 < level < 1 and degrees > 0, got {level}, {degrees_of_freedom}")
    if np.isinf(degrees_of_freedom):
        return float(special.ndtri(0.5 + level / 2))
    return float(special.stdtrit(degrees_of_freedom, 0.5 + level / 2))


def effective_degrees_of_freedom(stds: ArrayLike, degrees_of_freedom: ArrayLike) -> float:
    """How many degrees of freedom a combined standard uncertainty has.

    Parameters
    ----------
    stds : (N,), one unit
        Each component's share in the result.
    degrees_of_freedom : (N,), > 0; ``inf`` for a component known exactly

    Returns
    -------
    float

    Notes
    -----
    Source: Welch–Satterthwaite, JCGM 100:2008 (GUM) eq. G.2b (number from memory).

    Examples
    --------
    >>> print(f"{effective_degrees_of_freedom([1.0, 1.0], [4, 4]):.0f}")
    8
    """
    u, nu = np.asarray(stds, float), np.asarray(degrees_of_freedom, float)
    lower = float(np.sum(u**4 / nu))
    return float(np.sum(u**2)) ** 2 / lower if lower > 0 else float("inf")


def t_interval(values: ArrayLike, level: float = 0.95) -> Interval:
    """Where the mean lies of what these values were drawn from.

    Parameters
    ----------
    values : (N,), N ≥ 2, independent, all known
    level : float [1], 0 < level < 1

    Returns
    -------
    Interval

    Raises
    ------
    ValueError
        When there are fewer than two values or one is unknown.

    Notes
    -----
    Source: Student's t; JCGM 100:2008 (GUM) §4.2.3 and annex G (from memory).

    Examples
    --------
    >>> result = t_interval([1.0, 2.0, 3.0])
    >>> print(f"{result.value:.1f} [{result.low:.2f}, {result.high:.2f}]")
    2.0 [-0.48, 4.48]
    """
    x = _sample(values)
    mean, std = float(x.mean()), float(x.std(ddof=1) / np.sqrt(len(x)))
    half = coverage_factor(level, len(x) - 1) * std
    return Interval(mean, std, mean - half, mean + half, level, len(x), "Student t")


def bootstrap_interval(
    values: ArrayLike,
    statistic: Callable[..., Array] = np.mean,
    level: float = 0.95,
    resamples: int = 4000,
    seed: int = 0,
) -> Interval:
    """Where a statistic lies of what these values were drawn from, by resampling.

    Parameters
    ----------
    values : (N,), N ≥ 2, independent, all known
        Even so corrected, a bootstrap of a dozen values covers less than it says; for a mean
        prefer `t_interval`.
    statistic : callable with an ``axis`` argument, such as ``np.median``
    level : float [1], 0 < level < 1
    resamples : int, ≥ 100
    seed : int, ≥ 0

    Returns
    -------
    Interval
        Low and high are NaN when all values are equal: there is nothing to resample.

    Notes
    -----
    Source: Efron 1987, J. Am. Stat. Assoc. 82 (bias-corrected and accelerated), as implemented
    by scipy.stats.bootstrap.

    Examples
    --------
    >>> result = bootstrap_interval([1.0, 2.0, 3.0, 4.0, 9.0])
    >>> result.low < result.value < result.high
    True
    """
    from scipy import stats

    x = _sample(values)
    if resamples < 100:
        raise ValueError(f"need at least 100 resamples, got {resamples}")
    value = float(statistic(x, axis=-1))
    if np.ptp(x) == 0:
        return Interval(value, 0.0, np.nan, np.nan, level, len(x), "bootstrap BCa")
    drawn = stats.bootstrap(
        (x,),
        statistic,
        confidence_level=level,
        n_resamples=resamples,
        vectorized=True,
        method="BCa",
        rng=np.random.default_rng(seed),
    )
    low, high = drawn.confidence_interval
    return Interval(
        value, float(drawn.standard_error), float(low), float(high), level, len(x), "bootstrap BCa"
    )


def _sample(values: ArrayLike) -> Array:
    """A one-dimensional sample of two known values or more."""
    x = np.asarray(values, float)
    if x.ndim != 1 or len(x) < 2 or not np.isfinite(x).all():
        raise ValueError(f"expected two known values or more, got shape {x.shape}")
    return x


def ratio_interval(
    numerator: float,
    numerator_std: float,
    denominator: float,
    denominator_std: float,
    level: float = 0.95,
    degrees_of_freedom: float = np.inf,
    method: Literal["fieller", "delta"] = "fieller",
    covariance: float = 0.0,
) -> Interval:
    """Where the ratio of two uncertain values lies.

    Parameters
    ----------
    numerator, denominator : float, one unit
    numerator_std, denominator_std : float, ≥ 0
    level : float [1], 0 < level < 1
    degrees_of_freedom : float, > 0
    method : "fieller" or "delta"
        Fieller's is exact for normal values, and unbounded when the denominator cannot be told
        from 0. ``"delta"`` is first-order on the logarithm; both values must be > 0.
    covariance : float
        Of numerator and denominator.

    Returns
    -------
    Interval
        ``n`` is 0: the counts behind the values are not known here.

    Raises
    ------
    ValueError
        When the denominator is 0, or the delta method meets a value ≤ 0.

    Notes
    -----
    Source: Fieller 1954, J. R. Stat. Soc. B 16 (from memory); delta method, common practice.

    Examples
    --------
    >>> result = ratio_interval(8.0, 0.4, 10.0, 0.3)
    >>> print(f"{result.value:.2f} [{result.low:.3f}, {result.high:.3f}]")
    0.80 [0.711, 0.894]
    """
    if denominator == 0:
        raise ValueError("the denominator is 0")
    if method not in ("fieller", "delta"):
        raise ValueError(f'method must be "fieller" or "delta", got {method!r}')
    ratio = numerator / denominator
    # Variance of numerator − ratio × denominator, shared by both methods.
    spread = numerator_std**2 - 2 * ratio * covariance + (ratio * denominator_std) ** 2
    std = float(np.sqrt(spread)) / abs(denominator)
    factor = coverage_factor(level, degrees_of_freedom)
    if method == "delta":
        if numerator <= 0 or denominator <= 0:
            raise ValueError("the delta method on the logarithm needs values > 0")
        stretch = float(np.exp(factor * std / ratio))
        return Interval(ratio, std, ratio / stretch, ratio * stretch, level, 0, "log delta")
    a = denominator**2 - (factor * denominator_std) ** 2
    b = numerator * denominator - factor**2 * covariance
    c = numerator**2 - (factor * numerator_std) ** 2
    if a <= 0:
        return Interval(ratio, std, -np.inf, np.inf, level, 0, "Fieller, unbounded")
    root = float(np.sqrt(b**2 - a * c))
    return Interval(ratio, std, (b - root) / a, (b + root) / a, level, 0, "Fieller")
