"""Pictures in, trails out: two lights that cross in simulated pictures keep their identity."""

import numpy as np
from scipy.special import erf

from rushlight.see.detect import Detector
from rushlight.see.link import Linker
from rushlight.see.sensor import SensorNoise

SIZE_PX, SIGMA_PX, RATE_HZ = 128, 1.5, 60


def picture(rng, places, peaks):
    level = np.full((SIZE_PX, SIZE_PX), 5.0)
    edges = np.arange(SIZE_PX + 1) - 0.5
    for (x, y), peak in zip(places, peaks, strict=True):
        along, across = (0.5 * np.diff(erf((edges - c) / (SIGMA_PX * np.sqrt(2)))) for c in (x, y))
        level += peak / erf(0.5 / (SIGMA_PX * np.sqrt(2))) ** 2 * np.outer(across, along)
    level += rng.normal(0, np.sqrt(0.8**2 + (level - 5.0) / 20.0))
    return np.clip(np.rint(level), 0, 255).astype(np.uint8)


def crossing_kept(seed):
    """Whether both lights end on the trails they began on; their ways bend like a hand's."""
    rng = np.random.default_rng(seed)
    time_s = np.linspace(-0.35, 0.35, round(0.7 * RATE_HZ))
    ways = []
    for _ in range(2):
        speed = rng.uniform(60, 160) * np.exp(2j * np.pi * rng.uniform())
        bend = rng.uniform(0, 250) * np.exp(2j * np.pi * rng.uniform())
        way = speed * time_s + bend * time_s**2 / 2
        ways.append(np.stack([way.real, way.imag], axis=1) + 64 + rng.normal(0, 0.7, 2))
    if min(np.linalg.norm(ways[0] - ways[1], axis=1)[[0, -1]]) < 20:
        return None
    detector = Detector(SIZE_PX, SIZE_PX, SensorNoise(20.0, 0.8, 5.0))
    linker = Linker()
    peaks = rng.uniform(80, 160, 2)
    first = last = None
    for index in range(len(time_s)):
        places = [way[index] for way in ways]
        dots = detector(picture(rng, places, peaks))
        links = linker.step(round(index * 1e9 / RATE_HZ), dots)
        if len(dots) == 2 and min(links.trail) >= 0:
            gaps = np.linalg.norm(dots.xy[None] - np.array(places)[:, None], axis=2)
            last = tuple(links.trail[gaps.argmin(axis=1)])
            first = first or last
    return first == last


def test_crossing_lights_in_pictures_keep_their_trails():
    kept = [one for one in map(crossing_kept, range(90)) if one is not None]
    assert len(kept) >= 50
    assert np.mean(kept) >= 0.95
