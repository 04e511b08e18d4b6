"""Hot pixels that stay while a light moves are mended, and the light is found as before."""

import numpy as np

from rushlight.records.dots import REASONS
from rushlight.see.hot import HotPixels
from rushlight.see.learning import WATCHED_EVERY, LearningDetector
from rushlight.see.sensor import SensorNoise

NOISE = SensorNoise(40.0, 1.0, 10.0)
HOT = REASONS.index("hot pixel")
PIXELS = [(30, 20), (90, 60), (100, 15)]


def picture(rng, x, y):
    rows, columns = np.mgrid[0:80, 0:120]
    spot = 120.0 * np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2 * 1.4**2))
    level = 10.0 + spot + rng.normal(0, 1.0, (80, 120))
    for column, row in PIXELS:
        level[row, column] = 110.0
    return np.clip(np.rint(level), 0, 255).astype(np.uint8)


def test_they_are_learnt_while_a_light_moves():
    rng = np.random.default_rng(5)
    detect = LearningDetector(120, 80, NOISE)
    first = detect(picture(rng, 40.0, 40.0))
    assert np.count_nonzero(first.reason == HOT) == 3
    for step in range(40 * WATCHED_EVERY):
        dots = detect(picture(rng, 40.0 + 0.1 * (step % 200), 40.0))
        assert np.count_nonzero(dots.reason == 0) == 1
    assert sorted(map(tuple, detect.hot.xy.tolist())) == PIXELS
    assert not np.any(detect(picture(rng, 40.0, 40.0)).reason == HOT)


def test_what_was_measured_is_mended_from_the_first_picture():
    rng = np.random.default_rng(6)
    detect = LearningDetector(120, 80, NOISE, HotPixels(xy=np.array(PIXELS)))
    dots = detect(picture(rng, 40.0, 40.0))
    assert len(dots) == 1 and dots.reason[0] == 0
