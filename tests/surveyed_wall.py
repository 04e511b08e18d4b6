"""Gaps under a straight edge on a wall of known bends, and the survey that they make."""

from __future__ import annotations

import numpy as np

from rushlight.physics.geometry import fit_homography
from rushlight.physics.surface_map import wall_height
from rushlight.records.registration import DisplaySurvey, Verdict
from rushlight.records.survey_readings import MARKS
from rushlight.register.survey import Gap, WallFit, fit_wall

LINES = [(0, 2), (3, 5), (6, 8), (0, 6), (1, 7), (2, 8), (0, 8), (2, 6)]
"""Ends of every row, column and diagonal of the nine marks."""

ALONG = (0.25, 0.5, 0.75)
"""Where along them gaps are read; the middle alone tells no S-shaped bend."""


def read_wall(
    bends_m: np.ndarray,
    size_m: np.ndarray,
    flatness_rms_m: float,
    rng: np.random.Generator,
    std_m: float = 5e-4,
) -> WallFit:
    """What gaps with chance errors tell of true bends (7,) [m]."""
    share = np.array(list(MARKS.values()))
    ends = np.stack([share[:, 0], 1.0 - share[:, 1]], axis=1) * size_m
    lines = [(one, other, part) for one, other in LINES for part in ALONG]
    read_at = [(1 - part) * ends[one] + part * ends[other] for one, other, part in lines]
    places = np.concatenate([ends, read_at])
    height = wall_height(places, bends_m, size_m)
    gaps = []
    for number, (one, other, part) in enumerate(lines):
        at = len(ends) + number
        gap = (1 - part) * height[one] + part * height[other] - height[at]
        gaps.append(Gap(one, other, at, float(gap + std_m * rng.standard_normal()), std_m))
    return fit_wall(places, size_m, flatness_rms_m, gaps)


def survey_of_wall(
    found: WallFit,
    size_m: np.ndarray,
    flatness_rms_m: float,
    display_px: tuple[int, int],
    wider_m: float = 0.0,
    std_m: float = 1e-4,
) -> DisplaySurvey:
    """The survey of the barn wall, its picture so much wider at the top to each side."""
    (w, h), (wide, high) = size_m, display_px
    H = fit_homography(
        np.array([[0, high], [wide, high], [wide, 0], [0, 0]], float),
        np.array([[0, 0], [w, 0], [w + wider_m, h], [-wider_m, h]]),
    )
    return DisplaySurvey(
        surface="wall",
        surface_from_display=(H / H[2, 2]).tolist(),
        cov=(std_m**2 * np.eye(8)).tolist(),
        flatness_m=found.flatness_m.tolist(),
        flatness_cov=found.cov_m2.tolist(),
        flatness_rms_m=flatness_rms_m,
        size_m=(float(w), float(h)),
        verdict=Verdict(vouched=True, reasons=["invented"]),
    ).stamped("invented")
