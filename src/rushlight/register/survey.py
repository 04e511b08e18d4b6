"""The displayed picture's true shape, from a few ruler readings between marks in it.

Unknown are the places of the picture's four corners. Lengths alone do not tell where the
picture hangs: then its lower-left corner is the origin and its lower edge the x axis, as the
surface frame has it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

import numpy as np
from scipy import special

from rushlight.physics.geometry import (
    apply_homography,
    fit_homography,
    flatness_modes,
    plane_tangent,
)
from rushlight.physics.surface_model import bend_amplitudes, centred, edge_to_edge
from rushlight.records.arrays import Array

RULER_STD_M = 0.002
"""Of a tape or ruler laid by hand between two marks of a picture (common practice, no source)."""

GAP_STD_M = 0.001
"""Of a gap read under a straight edge or string (common practice, no source)."""

LEVEL = 0.99
"""Two-sided level at which readings are held against one another (our own choice)."""

_STEPS = 60
_AT_REST_M = 1e-10
_LOOSE = 0.1
"""A corner that the readings leave freer than this share of the picture's width is unknown."""
_OFF_LINE = 0.02
"""A gap's mark may lie off the straight edge by this share of its length."""


class Length(NamedTuple):
    """A ruler between two marks: indices, length and standard deviation [m]."""

    one: int
    other: int
    read_m: float
    std_m: float


class Spot(NamedTuple):
    """A mark measured from the surface's corner: index, (2,) place and its deviation [m]."""

    mark: int
    read_m: tuple[float, float]
    std_m: float


class Gap(NamedTuple):
    """The wall's distance from a straight edge between two marks, at a third [m]."""

    one: int
    other: int
    at: int
    read_m: float
    std_m: float


class Unknown(ValueError):
    """Readings that leave the picture's shape open; `measure` is the pair that would tell most."""

    def __init__(self, why: str, measure: tuple[int, int] | None = None) -> None:
        super().__init__(why)
        self.measure = measure


@dataclass(frozen=True, eq=False)
class PictureFit:
    """The picture's shape.

    Attributes
    ----------
    surface_from_display
        (3, 3) [m from px].
    cov_m2
        (8, 8) of the plane parameters of `physics.surface_model`, as stated by the readings.
    corners_m, corners_cov_m2
        (4, 2) lower left, lower right, upper right, upper left, and (8, 8).
    told_m, score
        (N,) readings as the result has them, and by how much each misses in units of the miss
        that is expected; NaN where nothing checks it. A place counts as two readings.
    misfit, freedom
        Chi-square, and its degrees of freedom.
    next_best
        Pair of marks whose distance would lower the picture's mean variance most, and the
        root-mean-square doubt of a place now and then [m].
    """

    surface_from_display: Array
    cov_m2: Array
    corners_m: Array
    corners_cov_m2: Array
    told_m: Array
    score: Array
    misfit: float
    freedom: int
    next_best: tuple[tuple[int, int], float, float]


