"""How doubt travels from what was measured to what is stated.

Standard uncertainty ("std") stands beside every value; an interval names its level and method.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.intervals import Interval as Interval
from rushlight.physics.intervals import bootstrap_interval as bootstrap_interval
from rushlight.physics.intervals import coverage_factor as coverage_factor
from rushlight.physics.intervals import effective_degrees_of_freedom as effective_degrees_of_freedom
from rushlight.physics.intervals import ratio_interval as ratio_interval
from rushlight.physics.intervals import t_interval as t_interval

Array = NDArray[np.float64]


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
    Source: JCGM 100:2008 (GUM) eq. 13 and its matrix form, JCGM 102:2011 §6.2 (numbers
    from memory).

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
    Source: JCGM 101:2008 §7 (intervals: §7.7; clauses from memory).

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
    Source: JCGM 100:2008 (GUM) eq. 10 (number from memory).

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
