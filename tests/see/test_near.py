"""Searching only near expected places, and pictures of more than eight bits."""

import numpy as np
import pytest
from scipy.special import erf

from rushlight.see.detect import Detector, detect, windows_around
from rushlight.see.sensor import SensorNoise

WIDTH, HEIGHT = 331, 243
SPOTS = [(60.3, 70.8, 1.5, 120.0), (200.6, 80.1, 0.9, 60.0), (250.2, 180.4, 3.5, 200.0)]
SCALES = {8: 1.0, 10: 4.0, 12: 16.0, 16: 256.0}


def light(spots):
    total = np.zeros((HEIGHT, WIDTH))
    for x, y, sigma, peak in spots:
        line = [
            0.5 * np.diff(erf((np.arange(count + 1) - 0.5 - centre) / (sigma * np.sqrt(2))))
            for count, centre in ((HEIGHT, y), (WIDTH, x))
        ]
        total += peak / erf(0.5 / (sigma * np.sqrt(2))) ** 2 * np.outer(*line)
    return total


def noise_of(bits):
    """The same sensor read out at so many bits."""
    scale = SCALES[bits]
    return SensorNoise(45.0 / scale, 0.8 * scale, 5.0 * scale, 256.0 * scale - 1.0)


def taken(rng, spots, bits=8):
    """A simulated picture, in steps of so many bits."""
    mean = light(spots)
    level = mean + 5.0 + rng.standard_normal(mean.shape) * np.sqrt(0.64 + mean / 45.0)
    scale = SCALES[bits]
    steps = np.clip(np.rint(level * scale), 0, 256.0 * scale - 1)
    return steps.astype(np.uint8 if bits == 8 else np.uint16)


def test_near_finds_what_a_whole_search_finds_there():
    rng = np.random.default_rng(1)
    detector = Detector(WIDTH, HEIGHT, noise_of(8))
    image = taken(rng, SPOTS)
    whole = detector(image).good()
    near = detector.near(image, [[x + 3.0, y - 2.0] for x, y, *_ in SPOTS], 12.0).good()
    assert len(near) == len(whole) == 3
    for place, index in zip(whole.xy, range(3), strict=True):
        gaps = np.linalg.norm(near.xy - place, axis=1)
        found = gaps.argmin()
        assert gaps[found] < 1e-3
        assert near.cov[found] == pytest.approx(whole.cov[index], rel=0.05)
    one = detector.near(image, [[60.0, 71.0]], 10.0)
    assert len(one) == 1
    assert one.xy[0] == pytest.approx([60.3, 70.8], abs=0.1)
    # A search near some places leaves nothing behind that would change a whole one.
    assert detector(image).good().same_as(whole)


def test_near_an_empty_or_outside_place_there_is_nothing():
    rng = np.random.default_rng(2)
    detector = Detector(WIDTH, HEIGHT, noise_of(8))
    image = taken(rng, SPOTS)
    assert len(detector.near(image, [[130.0, 200.0]], 15.0)) == 0
    assert len(detector.near(image, [[-90.0, 50.0], [np.nan, 3.0], [50.0, 900.0]], 15.0)) == 0
    assert len(detector.near(image, np.zeros((0, 2)), 15.0)) == 0
    unknown = Detector(WIDTH, HEIGHT)
    assert len(unknown.near(image, [[60.0, 71.0]], 20.0).good()) == 1


def test_overlapping_windows_become_one():
    places = [[50.0, 50.0], [60.0, 55.0], [200.0, 100.0]]
    windows = windows_around(places, 10.0, WIDTH, HEIGHT)
    assert len(windows) == 2
    assert windows_around([[0.0, 0.0]], 500.0, WIDTH, HEIGHT).tolist() == [
        [0, HEIGHT // 2 - 1, 0, WIDTH // 2 - 1]
    ]


@pytest.mark.parametrize("bits", [10, 12, 16])
def test_more_bits_show_the_same_dots_a_little_better(bits):
    rng = np.random.default_rng(bits)
    detector = Detector(WIDTH, HEIGHT, noise_of(bits))
    squared = []
    for _ in range(15):
        good = detector(taken(rng, SPOTS, bits)).good()
        assert len(good) == 3
        for x, y, *_ in SPOTS:
            index = np.linalg.norm(good.xy - [x, y], axis=1).argmin()
            error = good.xy[index] - [x, y]
            squared.append(error @ np.linalg.solve(good.cov[index], error) / 2)
    # 90 squared deviations: their mean scatters by 15 %.
    assert 0.6 < np.mean(squared) < 1.45


@pytest.mark.parametrize("bits", [10, 12])
def test_clipping_beyond_eight_bits(bits):
    rng = np.random.default_rng(bits)
    spots = [(60.3, 70.8, 2.0, 900.0)]
    known = Detector(WIDTH, HEIGHT, noise_of(bits))
    for noise in (known, Detector(WIDTH, HEIGHT)):
        good = noise(taken(rng, spots, bits)).good()
        assert len(good) == 1
        assert good.saturated[0] > 10
        assert good.xy[0] == pytest.approx([60.3, 70.8], abs=0.05)


def test_dim_pictures_of_sixteen_bits_make_no_dots():
    rng = np.random.default_rng(6)
    image = rng.poisson(300.0, (HEIGHT, WIDTH)).astype(np.uint16)
    assert len(detect(image).good()) == 0
    assert len(detect(np.full((60, 80), 65535, np.uint16)).good()) == 0
