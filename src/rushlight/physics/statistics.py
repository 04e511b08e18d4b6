"""Agreement, equivalence, repeatability and pooling.

Each function serves one question of an assessment and says when not to ask it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.uncertainty import Interval, coverage_factor, t_interval

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Agreement:
    """How far two devices differ when they measure the same acts."""

    bias: Interval
    sd: float
    lower_limit: float
    upper_limit: float
    limit_std: float
    """Standard uncertainty of either limit, √(3/n) SD."""
    factor: float
    n: int


def bland_altman(
    first: ArrayLike, second: ArrayLike, factor: float = 1.96, level: float = 0.95
) -> Agreement:
    """Within which limits two devices agree on one act.

    Only where both devices recorded the *same* act; two runs of one person by turns are no pairs.

    Parameters
    ----------
    first, second : (N,), one unit, N ≥ 2, all known
    factor : float, > 0
        Limits are bias ± factor × SD: 1.96 for 95 % of normal differences.
    level : float [1]
        Of the bias's interval.

    Returns
    -------
    Agreement
        Differences are first − second.

    Raises
    ------
    ValueError
        When the lengths differ, or a value is unknown.

    Notes
    -----
    Source: Bland & Altman 1986, Lancet 327 (which takes factor 2).

    Examples
    --------
    >>> result = bland_altman([1.0, 2.0, 3.0], [1.1, 1.9, 3.3])
    >>> print(f"{result.bias.value:.2f} ± {result.sd:.2f}")
    -0.10 ± 0.20
    """
    a, b = np.asarray(first, float), np.asarray(second, float)
    if a.shape != b.shape:
        raise ValueError(f"expected pairs, got shapes {a.shape} and {b.shape}")
    if not factor > 0:
        raise ValueError(f"factor must be > 0, got {factor}")
    bias = t_interval(a - b, level)
    sd = float(np.std(a - b, ddof=1))
    half = factor * sd
    return Agreement(
        bias=bias,
        sd=sd,
        lower_limit=bias.value - half,
        upper_limit=bias.value + half,
        limit_std=float(np.sqrt(3 / bias.n)) * sd,
        factor=factor,
        n=bias.n,
    )


@dataclass(frozen=True, slots=True)
class Equivalence:
    """Two one-sided tests: small p means the difference lies within the margin."""

    difference: float
    std: float
    degrees_of_freedom: float
    margin: float
    p_value: float
    method: str


def equivalence(
    first: ArrayLike,
    second: ArrayLike,
    margin: float,
    paired: bool = False,
    equal_variance: bool = False,
) -> Equivalence:
    """Whether two means differ by less than a margin chosen beforehand.

    Not against a brochure figure, which has no sampling variance.

    Parameters
    ----------
    first, second : (N,), (M,), one unit, all known; N = M when paired
    margin : float, the same unit, > 0
        The largest difference that would not matter; choose it before looking.
    paired : bool
    equal_variance : bool
        Pool the two variances; otherwise Welch's form. No meaning when paired.

    Returns
    -------
    Equivalence

    Raises
    ------
    ValueError
        When a sample is too short, does not vary, or the pairs do not match.

    Notes
    -----
    Source: Schuirmann 1987, J. Pharmacokinet. Biopharm. 15 (from memory).

    Examples
    --------
    >>> result = equivalence([5.0, 5.2, 4.9, 5.1], [5.1, 5.0, 5.0, 5.1], margin=0.5)
    >>> result.p_value < 0.05
    True
    """
    from scipy import stats

    a, b = np.asarray(first, float), np.asarray(second, float)
    if paired and a.shape != b.shape:
        raise ValueError(f"expected pairs, got shapes {a.shape} and {b.shape}")
    if not margin > 0:
        raise ValueError(f"margin must be > 0, got {margin}")
    if paired:
        mean = t_interval(a - b)
        difference, std, dof, method = mean.value, mean.std, float(mean.n - 1), "paired t"
    else:
        x, y = t_interval(a), t_interval(b)
        difference = x.value - y.value
        if equal_variance:
            dof = float(x.n + y.n - 2)
            pooled = (x.std**2 * x.n * (x.n - 1) + y.std**2 * y.n * (y.n - 1)) / dof
            std, method = float(np.sqrt(pooled * (1 / x.n + 1 / y.n))), "pooled t"
        else:
            std, method = float(np.hypot(x.std, y.std)), "Welch t"
            lower = x.std**4 / (x.n - 1) + y.std**4 / (y.n - 1)
            dof = std**4 / lower if lower > 0 else float("nan")
    if not std > 0:
        raise ValueError("the values do not vary, so there is nothing to test against")
    above = stats.t.sf((difference + margin) / std, dof)
    below = stats.t.cdf((difference - margin) / std, dof)
    return Equivalence(difference, std, dof, margin, float(max(above, below)), method)


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Spread within one set of conditions, between sets, and over both."""

    mean: float
    repeatability_sd: float
    between_sd: float
    reproducibility_sd: float
    between_was_negative: bool
    """The estimate of the between-variance fell below 0 and was set to 0."""
    groups: int
    repeats: int


