"""Propagation, intervals and comparison: coverage by many draws, limits, refusals."""

import numpy as np
import pytest
from scipy import stats

from rushlight.physics import comparison, uncertainty
from rushlight.physics import statistics as statistics_of


def polar(x):
    return np.stack([x[..., 0] * np.cos(x[..., 1]), x[..., 0] * np.sin(x[..., 1])], axis=-1)


def test_propagation_matches_the_known_jacobian_over_leading_axes():
    rng = np.random.default_rng(1)
    x = rng.uniform([1.0, -3.0], [5.0, 3.0], (4, 3, 2))
    half = rng.normal(0, 0.01, (4, 3, 2, 2))
    cov = half @ np.swapaxes(half, -1, -2)
    y, found = uncertainty.propagate(polar, x, cov)
    r, a = x[..., 0], x[..., 1]
    jacobian = np.stack(
        [
            np.stack([np.cos(a), -r * np.sin(a)], -1),
            np.stack([np.sin(a), r * np.cos(a)], -1),
        ],
        axis=-2,
    )
    np.testing.assert_allclose(y, polar(x))
    expected = jacobian @ cov @ np.swapaxes(jacobian, -1, -2)
    np.testing.assert_allclose(found, expected, rtol=1e-6, atol=1e-10)


def test_propagation_of_a_certain_argument_and_of_huge_and_tiny_scales():
    _, cov = uncertainty.propagate(polar, [2.0, 0.0], np.diag([0.01, 0.0]))
    np.testing.assert_allclose(cov, [[0.01, 0], [0, 0]], atol=1e-15)
    _, cov = uncertainty.propagate(lambda v: v**2, [1e9], [[1e-6]])
    assert cov.item() == pytest.approx((2e9) ** 2 * 1e-6, rel=1e-4)
    with pytest.raises(ValueError, match=r"\(\.\.\., 2, 2\), got \(3, 3\)"):
        uncertainty.propagate(polar, [1.0, 2.0], np.eye(3))
    with pytest.raises(ValueError, match="f: expected"):
        uncertainty.propagate(lambda v: v.sum(), [1.0, 2.0], np.eye(2))


def test_monte_carlo_agrees_with_first_order_where_the_function_is_straight():
    def draw(rng, n):
        return rng.normal([3.0, 0.5], [0.01, 0.002], (n, 2))

    result = uncertainty.monte_carlo(polar, draw, 50_000, seed=2)
    y, cov = uncertainty.propagate(polar, [3.0, 0.5], np.diag([0.01**2, 0.002**2]))
    np.testing.assert_allclose(result.mean, y, atol=2e-4)
    np.testing.assert_allclose(result.std, np.sqrt(np.diag(cov)), rtol=0.02)
    again = uncertainty.monte_carlo(polar, draw, 50_000, seed=2)
    np.testing.assert_array_equal(result.shortest_low, again.shortest_low)


def test_shortest_interval_of_a_skew_value_leans_to_its_dense_side():
    result = uncertainty.monte_carlo(lambda x: x, lambda rng, n: rng.exponential(size=n), 50_000)
    assert result.shortest_low < 0.01 and result.symmetric_low == pytest.approx(0.0253, abs=0.004)
    assert result.shortest_high == pytest.approx(-np.log(0.05), rel=0.03)


def test_monte_carlo_refuses():
    def draw(rng, n):
        return rng.normal(size=n)

    with pytest.raises(ValueError, match="trials"):
        uncertainty.monte_carlo(lambda x: x, draw, 10)
    with pytest.raises(ValueError, match="unknown"):
        uncertainty.monte_carlo(lambda x: x * np.nan, draw, 1000)
    with pytest.raises(ValueError, match="too few"):
        uncertainty.monte_carlo(lambda x: x, draw, 1000, level=0.9999)


def covered(intervals, truth, level=0.95):
    """Share of intervals that hold the truth, with its binomial bounds at 4 sigma."""
    share = np.mean([low <= truth <= high for low, high in intervals])
    room = 4 * np.sqrt(level * (1 - level) / len(intervals))
    return share, level - room, level + room


