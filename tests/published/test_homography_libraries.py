"""Homographies against independent libraries, compared by the points they transfer.

SOURCE: OpenCV 5.0.0 (`findHomography`, method 0), scikit-image 0.26.0
(`ProjectiveTransform`), and the general minimiser of SciPy 1.17.1 (`least_squares`), as
installed. Coefficients are never compared: maps that agree to a fraction of a pixel may differ
in a coefficient.
"""

import cv2
import numpy as np
import pytest
from scipy.optimize import least_squares
from skimage.transform import ProjectiveTransform

from rushlight.physics.geometry.plane import apply_homography, fit_homography, refine_homography

PROBES = np.stack(np.meshgrid(np.linspace(0, 640, 9), np.linspace(0, 480, 7)), axis=-1).reshape(
    -1, 2
)


def touches(seed, noise_m):
    """Invented touches: pixels of a camera that sees a 2 m wide wall from the side."""
    rng = np.random.default_rng(seed)
    px = rng.uniform([40, 40], [600, 440], (12, 2))
    wall_from_px = np.array(
        [[3.2e-3, 2e-4, -0.1], [-1e-4, -3.0e-3, 1.4], [rng.uniform(0, 6e-4), 1e-4, 1.0]]
    )
    return px, apply_homography(wall_from_px, px) + noise_m * rng.normal(size=(12, 2))


@pytest.mark.parametrize("seed", range(5))
def test_direct_linear_fit_agrees_with_scikit_image(seed):
    px, wall_m = touches(seed, 2e-3)
    theirs = ProjectiveTransform.from_estimate(px, wall_m)
    ours = apply_homography(fit_homography(px, wall_m), PROBES)
    # The same algebraic error in differently normalised coordinates (each isotropic about the
    # mean): agreement is to rounding.
    np.testing.assert_allclose(ours, theirs(PROBES), atol=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_likeliest_fit_agrees_with_opencv_and_is_no_worse(seed):
    px, wall_m = touches(seed, 2e-3)
    theirs, _ = cv2.findHomography(px, wall_m, 0)
    ours, _ = refine_homography(px, wall_m, (2e-3) ** 2 * np.eye(2))
    # OpenCV works in single precision and ends its refinement after a few steps: we allow a
    # fortieth of the touches' own error of 2 mm, and ask that ours be the better fit.
    np.testing.assert_allclose(
        apply_homography(ours, PROBES), apply_homography(theirs, PROBES), rtol=0, atol=5e-5
    )
    our_cost, their_cost = (np.sum((apply_homography(H, px) - wall_m) ** 2) for H in (ours, theirs))
    assert our_cost <= their_cost


@pytest.mark.parametrize("seed", range(5))
def test_likeliest_fit_agrees_with_a_general_minimiser(seed):
    px, wall_m = touches(seed, 2e-3)
    ours, _ = refine_homography(px, wall_m, (2e-3) ** 2 * np.eye(2))

    def residuals(entries):
        return (apply_homography(np.append(entries, 1.0).reshape(3, 3), px) - wall_m).ravel()

    start = fit_homography(px, wall_m)
    found = least_squares(
        residuals, (start / start[2, 2]).ravel()[:8], x_scale="jac", xtol=1e-15, ftol=1e-15
    )
    theirs = np.append(found.x, 1.0).reshape(3, 3)
    # Its derivatives are by differences: agreement to a thousandth of a millimetre.
    np.testing.assert_allclose(
        apply_homography(ours, PROBES), apply_homography(theirs, PROBES), rtol=0, atol=1e-6
    )


def test_exact_points_agree_with_opencv_to_single_precision():
    px = np.array([[40.0, 40.0], [600.0, 60.0], [580.0, 440.0], [60.0, 420.0]])
    wall_m = np.array([[0.0, 1.5], [2.0, 1.5], [2.0, 0.0], [0.0, 0.0]])
    theirs, _ = cv2.findHomography(px, wall_m, 0)
    np.testing.assert_allclose(
        apply_homography(fit_homography(px, wall_m), PROBES),
        apply_homography(theirs, PROBES),
        rtol=0,
        atol=1e-6,
    )
