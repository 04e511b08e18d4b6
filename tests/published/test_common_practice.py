"""Prices and performance of home-made rigs as generally told.

SOURCE: common practice, no source. A home-made stylus costs about 5 USD, an infrared-sensitive
tracking camera about 40 USD, head-worn emitters about 10 USD, a rig about 50 USD where a
professional surface costs 2000 to 3000 USD, at roughly 80 % of the performance.
"""

import numpy as np
import pytest

from rushlight.physics.comparison import overall, relative_cost, relative_performance

STYLUS_USD, CAMERA_USD, HEAD_EMITTERS_USD, RIG_USD = 5, 40, 10, 50
SURFACE_USD = np.array([2000, 3000])


def test_relative_cost():
    # 1.7 to 2.5 % as told: half the last digit.
    low, high = sorted(relative_cost(RIG_USD, SURFACE_USD))
    assert (low, high) == pytest.approx((0.017, 0.025), abs=0.0005)


@pytest.mark.parametrize("parts", [STYLUS_USD + CAMERA_USD, HEAD_EMITTERS_USD + CAMERA_USD])
def test_parts_sum_to_the_rig(parts):
    # "About 50": to one significant digit.
    assert parts == pytest.approx(RIG_USD, abs=5)
    assert np.all(relative_cost(parts, SURFACE_USD) < 0.03)


def test_relative_performance():
    # Four fifths, told as a share (more is better) or as an error a quarter larger.
    share = relative_performance(0.8, 1.0, lower_is_better=False)
    error = relative_performance(1.25, 1.0, lower_is_better=True)
    assert share.ratio == pytest.approx(0.8) and error.ratio == pytest.approx(0.8)
    assert overall([share.ratio, error.ratio], [2, 1]).value == pytest.approx(0.8)
    # As told, the figures have no variance, and nothing here may pretend one.
    assert not share.reference_sampled and np.isnan(share.low) and np.isnan(share.high)