def test_t_interval_covers_as_often_as_it_says():
    rng = np.random.default_rng(3)
    found = [uncertainty.t_interval(row)[2:4] for row in rng.normal(2.0, 3.0, (4000, 6))]
    share, low, high = covered(found, 2.0)
    assert low < share < high


@pytest.mark.parametrize("method", ["fieller", "delta"])
def test_ratio_intervals_cover_as_often_as_they_say(method):
    rng = np.random.default_rng(4)
    pairs = rng.normal([8.0, 10.0], [0.4, 0.5], (4000, 2))
    found = [uncertainty.ratio_interval(a, 0.4, b, 0.5, method=method)[2:4] for a, b in pairs]
    share, low, high = covered(found, 0.8)
    assert low < share < high


def test_ratio_interval_knows_its_limits():
    wide = uncertainty.ratio_interval(1.0, 0.1, 0.1, 0.1)
    assert wide.method == "Fieller, unbounded" and np.isinf([wide.low, wide.high]).all()
    exact = uncertainty.ratio_interval(8.0, 0.4, 10.0, 0.0)
    assert exact.high == pytest.approx(0.8 + 1.959964 * 0.04)
    common = uncertainty.ratio_interval(8.0, 0.4, 10.0, 0.5, covariance=0.2)
    assert common.std == pytest.approx(0.0, abs=1e-9)
    for numerator, denominator, method in ((1.0, 0.0, "fieller"), (-1.0, 1.0, "delta")):
        with pytest.raises(ValueError, match=r"denominator|values"):
            uncertainty.ratio_interval(numerator, 0.1, denominator, 0.1, method=method)


def test_bootstrap_interval_is_near_student_for_a_mean_and_says_when_it_cannot_be():
    rng = np.random.default_rng(5)
    sample = rng.normal(5.0, 1.0, 60)
    boot, t = uncertainty.bootstrap_interval(sample), uncertainty.t_interval(sample)
    assert boot.low == pytest.approx(t.low, abs=0.05)
    assert boot.high == pytest.approx(t.high, abs=0.05)
    flat = uncertainty.bootstrap_interval([2.0, 2.0, 2.0])
    assert flat.value == 2.0 and np.isnan(flat.low) and np.isnan(flat.high)
    median = uncertainty.bootstrap_interval(sample, np.median)
    assert median.low <= np.median(sample) <= median.high
    with pytest.raises(ValueError, match="two known"):
        uncertainty.bootstrap_interval([1.0])


def test_small_combinations():
    np.testing.assert_allclose(uncertainty.combine_independent([3.0, 5.0], [4.0, 12.0]), [5, 13])
    np.testing.assert_allclose(uncertainty.rms([[3.0, -3.0], [0.0, 0.0]], axis=1), [3, 0])
    assert uncertainty.effective_degrees_of_freedom([0.0], [3.0]) == np.inf
    assert uncertainty.coverage_factor(0.9, 7) == pytest.approx(stats.t(7).ppf(0.95))
    with pytest.raises(ValueError, match="nothing"):
        uncertainty.combine_independent()
    with pytest.raises(ValueError, match="level"):
        uncertainty.coverage_factor(95)


def test_relative_performance_turns_both_kinds_of_figure_the_same_way():
    error = comparison.relative_performance(2.5, 2.0, True, 0.1, 0.05)
    speed = comparison.relative_performance(2.0, 2.5, False, 0.05, 0.1)
    for field in ("ratio", "low", "high"):
        assert getattr(error, field) == pytest.approx(getattr(speed, field))
    assert error.reference_sampled
    assert error.low < error.ratio < error.high
    delta = uncertainty.ratio_interval(2.0, 0.05, 2.5, 0.1, method="delta")
    assert (error.low, error.high) == pytest.approx((delta.low, delta.high))


