"""How doubt travels from what was measured to what is stated.

Standard uncertainty ("std") stands beside every value; an interval names its level and method.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

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


def propagate(
    f: Callable[[Array], Array], x: ArrayLike, cov: ArrayLike, step: ArrayLike | None = None
) -> tuple[Array, Array]:
    """What value and covariance a function has, given those of its arguments, to first order.

    Parameters
    ----------
    f : callable, (..., n) → (..., m)
        Smooth over a standard deviation or so about ``x``; use `monte_carlo` where it bends.
    x : (..., n)
    cov : (..., n, n)
    step : (n,) or None
        Half-width of the central difference; by default a hundredth of the standard deviation.

    Returns
    -------
    y : (..., m)
    cov_y : (..., m, m)

    Raises
    ------
    ValueError
        When shapes do not fit.

    Notes
    -----
    Source: JCGM 100:2008 (GUM) eq. 13 and its matrix form, JCGM 102:2011 §6.2 (clause from
    memory).

    Examples
    --------
    >>> y, cov = propagate(lambda v: v[..., :1] * v[..., 1:], [2.0, 3.0], np.diag([0.01, 0.04]))
    >>> y.round(6).tolist(), cov.round(6).tolist()
    ([6.0], [[0.25]])
    """
    point, c = np.asarray(x, float), np.asarray(cov, float)
    n = point.shape[-1]
    if c.shape[-2:] != (n, n):
        raise ValueError(f"cov: expected shape (..., {n}, {n}), got {c.shape}")
    y = np.asarray(f(point), float)
    if y.ndim != point.ndim or y.shape[:-1] != point.shape[:-1]:
        raise ValueError(f"f: expected (..., m) from {point.shape}, got {y.shape}")
    std = np.sqrt(np.diagonal(c, axis1=-2, axis2=-1))
    if step is None:
        # Well under the spread, yet wide enough that rounding does not drown the difference.
        h = np.maximum(0.01 * std, 1e-9 * np.abs(point))
        h = np.where(std == 0, np.cbrt(np.finfo(float).eps) * np.maximum(np.abs(point), 1.0), h)
    else:
        h = np.broadcast_to(np.asarray(step, float), point.shape)
    columns = []
    for k in range(n):
        shift = np.zeros(n)
        shift[k] = 1.0
        above, below = point + h * shift, point - h * shift
        # The width as represented, not as asked for.
        width = (above - below)[..., k : k + 1]
        columns.append((np.asarray(f(above), float) - np.asarray(f(below), float)) / width)
    jacobian = np.stack(columns, axis=-1)
    return y, jacobian @ c @ np.swapaxes(jacobian, -1, -2)


@dataclass(frozen=True, slots=True)
class MonteCarlo:
    """What random draws through a function gave; arrays have the function's last axes."""

    mean: Array
    std: Array
    symmetric_low: Array
    symmetric_high: Array
    """Ends of the probabilistically symmetric interval: equal shares lie on both sides."""
    shortest_low: Array
    shortest_high: Array
    level: float
    trials: int
    seed: int


def monte_carlo(
    f: Callable[[Array], Array],
    draw: Callable[[np.random.Generator, int], Array],
    trials: int = 200_000,
    seed: int = 0,
    level: float = 0.95,
) -> MonteCarlo:
    """How a function's value is distributed, by drawing its arguments at random.

    Parameters
    ----------
    f : callable, (trials, ...) → (trials, ...)
    draw : callable, (generator, trials) → (trials, ...)
    trials : int, ≥ 1000
        JCGM 101 §7.2 advises some 10⁶ for two digits of a 95 % interval (clause from memory).
    seed : int, ≥ 0
    level : float [1], 0 < level < 1

    Returns
    -------
    MonteCarlo

    Raises
    ------
    ValueError
        When there are too few trials or a value comes out unknown.

    Notes
    -----
    Source: JCGM 101:2008 §7 (estimate, standard uncertainty, coverage intervals of §7.7).

    Examples
    --------
    >>> result = monte_carlo(
    ...     lambda x: x.sum(axis=-1), lambda rng, n: rng.normal(size=(n, 4)), trials=20_000)
    >>> print(f"{result.std:.1f}")
    2.0
    """
    if trials < 1000 or not 0 < level < 1:
        raise ValueError(f"need trials ≥ 1000 and 0 < level < 1, got {trials} and {level}")
    values = np.asarray(f(draw(np.random.default_rng(seed), trials)), float)
    if values.shape[:1] != (trials,):
        raise ValueError(f"f: expected ({trials}, ...), got {values.shape}")
    if not np.isfinite(values).all():
        raise ValueError("f gave unknown or infinite values for some draws")
    ordered = np.sort(values, axis=0)
    inside = int(level * trials + 0.5)
    if inside >= trials:
        raise ValueError(f"{trials} trials are too few for a level of {level}")
    first = (trials - inside) // 2
    widths = ordered[inside:] - ordered[: trials - inside]
    best = np.argmin(widths, axis=0)
    return MonteCarlo(
        mean=np.mean(values, axis=0),
        std=np.std(values, axis=0, ddof=1),
        symmetric_low=ordered[first],
        symmetric_high=ordered[first + inside],
        shortest_low=np.take_along_axis(ordered, best[None], axis=0)[0],
        shortest_high=np.take_along_axis(ordered, best[None] + inside, axis=0)[0],
        level=level,
        trials=trials,
        seed=seed,
    )


def combine_independent(*stds: ArrayLike) -> Array:
    """How uncertain a sum of independent random errors is.

    Not for delay, tilt or any error of known direction: those add with their sign.

    Parameters
    ----------
    *stds : (...) each, one unit, ≥ 0

    Returns
    -------
    (...), the same unit

    Notes
    -----
    Source: JCGM 100:2008 (GUM) eq. 10.

    Examples
    --------
    >>> print(combine_independent(3.0, 4.0))
    5.0
    """
    if not stds:
        raise ValueError("nothing to combine")
    total = sum((np.asarray(s, float) ** 2 for s in stds), start=np.zeros(()))
    return np.asarray(np.sqrt(total))[()]


def rms(values: ArrayLike, axis: int | tuple[int, ...] | None = None) -> Array:
    """The root of the mean of the squares.

    Parameters
    ----------
    values : (...)
    axis : int, tuple or None
        Axes to take the mean over; None for all.

    Returns
    -------
    The remaining axes, the unit of the values

    Notes
    -----
    Source: the definition.

    Examples
    --------
    >>> print(f"{rms([1.0, -7.0]):.0f}")
    5
    """
    return np.asarray(np.sqrt(np.mean(np.asarray(values, float) ** 2, axis=axis)))[()]


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
    Source: JCGM 100:2008 (GUM) annex G: Student's t, normal for infinitely many degrees.

    Examples
    --------
    >>> print(f"{coverage_factor(0.95):.2f} {coverage_factor(0.95, 5):.2f}")
    1.96 2.57
    """
    if not (0 < level < 1 and degrees_of_freedom > 0):
        raise ValueError(f"need 0 < level < 1 and degrees > 0, got {level}, {degrees_of_freedom}")
    if np.isinf(degrees_of_freedom):
        return float(stats.norm.ppf(0.5 + level / 2))
    return float(stats.t.ppf(0.5 + level / 2, degrees_of_freedom))


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
    Source: Welch–Satterthwaite, JCGM 100:2008 (GUM) eq. G.2b.

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
    Source: Student's t; JCGM 100:2008 (GUM) §4.2.3 and annex G.

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
