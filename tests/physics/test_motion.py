"""Filters, prediction, reaching and delay: limits, inverses and unknowns."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.physics import motion

TIMES = np.arange(200) / 100.0


def wave(rng: np.random.Generator, n: int = 200) -> np.ndarray:
    t = np.arange(n) / 100.0
    return np.stack([np.sin(3 * t), np.cos(2 * t)], -1) + rng.normal(0, 0.01, (n, 2))


def test_one_euro_is_steadier_at_rest_than_its_input():
    rng = np.random.default_rng(1)
    noise = rng.normal(0, 1, 2000)
    out = motion.one_euro(noise, np.arange(2000) / 100.0, min_cutoff_hz=1.0)
    # A first-order low-pass of weight a leaves a/(2 - a) of white variance (computed here).
    weight = 1 / (1 + 100 / (2 * np.pi))
    assert out[200:].var() == pytest.approx(weight / (2 - weight), rel=0.25)


def test_one_euro_filters_each_number_by_itself():
    data = wave(np.random.default_rng(2))
    both = motion.one_euro(data, TIMES, 1.0, 0.5)
    each = np.stack([motion.one_euro(data[:, k], TIMES, 1.0, 0.5) for k in (0, 1)], -1)
    np.testing.assert_allclose(both, each, rtol=0, atol=1e-15)


def test_norm_mode_does_not_depend_on_how_the_axes_are_turned():
    data = wave(np.random.default_rng(3))
    turn = np.array([[np.cos(0.7), -np.sin(0.7)], [np.sin(0.7), np.cos(0.7)]])
    straight = motion.one_euro(data, TIMES, 1.0, 0.5, speed="norm") @ turn.T
    turned = motion.one_euro(data @ turn.T, TIMES, 1.0, 0.5, speed="norm")
    np.testing.assert_allclose(straight, turned, atol=1e-12)
    axis = motion.one_euro(data @ turn.T, TIMES, 1.0, 0.5)
    assert np.abs(axis - turned).max() > 1e-4


def test_one_euro_passes_unknown_as_unknown_and_goes_on():
    data = wave(np.random.default_rng(4))
    data[0] = np.nan
    data[50:60, 0] = np.nan
    out = motion.one_euro(data, TIMES)
    assert np.array_equal(np.isnan(out), np.isnan(data))
    assert np.all(out[1] == data[1])
    whole = motion.one_euro(data[:, 1], TIMES)
    np.testing.assert_array_equal(out[:, 1], whole)


def test_one_euro_refuses_time_that_stands_still_and_a_new_shape():
    smooth = motion.OneEuro()
    smooth(0.0, [1.0, 2.0])
    with pytest.raises(ValueError, match="advance"):
        smooth(0.0, [1.0, 2.0])
    with pytest.raises(ValueError, match=r"\(2,\), got \(3,\)"):
        smooth(1.0, [1.0, 2.0, 3.0])
    smooth.reset()
    assert smooth(0.0, [5.0]).tolist() == [5.0]
    with pytest.raises(ValueError, match="cut-offs"):
        motion.OneEuro(min_cutoff_hz=0.0)
    with pytest.raises(ValueError, match="expected"):
        motion.one_euro([1.0, 2.0], [0.0])


@given(st.floats(1e-3, 50.0))
def test_kalata_gains_are_the_steady_state_of_the_kalman_filter(index):
    alpha, beta = motion.kalata_gains(index)
    f, q = motion.transition(1.0), motion.process_noise(1.0, index**2, "piecewise")
    cov = np.eye(2) * 10.0
    for _ in range(3000 if index < 0.05 else 300):
        _, cov = motion.kalman_predict(np.zeros(2), cov, f, q)
        gain = cov[:, 0] / (cov[0, 0] + 1.0)
        cov = motion.kalman_update(np.zeros(2), cov, [0.0], [[1.0, 0.0]], [[1.0]]).cov
    assert alpha == pytest.approx(gain[0], rel=1e-5)
    assert beta == pytest.approx(gain[1], rel=1e-5)
    assert cov[0, 0] == pytest.approx(alpha, rel=1e-5)


def test_alpha_beta_follows_a_straight_motion_and_coasts_over_a_gap():
    t = np.arange(400) / 100.0
    truth = np.stack([0.1 + 0.5 * t, 1.0 - 0.2 * t], -1)
    seen = truth.copy()
    seen[0] = seen[300:320] = np.nan
    position, velocity = motion.alpha_beta(seen, t, *motion.kalata_gains(0.5))
    assert np.isnan(position[0]).all() and np.isnan(velocity[0]).all()
    np.testing.assert_allclose(position[250:], truth[250:], atol=1e-9)
    np.testing.assert_allclose(velocity[250:], [[0.5, -0.2]] * 150, atol=1e-7)


@pytest.mark.parametrize(("alpha", "beta"), [(0.0, 0.1), (1.1, 0.1), (0.5, 3.0), (0.5, -0.1)])
def test_alpha_beta_refuses_gains_that_run_away(alpha, beta):
    with pytest.raises(ValueError, match="alpha"):
        motion.alpha_beta([0.0, 1.0], [0.0, 1.0], alpha, beta)


def test_continuous_noise_does_not_depend_on_the_steps():
    cov = np.zeros((2, 2))
    for dt in (0.013, 0.05, 0.037):
        _, cov = motion.kalman_predict(
            np.zeros(2), cov, motion.transition(dt), motion.process_noise(dt, 2.0)
        )
    np.testing.assert_allclose(cov, motion.process_noise(0.1, 2.0), rtol=1e-12)


def test_kalman_functions_broadcast_and_leave_unseen_states_as_predicted():
    rng = np.random.default_rng(5)
    mean, dt = rng.normal(size=(4, 3, 2)), rng.uniform(0.01, 0.1, (4, 1))
    cov = np.broadcast_to(np.diag([1.0, 4.0]), (4, 3, 2, 2))
    x, p = motion.kalman_predict(mean, cov, motion.transition(dt), motion.process_noise(dt, 3.0))
    z = rng.normal(size=(4, 3, 1))
    z[1, 2] = np.nan
    after = motion.kalman_update(x, p, z, [[1.0, 0.0]], [[0.25]])
    np.testing.assert_array_equal(after.mean[1, 2], x[1, 2])
    np.testing.assert_array_equal(after.cov[1, 2], p[1, 2])
    one = motion.kalman_update(x[2, 1], p[2, 1], z[2, 1], [[1.0, 0.0]], [[0.25]])
    np.testing.assert_allclose(after.mean[2, 1], one.mean)
    np.testing.assert_allclose(after.cov[2, 1], one.cov)
    # The information form is an independent derivation of the same update.
    information = np.linalg.inv(p[0, 0]) + np.diag([1 / 0.25, 0.0])
    np.testing.assert_allclose(after.cov[0, 0], np.linalg.inv(information))


def test_prediction_std_matches_the_kalman_step_and_simulated_motion():
    cov = np.array([[1e-6, 2e-6], [2e-6, 1e-2]])
    _, after = motion.kalman_predict(
        np.zeros(2), cov, motion.transition(0.03), motion.process_noise(0.03, 0.5)
    )
    said = motion.prediction_std(1e-3, 0.1, 0.03, 0.5, position_velocity_cov=2e-6)
    assert said == pytest.approx(np.sqrt(after[0, 0]))
    rng = np.random.default_rng(6)
    steps, runs = 300, 4000
    kicks = rng.normal(0, np.sqrt(0.5 * 0.03 / steps), (runs, steps))
    speed = rng.normal(0, 0.1, (runs, 1)) + np.cumsum(kicks, 1)
    end = rng.normal(0, 1e-3, runs) + speed.sum(1) * 0.03 / steps
    # 4000 runs give a standard deviation to 1.1 %; 4 of those.
    assert motion.prediction_std(1e-3, 0.1, 0.03, 0.5) == pytest.approx(end.std(), rel=0.045)


def test_minimum_jerk_rests_at_both_ends_and_its_derivatives_agree():
    t = np.linspace(-0.2, 0.9, 1101)
    x, v, a = motion.minimum_jerk([0.1, 0.2], [0.7, -0.1], 0.6, t)
    assert x.shape == v.shape == a.shape == (1101, 2)
    np.testing.assert_allclose(x[t <= 0], [[0.1, 0.2]] * (t <= 0).sum())
    np.testing.assert_allclose(x[t >= 0.6], [[0.7, -0.1]] * (t >= 0.6).sum())
    np.testing.assert_allclose(np.gradient(x, t, axis=0)[1:-1], v[1:-1], atol=5e-5)
    inner = (t > 0.01) & (t < 0.59)
    np.testing.assert_allclose(np.gradient(v, t, axis=0)[inner], a[inner], atol=5e-3)
    top = np.linalg.norm(v, axis=-1).max()
    assert top == pytest.approx(15 / 8 * np.hypot(0.6, 0.3) / 0.6, rel=1e-5)
    with pytest.raises(ValueError, match="duration"):
        motion.minimum_jerk([0.0], [1.0], 0.0, 0.0)


def test_delay_displacement_keeps_its_sign():
    np.testing.assert_allclose(motion.delay_displacement([[1.0, -2.0]], 0.05), [[0.05, -0.1]])


def test_process_noise_refuses_an_unknown_kind():
    with pytest.raises(ValueError, match="kind"):
        motion.process_noise(0.1, 1.0, "wrong")
