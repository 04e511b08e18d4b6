"""Sums of four quantities by random draws.

SOURCE: JCGM 101:2008, §9.2 (additive model): four normal or four rectangular inputs of unit
standard deviation, and rectangular inputs of which one has standard deviation 10 (±17.0 from
memory; ±19.89 of the first-order law computed here).
"""

import numpy as np
import pytest

from rushlight.physics.uncertainty import combine_independent, coverage_factor, monte_carlo
from rushlight.plan.variance import study

TRIALS = 400_000


def total(x):
    return x.sum(axis=-1)


def rectangular(*stds):
    half = np.sqrt(3.0) * np.array(stds)
    return lambda rng, n: rng.uniform(-half, half, (n, 4))


def check_half_width(result, expected, tolerance):
    assert result.symmetric_high == pytest.approx(expected, abs=tolerance)
    assert result.symmetric_low == pytest.approx(-expected, abs=tolerance)
    assert (result.shortest_high - result.shortest_low) / 2 == pytest.approx(
        expected, abs=tolerance
    )
    assert np.all(
        result.shortest_high - result.shortest_low <= result.symmetric_high - result.symmetric_low
    )


# Tolerances: a 2.5 % quantile from 4e5 draws scatters by √(p(1−p)/M)/density: .008 for the normal
# sum, .004 for the rectangular ones (per unit u); three of those, with the last printed digit.


def test_four_normal_inputs():
    result = monte_carlo(total, lambda rng, n: rng.normal(size=(n, 4)), TRIALS, seed=1)
    assert result.std == pytest.approx(2.0, abs=0.01)
    check_half_width(result, 3.92, 0.03)


def test_four_rectangular_inputs():
    result = monte_carlo(total, rectangular(1, 1, 1, 1), TRIALS, seed=2)
    assert result.std == pytest.approx(2.0, abs=0.01)
    check_half_width(result, 3.88, 0.02)


def test_one_dominant_rectangular_input():
    result = monte_carlo(total, rectangular(1, 1, 1, 10), TRIALS, seed=3)
    check_half_width(result, 17.0, 0.07)
    law = coverage_factor(0.95) * combine_independent(1, 1, 1, 10)
    assert law == pytest.approx(19.89, abs=0.005)


@pytest.mark.parametrize(
    ("kind", "expected", "tolerance"), [("normal", 3.92, 0.03), ("rectangular", 3.88, 0.02)]
)
def test_the_draws_of_a_tolerance_find_the_same(kind, expected, tolerance):
    found = study(lambda z: z.sum(axis=-1, keepdims=True), [kind] * 4, range(4), 4, TRIALS, seed=4)
    low, high = found.ends()
    assert found.std == pytest.approx([2.0], abs=0.01)
    assert high == pytest.approx([expected], abs=tolerance)
    assert low == pytest.approx([-expected], abs=tolerance)
