"""The sensor against exact statistics and numerical integration."""

import numpy as np
import pytest
from scipy import integrate, stats

from rushlight.simulate.render import POISSON_UP_TO_E, Sensor, add_spot

DARK = np.zeros((0, 6))


def sensor(background_e, gain=10.0, black=8.0, read=4.0, noisy=True, seed=0):
    rng = np.random.default_rng(seed)
    return Sensor(np.asarray(background_e, float), gain, black, read, 256, noisy, rng)


def exact_moments(mean_e, gain, black, read):
    """Mean and variance of the rounded level of Poisson electrons with normal read noise."""
    counts = np.arange(0, int(mean_e + 12 * np.sqrt(mean_e) + 20))
    chance = stats.poisson.pmf(counts, mean_e)
    levels = np.arange(256)
    edges = (np.concatenate([[-np.inf], levels[:-1] + 0.5, [np.inf]]) - black) * gain
    share = np.diff(stats.norm.cdf((edges[None] - counts[:, None]) / read), axis=1)
    weight = chance @ share
    mean = weight @ levels
    return mean, weight @ (levels - mean) ** 2


def test_flat_background_has_the_moments_of_exact_poisson_noise():
    camera = sensor(np.full((120, 160), 30.0))
    frames = np.stack([camera.expose(DARK) for _ in range(40)]).astype(float)
    mean, variance = exact_moments(30.0, 10.0, 8.0, 4.0)
    # The table of a million numbers is itself off by up to four of its standard errors.
    slack = 4.0 * np.sqrt(variance) * (1e-3 + 1.0 / np.sqrt(frames.size))
    assert frames.mean() == pytest.approx(mean, abs=slack)
    assert frames.var() == pytest.approx(variance, rel=0.015)


def test_noise_is_white_over_pixels_and_frames():
    camera = sensor(np.full((120, 160), 30.0))
    frames = np.stack([camera.expose(DARK) for _ in range(20)]).astype(float)
    apart = frames - frames.mean()
    spread = apart.var()
    for first, second in (
        (apart[:, :, :-1], apart[:, :, 1:]),
        (apart[:, :-1], apart[:, 1:]),
        (apart[:-1], apart[1:]),
    ):
        bound = 5.0 / np.sqrt(first.size)
        assert abs(np.mean(first * second) / spread) < bound


@pytest.mark.parametrize("electrons", [150.0, 3000.0])
def test_a_lit_pixel_has_the_moments_of_exact_poisson_noise(electrons):
    camera = sensor(np.full((16, 16), 3.0), gain=2.0, read=3.0)
    spot = np.array([[8.0, 8.0, 1.0, 0.0, 1.0, electrons]])
    values = np.array([camera.expose(spot)[8, 8] for _ in range(20_000)], float)
    expected_e = 3.0 + electrons * (stats.norm.cdf(0.5) - stats.norm.cdf(-0.5)) ** 2
    mean, variance = exact_moments(expected_e, 2.0, 8.0, 3.0)
    assert values.mean() == pytest.approx(mean, abs=4.5 * np.sqrt(variance / len(values)))
    assert values.var() == pytest.approx(variance, rel=4.5 * np.sqrt(2.0 / len(values)))
    if expected_e < POISSON_UP_TO_E:
        # Third moment of the Poisson distribution: as large as its mean.
        skew = expected_e / (expected_e + 9.0) ** 1.5
        assert stats.skew(values) == pytest.approx(skew, abs=5.0 * np.sqrt(6.0 / len(values)))


def drawn(x, y, cov, electrons=1e6, size=41):
    light = np.zeros((size, size))
    add_spot(light, x, y, cov[0], cov[1], cov[2], electrons, np.zeros(4, np.int64))
    return light / electrons


