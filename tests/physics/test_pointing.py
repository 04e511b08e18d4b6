"""Difficulty, throughput and paths: invariance, limits and refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.physics import pointing
from rushlight.physics.paths import path_measures, task_frame


def sequence(rng, n=15, spread=0.004, targets=13):
    ring = pointing.ring_targets(targets, 0.3, [0.5, 0.4])
    order = np.resize(pointing.tapping_order(targets), n + 1)
    start, target = ring[order[:-1]], ring[order[1:]]
    return start, target, target + rng.normal(0, spread, (n, 2)), rng.uniform(0.5, 0.8, n)


def test_throughput_does_not_depend_on_place_turn_or_unit():
    start, target, selected, mt = sequence(np.random.default_rng(1))
    turn = np.array([[0.6, -0.8], [0.8, 0.6]])
    plain = pointing.tapping_throughput(start, target, selected, mt)
    moved = [1000 * (p @ turn.T + [3.0, -2.0]) for p in (start, target, selected)]
    other = pointing.tapping_throughput(*moved, mt)
    assert other.throughput_bit_s == pytest.approx(plain.throughput_bit_s, rel=1e-9)
    assert other.effective_width_m == pytest.approx(1000 * plain.effective_width_m, rel=1e-9)


def test_throughput_recovers_the_spread_it_was_drawn_with():
    rng = np.random.default_rng(2)
    start, target, selected, mt = sequence(rng, n=4000)
    result = pointing.tapping_throughput(start, target, selected, mt)
    # The SD of 4000 draws scatters by 1.1 %; four of those.
    assert result.sd_x_m == pytest.approx(0.004, rel=0.045)
    assert result.effective_distance_m == pytest.approx(0.3 * np.cos(np.pi / 26), rel=1e-3)


def test_throughput_keeps_leading_axes():
    rng = np.random.default_rng(3)
    many = [sequence(rng) for _ in range(6)]
    start, target, selected, mt = (
        np.reshape([m[k] for m in many], (2, 3, *np.shape(many[0][k]))) for k in range(4)
    )
    together = pointing.tapping_throughput(start, target, selected, mt, "serial")
    assert together.throughput_bit_s.shape == (2, 3)
    alone = pointing.tapping_throughput(*many[4], "serial")
    assert together.throughput_bit_s[1, 1] == pytest.approx(alone.throughput_bit_s)


def test_serial_distance_is_the_way_the_hand_went():
    # To and fro along one line the moved distance is known without any formula.
    rng = np.random.default_rng(4)
    start, target = np.zeros((20, 2)), np.zeros((20, 2))
    start[1::2, 0] = target[0::2, 0] = 0.3
    selected = target + np.stack([rng.normal(0, 0.01, 20), np.zeros(20)], -1)
    result = pointing.tapping_throughput(start, target, selected, np.full(20, 0.6), "serial")
    hand = np.concatenate([[0.0], selected[:, 0]])
    assert result.effective_distance_m == pytest.approx(np.abs(np.diff(hand)).mean())


def test_throughput_refuses_what_has_no_value():
    start, target, selected, mt = sequence(np.random.default_rng(5))
    with pytest.raises(ValueError, match="same place"):
        pointing.tapping_throughput(start, target, target, mt)
    with pytest.raises(ValueError, match="coincide"):
        pointing.tapping_throughput(target, target, selected, mt)
    with pytest.raises(ValueError, match="known"):
        pointing.tapping_throughput(start, target, selected, np.where(mt > 0.6, np.nan, mt))
    with pytest.raises(ValueError, match="expected start"):
        pointing.tapping_throughput(start, target, selected[:5], mt)
    with pytest.raises(ValueError, match="ae must"):
        pointing.tapping_throughput(start, target, selected, mt, "other")


@given(st.floats(0.0, 1e3), st.floats(1e-3, 1e3))
def test_difficulty_forms_are_ordered(distance, width):
    shannon = pointing.index_of_difficulty(distance, width)
    assert shannon >= 0
    assert pointing.index_of_difficulty(distance, width, "welford") <= shannon


@pytest.mark.parametrize(
    ("distance", "width", "form"), [(1.0, 0.0, "shannon"), (-1.0, 1.0, "welford"), (0, 1, "fitts")]
)
def test_difficulty_refuses(distance, width, form):
    with pytest.raises(ValueError, match="need"):
        pointing.index_of_difficulty(distance, width, form)


def test_both_effective_widths_agree_on_normal_taps():
    # A normal spread σ misses a width W with probability 2(1 − Φ(W/2σ)).
    from scipy.stats import norm

    sd, width = 0.01, 0.03
    missed = 2 * norm.sf(width / 2 / sd)
    by_rate = pointing.effective_width_from_error_rate(width, missed)
    assert by_rate == pytest.approx(pointing.effective_width(sd), rel=5e-4)
    with pytest.raises(ValueError, match="error rate"):
        pointing.effective_width_from_error_rate(width, 1.0)


@pytest.mark.parametrize("n", range(3, 30))
def test_every_target_is_tapped_once(n):
    assert sorted(pointing.tapping_order(n)) == list(range(n))


def test_ring_goes_clockwise_from_the_top():
    ring = pointing.ring_targets(9, 0.4, [[1.0, 2.0], [0.0, 0.0]])
    assert ring.shape == (2, 9, 2)
    np.testing.assert_allclose(ring[0, 0], [1.0, 2.2])
    assert ring[0, 1, 0] > 1.0


def test_error_rate_counts_misses_and_keeps_the_unknown():
    target = np.zeros((4, 2))
    selected = np.array([[0, 0], [0.04, 0], [0.05, 0], [0, 0.06]])
    assert pointing.error_rate(selected, target, 0.1) == 0.25
    assert pointing.error_rate(selected, target, [0.1, 0.06, 0.06, 0.1]) == 0.75
    selected[0, 0] = np.nan
    assert np.isnan(pointing.error_rate(selected, target, 0.1))


def test_mean_of_means_speaks_of_people():
    rng = np.random.default_rng(6)
    people = rng.normal(4.0, 0.5, (12, 1))
    few = pointing.mean_of_means(people + rng.normal(0, 0.01, (12, 3)))
    many = pointing.mean_of_means(people + rng.normal(0, 0.01, (12, 300)))
    assert few.n == many.n == 12
    assert few.high - few.low == pytest.approx(many.high - many.low, rel=0.05)
    with pytest.raises(ValueError, match="known"):
        pointing.mean_of_means([[1.0, np.nan], [2.0, 3.0]])


def test_line_and_lag():
    line = pointing.movement_time_line([1, 2, 3, 4], [0.4, 0.4, 0.4, 0.4])
    assert line.slope_s_bit == 0 and np.isnan(line.correlation)
    with pytest.raises(ValueError, match="unequal"):
        pointing.movement_time_line([2, 2], [0.3, 0.4])
    assert pointing.lagged_movement_time([2.0, 4.0], [[0.0], [0.1]]).shape == (2, 2)


def test_a_straight_way_has_nothing_to_count():
    way = np.linspace([0.2, 0.1], [0.5, 0.5], 30)
    result = path_measures(way, way[0], way[-1], width_m=0.05)
    assert (result.target_reentries, result.axis_crossings) == (0, 0)
    assert result.orthogonal_changes == 0
    assert result.error_m < 1e-15 and result.variability_m < 1e-15


def test_dead_band_ignores_tremble_and_keeps_real_turns():
    rng = np.random.default_rng(7)
    along = np.linspace(0, 1, 200)
    across = 0.05 * np.sin(2 * np.pi * along * 2) + rng.normal(0, 0.001, 200)
    way = np.stack([along, across], -1)
    noisy = path_measures(way, [0, 0], [1, 0])
    calm = path_measures(way, [0, 0], [1, 0], dead_band_m=0.006)
    assert noisy.direction_changes > 10
    # Two whole waves: four extremes, and three passages through the axis between the ends.
    assert (calm.direction_changes, calm.axis_crossings, calm.orthogonal_changes) == (4, 3, 0)


def test_reentries_count_after_the_first_and_respect_the_dead_band():
    x = np.array([0, 0.9, 1.0, 1.06, 1.0, 1.2, 1.0])
    way = np.stack([x, np.zeros(7)], -1)
    assert path_measures(way, [0, 0], [1, 0], 0.1).target_reentries == 2
    assert path_measures(way, [0, 0], [1, 0], 0.1, dead_band_m=0.02).target_reentries == 1
    assert path_measures(way, [0, 0], [1, 0]).target_reentries is None
    assert path_measures(way[:2], [0, 0], [1, 0], 0.1).target_reentries == 0


def test_task_frame_and_refusals():
    along, across = task_frame([[[1.0, 1.0]], [[2.0, 0.0]]], [0.0, 0.0], [[1.0, 0.0], [0.0, 2.0]])
    np.testing.assert_allclose(along, [[1.0], [0.0]])
    np.testing.assert_allclose(across, [[1.0], [-2.0]])
    with pytest.raises(ValueError, match="coincide"):
        task_frame([[0.0, 0.0]], [1.0, 1.0], [1.0, 1.0])
    with pytest.raises(ValueError, match="points"):
        task_frame([[0.0, 0.0, 0.0]], [1.0, 1.0], [1.0, 2.0])
    with pytest.raises(ValueError, match="path"):
        path_measures([[0.0, np.nan], [1.0, 1.0]], [0, 0], [1, 0])
    with pytest.raises(ValueError, match="dead_band"):
        path_measures([[0.0, 0.0], [1.0, 1.0]], [0, 0], [1, 0], dead_band_m=-1.0)