def test_relative_performance_broadcasts_and_refuses():
    many = comparison.relative_performance([1.0, 2.0], 2.0, True, 0.1)
    np.testing.assert_allclose(many.ratio, [2.0, 1.0])
    assert not many.reference_sampled
    with pytest.raises(ValueError, match="> 0"):
        comparison.relative_performance(0.0, 2.0, True)
    with pytest.raises(ValueError, match="uncertainty"):
        comparison.relative_performance(1.0, 2.0, True, -0.1)
    with pytest.raises(ValueError, match="reference"):
        comparison.relative_cost(1.0, 0.0)


def test_overall_is_a_weighted_geometric_mean_with_its_sensitivity():
    result = comparison.overall([[0.5, 1.0, 2.0], [0.8, 0.8, 0.8]], [2.0, 1.0, 1.0])
    assert result.value[0] == pytest.approx(0.5**0.5 * 2**0.25)
    assert result.if_weight_lower.shape == result.if_weight_higher.shape == (2, 3)
    # By hand: the first weight halved leaves 1:1:1, so (½ · 1 · 2)^(1/3).
    assert result.if_weight_lower[0, 0] == pytest.approx(1.0)
    assert result.if_weight_higher[0, 0] < result.value[0] < result.if_weight_higher[0, 2]
    np.testing.assert_allclose(result.if_weight_lower[1], 0.8)
    assert np.isnan(result.low).all()
    doubted = comparison.overall([0.8, 0.9], [1, 0], log_std=[0.1, 9.0])
    assert doubted.low == pytest.approx(0.8 * np.exp(-0.1959964))
    for ratios, weights in (([1.0, np.nan], [1, 1]), ([1.0, 2.0], [0, 0]), ([1.0, 2.0], [1])):
        with pytest.raises(ValueError, match=r"ratios"):
            comparison.overall(ratios, weights)


def test_equivalence_seldom_passes_at_the_margin():
    rng = np.random.default_rng(6)
    passed = 0
    for row in rng.normal(0, 1, (2000, 20)):
        passed += statistics_of.equivalence(row[:10] + 1.0, row[10:], 1.0).p_value < 0.05
    # Size 5 %: at 2000 runs four sigma reach 6.9 %.
    assert passed / 2000 < 0.07
    with pytest.raises(ValueError, match="vary"):
        statistics_of.equivalence([1.0, 1.0], [1.0, 1.0], 0.5)
    with pytest.raises(ValueError, match="pairs"):
        statistics_of.equivalence([1.0, 2.0], [1.0, 2.0, 3.0], 0.5, paired=True)


def test_repeatability_recovers_both_spreads_and_flags_a_negative_estimate():
    rng = np.random.default_rng(7)
    table = rng.normal(0, 2.0, (3000, 1)) + rng.normal(0, 1.0, (3000, 4))
    result = statistics_of.repeatability(table)
    assert result.repeatability_sd == pytest.approx(1.0, rel=0.03)
    assert result.between_sd == pytest.approx(2.0, rel=0.06)
    level = statistics_of.repeatability([[1.0, 3.0], [1.1, 2.9]])
    assert level.between_was_negative and level.between_sd == 0.0
    assert level.reproducibility_sd == level.repeatability_sd
    with pytest.raises(ValueError, match="known"):
        statistics_of.repeatability([[1.0, np.nan], [1.0, 2.0]])


def test_pool_of_agreeing_places_is_the_fixed_effect():
    result = statistics_of.pool([1.0, 1.0, 1.0], [0.1, 0.2, 0.3])
    assert result.between_sd == 0 and result.i_squared == 0
    assert result.value == pytest.approx(result.fixed)
    assert result.std == pytest.approx(result.fixed_std)
    with pytest.raises(ValueError, match="> 0"):
        statistics_of.pool([1.0, 2.0], [0.1, 0.0])


def test_bland_altman_refuses_what_are_no_pairs():
    result = statistics_of.bland_altman([1.0, 2.0, 4.0], [1.0, 2.5, 3.0])
    assert result.upper_limit - result.lower_limit == pytest.approx(2 * 1.96 * result.sd)
    with pytest.raises(ValueError, match="pairs"):
        statistics_of.bland_altman([1.0, 2.0], [1.0])
