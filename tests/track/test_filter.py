"""The filters of the picture: what they leave, and what they take away."""

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.records.rig import Smoothing
from rushlight.track.filter import AGILITY_PX2_S3, FILTERS, filter_maker

PERIOD_S = 0.01


def filtered(name, places, std_px=0.1):
    smooth = filter_maker(name)()
    cov = std_px**2 * np.eye(2)
    results = [smooth(k * PERIOD_S, place, cov) for k, place in enumerate(places)]
    return np.array([xy for xy, _ in results]), np.array([cov for _, cov in results])


def test_none_changes_nothing():
    places = np.random.default_rng(0).normal(100, 10, (20, 2))
    xy, cov = filtered("none", places)
    assert np.array_equal(xy, places)
    assert np.allclose(cov, 0.01 * np.eye(2))


@pytest.mark.parametrize("name", FILTERS)
def test_the_first_dot_passes_unchanged(name):
    xy, _ = filtered(name, [[12.0, 34.0]])
    assert xy.tolist() == [[12.0, 34.0]]


@pytest.mark.parametrize(("name", "greatest"), [("one-euro", 0.35), ("kalman", 0.95)])
def test_a_light_at_rest_gets_steadier(name, greatest):
    noise = np.random.default_rng(1).normal(0.0, 0.1, (600, 2))
    xy, _ = filtered(name, np.array([300.0, 200.0]) + noise)
    assert (xy[200:].std(axis=0) < greatest * noise[200:].std(axis=0)).all()


def test_the_kalman_covariance_is_the_scatter_it_leaves():
    random = np.random.default_rng(2)
    # Motion as the filter supposes it: white acceleration of its own density.
    steps = random.normal(0.0, np.sqrt(AGILITY_PX2_S3 * PERIOD_S), (4000, 2))
    speed = np.cumsum(steps, axis=0)
    true = np.cumsum(PERIOD_S * (speed - 0.5 * steps), axis=0)
    true += random.normal(0.0, np.sqrt(AGILITY_PX2_S3 * PERIOD_S**3 / 12), true.shape)
    xy, cov = filtered("kalman", true + random.normal(0.0, 0.5, true.shape), std_px=0.5)
    ratio = ((xy - true)[100:] ** 2).mean() / cov[100:, 0, 0].mean()
    # 7800 numbers, correlated over a few frames: 5 % is some four standard deviations.
    assert ratio == pytest.approx(1.0, abs=0.08)


def test_one_euro_lags_little_at_speed():
    places = np.stack([500.0 * PERIOD_S * np.arange(300), np.zeros(300)], axis=-1)
    xy, _ = filtered("one-euro", places)
    lag_s = (places[-1, 0] - xy[-1, 0]) / 500.0
    assert 0.0 < lag_s < 0.012


def test_an_unknown_filter_is_refused_with_the_known_ones():
    with pytest.raises(RushlightError) as caught:
        filter_maker("smooth")
    assert str(caught.value) == (
        'filter = "smooth" is not a filter; use one of none, one-euro, kalman.'
    )


def test_the_rigs_settings_rule_the_filters():
    slow = Smoothing(filter="one-euro", cutoff="0.5 Hz", speed_gain=0.0)
    places = np.stack([500.0 * PERIOD_S * np.arange(900), np.zeros(900)], axis=-1)
    cov = 0.01 * np.eye(2)
    smooth = filter_maker("one-euro", slow)()
    last = [smooth(k * PERIOD_S, place, cov)[0] for k, place in enumerate(places)][-1]
    # A one-pole low-pass lags a ramp by 1/(2π f), computed here.
    lag_s = (places[-1, 0] - last[0]) / 500.0
    assert lag_s == pytest.approx(1.0 / (2.0 * np.pi * 0.5), rel=1e-6)


def test_more_agility_smooths_less():
    noise = np.random.default_rng(1).normal(0.0, 0.1, (600, 2))
    left = []
    for agility in (1e2, 1e6):
        smooth = filter_maker("kalman", Smoothing(agility=agility))()
        cov = 0.01 * np.eye(2)
        found = [smooth(k * PERIOD_S, place, cov)[0] for k, place in enumerate(noise)]
        left.append(np.std(found[200:]))
    assert left[0] < 0.7 * left[1]


def test_settings_left_out_are_the_defaults():
    places = np.random.default_rng(3).normal(100, 10, (50, 2))
    for name in FILTERS:
        plain, given = filter_maker(name)(), filter_maker(name, Smoothing(filter=name))()
        for k, place in enumerate(places):
            a = plain(k * PERIOD_S, place, np.eye(2))
            b = given(k * PERIOD_S, place, np.eye(2))
            assert np.array_equal(a[0], b[0]) and np.array_equal(a[1], b[1])