def fit_picture(
    marks_px: Array,
    corners_px: Array,
    size_m: Array,
    lengths: Sequence[Length],
    spots: Sequence[Spot] = (),
    candidates: Sequence[tuple[int, int]] | None = None,
    ruler_std_m: float = RULER_STD_M,
) -> PictureFit:
    """Which picture do the readings tell?

    Parameters
    ----------
    marks_px
        (M, 2) the marks in display pixels.
    corners_px
        (4, 2) the picture's corners: lower left, lower right, upper right, upper left.
    size_m
        (2,) of the surface as the rig has it [m].
    lengths, spots
        Readings.
    candidates
        Pairs of marks among which the next reading is chosen; every pair when left out.
    ruler_std_m
        Of that next reading [m].

    Returns
    -------
    PictureFit

    Raises
    ------
    Unknown
        When the readings leave the shape open, or do not settle.

    Notes
    -----
    Weighted least squares by Gauss–Newton with step halving. A displacement of the four corners
    is a small change of the plane map, D⁻¹ of it, with D the `plane_tangent` at the corners; so
    every reading's slope and the covariance follow without derivatives by number. Scores are the
    normalised residuals of Baarda, "A testing procedure for use in geodetic networks", 1968
    (from memory). Source of the rest: computed here.
    """
    width, height = (float(side) for side in size_m)
    free = _free(spots)
    corners = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    model = _Model(marks_px, corners_px, np.asarray(size_m, float), lengths, spots)
    read, std = model.read()
    pairs = list(combinations(range(len(marks_px)), 2)) if candidates is None else list(candidates)
    if len(read) < len(free):
        raise Unknown(
            f"{len(read)} readings cannot tell {len(free)} unknowns of the picture's shape",
            model.most_telling(corners, free, pairs, ruler_std_m)[0],
        )
    told, design = model.told(corners)
    cost = float(np.sum(((read - told) / std) ** 2))
    for _ in range(_STEPS):
        weighted = design[:, free] / std[:, None]
        if _loosest(weighted, free, corners) > _LOOSE * width:
            raise Unknown(
                f"the readings leave the picture's {_corner(weighted, free)} corner free to move",
                model.most_telling(corners, free, pairs, ruler_std_m)[0],
            )
        step = np.zeros(8)
        step[free] = np.linalg.lstsq(weighted, (read - told) / std, rcond=None)[0]
        for halving in range(20):
            trial = corners + step.reshape(4, 2) / 2**halving
            if _turns_over(trial):
                continue
            told, design = model.told(trial)
            now = float(np.sum(((read - told) / std) ** 2))
            if now <= cost * (1.0 + 1e-12) + 1e-18:
                break
        else:
            raise Unknown("no picture fits the readings")
        moved = float(np.max(np.abs(trial - corners)))
        corners, cost = trial, now
        if moved < _AT_REST_M * width:
            break
    else:
        raise Unknown("the readings do not settle on a picture")
    weighted = design[:, free] / std[:, None]
    if _loosest(weighted, free, corners) > _LOOSE * width:
        raise Unknown(
            f"the readings leave the picture's {_corner(weighted, free)} corner free to move",
            model.most_telling(corners, free, pairs, ruler_std_m)[0],
        )
    information = weighted.T @ weighted
    cov = np.zeros((8, 8))
    cov[np.ix_(free, free)] = np.linalg.inv(information)
    redundancy = 1.0 - np.einsum("ni,ij,nj->n", weighted, np.linalg.inv(information), weighted)
    checked = redundancy > 1e-6
    score = np.where(
        checked, (read - told) / std / np.sqrt(np.where(checked, redundancy, 1.0)), np.nan
    )
    back = np.linalg.inv(plane_tangent(centred(corners, model.size_m)).reshape(8, 8))
    return PictureFit(
        surface_from_display=model.map(corners),
        cov_m2=back @ cov @ back.T,
        corners_m=corners,
        corners_cov_m2=cov,
        told_m=told,
        score=score,
        misfit=cost,
        freedom=len(read) - len(free),
        next_best=model.most_telling(corners, free, pairs, ruler_std_m),
    )


def too_great(misfit: float, freedom: int) -> bool:
    """Whether readings contradict one another by more than their stated doubt explains."""
    return freedom > 0 and bool(misfit > special.chdtri(freedom, (1.0 - LEVEL) / 2.0))


def suspects(fit: PictureFit) -> Array:
    """(N,) which readings are probably wrong; none where nothing tells which one.

    The one of greatest score, where the readings contradict one another and the misfit without
    it would not: it falls by the square of its score, to first order.
    """
    wrong = np.zeros(len(fit.score), bool)
    if fit.freedom < 2 or not too_great(fit.misfit, fit.freedom):
        return wrong
    size = np.nan_to_num(np.abs(fit.score))
    worst = int(np.argmax(size))
    rest = fit.misfit - size[worst] ** 2
    if not too_great(rest, fit.freedom - 1) and np.sum(size > 0.95 * size[worst]) == 1:
        wrong[worst] = True
    return wrong


