"""Photon transfer: the noise of a sensor against its level tells how many electrons a level is.

The variance of a pixel grows with its mean by the gain K [DN/e⁻], since electrons arrive at
random. Pairs of pictures under the same light give the variance; pixels are sorted by their mean
level, so that the sheet need not be lit evenly, as the standard has it.

Source: EMVA Standard 1288, release 4.0 (linear): photon transfer method, and noise from pairs of
pictures; from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rushlight.capture.depth import Levels
from rushlight.records.arrays import Array

ROUNDING_DN2 = 1.0 / 12.0
"""Variance of rounding to whole levels [DN²] (computed: a uniform error one level wide)."""

LEAST_VARIANCE_DN2 = 0.24
"""Below this variance noise no longer hides the steps of rounding (EMVA Standard 1288, from
memory), and the variance of the readings says little about the sensor's."""

SHARE_OF_FULL = 0.7
"""Part of full scale up to which the line is fitted (EMVA Standard 1288, from memory)."""

LEAST_PIXELS = 100
"""Fewest pixels of a level that make a point; no source."""

LEAST_SPAN = 0.02
"""Part of full scale that the levels must span to make a line; no source."""

BEND_SIGMAS, BEND_SHARE = 4.0, 0.15
"""A bend counts when it is both this significant and this large a part of the line at its upper
end; no source."""

DEPARTS = 0.1
"""Root mean square by which variances may depart from the line, chance taken off, as a part of
it; no source."""


@dataclass(frozen=True, eq=False)
class Points:
    """Mean and variance of pixels of like level.

    Attributes
    ----------
    level_dn, variance_dn2
        (N,) each.
    weight
        (N,) differences that a variance rests on.
    """

    level_dn: Array
    variance_dn2: Array
    weight: Array

    def joined(self, other: Points) -> Points:
        """These and others."""
        return Points(
            np.concatenate([self.level_dn, other.level_dn]),
            np.concatenate([self.variance_dn2, other.variance_dn2]),
            np.concatenate([self.weight, other.weight]),
        )

    def where(self, keep: npt.NDArray[np.bool_]) -> Points:
        """Some of them."""
        return Points(self.level_dn[keep], self.variance_dn2[keep], self.weight[keep])


@dataclass(frozen=True, eq=False)
class Line:
    """Variance against level: σ² = floor + gain (level − dark level).

    Attributes
    ----------
    gain, floor
        [DN/e⁻] and [DN²].
    cov
        (2, 2) of (floor, gain).
    bend, bend_std
        Coefficient of the square that would bend it, and its standard uncertainty [1/e⁻].
    bent
        Whether it bends or the points keep away from it, so that the gain cannot be trusted.
    points
        Number of points, and the pairs of pixels behind them.
    misfit
        Chi-square a degree of freedom; the covariance is stretched by it when above 1.
    """

    gain: float
    floor: float
    cov: Array
    bend: float
    bend_std: float
    bent: bool
    points: int
    misfit: float

    @property
    def gain_std(self) -> float:
        """Standard uncertainty of the gain [DN/e⁻]."""
        return float(math.sqrt(self.cov[1, 1]))


