"""Which row goes with which column, so that the whole costs least.

The same pairing serves the linker, frame by frame, and anyone with a table of costs.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from numba import njit

from rushlight.records.arrays import Array
from rushlight.see.scan import JIT


def assign(cost: npt.ArrayLike, gate: float, alternative: float) -> Array:
    """The column of each row, by the pairing that costs least altogether.

    The whole costs what its pairs cost, and `alternative` for each row and each column without
    a partner.

    Parameters
    ----------
    cost
        (N, M) of pairing each row with each column; not NaN, infinite where they cannot go
        together.
    gate
        Greatest cost of a pair.
    alternative
        What it costs to leave a row or a column without a partner; a pair that costs twice as
        much or more is never made.

    Returns
    -------
    Array
        (N,) int64, −1 for a row without a partner.

    Raises
    ------
    ValueError
        When the costs are no table or hold NaN.

    Notes
    -----
    Source: shortest augmenting paths, Jonker and Volgenant, "A shortest augmenting path
    algorithm for dense and sparse linear assignment problems", Computing 38, 1987 (from memory).

    Examples
    --------
    >>> assign([[1.0, 2.0], [1.5, 9.0]], gate=5.0, alternative=4.0).tolist()
    [1, 0]
    >>> assign([[1.0, 2.0], [1.5, 9.0]], gate=5.0, alternative=0.6).tolist()
    [0, -1]
    """
    table = np.array(cost, float, order="C")
    if table.ndim != 2 or np.isnan(table).any():
        raise ValueError(f"expected costs (N, M) without NaN, got shape {table.shape}")
    table[table > gate] = math.inf
    partner = np.full(len(table), -1)
    pair_up(table, 2.0 * alternative, partner)
    return partner


@njit(**JIT)
def pair_up(cost, limit, partner):  # type: ignore[no-untyped-def]
    """Pair rows with columns so that the sum of (cost − limit) over the pairs is least.

    Parameters
    ----------
    cost
        (N, M) float64; pairs that cost `limit` or more are never made.
    limit
        What a pair saves: the cost of leaving both alone.
    partner
        (N,) int64, filled with the column of each row, −1 for none.
    """
    rows, columns = cost.shape
    of_row = np.zeros(rows, np.int64)
    of_column = np.zeros(columns, np.int64)
    only = np.full(rows, -1)
    for row in range(rows):
        for column in range(columns):
            if cost[row, column] < limit:
                of_row[row] += 1
                of_column[column] += 1
                only[row] = column
    taken = np.full(columns, -1)
    price = np.zeros(columns)
    distance = np.empty(columns)
    back = np.empty(columns, np.int64)
    done = np.empty(columns, np.bool_)
    for row in range(rows):
        partner[row] = -1
        if of_row[row] == 1 and of_column[only[row]] == 1:
            partner[row] = only[row]  # nobody else wants either
            taken[only[row]] = row
        elif of_row[row] > 0:
            _add_row(cost, limit, row, partner, taken, price, distance, back, done)


@njit(**JIT)
def _saving(cost, limit):  # type: ignore[no-untyped-def]
    """What a pair costs against leaving both alone, infinite where it must not be made."""
    return cost - limit if cost < limit else math.inf


@njit(**JIT)
def _add_row(  # type: ignore[no-untyped-def]
    cost, limit, start, partner, taken, price, distance, back, done
):
    """Give one more row its place; others may change theirs, or lose it.

    Columns are reached in the order of their distance: the price of letting their row move on.
    The way ends at a free column, or at a row that is best left alone.
    """
    columns = len(taken)
    for column in range(columns):
        distance[column] = _saving(cost[start, column], limit) - price[column]
        back[column] = start
        done[column] = False
    leave = 0.0
    leaver = start
    while True:
        nearest = -1
        reached = leave
        for column in range(columns):
            if not done[column] and distance[column] < reached:
                reached = distance[column]
                nearest = column
        if nearest < 0 or taken[nearest] < 0:
            break
        done[nearest] = True
        row = taken[nearest]
        base = cost[row, nearest] - limit - price[nearest] - reached
        if -base < leave:
            leave = -base
            leaver = row
        for column in range(columns):
            if not done[column]:
                length = _saving(cost[row, column], limit) - price[column] - base
                if length < distance[column]:
                    distance[column] = length
                    back[column] = row
    for column in range(columns):
        if done[column]:
            price[column] += distance[column] - reached
    if nearest < 0:
        nearest = partner[leaver]
        partner[leaver] = -1
    while nearest >= 0:
        row = back[nearest]
        after = partner[row]
        partner[row] = nearest
        taken[nearest] = row
        nearest = -1 if row == start else after
