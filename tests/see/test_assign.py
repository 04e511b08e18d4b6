"""The pairing costs as little as any other method's, and keeps within its bounds."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.optimize import linear_sum_assignment

from rushlight.see.assign import assign

SIDES = st.tuples(st.integers(0, 7), st.integers(0, 7))
WHOLE = SIDES.flatmap(lambda side: arrays(float, side, elements=st.integers(-3, 9)))
BROKEN = SIDES.flatmap(lambda side: arrays(float, side, elements=st.floats(-50, 90)))


def whole_cost(cost, partner, alternative):
    """What a pairing costs altogether."""
    rows = np.flatnonzero(partner >= 0)
    pairs = cost[rows, partner[rows]].sum()
    return pairs + alternative * (sum(cost.shape) - 2 * len(rows))


@settings(max_examples=300, deadline=None)
@given(st.one_of(WHOLE, BROKEN), st.floats(-5, 90), st.floats(0, 60))
def test_no_pairing_costs_less(cost, gate, alternative):
    partner = assign(cost, gate, alternative)
    paired = partner[partner >= 0]
    assert len(set(paired.tolist())) == len(paired)
    assert np.all(cost[partner >= 0, paired] <= gate)
    saving = np.where(cost <= gate, np.minimum(cost - 2 * alternative, 0.0), 0.0)
    rows, columns = linear_sum_assignment(saving)
    least = saving[rows, columns].sum() + alternative * sum(cost.shape)
    assert whole_cost(cost, partner, alternative) == pytest.approx(least, abs=1e-6)


def test_against_every_pairing_there_is():
    random = np.random.default_rng(3)
    for _ in range(60):
        cost = random.uniform(0, 10, (4, 3))
        costs = []
        for columns in itertools.product(range(-1, 3), repeat=4):
            taken = [column for column in columns if column >= 0]
            if len(set(taken)) == len(taken):
                costs.append(whole_cost(cost, np.array(columns), 3.0))
        assert whole_cost(cost, assign(cost, 99.0, 3.0), 3.0) == pytest.approx(min(costs))


def test_many_at_once():
    random = np.random.default_rng(4)
    cost = random.uniform(0, 1, (60, 80))
    rows, columns = linear_sum_assignment(cost)
    partner = assign(cost, 2.0, 5.0)
    assert cost[np.arange(60), partner].sum() == pytest.approx(cost[rows, columns].sum())


@pytest.mark.parametrize("shape", [(0, 0), (0, 3), (2, 0)])
def test_empty_tables(shape):
    assert assign(np.zeros(shape), 1.0, 1.0).tolist() == [-1] * shape[0]


def test_infinite_costs_are_never_paired():
    assert assign([[math.inf, math.inf], [math.inf, 1.0]], math.inf, 9.0).tolist() == [-1, 1]


@pytest.mark.parametrize("cost", [[1.0, 2.0], [[math.nan]]])
def test_what_is_no_table_is_refused(cost):
    with pytest.raises(ValueError, match="expected costs"):
        assign(cost, 1.0, 1.0)
