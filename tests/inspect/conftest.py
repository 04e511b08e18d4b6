"""Frames of known truth, made here with Poisson light, read noise and rounding alone."""

import numpy as np
import pytest
from scipy.special import erf

from rushlight.inspect.takes import Take
from rushlight.records.dots import Frame


class Sensor:
    """A sensor of known gain, read noise and black level; nothing of the program's simulator."""

    gain_dn_per_e, read_e, black_dn = 1 / 20, 14.0, 6.0

    def picture(self, rng, electrons):
        held = rng.poisson(electrons) + rng.normal(0.0, self.read_e, np.shape(electrons))
        level = np.rint(held * self.gain_dn_per_e + self.black_dn)
        return np.clip(level, 0, 255).astype(np.uint8)

    def flat(self, rng, mean_e, count=16, shape=(64, 80), slope=0.1):
        """Pictures of a sheet that is brighter on its right side."""
        light = mean_e * (1 + slope * np.linspace(-1, 1, shape[1])) * np.ones(shape)
        return [self.picture(rng, light) for _ in range(count)]

    def dots(self, rng, flux_dn, sigma_px, count=20, shape=(96, 128)):
        """Pictures of one light about the middle, each at another place within its pixel."""
        flux = np.broadcast_to(flux_dn, count)
        sigma = np.broadcast_to(sigma_px, count)
        pictures = []
        for index in range(count):
            x, y = rng.uniform(63.5, 64.5), rng.uniform(49.5, 50.5)
            spot = np.outer(_line(shape[0], y, sigma[index]), _line(shape[1], x, sigma[index]))
            pictures.append(self.picture(rng, flux[index] * spot / self.gain_dn_per_e))
        return pictures


def _line(count, centre, sigma):
    edges = np.arange(count + 1) - 0.5
    return 0.5 * np.diff(erf((edges - centre) / (sigma * np.sqrt(2.0))))


@pytest.fixture
def sensor():
    return Sensor()


@pytest.fixture
def take():
    """Makes a take of pictures, at even or given times [s]."""

    def make(name, pictures, times_s=None, times="from the camera"):
        times_s = np.arange(len(pictures)) / 30.0 if times_s is None else times_s
        frames = [
            Frame("cam", index, round(float(when) * 1e9), np.nan, picture)
            for index, (when, picture) in enumerate(zip(times_s, pictures, strict=True))
        ]
        return Take(name, frames, times)

    return make
