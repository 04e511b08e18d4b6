"""How a function's values spread when its arguments are doubted, cause by cause.

Arguments are variates of mean 0 and standard deviation 1. To first order each moves the value by
half the difference between one standard deviation above and below; at random, all are drawn
together.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]
Kind = Literal["normal", "rectangular"]
Model = Callable[[Array], Array]

LINEAR_WITHIN = 0.05
"""Relative difference of standard deviations up to which a value counts as linear."""
LEVEL = 0.95
_ROUNDING = 1e-12


@dataclass(frozen=True)
class Study:
    """What a study found; k causes, m values, N draws.

    Attributes
    ----------
    middle
        (m,) with all variates at 0.
    cause_std
        (k, m) first-order standard deviation by each cause alone.
    variates, values
        (N, d) and (N, m) drawn.
    linear_std
        (m,) of the first-order values on the very draws that are known.
    """

    middle: Array
    cause_std: Array
    variates: Array
    values: Array
    linear_std: Array

    @property
    def first_std(self) -> Array:
        """(m,) to first order, all causes together."""
        return np.sqrt(np.sum(self.cause_std**2, axis=0))

    @property
    def share(self) -> Array:
        """(k, m) share of the first-order variance; NaN where there is none."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return self.cause_std**2 / self.first_std**2

    @property
    def std(self) -> Array:
        """(m,) of the draws that are known."""
        return spread(self.values)

    def ends(self) -> tuple[Array, Array]:
        """(m,) and (m,): ends of the middle 95 % of the known draws, NaN where none is."""
        ends = np.full((2, self.values.shape[1]), np.nan)
        for index, column in enumerate(self.values.T):
            known = column[np.isfinite(column)]
            if known.size:
                ends[:, index] = np.quantile(known, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
        return ends[0], ends[1]

    def linear(self) -> list[bool | None]:
        """For each value, whether first order tells its spread; None where nothing is told.

        Both standard deviations are taken over the same draws, so that the luck of drawing,
        some 4 % of 400 draws, does not count as a bend.
        """
        found: list[bool | None] = []
        for first, drawn in zip(self.linear_std, self.std, strict=True):
            if not (np.isfinite(first) and np.isfinite(drawn)) or max(first, drawn) == 0.0:
                found.append(None)
            else:
                found.append(bool(abs(first - drawn) <= LINEAR_WITHIN * drawn))
        return found


def spread(values: Array) -> Array:
    """Standard deviation (m,) of the known values of each column of (N, m); NaN under two.

    What equal values differ by in rounding counts as 0.
    """
    out = np.full(values.shape[1], np.nan)
    for index, column in enumerate(values.T):
        known = column[np.isfinite(column)]
        if known.size >= 2:
            std = np.std(known, ddof=1)
            out[index] = std if std > _ROUNDING * np.max(np.abs(known)) else 0.0
    return out


def draw(kinds: Sequence[Kind], draws: int, seed: int) -> Array:
    """Independent variates (N, d) of mean 0 and standard deviation 1."""
    rng = np.random.default_rng(seed)
    normal = rng.standard_normal((draws, len(kinds)))
    flat = rng.uniform(-np.sqrt(3.0), np.sqrt(3.0), (draws, len(kinds)))
    return np.where(np.array([kind == "normal" for kind in kinds], bool), normal, flat)


def study(
    model: Model, kinds: Sequence[Kind], owner: Sequence[int], causes: int, draws: int, seed: int
) -> Study:
    """How the values of a model spread.

    Parameters
    ----------
    model
        Variates (N, d) to values (N, m); NaN where a value is not known.
    kinds, owner
        (d) distribution of each variate, and the index of the cause that it belongs to.
    causes
        Number of causes k.
    draws
        N, ≥ 2.
    seed
        The same seed gives the same study.

    Notes
    -----
    Source: JCGM 100:2008 (GUM) §5.1.3 note 2 for the difference over one standard deviation on
    either side, and JCGM 101:2008 §7 for the draws (clauses from memory).
    """
    if draws < 2:
        raise ValueError(f"expected 2 draws or more, got {draws}")
    count = len(kinds)
    eye = np.eye(count)
    around = model(np.concatenate([np.zeros((1, count)), eye, -eye]))
    middle, above, below = around[0], around[1 : 1 + count], around[1 + count :]
    slope = (above - below) / 2.0
    slope = np.where(np.abs(slope) > _ROUNDING * np.abs(middle), slope, 0.0)
    belongs = np.equal.outer(np.arange(causes), np.asarray(owner, int))
    cause_std = np.sqrt(belongs.astype(float) @ slope**2) if count else np.zeros((causes, 1))
    cause_std = np.broadcast_to(cause_std, (causes, len(middle)))
    variates = draw(kinds, draws, seed)
    # Without a doubt every draw is the same rig.
    values = model(variates) if count else np.repeat(around[:1], draws, axis=0)
    first = middle + variates @ slope
    return Study(
        middle, cause_std, variates, values, spread(np.where(np.isfinite(values), first, np.nan))
    )


def variance_left(shared: Array, apart: Array, base: Array) -> Array:
    """Share (m,) of the variance that is left once one cause is known.

    Parameters
    ----------
    base
        (N, m) values of draws.
    apart
        (N, m) values of other draws, independent of them.
    shared
        (N, m) values of those other draws, but with the one cause as in `base`. NaN where
        neither varies.

    Notes
    -----
    One less Sobol's first-order index: the variance that is left on average over all values that
    the cause may turn out to have. Half the mean square between draws that share one cause alone
    is that variance: Jansen, Computer Physics Communications 117 (1999) 35; Saltelli et al.,
    Computer Physics Communications 181 (2010) 259, table 2 (both from memory). It stands over
    the same of draws that share nothing, so that most of the luck of drawing cancels.
    """
    known = np.isfinite(shared) & np.isfinite(apart) & np.isfinite(base)
    kept, free = (
        np.sum(np.where(known, each - base, 0.0) ** 2, axis=0) for each in (shared, apart)
    )
    size = np.max(np.where(known, np.abs(base), 0.0), axis=0, initial=0.0)
    varies = free > len(base) * (_ROUNDING * size) ** 2
    return np.where(varies, kept / np.where(varies, free, 1.0), np.nan)


def doubt_left(shared: Array, apart: Array, base: Array) -> float:
    """The same of a yes or no, from its probability (N,) in each of those draws.

    Two draws differ in their yes or no with probability p (1 − q) + q (1 − p), which is the mean
    square of their difference; what chance decides even when every cause is known stays in it.
    """

    def differ(one: Array) -> float:
        return float(np.mean(one * (1.0 - base) + base * (1.0 - one)))

    free = differ(apart)
    return differ(shared) / free if free > 0.0 else math.nan
