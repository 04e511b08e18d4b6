"""The front of many candidates, by definition and by an independent library's measure."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rushlight.plan.search_front import front_of, hypervolume, rounded, spread_over


@given(
    arrays(float, st.tuples(st.integers(0, 30), st.just(3)), elements=st.integers(0, 4).map(float))
)
def test_the_front_is_what_nothing_dominates_first_of_equals(values: np.ndarray) -> None:
    def beaten(i: int) -> bool:
        for j, other in enumerate(values):
            if np.all(other <= values[i]) and (np.any(other < values[i]) or j < i):
                return True
        return False

    expected = [i for i in range(len(values)) if not beaten(i)]
    assert front_of(values).tolist() == expected


def test_differences_that_nobody_notices_decide_nothing() -> None:
    one = np.array([[30.0, 2.501, 0.4001, 66.1, -361.0], [30.0, 2.498, 0.4012, 65.9, -361.1]])
    assert len(front_of(one)) == 2
    assert len(front_of(rounded(one))) == 1


def test_hypervolume_of_boxes_that_can_be_added_up() -> None:
    least, most = np.zeros(2), np.array([4.0, 2.0])
    # Two steps of a stair: (1, 1) leaves 3 × 1, (2, 0) leaves 2 × 2, and 2 × 1 is in both, of 8.
    stair = np.array([[1.0, 1.0], [2.0, 0.0]])
    assert hypervolume(stair, least, most) == pytest.approx((3 + 4 - 2) / 8)
    assert hypervolume(np.array([[5.0, 0.0]]), least, most) == 0.0


def test_hypervolume_agrees_with_counting_points() -> None:
    rng = np.random.default_rng(3)
    front = rng.random((25, 4))
    points = rng.random((40_000, 4))
    share = np.mean(np.any(np.all(front[:, None] <= points[None], axis=-1), axis=0))
    # Four standard errors of a counted share.
    assert hypervolume(front, np.zeros(4), np.ones(4)) == pytest.approx(
        share, abs=4 * np.sqrt(share * (1 - share) / 40_000)
    )


def test_what_is_shown_of_a_large_front_holds_its_ends_and_what_is_asked_for() -> None:
    rng = np.random.default_rng(5)
    values = rng.random((300, 5))
    shown = spread_over(values, 20, [7])
    assert len(shown) == len(set(shown)) == 20
    assert {7, *np.argmin(values, axis=0)} <= set(shown)
    assert spread_over(values[:9], 20) == list(range(9))
