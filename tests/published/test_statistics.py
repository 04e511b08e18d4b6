"""Agreement, equivalence, repeatability and pooling.

SOURCE: Bland & Altman 1986, Lancet 327, peak flow of 17 people by two meters (limits from memory);
pingouin's documented example of `tost` (version not noted); JCGM 100:2008 (GUM) annex H.5 (Table
H.9, from memory, components computed here); Kacker 2004, Metrologia 41, data as shipped in
statsmodels 0.15 with results from R.
"""

import numpy as np
import pytest

from rushlight.physics.statistics import bland_altman, equivalence, pool, repeatability

WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_bland_altman():
    result = bland_altman(WRIGHT, MINI, factor=2.0)
    assert result.bias.value == pytest.approx(-2.117647, abs=5e-7)
    assert result.sd == pytest.approx(38.765130, abs=5e-7)
    # The paper rounds bias and SD to a tenth first: −2.1 ± 2 × 38.8.
    assert result.lower_limit == pytest.approx(-79.7, abs=0.1)
    assert result.upper_limit == pytest.approx(75.5, abs=0.1)


def test_two_one_sided_tests():
    a, b = [4, 7, 8, 6, 3, 2], [6, 8, 7, 10, 11, 9]
    independent = equivalence(a, b, margin=1.0, equal_variance=True)
    assert independent.p_value == pytest.approx(0.965097, abs=5e-7)
    paired = equivalence(a, b, margin=0.5, paired=True)
    assert paired.p_value == pytest.approx(0.954854, abs=5e-7)


def test_gum_h5_by_a_table_with_its_means_and_spreads():
    mean = np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41], float)
    sd = np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86], float)
    # Five values of mean 0 and standard deviation 1, so that each day has the printed figures.
    shape = np.array([-2, -1, 0, 1, 2]) / np.sqrt(2.5)
    result = repeatability(mean[:, None] + sd[:, None] * shape)
    found = [result.repeatability_sd, result.between_sd, result.reproducibility_sd]
    np.testing.assert_allclose(found, [84.89, 42.64, 94.99], rtol=0, atol=0.005)


def test_random_effects():
    y = [61, 61.4, 62.21, 62.3, 62.34, 62.6, 62.7, 62.84, 65.9]
    v = [0.2025, 1.21, 0.09, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225]
    result = pool(y, np.sqrt(v))
    found = [
        result.q,
        result.fixed,
        result.fixed_std,
        result.value,
        result.std,
        result.between_sd**2,
        result.knapp_hartung_std,
    ]
    expected = [24.801898, 62.583397, 0.107846, 62.390139, 0.245750, 0.288049, 0.294776]
    np.testing.assert_allclose(found, expected, rtol=0, atol=6e-7)
    assert result.i_squared * 100 == pytest.approx(67.7444, abs=5e-5)