@dataclass(frozen=True, eq=False)
class WallFit:
    """The wall's bends.

    Attributes
    ----------
    flatness_m, cov_m2
        (7,) amplitudes of the flatness modes [m], and (7, 7) [m²].
    told_m, score
        (N,) as of `PictureFit`.
    misfit
        Chi-square of as many degrees of freedom as there are gaps, the prior included.
    """

    flatness_m: Array
    cov_m2: Array
    told_m: Array
    score: Array
    misfit: float


def fit_wall(places_m: Array, size_m: Array, flatness_rms_m: float, gaps: Sequence[Gap]) -> WallFit:
    """How does the wall bend, by gaps under a straight edge?

    Parameters
    ----------
    places_m
        (M, 2) the marks on the surface [m].
    size_m
        (2,) of the surface [m].
    flatness_rms_m
        Root-mean-square departure from a plane that is expected beforehand [m], > 0.
    gaps
        Readings, each mark near the line between its ends.

    Raises
    ------
    ValueError
        When a gap's mark does not lie between its ends; `args[1]` is its number.

    Notes
    -----
    Linear Gaussian with the prior of `bend_amplitudes`. Source: computed here.
    """
    prior = np.diag(bend_amplitudes(flatness_rms_m) ** 2)
    modes = flatness_modes(edge_to_edge(places_m, size_m))
    rows = []
    for number, gap in enumerate(gaps):
        along = places_m[gap.other] - places_m[gap.one]
        length = float(np.hypot(*along))
        step = places_m[gap.at] - places_m[gap.one]
        share = float(step @ along) / length**2 if length > 0.0 else np.nan
        off = float(abs(along[0] * step[1] - along[1] * step[0])) / length if length else np.nan
        if not (0.0 < share < 1.0 and off <= _OFF_LINE * length):
            raise ValueError("the mark does not lie between the ends of the straight edge", number)
        rows.append((1 - share) * modes[gap.one] + share * modes[gap.other] - modes[gap.at])
    design = np.array(rows)
    read, std = np.array([gap.read_m for gap in gaps]), np.array([gap.std_m for gap in gaps])
    supposed = design @ prior @ design.T + np.diag(std**2)
    gain = prior @ design.T @ np.linalg.inv(supposed)
    flatness = gain @ read
    return WallFit(
        flatness_m=flatness,
        cov_m2=prior - gain @ design @ prior,
        told_m=design @ flatness,
        score=read / np.sqrt(np.diag(supposed)),
        misfit=float(read @ np.linalg.solve(supposed, read)),
    )


