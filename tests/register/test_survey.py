"""The displayed picture's shape from ruler readings, held against OpenCV and against chance."""

from __future__ import annotations

from itertools import combinations

import cv2
import numpy as np
import pytest

from rushlight.physics.geometry import apply_homography, flatness_modes, plane_tangent
from rushlight.physics.surface_model import bend_amplitudes, centred, edge_to_edge
from rushlight.records.survey_readings import MARKS
from rushlight.register.survey import (
    Gap,
    Length,
    PictureFit,
    Spot,
    Unknown,
    fit_picture,
    fit_wall,
    suspects,
    too_great,
)

SIZE_PX, SIZE_M = np.array([1280.0, 800.0]), np.array([2.4, 1.5])
NAMES = list(MARKS)
MARKS_PX = np.array(list(MARKS.values())) * SIZE_PX
CORNERS_PX = np.array([[0, 800], [1280, 800], [1280, 0], [0, 0]], float)
CORNERS_M = np.array([[0, 0], [2.37, 0], [2.43, 1.52], [-0.03, 1.47]])
STD_M = 0.002
FOUR = [NAMES.index(name) for name in ("lower-left", "lower-right", "upper-right", "upper-left")]
SIX = list(combinations(FOUR, 2))


def by_opencv(corners_m: np.ndarray) -> np.ndarray:
    return cv2.getPerspectiveTransform(
        CORNERS_PX.astype(np.float32), corners_m.astype(np.float32)
    ).astype(float)


def read(pairs: list[tuple[int, int]], errors_m: np.ndarray) -> list[Length]:
    places = apply_homography(by_opencv(CORNERS_M), MARKS_PX)
    return [
        Length(a, b, float(np.hypot(*(places[a] - places[b]))) + error, STD_M)
        for (a, b), error in zip(pairs, errors_m, strict=True)
    ]


def fitted(lengths: list[Length], spots: list[Spot] | None = None) -> PictureFit:
    return fit_picture(MARKS_PX, CORNERS_PX, SIZE_M, lengths, spots or [], SIX)


def test_exact_readings_give_the_map_of_opencv() -> None:
    fit = fitted(read(SIX, np.zeros(6)))
    places = apply_homography(fit.surface_from_display, MARKS_PX)
    # OpenCV takes the points in single precision.
    assert places == pytest.approx(apply_homography(by_opencv(CORNERS_M), MARKS_PX), abs=2e-6)
    assert (fit.freedom, suspects(fit).any()) == (1, False)


def test_covariance_and_misfit_are_those_of_many_draws() -> None:
    rng = np.random.default_rng(5)
    pairs = [*SIX, (4, FOUR[0]), (4, FOUR[2])]
    truth = fitted(read(pairs, np.zeros(8)))
    true_m = apply_homography(truth.surface_from_display, MARKS_PX)
    apart, misfits = [], []
    for _ in range(400):
        fit = fitted(read(pairs, STD_M * rng.standard_normal(8)))
        apart.append(apply_homography(fit.surface_from_display, MARKS_PX) - true_m)
        misfits.append(fit.misfit)
    design = plane_tangent(centred(true_m, SIZE_M))
    stated = np.einsum("mip,pq,miq->mi", design, truth.cov_m2, design)
    seen = np.mean(np.square(apart), axis=0)
    # Lower left and the lower right's height are agreed upon and have no doubt.
    assert stated[FOUR[0]] == pytest.approx(0.0, abs=1e-18)
    doubted = stated > 1e-12
    # Each a sample variance of 400: standard deviation 7 %, the greatest of 15 within 4 of them.
    assert seen[doubted] / stated[doubted] == pytest.approx(1.0, abs=0.28)
    assert np.mean(misfits) == pytest.approx(truth.freedom, abs=4 * np.sqrt(2 * 3 / 400))


def test_places_hang_the_picture_where_they_were_read() -> None:
    shift = np.array([0.05, -0.02])
    places = apply_homography(by_opencv(CORNERS_M), MARKS_PX) + shift
    spots = [Spot(mark, tuple(places[mark]), STD_M) for mark in FOUR]
    fit = fitted([], spots)
    assert fit.corners_m == pytest.approx(CORNERS_M + shift, abs=1e-6)
    assert fit.corners_cov_m2 == pytest.approx(STD_M**2 * np.eye(8), abs=1e-9)


@pytest.mark.parametrize(
    ("pairs", "why"),
    [
        (SIX[:4], "4 readings cannot tell 5 unknowns"),
        ([SIX[0], SIX[2], SIX[3], SIX[5], SIX[0]], "corner free to move"),
    ],
)
def test_readings_that_leave_the_shape_open_are_refused(
    pairs: list[tuple[int, int]], why: str
) -> None:
    with pytest.raises(Unknown, match=why) as told:
        fitted(read(pairs, np.zeros(len(pairs))))
    assert told.value.measure in SIX


def test_a_bad_reading_is_named_where_others_tell_it() -> None:
    pairs = [*SIX, (4, FOUR[0]), (4, FOUR[1]), (4, FOUR[2]), (4, FOUR[3])]
    errors = np.zeros(10)
    errors[3] = 0.03
    fit = fitted(read(pairs, errors))
    assert too_great(fit.misfit, fit.freedom)
    assert np.flatnonzero(suspects(fit)).tolist() == [3]
    # With one reading left over, a mistake shows, but not where.
    fit = fitted(read(SIX, errors[:6]))
    assert too_great(fit.misfit, fit.freedom) and not suspects(fit).any()


def test_the_next_reading_lowers_the_doubt_as_told() -> None:
    five = read(SIX[:5], np.zeros(5))
    fit = fitted(five)
    pair, now_m, then_m = fit.next_best
    after = fitted([*five, *read([pair], np.zeros(1))])
    assert then_m < now_m
    assert after.next_best[1] == pytest.approx(then_m, rel=0.01)


def test_gaps_tell_the_wall_within_their_doubt() -> None:
    rng, std = np.random.default_rng(7), 5e-4
    places = np.array(list(MARKS.values())) * [1, -1] * SIZE_M + [0, SIZE_M[1]]
    modes = flatness_modes(edge_to_edge(places, SIZE_M))
    lines = [(0, 2, 1), (3, 5, 4), (6, 8, 7), (0, 6, 3), (1, 7, 4), (2, 8, 5), (0, 8, 4), (2, 6, 4)]
    squares = []
    for _ in range(200):
        true = bend_amplitudes(0.004) * rng.standard_normal(7)
        height = modes @ true
        gaps = [
            Gap(a, b, c, float((height[a] + height[b]) / 2 - height[c] + std * e), std)
            for (a, b, c), e in zip(lines, rng.standard_normal(8), strict=True)
        ]
        fit = fit_wall(places, SIZE_M, 0.004, gaps)
        squares.append((true - fit.flatness_m) @ np.linalg.solve(fit.cov_m2, true - fit.flatness_m))
    assert np.mean(squares) == pytest.approx(7.0, abs=4 * np.sqrt(2 * 7 / 200))
    with pytest.raises(ValueError, match="between the ends"):
        fit_wall(places, SIZE_M, 0.004, [Gap(0, 2, 4, 0.001, std)])
