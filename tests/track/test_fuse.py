"""Several cameras' places of one light made one: against least squares, and with a bad camera."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.track.fuse import fuse


def drawn_covs(rng, count, size=2):
    roots = rng.normal(size=(count, size, size)) * 1e-3
    return roots @ np.swapaxes(roots, 1, 2) + 1e-8 * np.eye(size)


@given(st.integers(0, 10_000), st.integers(1, 5), st.sampled_from([2, 3]))
def test_agreeing_cameras_against_least_squares(seed, count, size):
    """The normal equations of the stacked, whitened problem give the same place and doubt."""
    rng = np.random.default_rng(seed)
    covs = drawn_covs(rng, count, size)
    place = rng.normal(size=size)
    seen = place + np.array([0.3 * np.linalg.cholesky(c) @ rng.normal(size=size) for c in covs])
    found = fuse(seen, covs, level=1.0 - 1e-12)
    white = np.linalg.inv(np.linalg.cholesky(covs))
    stacked = white.reshape(-1, size)
    right = (white @ seen[..., None]).reshape(-1)
    np.testing.assert_allclose(
        found.place, np.linalg.lstsq(stacked, right, rcond=None)[0], atol=1e-9
    )
    np.testing.assert_allclose(found.cov, np.linalg.inv(stacked.T @ stacked), rtol=1e-5)
    assert found.used.all()
    assert found.agrees


def test_the_doubt_is_true():
    """Mean chi-square of 2000 moments of three cameras is 2, within four standard deviations."""
    rng = np.random.default_rng(1)
    covs = drawn_covs(rng, 3)
    roots = np.linalg.cholesky(covs)
    squares, left_out = [], 0
    for _ in range(2000):
        found = fuse((roots @ rng.normal(size=(3, 2, 1)))[..., 0], covs)
        squares.append(found.place @ np.linalg.solve(found.cov, found.place))
        left_out += not found.agrees
    assert np.mean(squares) == pytest.approx(2.0, abs=4 * 2 / np.sqrt(2000))
    # Three pairs, one in a thousand each.
    assert left_out < 20


def test_a_camera_off_by_far_is_left_out():
    covs = np.tile(1e-6 * np.eye(2), (3, 1, 1))
    found = fuse([[0.5, 0.2], [0.53, 0.2], [0.5005, 0.2]], covs)
    assert found.used.tolist() == [True, False, True]
    assert not found.agrees
    np.testing.assert_allclose(found.place, [0.50025, 0.2])


def test_of_two_that_disagree_the_less_doubtful():
    found = fuse([[0.5, 0.2], [0.6, 0.2]], [4e-6 * np.eye(2), 1e-6 * np.eye(2)])
    assert found.used.tolist() == [False, True]
    np.testing.assert_allclose(found.place, [0.6, 0.2])


def test_a_shadowed_camera_does_not_count():
    covs = np.tile(1e-6 * np.eye(2), (2, 1, 1))
    found = fuse([[np.nan, np.nan], [0.6, 0.2]], covs)
    assert found.used.tolist() == [False, True]
    assert found.agrees
    dark = fuse(np.full((2, 2), np.nan), covs)
    assert not dark.used.any()
    assert np.isnan(dark.place).all()


@given(st.integers(0, 1000))
def test_the_order_of_cameras_does_not_matter(seed):
    rng = np.random.default_rng(seed)
    covs, places = drawn_covs(rng, 4), rng.normal(size=(4, 2)) * 1e-3
    order = rng.permutation(4)
    np.testing.assert_allclose(
        fuse(places, covs).place, fuse(places[order], covs[order]).place, atol=1e-12
    )


def test_shapes_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match=r"expected places \(C, D\)"):
        fuse(np.zeros((2, 2)), np.zeros((2, 3, 3)))
