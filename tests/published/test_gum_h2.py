"""Simultaneous resistance and reactance, with correlated inputs.

SOURCE: JCGM 100:2008 (GUM), annex H.2 (tables H.2 to H.4), and annex H.1.6 for the effective
degrees of freedom of the end-gauge (H.1 from memory).
"""

import numpy as np
import pytest

from rushlight.physics.uncertainty import (
    coverage_factor,
    effective_degrees_of_freedom,
    propagate,
    t_interval,
)

VOLT = [5.007, 4.994, 5.005, 4.990, 4.999]
AMPERE = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) / 1000
PHASE_RAD = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def impedance(x):
    volt, ampere, phase = x[..., 0], x[..., 1], x[..., 2]
    z = volt / ampere
    return np.stack([z * np.cos(phase), z * np.sin(phase), z], axis=-1)


def test_values_uncertainties_and_correlations():
    data = np.stack([VOLT, AMPERE, PHASE_RAD])
    y, cov = propagate(impedance, data.mean(axis=1), np.cov(data) / 5)
    np.testing.assert_allclose(y, [127.732, 219.847, 254.260], rtol=0, atol=0.0005)
    std = np.sqrt(np.diag(cov))
    # The annex prints the spread of the five results ("approach 2", .29549 for X); the first-order
    # law gives .29558, so a tenth of a last digit is added to half of it.
    np.testing.assert_allclose(std, [0.071, 0.295, 0.236], rtol=0, atol=0.0006)
    r = cov / np.outer(std, std)
    np.testing.assert_allclose(
        [r[0, 1], r[0, 2], r[1, 2]], [-0.588, -0.485, 0.993], rtol=0, atol=0.0005
    )


def test_values_and_uncertainties_by_the_second_approach():
    each = impedance(np.stack([VOLT, AMPERE, PHASE_RAD], axis=-1))
    found = [t_interval(column) for column in each.T]
    np.testing.assert_allclose(
        [f.value for f in found], [127.732, 219.847, 254.260], rtol=0, atol=0.0005
    )
    np.testing.assert_allclose([f.std for f in found], [0.071, 0.295, 0.236], rtol=0, atol=0.0005)


def test_effective_degrees_of_freedom_of_the_end_gauge():
    # Components in nm with degrees of freedom 18, 25.6, 50 and 2. As remembered the clause cuts
    # 16.76 to 16.7, then to 16: hence a whole last digit of tolerance.
    found = effective_degrees_of_freedom([25, 9.7, 2.9, 16.6], [18, 25.6, 50, 2])
    assert found == pytest.approx(16.7, abs=0.1)
    assert coverage_factor(0.99, 16) == pytest.approx(2.92, abs=0.005)
