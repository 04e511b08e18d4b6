"""From views of a board to a lens: window by fit, unfit views left out, each view held out once."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from rushlight.opencv.calibrate import board_pose, start_lens
from rushlight.physics.geometry.lens_doubt import lens_doubt_px, picture_grid
from rushlight.records.arrays import Array
from rushlight.register.lens_fit import ALL_FREE, Corners, LensFit, fit_lens
from rushlight.register.lens_views import WINDOW_SHARE, WINDOWS, Board, View

LEAST_TO_FIT = 3
"""Views without which no fit is tried."""
LEAST_TO_VOUCH = 6
"""Views without which no lens is vouched for (assumption, no source)."""
UNFIT_RATIO = 2.5
"""A view whose corners miss by so many times the others' median is left out: by chance the 54
corners of a view differ from those of another by a tenth or so."""
_LEAST_NOISE_PX = 1e-9


@dataclass(frozen=True, eq=False)
class ViewResult:
    """How one view fared.

    Attributes
    ----------
    name
        Of its picture.
    used
        Whether the lens rests on it.
    window_px
        Half-window of its corners [px].
    rms_px
        Root-mean-square distance of its corners from where the lens has them [px].
    other_window_rms_px
        The same by the best of the other windows that stay clear of the neighbours [px].
    held_out_rms_px
        The same by the lens of the other views alone, its own pose fitted [px].
    tilt_rad
        Angle of the board to the picture plane [rad].
    range_m
        Distance of the board's middle from the camera [m]; NaN for a board not to scale.
    share
        Part of the picture within the board's outer corners [1].
    edge_px
        Blur across edges, standard deviation [px].
    corners_px, residual_px
        (N, 2) corners, and how far the lens has them elsewhere [px].
    """

    name: str
    used: bool
    window_px: int
    rms_px: float
    other_window_rms_px: float
    held_out_rms_px: float
    tilt_rad: float
    range_m: float
    share: float
    edge_px: float
    corners_px: Array
    residual_px: Array

    @property
    def window_unfit(self) -> bool:
        """Whether it misses because its corner window does not fit it."""
        return self.other_window_rms_px < 0.6 * self.rms_px


@dataclass(frozen=True, eq=False)
class LensSolved:
    """A lens with what its views tell of it.

    Attributes
    ----------
    fit
        By the used views.
    cov
        (9, 9) covariance [px, 1] with what the views disagree beyond their noise.
    stretch
        By how much the standard deviations were widened for that; 1 where they agree.
    size_px
        Of the pictures.
    window_px
        Half-window chosen [px], smaller in views that leave no room for it.
    views
        All of them, used or not.
    held_out_rms_px
        Over all used views [px]; NaN where too few are left over.
    seen
        (G,) places of `picture_grid` that lie among the corners seen.
    doubt_px
        (G,) what is doubtful about the rays there, root-mean-square [px].
    """

    fit: LensFit
    cov: Array
    stretch: float
    size_px: tuple[int, int]
    window_px: int
    views: tuple[ViewResult, ...]
    held_out_rms_px: float
    seen: Array
    doubt_px: Array

    @property
    def covered(self) -> float:
        """Part of the picture that lies among the corners seen [1]."""
        return float(np.mean(self.seen))

    @property
    def doubt_seen_px(self) -> float:
        """Doubt where corners were seen, root-mean-square [px]."""
        inside = self.doubt_px[self.seen & np.isfinite(self.doubt_px)]
        return float(np.sqrt(np.mean(inside**2))) if inside.size else np.nan

    @property
    def doubt_worst_px(self) -> float:
        """Doubt at the worst place of the whole picture [px]; NaN if the model ends before."""
        return float(np.max(self.doubt_px))


def solve_lens(
    views: Sequence[View],
    board: Board,
    size_px: tuple[int, int],
    window_px: int | None = None,
    free: Array = ALL_FREE,
) -> LensSolved:
    """Which lens do the views tell?

    Parameters
    ----------
    views
        At least three.
    board
        Which they show.
    size_px
        Columns and rows of the pictures.
    window_px
        Half-window of the corners [px], one of `WINDOWS`; None chooses the one by which the
        corners fit best. What is given is used exactly, fit or not.
    free
        (9, Q) directions in which the lens may change from the library's start.

    Raises
    ------
    ValueError
        When there are too few views, or they leave the lens undetermined.
    """
    if len(views) < LEAST_TO_FIT:
        raise ValueError(f"expected at least {LEAST_TO_FIT} views, got {len(views)}")
    exact = window_px is not None
    used = np.full(len(views), True)
    most_out = min(len(views) // 4, max(len(views) - LEAST_TO_VOUCH, 0))
    while True:
        window, fit = _best_window(views, board, size_px, used, window_px, free)
        misses = _misses(views, board, size_px, fit, used, window, exact)
        ratio = misses / max(float(np.median(misses[used])), _LEAST_NOISE_PX)
        worst = int(np.argmax(np.where(used, ratio, -np.inf)))
        if ratio[worst] < UNFIT_RATIO or np.sum(~used) >= most_out:
            break
        used[worst] = False
    corners = _corners(views, board, size_px, window, exact)
    whole = _posed(corners, fit, used)
    held_out, found, expected = _each_held_out(corners.take(used), fit, free)
    grid = picture_grid(size_px)
    seen = _among(grid, corners.px[used].reshape(-1, 2))
    stretch = _stretch(grid[seen], fit, found, expected)
    cov = fit.cov * stretch**2
    each_held_out = np.full(len(views), np.nan)
    each_held_out[used] = held_out
    return LensSolved(
        fit=fit,
        cov=cov,
        stretch=stretch,
        size_px=size_px,
        window_px=window,
        views=_results(views, board, used, whole, each_held_out, corners, window, exact),
        held_out_rms_px=float(np.sqrt(np.mean(held_out**2))),
        seen=seen,
        doubt_px=lens_doubt_px(grid, fit.K, fit.k, cov),
    )


def _best_window(
    views: Sequence[View],
    board: Board,
    size_px: tuple[int, int],
    used: Array,
    window_px: int | None,
    free: Array,
) -> tuple[int, LensFit]:
    """The window by which the used views fit best, and their lens."""
    largest = max(view.largest_window_px for view in views)
    tried = [w for w in WINDOWS if w <= largest] if window_px is None else [window_px]
    fits = {}
    start = None
    for window in tried:
        corners = _corners(views, board, size_px, window, window_px is not None).take(used)
        start = _start(corners) if start is None else start
        with contextlib.suppress(ValueError):
            fits[window] = fit_lens(corners, start, free)
    if not fits:
        raise ValueError("the views leave the lens undetermined")
    best = min(fits, key=lambda window: fits[window].rms_px)
    return best, fits[best]


def _start(corners: Corners) -> LensFit:
    start = start_lens(corners.points_m, corners.px, corners.size_px)
    params = np.concatenate([np.diag(start.K)[:2], start.K[:2, 2], start.k])
    return LensFit(
        params, np.zeros((9, 9)), start.camera_from_board, np.zeros_like(corners.px), np.nan
    )


def _corners(
    views: Sequence[View], board: Board, size_px: tuple[int, int], window: int, exact: bool
) -> Corners:
    px = np.stack([view.corners(window, exact) for view in views])
    return Corners(board.points_m, px, size_px)


def _posed(corners: Corners, fit: LensFit, used: Array) -> LensFit:
    """The same lens with the poses of all views, used or not."""
    poses = np.empty((len(corners.px), 4, 4))
    poses[used] = fit.camera_from_board
    for view in np.flatnonzero(~used):
        poses[view] = board_pose(corners.points_m, corners.px[view], fit.K, fit.k)
    start = LensFit(fit.params, fit.cov, poses, np.zeros_like(corners.px), fit.noise_px)
    return fit_lens(corners, start, own_only=True)


def _misses(
    views: Sequence[View],
    board: Board,
    size_px: tuple[int, int],
    fit: LensFit,
    used: Array,
    window: int,
    exact: bool,
) -> Array:
    """(V,) root-mean-square misses of all views by the lens of the used ones [px]."""
    return _posed(_corners(views, board, size_px, window, exact), fit, used).view_rms_px


def _each_held_out(corners: Corners, fit: LensFit, free: Array) -> tuple[Array, Array, Array]:
    """What each view's leaving out does: (V,) its miss [px] by the lens of the others, and the
    sum of squares (9, 9) of the lens's changes, as found and as noise alone lets expect.

    Noise alone: an estimate from less differs from that from all by a covariance that is the
    difference of the two covariances, since the latter is efficient (Hausman 1978, from memory).
    NaN where a view cannot be spared.
    """
    count = len(corners.px)
    misses, found, expected = np.full(count, np.nan), np.zeros((9, 9)), np.zeros((9, 9))
    for view in range(count):
        others = np.arange(count) != view
        try:
            without = fit_lens(corners.take(others), _with_poses(fit, others), free)
        except ValueError:
            found = found + np.nan
            continue
        change = without.params - fit.params
        found = found + np.outer(change, change)
        same_noise = (fit.noise_px / max(without.noise_px, _LEAST_NOISE_PX)) ** 2
        expected = expected + without.cov * same_noise - fit.cov
        own = LensFit(
            without.params, without.cov, fit.camera_from_board[~others], without.residual_px, 0.0
        )
        misses[view] = fit_lens(corners.take(~others), own, own_only=True).rms_px
    return misses, found, expected


def _with_poses(fit: LensFit, which: Array) -> LensFit:
    return LensFit(
        fit.params, fit.cov, fit.camera_from_board[which], fit.residual_px[which], fit.noise_px
    )


STRETCH_FROM = 1.75
"""Views that disagree less than this beyond their noise may do so by chance: six to nine views of
independent corners reach 1.7 in one set of twenty, thirteen 1.4 (computed here, by draws)."""


def _stretch(grid: Array, fit: LensFit, found: Array, expected: Array) -> float:
    """By how much the views disagree beyond their noise, over the picture; at least 1."""
    if not np.all(np.isfinite(found)) or len(grid) < 3:
        return 1.0
    by_noise = lens_doubt_px(grid, fit.K, fit.k, expected)
    by_views = lens_doubt_px(grid, fit.K, fit.k, found)
    ratio = float(np.sqrt(np.nansum(by_views**2) / max(np.nansum(by_noise**2), 1e-300)))
    return ratio if ratio > STRETCH_FROM else 1.0


def _among(places: Array, corners_px: Array) -> Array:
    """Which places (G, 2) lie within the hull of the corners."""
    sides = ConvexHull(corners_px).equations
    return np.all(places @ sides[:, :2].T + sides[:, 2] <= 0.0, axis=-1)


def _results(
    views: Sequence[View],
    board: Board,
    used: Array,
    whole: LensFit,
    held_out: Array,
    corners: Corners,
    window: int,
    exact: bool,
) -> tuple[ViewResult, ...]:
    others = _other_windows(views, corners, whole)
    area = corners.size_px[0] * corners.size_px[1]
    middle = np.append(board.points_m.mean(axis=0), 1.0)
    return tuple(
        ViewResult(
            name=view.name,
            used=bool(used[i]),
            window_px=window if exact else min(window, view.largest_window_px),
            rms_px=float(whole.view_rms_px[i]),
            other_window_rms_px=others[i],
            held_out_rms_px=float(held_out[i]),
            tilt_rad=float(np.arccos(min(1.0, abs(whole.camera_from_board[i, 2, 2])))),
            range_m=float(np.linalg.norm(whole.camera_from_board[i, :3] @ middle))
            if board.to_scale
            else np.nan,
            share=float(ConvexHull(corners.px[i]).volume / area),
            edge_px=view.edge_px,
            corners_px=corners.px[i],
            residual_px=whole.residual_px[i],
        )
        for i, view in enumerate(views)
    )


def _other_windows(views: Sequence[View], corners: Corners, whole: LensFit) -> list[float]:
    """Each view's least miss by the other windows that are clear of the neighbours [px]."""
    least = []
    for i, view in enumerate(views):
        tried = [
            px
            for w, px in view.corners_px.items()
            if w <= max(WINDOW_SHARE * view.spacing_px, 2) and not np.array_equal(px, corners.px[i])
        ]
        fits = [
            fit_lens(
                corners._replace(px=px[None]),
                _with_poses(whole, np.arange(len(views)) == i),
                own_only=True,
            )
            for px in tried
        ]
        least.append(min((fit.rms_px for fit in fits), default=np.inf))
    return least