class _Model:
    """Readings as functions of the corners' places."""

    def __init__(
        self,
        marks_px: Array,
        corners_px: Array,
        size_m: Array,
        lengths: Sequence[Length],
        spots: Sequence[Spot],
    ) -> None:
        self.size_m = size_m
        self._marks_px, self._corners_px = np.asarray(marks_px), np.asarray(corners_px)
        self._lengths, self._spots = lengths, spots
        self._lattice_px = np.array(
            [
                (self._corners_px[0] * (1 - u) + self._corners_px[1] * u) * (1 - v)
                + (self._corners_px[3] * (1 - u) + self._corners_px[2] * u) * v
                for u in np.linspace(0.0, 1.0, 5)
                for v in np.linspace(0.0, 1.0, 5)
            ]
        )

    def map(self, corners_m: Array) -> Array:
        """(3, 3) with its last entry 1."""
        found = fit_homography(self._corners_px, corners_m)
        return found / found[2, 2]

    def read(self) -> tuple[Array, Array]:
        """Readings and their deviations (N,) [m]."""
        read = [one.read_m for one in self._lengths]
        std = [one.std_m for one in self._lengths]
        for spot in self._spots:
            read += spot.read_m
            std += [spot.std_m] * 2
        return np.array(read, float), np.array(std, float)

    def told(self, corners_m: Array) -> tuple[Array, Array]:
        """Readings as a picture would give them (N,), and their slopes by the corners (N, 8)."""
        place, slope = self._places(corners_m, self._marks_px)
        values, rows = [], []
        for one in self._lengths:
            value, row = _length_between(place, slope, one.one, one.other)
            values.append(value)
            rows.append(row)
        for spot in self._spots:
            values += place[spot.mark].tolist()
            rows += list(slope[spot.mark])
        return np.array(values), np.array(rows).reshape(-1, 8)

    def most_telling(
        self, corners_m: Array, free: list[int], pairs: Sequence[tuple[int, int]], std_m: float
    ) -> tuple[tuple[int, int], float, float]:
        """The pair whose distance lowers the picture's mean variance most; rms before, after."""
        width = float(self.size_m[0])
        _, design = self.told(corners_m)
        weighted = design[:, free] / self.read()[1][:, None]
        cov = np.linalg.inv(weighted.T @ weighted + np.eye(len(free)) / width**2)
        place, slope = self._places(corners_m, self._marks_px)
        _, everywhere = self._places(corners_m, self._lattice_px)
        everywhere = everywhere[..., free].reshape(-1, len(free))

        def rms(spread: Array) -> float:
            mean = np.einsum("ni,ij,nj->n", everywhere, spread, everywhere)
            return float(np.sqrt(mean.sum() / len(self._lattice_px)))

        best, least = pairs[0], np.inf
        for one, other in pairs:
            value, full = _length_between(place, slope, one, other)
            if value <= 0.0:
                continue
            row = full[free]
            pull = cov @ row
            after = rms(cov - np.outer(pull, pull) / (std_m**2 + row @ pull))
            if after < least - 1e-12:
                best, least = (one, other), after
        return best, rms(cov), least

    def _places(self, corners_m: Array, px: Array) -> tuple[Array, Array]:
        """Places (M, 2) [m] and their slopes by the corners (M, 2, 8)."""
        place = apply_homography(self.map(corners_m), px)
        back = np.linalg.inv(plane_tangent(centred(corners_m, self.size_m)).reshape(8, 8))
        return place, plane_tangent(centred(place, self.size_m)) @ back


def _length_between(place: Array, slope: Array, one: int, other: int) -> tuple[float, Array]:
    step = place[other] - place[one]
    length = float(np.hypot(*step))
    way = step / length if length > 0.0 else np.zeros(2)
    return length, way @ (slope[other] - slope[one])


def _free(spots: Sequence[Spot]) -> list[int]:
    """Which coordinates of the corners are unknown; the others hang the picture by agreement."""
    marks = {spot.mark for spot in spots}
    if not marks:
        return [2, 4, 5, 6, 7]
    return [0, 1, 2, *range(4, 8)] if len(marks) == 1 else list(range(8))


def _turns_over(corners_m: Array) -> bool:
    """Whether four corners, in order, are no longer those of a convex figure."""
    edges = np.roll(corners_m, -1, axis=0) - corners_m
    after = np.roll(edges, -1, axis=0)
    return bool(np.any(edges[:, 0] * after[:, 1] - edges[:, 1] * after[:, 0] <= 0.0))


def _loosest(weighted: Array, free: list[int], corners_m: Array) -> float:
    """Standard deviation of what the readings tell least [m]; infinite where it is open."""
    strength = np.linalg.svd(weighted, compute_uv=False)
    if len(strength) < len(free) or strength[-1] <= 1e-9 * strength[0]:
        return float(np.inf)
    return float(1.0 / strength[-1])


def _corner(weighted: Array, free: list[int]) -> str:
    """The corner that moves most in what the readings tell least."""
    loosest = np.zeros(8)
    loosest[free] = np.linalg.svd(weighted)[2][-1]
    names = ("lower left", "lower right", "upper right", "upper left")
    return names[int(np.argmax(np.hypot(*loosest.reshape(4, 2).T)))]
