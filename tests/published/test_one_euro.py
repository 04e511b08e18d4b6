"""The one-euro filter against its authors' numbers and their package.

SOURCE: Casiez, Roussel & Vogel, "1€ Filter: A Simple Speed-based Low-pass Filter for Noisy Input
in Interactive Systems", CHI 2012; first rows of the ground truth published with the authors'
implementations (120 Hz, mincutoff 1.0, beta 0.1, dcutoff 1.0), and the authors' Python package
OneEuroFilter 0.2.1.
"""

import numpy as np
from OneEuroFilter import OneEuroFilter

from rushlight.physics.motion import one_euro

# noisy, filtered
ROWS = [
    (-0.0385099, -0.0385099),
    (-0.0280664, -0.0379872),
    (0.048622, -0.0334427),
    (0.111498, -0.0252696),
    (0.053026, -0.0207099),
    (0.120548, -0.0119912),
    (0.00972308, -0.0106507),
    (0.074193, -0.00526521),
    (-0.0236801, -0.00641239),
    (0.0462396, -0.00308863),
    (0.0892027, 0.00291027),
    (0.158329, 0.0135545),
    (0.0423086, 0.01552),
]


def test_the_authors_ground_truth():
    noisy, filtered = np.array(ROWS).T
    ours = one_euro(noisy, np.arange(len(noisy)) / 120, 1.0, 0.1, 1.0)
    # Half the last digit of the least precise printed row (.01552): 5e-6, far inside the 1e-4
    # which the authors allow.
    np.testing.assert_allclose(ours, filtered, rtol=0, atol=5e-6)


def test_the_authors_package_on_uneven_times():
    rng = np.random.default_rng(7)
    # The package takes a time of exactly 0 for "no time", so the series starts at 1 s.
    times = 1.0 + np.cumsum(rng.uniform(0.004, 0.03, 500))
    data = np.sin(2 * times) + rng.normal(0, 0.02, 500)
    theirs = OneEuroFilter(freq=100.0, mincutoff=1.3, beta=0.7, dcutoff=1.1)
    expected = [theirs(float(x), float(t)) for x, t in zip(data, times, strict=True)]
    ours = one_euro(data, times, 1.3, 0.7, 1.1)
    # Both are the same arithmetic in double precision; 1e-12 leaves room for its order.
    np.testing.assert_allclose(ours, expected, rtol=0, atol=1e-12)
