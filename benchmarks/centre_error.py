"""How near dots' centres come to the best that the light allows, beside a common recipe.

Simulated 640×480 pictures of eight Gaussian spots, with shot noise, read noise and rounding to
8 bits, so the truth is known. Printed is the root-mean-square error of the centres over the
Cramér–Rao bound of the exact 8-bit likelihood: 1 is as good as any unbiased method can be. The
peer runs on the same pictures in the same process: OpenCV's threshold and contours, once with
the moments of the contour as it comes, once tuned by us as well as we could: grey-level moments
in the contour's box, widened by two pixels, of the light beyond two noise widths. The times are
medians over those pictures, on one thread each.

Both detectors and the bound know the same simulation: this shows that the method is well made,
not that a real camera behaves so.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable

import cv2
import numpy as np
import numpy.typing as npt
from scipy.special import erf

from rushlight.physics.centre import centre_cov_quantised
from rushlight.see.detect import Detector
from rushlight.see.sensor import SensorNoise
from rushlight.see.warm import warm

WIDTH_PX, HEIGHT_PX = 640, 480
# A gain other than the one that the detector assumes where it is told none.
GAIN_E_PER_DN, READ_DN, OFFSET_DN = 45.0, 0.8, 5.0
NOISE_DN = math.sqrt(READ_DN**2 + 1 / 12)
SIGMAS_PX = (0.7, 1.0, 1.5, 2.0, 3.0)
PEAKS_TO_NOISE = (5, 10, 20, 50, 100, 250, 1000)
FOUND_WITHIN_PX = 2.0

Picture = npt.NDArray[np.uint8]
Points = npt.NDArray[np.float64]


def pixel_shares(count: int, centre_px: float, sigma_px: float) -> npt.NDArray[np.float64]:
    """Share of a Gaussian line in each of the pixels 0 … count − 1."""
    edges = np.arange(count + 1) - 0.5
    return 0.5 * np.diff(erf((edges - centre_px) / (sigma_px * math.sqrt(2))))


def peak_share(sigma_px: float) -> float:
    """Share of a centred spot's light in its middle pixel."""
    return float(erf(0.5 / (sigma_px * math.sqrt(2))) ** 2)


def spot_places(rng: np.random.Generator) -> Points:
    """Eight places far apart, each anywhere within its pixel."""
    grid = np.array([(x, y) for x in (80, 240, 400, 560) for y in (120, 360)], float)
    return grid + rng.uniform(-20, 20, grid.shape)


def render(rng: np.random.Generator, places: Points, sigma_px: float, peak_dn: float) -> Picture:
    """A picture of the spots."""
    light = np.zeros((HEIGHT_PX, WIDTH_PX))
    for x, y in places:
        light += np.outer(pixel_shares(HEIGHT_PX, y, sigma_px), pixel_shares(WIDTH_PX, x, sigma_px))
    light *= peak_dn / peak_share(sigma_px)
    # The normal law stands in for Poisson where light is plenty; where it is not, read noise rules.
    level = light + OFFSET_DN
    level += rng.standard_normal(light.shape) * np.sqrt(READ_DN**2 + light / GAIN_E_PER_DN)
    return np.clip(np.rint(level), 0, 255).astype(np.uint8)


def contours_of(picture: Picture) -> tuple[list[npt.NDArray[np.int32]], float, float]:
    """Contours five noise widths above the background; the background and the noise [DN]."""
    sample = picture[::8, ::8]
    middle = float(np.median(sample))
    quiet = sample[np.abs(sample - middle) < 6]
    background, noise = float(quiet.mean()), max(float(quiet.std()), 0.35)
    level = math.ceil(background + 5.0 * noise) - 1
    _, mask = cv2.threshold(picture, level, 255, cv2.THRESH_BINARY)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return list(contours), background, noise


def contour_moments(picture: Picture) -> Points:
    """The recipe as it comes: the centroid of each contour's outline."""
    found = []
    for contour in contours_of(picture)[0]:
        moments = cv2.moments(contour)
        if moments["m00"] > 0:
            found.append((moments["m10"] / moments["m00"], moments["m01"] / moments["m00"]))
    return np.array(found).reshape(-1, 2)


