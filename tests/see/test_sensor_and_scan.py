"""Noise models, background tiles and the compiled kernels' warming."""

import math

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.see.fit import clipped_score
from rushlight.see.scan import interpolate, smooth, steady_noise, tile_shape, tile_statistics
from rushlight.see.sensor import SensorNoise
from rushlight.see.warm import warm


def test_variance_adds_read_shot_and_quantisation():
    noise = SensorNoise(gain_e_per_dn=20.0, read_noise_dn=0.8, offset_dn=5.0)
    # 0.64 + (105 − 5)/20 + 1/12
    assert noise.variance_dn2(105.0) == pytest.approx(0.64 + 5.0 + 1 / 12)
    assert noise.variance_dn2(0.0) == pytest.approx(0.64 + 1 / 12)
    assert noise.known


def test_unknown_noise_stays_unknown():
    noise = SensorNoise.unknown()
    assert not noise.known
    assert math.isnan(noise.full_scale_dn)
    assert math.isnan(noise.variance_dn2(10.0))


@pytest.mark.parametrize(
    "setting",
    [
        {"gain_e_per_dn": 0.0},
        {"read_noise_dn": -1.0},
        {"offset_dn": math.inf},
        {"full_scale_dn": 300.0},
    ],
)
def test_impossible_noise_is_refused(setting):
    with pytest.raises(RushlightError, match=next(iter(setting))):
        SensorNoise(**setting)


@pytest.mark.parametrize("level, noise_dn", [(5.3, 0.4), (20.7, 1.0), (100.2, 3.0)])
def test_tiles_measure_background_and_noise(level, noise_dn):
    rng = np.random.default_rng(0)
    image = np.rint(rng.normal(level, noise_dn, (256, 320))).astype(np.uint8)
    image[100:112, 100:112] = 250  # a spot must not disturb its tile
    background, noise = np.zeros((4, 5)), np.zeros((4, 5))
    tile_statistics(image, background, noise)
    assert background == pytest.approx(np.full((4, 5), level), abs=0.05 + 0.15 * noise_dn)
    # 500 pixels a tile: the deviation of a measured deviation is 4 %.
    expected = math.sqrt(noise_dn**2 + 1 / 12)
    assert noise == pytest.approx(np.full((4, 5), expected), rel=0.2)
    assert np.median(noise) == pytest.approx(expected, rel=0.06)


def test_interpolation_is_exact_on_a_slope():
    tiles = np.add.outer(10.0 * np.arange(4), np.arange(5))
    for x, y in [(0, 0), (31.5, 31.5), (319, 255), (100.0, 200.0)]:
        wanted = 10.0 * ((y + 0.5) / 64 - 0.5) + (x + 0.5) / 64 - 0.5
        assert interpolate(tiles, x, y, 256, 320) == pytest.approx(wanted)


def test_smooth_sums_nine_pixels():
    rng = np.random.default_rng(1)
    image = rng.integers(0, 256, (20, 30), dtype=np.uint8)
    sums, peaks = np.zeros((20, 30), np.uint16), np.zeros((20, 3), np.uint16)
    smooth(image, sums, peaks)
    wanted = np.lib.stride_tricks.sliding_window_view(image.astype(int), (3, 3)).sum(axis=(2, 3))
    assert np.array_equal(sums[1:-1, 1:-1], wanted)
    assert np.array_equal(peaks, sums.reshape(20, 3, 10).max(axis=2))


def test_steady_noise_believes_rough_tiles_only():
    noise = np.array([[1.0, 1.1, 0.9], [1.0, 5.0, 1.05]])
    assert steady_noise(noise, 0.3).tolist() == [[1.025] * 3, [1.025, 5.0, 1.025]]
    assert steady_noise(np.zeros((1, 2)), 0.3).tolist() == [[0.3, 0.3]]


@pytest.mark.parametrize("size, tiles", [((8, 8), (1, 1)), ((480, 640), (8, 10))])
def test_tile_shape(size, tiles):
    assert tile_shape(*size) == tiles


@pytest.mark.parametrize("short", [-40.0, -3.0, 0.0, 2.0, 8.0, 40.0])
def test_clipped_score_is_the_slope_of_the_log_tail(short):
    from scipy.special import log_ndtr

    deviation, step = 1.3, 1e-4

    def log_tail(gap):
        return log_ndtr(-gap / deviation)

    # The model rises where the gap to the clipping level shrinks.
    slope = (log_tail(short - step) - log_tail(short + step)) / (2 * step)
    curve = -(log_tail(short - step) - 2 * log_tail(short) + log_tail(short + step)) / step**2
    score, information = clipped_score(short, deviation)
    assert score == pytest.approx(slope, rel=1e-3, abs=1e-7)
    assert information == pytest.approx(curve, rel=0.02, abs=1e-5)


def test_warm_compiles():
    warm()
