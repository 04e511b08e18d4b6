"""Statures of children by age.

SOURCE: CDC growth charts for the United States, stature for age (Kuczmarski et al. 2002, Vital
and Health Statistics 11(246)), parameters L, M [cm] and S as rcpchgrowth 4.6.5 hands them on.
"""

from __future__ import annotations

from statistics import NormalDist

import pytest

from rushlight.physics.children import CHILD_STATURE_M, PERCENTILES, child_stature

LMS = {
    (2, 0): (0.868221, 89.5848, 0.041692),
    (2, 1): (0.286762, 90.6291, 0.040952),
    (5, 0): (-0.145002, 110.8984, 0.044595),
    (5, 1): (1.265729, 111.8890, 0.043089),
    (7, 0): (-0.165348, 124.3870, 0.045654),
    (7, 1): (0.602204, 124.6160, 0.044678),
    (9, 0): (0.154445, 135.2163, 0.047521),
    (9, 1): (0.452562, 135.9097, 0.046780),
    (12, 0): (1.363086, 154.2529, 0.046616),
    (12, 1): (0.501766, 152.0735, 0.050233),
    (15, 0): (0.909440, 162.2347, 0.039935),
    (15, 1): (2.232567, 171.8626, 0.044603),
    (17, 0): (1.021090, 163.0228, 0.039711),
    (17, 1): (1.571082, 175.7652, 0.041003),
}


@pytest.mark.parametrize(("age", "column"), LMS)
def test_percentiles_by_the_charts_own_formula(age, column) -> None:
    power, median_cm, spread = LMS[age, column]
    for percentile, stature in zip(PERCENTILES, CHILD_STATURE_M[age][column], strict=True):
        z = NormalDist().inv_cdf(percentile / 100.0)
        wanted = median_cm * (1.0 + power * spread * z) ** (1.0 / power)
        assert 100.0 * stature == pytest.approx(wanted, abs=0.051)


def test_both_together_and_no_other_age() -> None:
    for age in range(2, 18):
        low, middle, high = child_stature(age)
        assert low < middle < high
    with pytest.raises(ValueError, match="2 to 17"):
        child_stature(1)