def points_of(
    pictures: Levels, usable: npt.NDArray[np.bool_] | None, full_scale_dn: int = 255
) -> Points:
    """Variance of pixels by their mean level, from pairs of pictures.

    Parameters
    ----------
    pictures
        (N, H, W), N ≥ 2, of a scene that stands still; an odd last one is left out.
    usable
        (H, W), pixels to look at; None for all.
    full_scale_dn
        Level at full scale [DN]; pixels are sorted into 256 steps of it.

    Notes
    -----
    Half the variance of the difference of two pictures, the mean difference of each level taken
    out first, so that a lamp that flickers as a whole does no harm. Source: EMVA Standard 1288
    (noise from two pictures; from memory).
    """
    count = pictures.shape[0] // 2 * 2
    mean = pictures[:count].mean(axis=0, dtype=np.float64)
    keep = np.ones(mean.shape, bool) if usable is None else usable
    levels = mean[keep]
    # A level of a deep picture holds too few pixels to tell their variance.
    bins = np.rint(levels * (255.0 / full_scale_dn)).astype(np.int64)
    pixels = np.bincount(bins, minlength=256).astype(float)
    level_dn = np.bincount(bins, weights=levels, minlength=256) / np.maximum(pixels, 1.0)
    total = np.zeros(len(pixels))
    for first in range(0, count, 2):
        difference = pictures[first][keep].astype(np.float64) - pictures[first + 1][keep]
        at_once = np.bincount(bins, weights=difference, minlength=256)
        squares = np.bincount(bins, weights=difference * difference, minlength=256)
        total += squares - at_once**2 / np.maximum(pixels, 1.0)
    freedom = (count // 2) * (pixels - 1.0)
    enough = pixels >= LEAST_PIXELS
    variance = 0.5 * total[enough] / freedom[enough]
    return Points(level_dn[enough], variance, freedom[enough])


def fit_line(points: Points, dark_dn: float, top_dn: float) -> Line | None:
    """The line through the points between rounding and seven tenths of full scale.

    Parameters
    ----------
    points
        At least three that count.
    dark_dn
        Level of darkness [DN], from which levels are counted.
    top_dn
        Level at which pixels clip [DN].

    Returns
    -------
    Line or None
        None when fewer than three points count, or their levels do not differ.

    Notes
    -----
    Weighted least squares; a variance from ν differences of normal noise has the variance
    2 σ⁴/ν (textbook), with σ² taken from the fitted line.
    """
    counts = points.where(
        (points.level_dn - dark_dn <= SHARE_OF_FULL * (top_dn - dark_dn))
        & (points.variance_dn2 >= LEAST_VARIANCE_DN2)
    )
    x = counts.level_dn - dark_dn
    if len(x) < 3 or np.ptp(x) < LEAST_SPAN * top_dn:
        return None
    straight, cov, chi2 = _weighted(np.stack([np.ones_like(x), x], axis=1), counts)
    freedom = max(len(x) - 2, 1)
    misfit = chi2 / freedom
    bend, bend_std = math.nan, math.nan
    if len(x) >= 4:
        curved, cov3, chi3 = _weighted(np.stack([np.ones_like(x), x, x**2], axis=1), counts)
        stretch = max(1.0, chi3 / max(len(x) - 3, 1))
        bend, bend_std = float(curved[2]), float(math.sqrt(cov3[2, 2] * stretch))
    large = abs(bend) * np.ptp(x) > BEND_SHARE * abs(straight[1])
    along = np.maximum(straight[0] + straight[1] * x, LEAST_VARIANCE_DN2)
    departs = np.mean((counts.variance_dn2 / along - 1.0) ** 2 - 2.0 / counts.weight)
    return Line(
        gain=float(straight[1]),
        floor=float(straight[0]),
        cov=cov * max(1.0, misfit),
        bend=bend,
        bend_std=bend_std,
        bent=bool((large and abs(bend) > BEND_SIGMAS * bend_std) or departs > DEPARTS**2),
        points=len(x),
        misfit=misfit,
    )


def _weighted(design: Array, points: Points) -> tuple[Array, Array, float]:
    """Least squares with weights from the fitted variances: parameters, covariance, chi-square."""
    expected = np.maximum(points.variance_dn2, LEAST_VARIANCE_DN2)
    for _ in range(4):
        std = expected * np.sqrt(2.0 / points.weight)
        scaled = design / std[:, None]
        normal = np.linalg.pinv(scaled.T @ scaled)
        found = normal @ scaled.T @ (points.variance_dn2 / std)
        expected = np.maximum(design @ found, LEAST_VARIANCE_DN2)
    left = (points.variance_dn2 - design @ found) / std
    return found, normal, float(np.sum(left**2))


def clipping_level(stacks: Sequence[Levels], full_scale_dn: int = 255) -> float:
    """The level at which pixels clip [DN]: where they pile up at the top, or else full scale."""
    counted = np.zeros(full_scale_dn + 1)
    for pictures in stacks:
        counted += np.bincount(pictures.reshape(-1), minlength=full_scale_dn + 1)
    seen = np.flatnonzero(counted)
    top = int(seen[-1]) if len(seen) else full_scale_dn
    below = counted[max(top - 4, 0) : top].max(initial=0.0)
    piled = counted[top] > 50 and counted[top] > 4 * below
    return float(top if 2 * top > full_scale_dn and piled else full_scale_dn)


def neighbours_share_noise(pictures: Levels) -> float:
    """Correlation of a pixel's noise with its right and lower neighbours', the larger one.

    Independent pixels give 0; a picture interpolated from colour filters, scaled, smoothed or
    compressed gives more.

    Parameters
    ----------
    pictures
        (N, H, W), N ≥ 2, of a scene that stands still.
    """
    difference = pictures[0].astype(np.float64) - pictures[1]
    difference -= difference.mean(axis=1, keepdims=True)
    square = float(np.mean(difference**2))
    if square == 0.0:
        return math.nan
    right = float(np.mean(difference[:, 1:] * difference[:, :-1])) / square
    below = float(np.mean(difference[1:] * difference[:-1])) / square
    return max(right, below, key=abs)


def bands_between(pictures: Levels) -> float:
    """How much more rows differ from one picture to the next than their pixels' noise explains.

    About 1 under steady light; far more when a lamp flickers while the rows are read out.

    Parameters
    ----------
    pictures
        (N, H, W), N ≥ 2, of a scene that stands still.
    """
    difference = pictures[0].astype(np.float64) - pictures[1]
    inside = float(np.mean(np.var(difference, axis=1, ddof=1)))
    between = float(np.var(difference.mean(axis=1), ddof=1)) * difference.shape[1]
    return between / inside if inside > 0 else math.nan
