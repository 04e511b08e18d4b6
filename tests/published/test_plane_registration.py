"""Covariance of plane-to-plane transfer, and where to touch for most information.

SOURCE: method of Criminisi, Reid & Zisserman, "A Plane Measuring Device", BMVC 1997, sections
5-6 (covariance of a homography and of transferred points). The small exact case and the table
of designs are not printed there: they are computed here from the formula (symbolically, and by
counting draws of an independent fit below). The bound of the designs is the equivalence theorem
of Kiefer & Wolfowitz, "The equivalence of two extremum problems", Canadian Journal of
Mathematics 12, 1960 (from memory): for a D-optimal design the largest variance of prediction,
times the number of observations over the noise variance, equals the number of parameters, and
for any other design it is larger. Leave-one-out: Cook & Weisberg, "Residuals and Influence in
Regression", 1982, section 2.2 (from memory).
"""

import numpy as np
import pytest

from rushlight.physics.geometry.plane import (
    apply_homography,
    fit_homography,
    plane_tangent,
    refine_homography,
)
from rushlight.physics.geometry.registration import (
    d_optimal_touches,
    leave_one_out,
    linear_registration,
)

CORNERS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
MID_EDGES = np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])

# Computed here: four touches at (±1, ±1), noise of variance 1 in the second plane only.
COVARIANCES = [
    ((0.0, 0.0), 1 / 2, 1 / 2, 0.0),
    ((0.5, 0.0), 29 / 64, 9 / 16, 0.0),
    ((1.0, 0.0), 1 / 2, 3 / 4, 0.0),
    ((1.0, 1.0), 1.0, 1.0, 0.0),
    ((2.0, 0.0), 7 / 2, 3 / 2, 0.0),
    ((2.0, 2.0), 17 / 2, 17 / 2, 6.0),
]


@pytest.mark.parametrize(("at", "var_x", "var_y", "cov_xy"), COVARIANCES)
def test_covariance_of_a_transferred_point(at, var_x, var_y, cov_xy):
    wanted = [[var_x, cov_xy], [cov_xy, var_y]]
    design = plane_tangent(at)
    solved = linear_registration(plane_tangent(CORNERS), np.zeros(8), np.eye(2))
    # Exact fractions: only rounding is allowed.
    np.testing.assert_allclose(solved.transferred_cov(design[None])[0], wanted, atol=1e-13)
    _, cov = refine_homography(CORNERS, CORNERS, np.eye(2))
    np.testing.assert_allclose(design @ cov @ design.T, wanted, atol=1e-12)


def test_covariance_formula_everywhere():
    x, y = np.random.default_rng(1).uniform(-2, 2, (2, 100))
    solved = linear_registration(plane_tangent(CORNERS), np.zeros(8), np.eye(2))
    cov = solved.transferred_cov(plane_tangent(np.stack([x, y], axis=-1)))
    np.testing.assert_allclose(cov[:, 0, 0], (x**4 + x**2 * y**2 - x**2 + y**2 + 2) / 4)
    np.testing.assert_allclose(cov[:, 1, 1], (y**4 + x**2 * y**2 - y**2 + x**2 + 2) / 4)
    np.testing.assert_allclose(cov[:, 0, 1], x * y * (x**2 + y**2 - 2) / 4, atol=1e-12)


def test_covariance_by_counting_draws():
    rng, sigma, draws = np.random.default_rng(2), 1e-3, 40_000
    fitted = fit_homography(CORNERS, CORNERS + sigma * rng.normal(size=(draws, 4, 2)))
    for at, var_x, var_y, _ in COVARIANCES:
        counted = np.var(apply_homography(fitted, np.array(at)), axis=0) / sigma**2
        # √(2/40000) = 0.7 % a variance; four of these are allowed.
        np.testing.assert_allclose(counted, [var_x, var_y], rtol=0.028)


# Computed here: largest trace of the transferred covariance over the square (noise variance 1),
# and the same times the number of touches, which is 8 at best (Kiefer & Wolfowitz).
DESIGNS = [
    ("corners", CORNERS, 8.000, 0.0005, 2.0, 0.05),
    ("corners twice", np.tile(CORNERS, (2, 1)), 8.000, 0.0005, 1.0, 0.05),
    ("corners and mid-edges", np.concatenate([CORNERS, MID_EDGES]), 10.42, 0.005, 1.30, 0.005),
    (
        "three by three",
        np.concatenate([CORNERS, MID_EDGES, np.zeros((1, 2))]),
        11.33,
        0.005,
        1.26,
        0.005,
    ),
    ("corners of half the size", CORNERS / 2, 68.0, 0.5, 17.0, 0.5),
]


@pytest.mark.parametrize(
    ("touches", "scaled", "scaled_tol", "worst", "worst_tol"),
    [design[1:] for design in DESIGNS],
    ids=[design[0] for design in DESIGNS],
)
def test_designs_against_the_equivalence_theorem(touches, scaled, scaled_tol, worst, worst_tol):
    axis = np.linspace(-1, 1, 41)
    everywhere = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    solved = linear_registration(plane_tangent(touches), np.zeros(8), np.eye(2))
    trace = np.trace(solved.transferred_cov(plane_tangent(everywhere)), axis1=-2, axis2=-1)
    assert trace.max() == pytest.approx(worst, abs=worst_tol)
    assert len(touches) * trace.max() == pytest.approx(scaled, abs=scaled_tol)
    assert len(touches) * trace.max() >= 8.0 - 1e-9


def test_the_chosen_four_touches_are_the_optimal_corners():
    axis = np.linspace(-1, 1, 7)
    grid = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    chosen = d_optimal_touches(plane_tangent(grid), np.zeros(8), np.eye(2), 4)
    assert {tuple(point) for point in grid[chosen]} == {tuple(point) for point in CORNERS}


def test_leave_one_out_is_residual_over_one_less_leverage_and_leverages_sum_to_p():
    touches = DESIGNS[3][1]
    solved = linear_registration(plane_tangent(touches), np.zeros(8), np.eye(2))
    assert np.trace(solved.leverage, axis1=-2, axis2=-1).sum() == pytest.approx(8.0, abs=1e-12)
    # At the middle of the three by three the leverage is the same both ways: plain e/(1 − h).
    middle = solved.leverage[8]
    np.testing.assert_allclose(middle, middle[0, 0] * np.eye(2), atol=1e-14)
    residuals = np.zeros((9, 2))
    residuals[8] = [1.0, -2.0]
    told = leave_one_out(residuals, solved.leverage)[8]
    np.testing.assert_allclose(told, np.array([1.0, -2.0]) / (1 - middle[0, 0]))
