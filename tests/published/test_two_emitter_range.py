"""Range of two emitters a known length apart, by how far apart their dots are.

SOURCE: Z = f b / d of two-view geometry and its first-order error Z²/(f b) σ_d (Hartley &
Zisserman, "Multiple View Geometry", from memory). The case (f 800 px, b 150 mm, Z 1500 mm, each
dot known to 0.1 px) and its values are computed here by hand from these formulas and from 1/cos
of the turn, to the digits given; what is tested is the whole fit of a pose, which holds none of
them.
"""

import numpy as np
import pytest

from rushlight.physics.geometry.pose_fit import Belief, Looks, fit_pose
from rushlight.physics.geometry.rotation import pose_matrix, rotation_of_facing

FOCAL_PX, SPACING_M, RANGE_M, DOT_PX = 800.0, 0.150, 1.500, 0.1
LIGHTS = np.array([[-SPACING_M / 2, 0, 0], [SPACING_M / 2, 0, 0]])
LOOKS = Looks(np.diag([FOCAL_PX, FOCAL_PX, 1.0]), np.zeros(5), np.eye(4))
START = pose_matrix(np.eye(3), [0.0, 0.0, RANGE_M])
# The pair is taken to face the camera.
FACING = Belief(np.eye(4), np.diag([0, 0, 0, 1e8, 1e8, 1e8]))


def found(px):
    return fit_pose(LIGHTS, px, DOT_PX**2 * np.eye(2) * np.ones((2, 1, 1)), LOOKS, START, FACING)


def dots(rotation=None):
    turned = LIGHTS if rotation is None else LIGHTS @ rotation.T
    seen = turned + np.array([0.0, 0.0, RANGE_M])
    return FOCAL_PX * seen[:, :2] / seen[:, 2:]


def test_first_order_error_of_the_range():
    px = dots()
    assert px[1, 0] - px[0, 0] == pytest.approx(80.0)
    assert 1e3 * np.sqrt(found(px).cov[2, 2]) == pytest.approx(2.652, abs=0.0005)


def test_second_order_bias_of_the_range():
    step = np.array([[-1.0, 0.0], [1.0, 0.0]]) * DOT_PX * np.sqrt(2) / 2
    ranges = [found(dots() + sign * step).pose[2, 3] for sign in (1, -1)]
    assert 1e3 * (np.mean(ranges) - RANGE_M) == pytest.approx(0.005, abs=0.0005)


def test_a_turned_pair_seems_farther():
    seen = found(dots(rotation_of_facing(np.radians(15.0)))).pose[2, 3]
    assert 100 * (seen / RANGE_M - 1) == pytest.approx(3.5, abs=0.05)
