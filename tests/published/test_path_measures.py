"""Path measures on a constructed path.

SOURCE: MacKenzie, Kauppinen & Silfverberg 2001, "Accuracy measures for evaluating computer
pointing devices", CHI, for the definitions; path and values are computed here.
"""

import numpy as np
import pytest

from rushlight.physics.paths import path_measures

X = [0, 10, 25, 40, 60, 55, 70, 95, 100]
Y = [0, 2, 4, 1, -2, -3, 1, 3, 0]


def test_constructed_path():
    result = path_measures(np.stack([X, Y], -1), [0, 0], [100, 0])
    assert (result.axis_crossings, result.direction_changes, result.orthogonal_changes) == (2, 3, 2)
    assert result.error_m == pytest.approx(1.777778, abs=5e-7)
    assert result.offset_m == pytest.approx(0.666667, abs=5e-7)
    assert result.variability_m == pytest.approx(2.236068, abs=5e-7)