def repeatability(values: ArrayLike) -> Repeatability:
    """How far results spread under the same conditions, and when conditions change.

    Name the conditions: same day and hand, or another day, person or rebuild.

    Parameters
    ----------
    values : (J, K), J ≥ 2 groups of K ≥ 2 repeats, all known

    Returns
    -------
    Repeatability

    Raises
    ------
    ValueError
        When the table is too small or not wholly known.

    Notes
    -----
    Source: ISO 5725-2 (one-way analysis of variance, from memory); as in JCGM 100:2008 (GUM)
    H.5.

    Examples
    --------
    >>> result = repeatability([[1.0, 3.0], [5.0, 7.0]])
    >>> print(f"{result.repeatability_sd:.3f} {result.between_sd:.3f}")
    1.414 2.646
    """
    table = np.asarray(values, float)
    if table.ndim != 2 or min(table.shape) < 2 or not np.isfinite(table).all():
        raise ValueError(f"expected known values (J ≥ 2, K ≥ 2), got shape {table.shape}")
    within = float(np.mean(np.var(table, axis=1, ddof=1)))
    between = float(np.var(table.mean(axis=1), ddof=1)) - within / table.shape[1]
    kept = max(between, 0.0)
    return Repeatability(
        mean=float(table.mean()),
        repeatability_sd=float(np.sqrt(within)),
        between_sd=float(np.sqrt(kept)),
        reproducibility_sd=float(np.sqrt(within + kept)),
        between_was_negative=between < 0,
        groups=table.shape[0],
        repeats=table.shape[1],
    )


@dataclass(frozen=True, slots=True)
class Pooled:
    """One figure from many places, allowing that the places truly differ."""

    fixed: float
    fixed_std: float
    value: float
    std: float
    knapp_hartung_std: float
    low: float
    high: float
    """Interval by `knapp_hartung_std` and Student's t."""
    between_sd: float
    """τ: how far the places truly differ."""
    q: float
    i_squared: float
    level: float
    n: int


def pool(values: ArrayLike, stds: ArrayLike, level: float = 0.95) -> Pooled:
    """What many rebuilds say together, each with its own uncertainty.

    Those who failed do not report: state beside it how many began and gave up.

    Parameters
    ----------
    values : (N,), N ≥ 2, one unit, all known
    stds : (N,), the same unit, > 0
    level : float [1], 0 < level < 1

    Returns
    -------
    Pooled
        `value` and `std` are the random-effects ones.

    Raises
    ------
    ValueError
        When shapes differ or an uncertainty is not positive.

    Notes
    -----
    Source: DerSimonian & Laird 1986, Control. Clin. Trials 7 (method of moments); Knapp &
    Hartung 2003, Stat. Med. 22, for the interval (both from memory).

    Examples
    --------
    >>> result = pool([1.0, 1.2, 0.8], [0.1, 0.1, 0.1])
    >>> print(f"{result.value:.2f} {result.between_sd:.3f} {result.i_squared:.2f}")
    1.00 0.173 0.75
    """
    y, s = np.asarray(values, float), np.asarray(stds, float)
    if y.ndim != 1 or y.shape != s.shape or len(y) < 2 or not np.isfinite(y).all():
        raise ValueError(f"expected known values and stds (N ≥ 2,), got {y.shape}, {s.shape}")
    if not np.all(s > 0):
        raise ValueError("every standard uncertainty must be > 0")
    w = s**-2.0
    fixed = float(np.sum(w * y) / w.sum())
    q, dof = float(np.sum(w * (y - fixed) ** 2)), len(y) - 1
    tau2 = max(0.0, (q - dof) / float(w.sum() - np.sum(w**2) / w.sum()))
    w_random = 1 / (s**2 + tau2)
    value = float(np.sum(w_random * y) / w_random.sum())
    spread = float(np.sum(w_random * (y - value) ** 2)) / dof
    adjusted = float(np.sqrt(spread / w_random.sum()))
    half = coverage_factor(level, dof) * adjusted
    return Pooled(
        fixed=fixed,
        fixed_std=float(w.sum() ** -0.5),
        value=value,
        std=float(w_random.sum() ** -0.5),
        knapp_hartung_std=adjusted,
        low=value - half,
        high=value + half,
        between_sd=float(np.sqrt(tau2)),
        q=q,
        i_squared=max(0.0, (q - dof) / q) if q > 0 else 0.0,
        level=level,
        n=len(y),
    )
