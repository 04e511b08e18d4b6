"""Simulated pictures with known dots, and the peers that look for them, for two benchmarks.

The peers run on the same pictures in the same process, on one thread:

- OpenCV's threshold and contours, tuned by us as well as we could on other seeds than those shown:
  background and noise from a sample of pixels, contours above `OPENCV["level_sigmas"]` noise
  widths, then grey-level moments in each contour's box, widened by `OPENCV["margin_px"]`, of the
  light beyond `OPENCV["less_sigmas"]` noise widths.
- sep's background and extraction (Source Extractor's method), its windowed positions among them,
  tuned likewise: see `SEP`.
"""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import sep
from scipy.special import erf

from rushlight.see.sensor import SensorNoise

# A gain other than the one that the detector assumes where it is told none.
GAIN_E_PER_DN, READ_DN, OFFSET_DN = 45.0, 0.8, 5.0
NOISE_DN = math.sqrt(READ_DN**2 + 1 / 12)
KNOWN = SensorNoise(GAIN_E_PER_DN, READ_DN, OFFSET_DN)

# The settings of least error over spots of σ 0.7–3 px, clipped ones too, on pictures of seed 77;
# of equals the quickest.
OPENCV = {"level_sigmas": 5.0, "margin_px": 2, "less_sigmas": 3.0}
SEP = {"threshold_sigmas": 3.0, "least_area_px": 2, "windowed": True}

Picture = npt.NDArray[np.uint8]
Points = npt.NDArray[np.float64]


def pixel_shares(count: int, centre_px: float, sigma_px: float) -> npt.NDArray[np.float64]:
    """Share of a Gaussian line in each of the pixels 0 … count − 1."""
    edges = np.arange(count + 1) - 0.5
    return 0.5 * np.diff(erf((edges - centre_px) / (sigma_px * math.sqrt(2))))


def peak_share(sigma_px: float) -> float:
    """Share of a centred spot's light in its middle pixel."""
    return float(erf(0.5 / (sigma_px * math.sqrt(2))) ** 2)


def spot_places(rng: np.random.Generator, width_px: int, height_px: int) -> Points:
    """Eight places far apart, each anywhere within its pixel."""
    columns = width_px * (np.arange(4) + 0.5) / 4
    rows = height_px * (np.arange(2) + 0.5) / 2
    grid = np.array([(x, y) for x in columns for y in rows], float)
    return grid + rng.uniform(-20, 20, grid.shape)


def add_spot(light: npt.NDArray[np.float64], x: float, y: float, sigma: float, peak: float) -> None:
    """Add a spot whose middle pixel would have the peak [DN], were it centred there."""
    reach = math.ceil(7 * sigma) + 2
    left, top = max(0, round(x) - reach), max(0, round(y) - reach)
    part = light[top : round(y) + reach + 1, left : round(x) + reach + 1]
    part += (peak / peak_share(sigma)) * np.outer(
        pixel_shares(part.shape[0], y - top, sigma), pixel_shares(part.shape[1], x - left, sigma)
    )


def expose(rng: np.random.Generator, light: npt.NDArray[np.float64]) -> Picture:
    """A picture of a mean light [DN], with shot noise, read noise, rounding and clipping.

    The normal law stands in for Poisson where light is plenty; where it is not, read noise rules.
    """
    spread = np.sqrt(READ_DN**2 + light / GAIN_E_PER_DN)
    level = light + OFFSET_DN + rng.standard_normal(light.shape) * spread
    return np.clip(np.rint(level), 0, 255).astype(np.uint8)


def contours(picture: Picture) -> Points:
    """Centroids by OpenCV's contours, tuned."""
    sample = picture[::8, ::8]
    middle = float(np.median(sample))
    quiet = sample[np.abs(sample - middle) < 6]
    background, noise = float(quiet.mean()), max(float(quiet.std()), 0.35)
    level = math.ceil(background + OPENCV["level_sigmas"] * noise) - 1
    _, mask = cv2.threshold(picture, level, 255, cv2.THRESH_BINARY)
    found, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    less = np.float32(background + OPENCV["less_sigmas"] * noise)
    margin = int(OPENCV["margin_px"])
    points = []
    for contour in found:
        x, y, width, height = cv2.boundingRect(contour)
        if width * height < 2:
            continue
        left, top = max(0, x - margin), max(0, y - margin)
        box = picture[top : y + height + margin, left : x + width + margin]
        moments = cv2.moments(np.maximum(box.astype(np.float32) - less, 0))
        if moments["m00"] > 0:
            points.append(
                (left + moments["m10"] / moments["m00"], top + moments["m01"] / moments["m00"])
            )
    return np.array(points).reshape(-1, 2)


def extract(picture: Picture) -> Points:
    """Windowed positions by sep, tuned."""
    data = picture.astype(np.float32)
    ground = sep.Background(data)
    ground.subfrom(data)
    objects: Any = sep.extract(
        data, SEP["threshold_sigmas"], err=ground.globalrms, minarea=SEP["least_area_px"]
    )
    if len(objects) == 0:
        return np.zeros((0, 2))
    radius, _ = sep.flux_radius(data, objects["x"], objects["y"], 6.0 * objects["a"], 0.5, subpix=5)
    x, y, _ = sep.winpos(data, objects["x"], objects["y"], 2.0 / 2.35 * np.maximum(radius, 0.5))
    return np.stack([x, y], axis=-1)


def hits(points: Points, places: Points, within_px: float) -> tuple[list[float], int, int]:
    """Squared errors of the nearest points [px², one axis], places found, points without place."""
    squared, taken = [], set()
    for place in places:
        gaps = np.linalg.norm(points - place, axis=1)
        if len(gaps) and gaps.min() < within_px:
            squared.append(float(gaps.min() ** 2) / 2)
            taken.add(int(gaps.argmin()))
    return squared, len(squared), len(points) - len(taken)
