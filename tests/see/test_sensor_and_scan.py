"""Noise models, background tiles and the compiled kernels' warming."""

import math

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.see.model import clipped_score
from rushlight.see.scan import clipping_level, sweep
from rushlight.see.sensor import SensorNoise
from rushlight.see.tiles import (
    add_pairs,
    interpolate,
    sort_planes,
    steady_noise,
    tile_shape,
    tile_statistics,
)
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
        {"full_scale_dn": 1.0},
        {"full_scale_dn": 70000.0},
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
    pairs = np.zeros(160, np.uint16)
    tile_statistics(image, 0, 4, 0, 5, pairs, background, noise)
    assert background == pytest.approx(np.full((4, 5), level), abs=0.05 + 0.2 * noise_dn)
    # 256 differences a tile: the deviation of a measured deviation is 5 %.
    expected = math.sqrt(noise_dn**2 + 1 / 12)
    assert noise == pytest.approx(np.full((4, 5), expected), rel=0.25)
    assert np.median(noise) == pytest.approx(expected, rel=0.06)


def test_interpolation_is_exact_on_a_slope():
    tiles = np.add.outer(10.0 * np.arange(4), np.arange(5))
    for x, y in [(0, 0), (31.5, 31.5), (319, 255), (100.0, 200.0)]:
        wanted = 10.0 * ((y + 0.5) / 64 - 0.5) + (x + 0.5) / 64 - 0.5
        assert interpolate(tiles, x, y, 256, 320) == pytest.approx(wanted)


def summits_of(image, background, noise, threshold):
    """Local maxima of weighted sums, by the plain way."""
    window = np.lib.stride_tricks.sliding_window_view
    sums = np.zeros(image.shape, np.int64)
    weights = np.outer([1, 2, 1], [1, 2, 1])
    parts = window(image.astype(np.int64), (3, 3)) * weights
    sums[1:-1, 1:-1] = parts.sum(axis=(2, 3))
    padded = np.pad(sums, 1)
    around = [
        np.roll(padded, (down, right), (0, 1))[1:-1, 1:-1]
        for down in (-1, 0, 1)
        for right in (-1, 0, 1)
        if (down, right) != (0, 0)
    ]
    high = (sums - 16.0 * background) / (6.0 * noise) >= threshold
    return np.argwhere(high & np.all([sums > other for other in around], axis=0))[:, ::-1]


@pytest.mark.parametrize("dtype, wide", [(np.uint8, np.uint16), (np.uint16, np.uint32)])
@pytest.mark.parametrize("size", [(48, 64), (61, 83), (9, 10)])
def test_the_sweep_finds_the_summits_that_a_plain_search_finds(dtype, wide, size):
    rng = np.random.default_rng(1)
    scale = 1 if dtype is np.uint8 else 200
    image = (rng.integers(90, 110, size) * scale).astype(dtype)
    image[4:7, 5:8] = 200 * scale
    background, noise = np.full((1, 1), 100.0 * scale), np.full((1, 1), 6.0 * scale)
    cells = np.zeros((size[0] * size[1], 3), np.int32)
    places = np.zeros((2, 500), np.int64)
    strength = np.zeros(500)
    pairs = np.zeros((7, size[1] // 2), wide)
    _, found = sweep(
        image, background, noise, 4.0, 0, size[0] // 2 - 1, 0, size[1] // 2 - 1,
        pairs, cells, 0, *places, strength, 0,
    )  # fmt: skip
    wanted = summits_of(image, 100.0 * scale, 6.0 * scale, 4.0)
    shown = set(map(tuple, places[:, :found].T.tolist()))
    # The outermost row and column of an odd picture lie in no whole cell.
    inside = (wanted < 2 * (np.array(size[::-1]) // 2) - 1).all(axis=1)
    assert len(wanted) > 0
    assert shown == set(map(tuple, wanted[inside].tolist()))
    assert strength[:found].min() >= 4.0


def test_pairs_are_added_and_planes_sorted():
    rng = np.random.default_rng(2)
    rows = rng.integers(0, 256, (2, 31), dtype=np.uint8)
    sums = np.zeros(15, np.uint16)
    add_pairs(rows[0], rows[1], sums)
    assert np.array_equal(sums, rows[:, :30].astype(int).reshape(2, 15, 2).sum(axis=(0, 2)))
    planes = rng.normal(size=(8, 11))
    wanted = np.sort(planes, axis=0)
    sort_planes(planes)
    assert np.array_equal(planes, wanted)


def test_the_clipping_level_is_where_bright_pixels_pile_up():
    image = np.full((32, 32), 10, np.uint8)
    cells = np.array([[9, 9, 0], [9, 11, 0], [9, 13, 0]], np.int32)
    assert clipping_level(image, cells, 0) == 255.0
    image[10:16, 10:14] = 180
    assert clipping_level(image, cells, 3) == 180.0
    image[10:13, 10:14] = 179
    assert clipping_level(image, cells, 3) == 255.0
    assert clipping_level(image.astype(np.uint16), cells, 3) == 65535.0


def test_steady_noise_believes_rough_tiles_only():
    noise = np.array([[1.0, 1.1, 0.9], [1.0, 5.0, 1.05]])
    steady_noise(noise, 0.3)
    assert noise.tolist() == [[1.025] * 3, [1.025, 5.0, 1.025]]
    noise = np.array([[0.0, np.nan]])
    steady_noise(noise, 0.3)
    assert noise.tolist() == [[0.3, 0.3]]


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
