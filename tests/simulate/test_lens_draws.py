"""The drawn lens scatters as the rig says it is known: its coefficients together."""

import numpy as np


def test_drawn_lenses_have_the_stated_covariance(make_world):
    std = np.array([0.02, 0.03, 0.001, 0.002, 0.04])
    corr = np.zeros((5, 5))
    for (i, j), value in {(0, 1): -0.9, (1, 4): -0.95, (0, 4): 0.8}.items():
        corr[i, j] = corr[j, i] = value
    cameras = {"distortion_std": [[std]], "distortion_corr": [[corr]]}
    lenses = np.array([make_world(seed, cameras=cameras).lens for seed in range(300)])
    # A correlation of r by 300 draws is known to (1 − r²)/√300, a deviation to 4 %.
    found = np.corrcoef(lenses.T)
    np.testing.assert_allclose(found - np.eye(5), corr, atol=0.2)
    np.testing.assert_allclose(found[[0, 1], [1, 4]], [-0.9, -0.95], atol=0.045)
    np.testing.assert_allclose(lenses.std(axis=0), std, rtol=0.15)


def test_without_correlations_the_draws_are_what_they_were(make_world):
    one, other = make_world(3), make_world(3, cameras={"distortion_corr": np.zeros((1, 1, 5, 5))})
    assert one.lens.tolist() == other.lens.tolist()
