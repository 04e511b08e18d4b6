"""Reach bands, body sizes, reading distance.

SOURCE: 2010 ADA Standards for Accessible Design, §308.2, §308.3 and advisory 308.1 (side reach
over an obstruction from memory); ANSUR II, NATICK/TR-15/007 (2014), percentiles computed here
from the open data; AVIXA V202.01:2016 (DISCAS).
"""

import math

import pytest

from rushlight.physics.people import (
    ada_children_reach_band,
    ada_reach_band,
    body_dimension,
    farthest_viewer,
)


@pytest.mark.parametrize(
    ("approach", "depth_m", "low_m", "high_m"),
    [
        ("forward", 0.0, 0.380, 1.220),
        ("forward", 0.510, math.nan, 1.220),
        ("forward", 0.511, math.nan, 1.120),
        ("forward", 0.635, math.nan, 1.120),
        ("side", 0.0, 0.380, 1.220),
        ("side", 0.255, 0.380, 1.220),
        ("side", 0.610, math.nan, 1.170),
    ],
)
def test_adult_bands(approach, depth_m, low_m, high_m):
    assert ada_reach_band(approach, depth_m) == pytest.approx((low_m, high_m), nan_ok=True)


@pytest.mark.parametrize(
    ("ages", "high_m", "low_m"),
    [((3, 4), 0.915, 0.510), ((5, 8), 1.015, 0.455), ((9, 12), 1.120, 0.405)],
)
def test_children_bands(ages, high_m, low_m):
    for age in ages:
        assert ada_children_reach_band(age) == (low_m, high_m)


@pytest.mark.parametrize(
    ("measure", "group", "mm"),
    [
        ("stature", "women", (1525, 1626, 1740)),
        ("stature", "men", (1648, 1755, 1870)),
        ("bideltoid breadth", "women", (406, 450, 499)),
        ("bideltoid breadth", "men", (459, 509, 567)),
        ("shoulder height", "women", (1242, 1332, 1434)),
        ("shoulder height", "men", (1339, 1439, 1546)),
        ("thumb-tip reach", "women", (674, 742, 816)),
        ("thumb-tip reach", "men", (742, 811, 886)),
    ],
)
def test_body_sizes(measure, group, mm):
    found = [body_dimension(measure, group, percentile) * 1000 for percentile in (5, 50, 95)]
    assert found == pytest.approx(mm)


def test_farthest_viewer():
    assert farthest_viewer(1.5, 0.035) == pytest.approx(10.5)
