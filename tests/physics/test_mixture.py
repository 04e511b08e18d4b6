"""Where one round spot settles on several: against a fit by a library of another make."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize

from rushlight.physics import mixture, sensing

ROUND = np.eye(2)


def test_a_single_round_spot_is_found_exactly():
    rng = np.random.default_rng(2)
    offset = rng.uniform(-3, 3, (50, 1, 2))
    sigma = rng.uniform(0.5, 2.0, 50)
    flux = rng.uniform(300, 1e5, (50, 1))
    covs = sigma[:, None, None, None] ** 2 * ROUND
    fit = mixture.centre_of_mixture(offset, covs, flux, 5.0, 4.0, 8.0)
    assert fit.centre_px == pytest.approx(offset[:, 0], abs=1e-5)
    assert fit.sigma_px == pytest.approx(sigma, rel=1e-5)
    assert fit.flux_e == pytest.approx(flux[:, 0], rel=1e-4)


def test_slanting_blobs_match_an_integral_over_each_pixel():
    cov = np.array([[2.0, 1.1], [1.1, 1.5]])
    offset = np.array([0.3, -0.4])
    image = mixture._blob_pixels(offset, cov, 4)
    inverse, root = np.linalg.inv(cov), np.sqrt(np.linalg.det(cov))

    def density(y, x):
        away = np.array([x, y]) - offset
        return np.exp(-0.5 * away @ inverse @ away) / (2 * np.pi * root)

    for row, column in [(4, 4), (3, 4), (5, 6), (2, 3), (6, 2)]:
        x, y = column - 4, row - 4
        share, _ = integrate.dblquad(density, x - 0.5, x + 0.5, y - 0.5, y + 0.5, epsabs=1e-8)
        assert image[row, column] == pytest.approx(share, abs=0.01 * image.max())
    assert np.sum(mixture._blob_pixels(offset, cov, 15)) == pytest.approx(1.0, abs=0.005)


@pytest.mark.parametrize(
    ("offset", "sigma", "share"),
    [((1.5, 0.5), 2.0, 0.3), ((3.0, -2.0), 4.0, 0.5), ((0.3, 0.1), 6.0, 2.0)],
)
def test_light_with_a_glow_settles_where_a_general_solver_does(offset, sigma, share):
    floor, background, flux = 25.0, 6.0, 5000.0
    blobs = flux * sensing.spot_pixels(0.2, 0.1, 0.9, 9) + share * flux * sensing.spot_pixels(
        *offset, sigma, 9
    )
    seen = blobs.reshape(-1) + background

    # The noise weights follow the fitted model, so the solver finds a root of the score.
    def score(p):
        light, slope = sensing.spot_model(p[2] * flux, p[:2], np.exp(p[3]), 9)
        model = light + p[4]
        pull = slope @ ((seen - model) / (floor + np.maximum(model, 0)))
        return pull * np.array([1, 1, flux, 1, 10])

    solved = optimize.root(score, [0.2, 0.1, 1.0, np.log(1.0), background], method="hybr")
    assert solved.success
    fit = mixture.centre_of_mixture(
        [[0.2, 0.1], offset],
        [0.81 * ROUND, sigma**2 * ROUND],
        [flux, share * flux],
        background,
        5.0,
        0.0,
    )
    assert fit.centre_px == pytest.approx(solved.x[:2], abs=2e-3)
    assert fit.sigma_px == pytest.approx(np.exp(solved.x[3]), rel=5e-3)
    assert fit.flux_e == pytest.approx(solved.x[2] * flux, rel=1e-2)


def test_the_glow_draws_the_centre_toward_itself_and_less_when_wider():
    offsets = [[0.0, 0.0], [2.0, 0.0]]
    widths = np.array([2.0, 4.0, 8.0])
    covs = np.stack([np.broadcast_to(ROUND, (3, 2, 2)), widths[:, None, None] ** 2 * ROUND], 1)
    fit = mixture.centre_of_mixture(offsets, covs, [4000.0, 1000.0], 5.0, 3.0, 1.0)
    shift = fit.centre_px[:, 0]
    assert np.all(shift > 0)
    assert shift[0] > shift[1] > shift[2]
    assert fit.centre_px[:, 1] == pytest.approx(0.0, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(-30, 30),
            st.floats(-30, 30),
            st.floats(0.01, 900),
            st.floats(0.01, 900),
            st.floats(-0.95, 0.95),
            st.floats(1e-3, 1e8),
        ),
        min_size=1,
        max_size=4,
    ),
    st.floats(0, 1e4),
    st.floats(0, 50),
)
def test_any_light_at_all_gives_a_finite_answer(blobs, background, read):
    rows = np.array(blobs)
    cross = rows[:, 4] * np.sqrt(rows[:, 2] * rows[:, 3])
    covs = np.stack([rows[:, 2], cross, cross, rows[:, 3]], -1).reshape(-1, 2, 2)
    fit = mixture.centre_of_mixture(rows[:, :2], covs, rows[:, 5], background, read, 0.0)
    assert np.all(np.isfinite(fit.centre_px))
    assert np.isfinite(fit.sigma_px) and np.isfinite(fit.flux_e)
    assert 0 < mixture.mixture_peak_share(rows[:, :2], covs, rows[:, 5]) <= 1.02


def test_unknown_and_dark_items_spoil_no_neighbour():
    offsets = np.zeros((3, 2, 2))
    offsets[:, 1] = np.nan  # the second blob has no light in the first item and needs no place
    covs = np.broadcast_to(ROUND, (3, 2, 2, 2))
    fluxes = [[1000.0, 0.0], [0.0, 0.0], [1000.0, 10.0]]
    fit = mixture.centre_of_mixture(offsets, covs, fluxes, 5.0, 3.0, 1.0)
    assert fit.centre_px[0] == pytest.approx([0, 0], abs=1e-6)
    assert np.all(np.isnan(fit.centre_px[1:]))
    share = mixture.mixture_peak_share(offsets, covs, fluxes)
    assert share[0] == pytest.approx(sensing.peak_share(1.0))
    assert np.all(np.isnan(share[1:]))


def test_batches_broadcast_over_leading_axes():
    offsets = np.zeros((4, 1, 2, 2))
    fluxes = np.full((3, 2), 500.0)
    fit = mixture.centre_of_mixture(offsets, np.stack([ROUND, ROUND]), fluxes, 5.0, 3.0, 1.0)
    assert fit.centre_px.shape == (4, 3, 2)
    assert fit.sigma_px.shape == fit.flux_e.shape == (4, 3)


def test_shapes_that_disagree_are_told():
    with pytest.raises(ValueError, match=r"covs \(\.\.\., 2, 2, 2\)"):
        mixture.centre_of_mixture(np.zeros((2, 2)), ROUND[None], [1.0, 1.0], 5.0, 3.0, 1.0)
    with pytest.raises(ValueError, match="need offsets"):
        mixture.centre_of_mixture([0.0, 0.0], ROUND, 1.0, 5.0, 3.0, 1.0)