def grey_moments(picture: Picture, margin_px: int = 2, less_sigmas: float = 2.0) -> Points:
    """The recipe at its best: centroid of the light beyond two noise widths around a contour."""
    contours, background, noise = contours_of(picture)
    less = np.float32(background + less_sigmas * noise)
    found = []
    for contour in contours:
        x, y, width, height = cv2.boundingRect(contour)
        if width * height < 2:
            continue
        left, top = max(0, x - margin_px), max(0, y - margin_px)
        box = picture[top : y + height + margin_px, left : x + width + margin_px]
        moments = cv2.moments(np.maximum(box.astype(np.float32) - less, 0))
        if moments["m00"] > 0:
            found.append(
                (left + moments["m10"] / moments["m00"], top + moments["m01"] / moments["m00"])
            )
    return np.array(found).reshape(-1, 2)


def bound_px(rng: np.random.Generator, sigma_px: float, peak_dn: float) -> float:
    """Root mean square of the bound over places within a pixel [px, one axis]."""
    cov = centre_cov_quantised(
        peak_dn / peak_share(sigma_px) * GAIN_E_PER_DN,
        sigma_px,
        0.0,
        READ_DN * GAIN_E_PER_DN,
        GAIN_E_PER_DN,
        OFFSET_DN,
        half_window=math.ceil(5 * sigma_px + 2),
        phase_px=rng.uniform(-0.5, 0.5, (16, 2)),
    )
    return float(np.sqrt(np.trace(cov, axis1=-2, axis2=-1).mean() / 2))


def measure(
    method: Callable[[Picture], Points], pictures: list[Picture], truth: list[Points]
) -> tuple[float, float, float]:
    """Root-mean-square error [px, one axis], share of spots found, median time a picture [s]."""
    squared, found, times = [], 0, []
    for picture, places in zip(pictures, truth, strict=True):
        begin = time.perf_counter()
        points = method(picture)
        times.append(time.perf_counter() - begin)
        for place in places:
            gaps = np.linalg.norm(points - place, axis=1)
            if len(gaps) and gaps.min() < FOUND_WITHIN_PX:
                found += 1
                squared.append(gaps.min() ** 2 / 2)
    error = math.sqrt(np.mean(squared)) if squared else math.nan
    return error, found / sum(map(len, truth)), float(np.median(times))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--quick", action="store_true", help="fewer pictures, rougher figures")
    quick = parser.parse_args().quick
    count = 6 if quick else 40
    cv2.setNumThreads(1)
    warm()
    rng = np.random.default_rng(20240607)
    known = Detector(WIDTH_PX, HEIGHT_PX, SensorNoise(GAIN_E_PER_DN, READ_DN, OFFSET_DN))
    unknown = Detector(WIDTH_PX, HEIGHT_PX, SensorNoise.unknown())
    methods: dict[str, Callable[[Picture], Points]] = {
        "noise known": lambda picture: known(picture).good().xy,
        "noise unknown": lambda picture: unknown(picture).good().xy,
        "contour": contour_moments,
        "contour, tuned": grey_moments,
    }
    print(f"Error of a dot's centre over the bound, and (share found); simulated, {8 * count} dots")
    print(f"{'σ px':>5} {'peak/noise':>10} {'bound px':>9}", *(f"{name:>17}" for name in methods))
    seconds: dict[str, list[float]] = {name: [] for name in methods}
    for sigma_px in SIGMAS_PX:
        for ratio in PEAKS_TO_NOISE:
            peak_dn = ratio * NOISE_DN
            truth = [spot_places(rng) for _ in range(count)]
            pictures = [render(rng, places, sigma_px, peak_dn) for places in truth]
            bound = bound_px(rng, sigma_px, peak_dn)
            cells = []
            for name, method in methods.items():
                error, share, taken = measure(method, pictures, truth)
                seconds[name].append(taken)
                cells.append(f"{error / bound:9.2f} ({share:4.0%})".rjust(17))
            clipped = "*" if peak_dn + OFFSET_DN >= 255 else " "
            print(f"{sigma_px:5.1f} {ratio:9d}{clipped} {bound:9.4f}", *cells)
    print("* the brightest pixels are clipped")
    medians = {name: float(np.median(taken)) for name, taken in seconds.items()}
    peer = medians["contour, tuned"]
    for name, taken in medians.items():
        print(
            f"{name:>14}: {taken * 1e6:6.0f} µs a picture, {taken / peer:.2f} of the tuned recipe"
        )


if __name__ == "__main__":
    main()
