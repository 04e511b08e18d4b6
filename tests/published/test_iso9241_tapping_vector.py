"""A sequence of six taps worked through by the formulas of multi-directional tapping.

SOURCE: ISO/TS 9241-411:2012 and Soukoreff & MacKenzie 2004 for the formulas; no worked example
with coordinates was found in print, so the sequence is constructed and its values are computed
here. Chord lengths of the ring: computed here, D cos(π/2n).
"""

import numpy as np
import pytest

from rushlight.physics.pointing import (
    axis_deviation,
    ring_targets,
    tapping_order,
    tapping_throughput,
)

NEAR, FAR = (0.0, 0.0), (300.0, 0.0)
START = np.array([NEAR, FAR] * 3)
TARGET = np.array([FAR, NEAR] * 3)
SELECTED = np.array([(306, 4), (-3, -6), (291, 2), (9, 5), (300, -8), (-12, 1)], float)
MT_S = np.array([640, 700, 610, 580, 660, 710]) / 1000


def test_deviations():
    dx, distance = axis_deviation(START, TARGET, SELECTED)
    np.testing.assert_allclose(dx, [6, 3, -9, -9, 0, 12], atol=1e-12)
    np.testing.assert_allclose(distance, 300)


@pytest.mark.parametrize(
    ("form", "ddof", "sd", "width", "distance", "difficulty", "throughput"),
    [
        ("nominal", 1, 8.360622, 34.554451, 300.5, 3.277452, 5.042234),
        ("nominal", 0, 7.632169, 31.543753, 300.5, 3.395947, 5.224534),
        ("serial", 1, 8.360622, 34.554451, 299.0, 3.270979, 5.032275),
    ],
)
def test_throughput(form, ddof, sd, width, distance, difficulty, throughput):
    result = tapping_throughput(START, TARGET, SELECTED, MT_S, form, ddof)
    found = [
        result.sd_x_m,
        result.effective_width_m,
        result.effective_distance_m,
        result.effective_difficulty_bit,
        result.throughput_bit_s,
    ]
    expected = [sd, width, distance, difficulty, throughput]
    np.testing.assert_allclose(found, expected, rtol=0, atol=6e-7)
    assert (result.ae_form, result.ddof, result.n) == (form, ddof, 6)


def test_order_of_thirteen():
    assert tapping_order(13)[:6].tolist() == [0, 7, 1, 8, 2, 9]


@pytest.mark.parametrize(
    ("n", "chord"), [(9, 0.98481), (11, 0.98982), (13, 0.99271), (15, 0.99452), (25, 0.99803)]
)
def test_every_move_of_an_odd_ring_is_one_chord(n, chord):
    way = ring_targets(n, 1.0)[np.append(tapping_order(n), 0)]
    np.testing.assert_allclose(np.linalg.norm(np.diff(way, axis=0), axis=1), chord, atol=5e-6)


def test_an_even_ring_alternates():
    way = ring_targets(8, 1.0)[tapping_order(8)]
    moves = np.linalg.norm(np.diff(way, axis=0), axis=1)
    np.testing.assert_allclose(moves[0::2], 1.0)
    np.testing.assert_allclose(moves[1::2], np.cos(np.pi / 8))
