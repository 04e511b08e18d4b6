"""Steady gains of the alpha-beta filter and constant-velocity process noise.

SOURCE: Kalata 1984, "The tracking index: a generalized parameter for α-β and α-β-γ target
trackers", IEEE Trans. AES-20(2), relation from memory, values computed here and matched to a
Riccati solver (scipy 1.17 solve_discrete_are); filterpy 2, documented values of
Q_discrete_white_noise and Q_continuous_white_noise for dim 2, dt 0.1, unit intensity.
"""

import numpy as np
import pytest
from scipy.linalg import solve_discrete_are

from rushlight.physics.motion import kalata_gains, process_noise, transition

GAINS = [(0.1, 0.36, 0.08), (0.5, 0.628373, 0.304806), (1, 0.75, 0.5), (2, 0.854102, 0.763932)]


@pytest.mark.parametrize(("index", "alpha", "beta"), GAINS)
def test_gains(index, alpha, beta):
    np.testing.assert_allclose(kalata_gains(index), [alpha, beta], rtol=0, atol=5e-7)


@pytest.mark.parametrize("index", [row[0] for row in GAINS])
def test_gains_by_the_riccati_solver(index):
    f, q = transition(1.0), process_noise(1.0, index**2, "piecewise")
    predicted = solve_discrete_are(f.T, np.array([[1.0], [0.0]]), q, np.array([[1.0]]))
    gain = predicted[:, 0] / (predicted[0, 0] + 1.0)
    # An iterative solver; 1e-8 is its own accuracy here.
    np.testing.assert_allclose(kalata_gains(index), gain, rtol=1e-8)


def test_piecewise_noise_as_printed():
    expected = [[2.5e-5, 5e-4], [5e-4, 0.01]]
    # Printed exactly; only rounding remains.
    np.testing.assert_allclose(process_noise(0.1, 1.0, "piecewise"), expected, rtol=1e-12)


def test_continuous_noise_as_printed():
    expected = [[3.33e-4, 0.005], [0.005, 0.1]]
    ours = process_noise(0.1, 1.0, "continuous")
    np.testing.assert_allclose(ours, expected, rtol=0, atol=5e-7)
