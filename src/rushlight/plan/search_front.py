"""Which of many candidates are better than all others in something."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

OBJECTIVES = ("cost", "error", "uncovered", "delay", "battery")
"""Columns of what is made small: cost [currency], error [mm], share not covered [1], delay [ms],
less the hours on a cell [h]."""
STEPS = np.array([0.01, 0.02, 0.005, 0.5, 0.5])
"""Differences below which two candidates count as equal in an objective (our own choice: below
any difference that a builder would notice), in the units of `OBJECTIVES`."""


def rounded(objectives: Array) -> Array:
    """Objectives (..., 5) in whole `STEPS`, so that what cannot matter decides nothing."""
    return np.asarray(np.round(np.asarray(objectives, float) / STEPS) * STEPS)


def front_of(objectives: Array) -> Array:
    """Indices of the rows (N, M) that no other row dominates; of equal rows the first.

    A row dominates another that is nowhere smaller and somewhere larger. In the order of the
    rows.
    """
    values = np.asarray(objectives, float)
    order = np.lexsort((np.arange(len(values)), *values.T[::-1]))
    kept: list[int] = []
    front = np.empty((0, values.shape[1]))
    # In lexical order only an earlier row can dominate, or equal, a later one.
    for index in order:
        row = values[index]
        if len(front) and bool(np.any(np.all(front <= row, axis=1))):
            continue
        kept.append(int(index))
        front = np.concatenate([front, row[None]])
    return np.array(sorted(kept), dtype=int)


def spread_over(objectives: Array, most: int, first: Sequence[int] = ()) -> list[int]:
    """At most `most` rows (N, M) that lie far from one another, `first` among them.

    The best in each objective, then always the row farthest from all those taken, with each
    objective's span as its unit.
    """
    span = np.ptp(objectives, axis=0)
    unit = (objectives - objectives.min(axis=0)) / np.where(span > 0, span, 1.0)
    if len(unit) <= most:
        return list(range(len(unit)))
    taken = list(dict.fromkeys([*first, *(int(i) for i in np.argmin(unit, axis=0))]))[:most]
    away = np.min(np.linalg.norm(unit[:, None] - unit[taken][None], axis=-1), axis=1)
    while len(taken) < most:
        taken.append(int(np.argmax(away)))
        away = np.minimum(away, np.linalg.norm(unit - unit[taken[-1]], axis=-1))
    return sorted(taken)


def hypervolume(objectives: Array, least: Array, most: Array) -> float:
    """Volume that a front (N, M) dominates, of the box from `least` to `most`, as a share.

    Source: the hypervolume indicator of Zitzler and Thiele, "Multiobjective evolutionary
    algorithms: a comparative case study and the strength Pareto approach", IEEE Transactions on
    Evolutionary Computation 3(4), 1999, from memory; computed by pymoo 0.6.
    """
    from pymoo.indicators.hv import HV

    span = np.where(most > least, most - least, 1.0)
    unit = (np.asarray(objectives, float) - least) / span
    unit = unit[np.all(unit <= 1.0, axis=1)]
    if not len(unit):
        return 0.0
    # An objective in which all are alike counts as wholly won.
    unit[:, most <= least] = 0.0
    return float(HV(ref_point=np.ones(unit.shape[1]))(unit))
