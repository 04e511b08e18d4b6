"""Range of two emitters a known length apart, by how far apart their dots are.

The formulas are the source's: Z = f b / d of two-view geometry and its first-order error
Z²/(f b) σ_d (Hartley & Zisserman, "Multiple View Geometry", from memory), and 1/cos of the turn.
The numbers are our own: no worked case of a source is copied here, and what is expected is
computed from these formulas. What is tested is the whole fit of a pose, which holds none of them.
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
    disparity_px = FOCAL_PX * SPACING_M / RANGE_M
    assert px[1, 0] - px[0, 0] == pytest.approx(disparity_px)
    expected = RANGE_M**2 / (FOCAL_PX * SPACING_M) * np.sqrt(2) * DOT_PX
    # The facing is believed to 1e-4 rad, not exactly: that moves the deviation by far less.
    assert np.sqrt(found(px).cov[2, 2]) == pytest.approx(expected, rel=1e-4)


def test_second_order_bias_of_the_range():
    """Z = f b / d of the disparities to either side, whose mean is farther than Z."""
    disparity_px, off_px = FOCAL_PX * SPACING_M / RANGE_M, np.sqrt(2) * DOT_PX
    expected = np.mean([FOCAL_PX * SPACING_M / (disparity_px + s * off_px) for s in (1, -1)])
    step = np.array([[-1.0, 0.0], [1.0, 0.0]]) * off_px / 2
    ranges = [found(dots() + sign * step).pose[2, 3] for sign in (1, -1)]
    # The bias is 4.7 µm of the range: a hundredth of it is asked.
    assert np.mean(ranges) - RANGE_M == pytest.approx(expected - RANGE_M, rel=0.01)


def test_a_turned_pair_seems_farther():
    seen = found(dots(rotation_of_facing(np.radians(15.0)))).pose[2, 3]
    # 1/cos holds far away; nearer by, the square of half the spacing over the range is left out.
    near = (SPACING_M / (2.0 * RANGE_M)) ** 2
    assert seen / RANGE_M == pytest.approx(1.0 / np.cos(np.radians(15.0)), rel=near)
