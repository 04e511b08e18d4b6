"""How well a spot's centre can be known: three closed formulas and the Fisher information.

SOURCE: Mortensen, Churchman, Spudich and Flyvbjerg, Nat. Methods 7:377 (2010): maximum
likelihood and least squares; SOURCE: Thompson, Larson and Webb, Biophys. J. 82:2775 (2002).
The formulas are theirs; the standard deviations below are computed here from them.
"""

import numpy as np
import pytest

from rushlight.physics import centre, sensing

# Gaussian radius [px], photons, b [e⁻ a pixel]; Thompson, least squares, likelihood, Fisher [px].
ROWS = [
    (1.0, 1000.0, 0.0, 0.03291, 0.04389, 0.03291, 0.0329),
    (1.0, 1000.0, 3.0, 0.03619, 0.04681, 0.04039, 0.0404),
    (1.0, 1000.0, 5.0, 0.04137, 0.05161, 0.04746, 0.0475),
    (0.7, 3000.0, 5.0, 0.01442, 0.01904, 0.01578, 0.0158),
]


@pytest.mark.parametrize(("sigma", "flux", "b", "oldest", "squares", "likelihood", "fisher"), ROWS)
def test_centre_error_computed_here(sigma, flux, b, oldest, squares, likelihood, fisher):
    given = (sigma, flux, b**2)
    half_digit = 0.5e-5
    found = np.sqrt(sensing.centre_variance_thompson(*given))
    assert found == pytest.approx(oldest, abs=half_digit)
    found = np.sqrt(sensing.centre_variance_least_squares(*given))
    assert found == pytest.approx(squares, abs=half_digit)
    found = np.sqrt(sensing.centre_variance_ml(*given))
    assert found == pytest.approx(likelihood, abs=half_digit)
    # b² counts the background's own shot noise; as read noise b it weighs the same.
    cov = centre.centre_cov_fisher(flux, sigma, 0.0, b, 0.0)
    # The formula takes a pixel for a Gaussian of the same variance: one unit of the last digit.
    assert np.sqrt(cov[0, 0]) == pytest.approx(fisher, abs=1e-4)


def test_oldest_formula_falls_below_the_bound_with_background():
    bound = centre.centre_cov_fisher(1000.0, 1.0, 0.0, 5.0, 0.0)[0, 0]
    assert sensing.centre_variance_thompson(1.0, 1000.0, 25.0) < 0.8 * bound


def test_small_spots_depend_on_where_in_the_pixel_they_fall():
    """s .4 px, 1000 photons, b 5: .0173 to .0195 px over phases, mean of both axes.

    Computed here over random phases; a grid reaches the corners too, hence one more unit.
    """
    steps = np.linspace(-0.5, 0.5, 11)
    phase = np.stack(np.meshgrid(steps, steps), axis=-1)
    cov = centre.centre_cov_fisher(1000.0, 0.4, 0.0, 5.0, 0.0, phase_px=phase)
    bound = np.sqrt(np.trace(cov, axis1=-2, axis2=-1) / 2)
    assert bound.min() == pytest.approx(0.0173, abs=1e-4)
    assert bound.max() == pytest.approx(0.0195, abs=1e-4)