@pytest.mark.parametrize(
    ("cov", "tolerance"),
    [
        ((0.36, 0.0, 0.36), 1e-6),
        ((1.5, 0.0, 0.5), 1e-6),
        # With correlation the pixel's width enters to first order only.
        ((1.5, 0.6, 0.9), 4e-4),
        ((9.0, -2.0, 4.0), 1e-5),
    ],
)
def test_pixels_hold_the_integral_of_the_gaussian(cov, tolerance):
    light = drawn(20.3, 19.6, cov)
    normal = stats.multivariate_normal([20.3, 19.6], [[cov[0], cov[1]], [cov[1], cov[2]]])
    for column, row in ((20, 20), (21, 19), (19, 19), (22, 21), (20, 18)):
        exact, _ = integrate.dblquad(
            lambda y, x: normal.pdf([x, y]), column - 0.5, column + 0.5, row - 0.5, row + 0.5
        )
        assert light[row, column] == pytest.approx(exact, abs=tolerance)


def test_nearly_all_light_is_drawn_and_its_centre_is_right():
    light = drawn(60.25, 59.6, (64.0, 10.0, 40.0), size=121)
    rows, columns = np.mgrid[:121, :121]
    assert light.sum() == pytest.approx(1.0, abs=2e-3)
    assert (light * columns).sum() / light.sum() == pytest.approx(60.25, abs=0.01)
    assert (light * rows).sum() / light.sum() == pytest.approx(59.6, abs=0.01)


def test_without_noise_a_frame_is_its_expectation_rounded():
    background = np.linspace(0.0, 900.0, 20 * 30).reshape(20, 30)
    camera = sensor(background, gain=7.0, black=3.0, noisy=False)
    spot = np.array([[14.2, 9.8, 1.2, 0.3, 0.8, 5000.0]])
    light = np.zeros((20, 30))
    add_spot(light, *spot[0], np.zeros(4, np.int64))
    level = (background + light) / 7.0 + 3.0
    off = camera.expose(spot).astype(float) - level
    assert np.abs(off).max() <= 0.5 + 1e-4


def test_bright_lights_stop_at_full_scale_and_leave_nothing_behind():
    camera = sensor(np.full((32, 32), 5.0), noisy=False)
    bright = camera.expose(np.array([[16.0, 16.0, 2.0, 0.0, 2.0, 1e9]]))
    assert bright[16, 16] == 255
    assert bright.max() == 255
    assert np.array_equal(
        camera.expose(DARK), sensor(np.full((32, 32), 5.0), noisy=False).expose(DARK)
    )


def test_overlapping_lights_add_up_once():
    camera = sensor(np.zeros((32, 32)), noisy=False)
    one = [[15.0, 16.0, 1.0, 0.0, 1.0, 4000.0]]
    assert np.array_equal(
        camera.expose(np.array(one + one)),
        camera.expose(np.array([[15.0, 16.0, 1.0, 0.0, 1.0, 8000.0]])),
    )


@pytest.mark.parametrize(
    "spot",
    [
        [-500.0, 10.0, 1.0, 0.0, 1.0, 1e5],
        [np.nan, 10.0, 1.0, 0.0, 1.0, 1e5],
        [10.0, 10.0, 1.0, 0.0, 1.0, 0.0],
    ],
)
def test_lights_off_the_picture_or_without_light_leave_nothing(spot):
    camera = sensor(np.full((24, 32), 5.0), noisy=False)
    assert np.array_equal(camera.expose(np.array([spot])), camera.expose(DARK))


def test_a_light_across_the_edge_is_cut_by_it():
    camera = sensor(np.zeros((24, 32)), noisy=False)
    assert camera.expose(np.array([[-0.5, 12.0, 4.0, 0.0, 4.0, 1e5]]))[12, 0] > 100


def test_same_seed_same_frames():
    spot = np.array([[8.0, 8.0, 1.0, 0.0, 1.0, 200.0]])
    first, again, other = (sensor(np.full((16, 16), 9.0), seed=seed) for seed in (5, 5, 6))
    ours = [first.expose(spot) for _ in range(5)]
    assert all(np.array_equal(frame, again.expose(spot)) for frame in ours)
    assert not all(np.array_equal(frame, other.expose(spot)) for frame in ours)
