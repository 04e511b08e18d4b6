"""Which view of the board to take next: the one that tells most about the rays of the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from rushlight.physics.geometry import undistort_px
from rushlight.physics.geometry.lens_doubt import lens_doubt_px, picture_grid
from rushlight.records.arrays import Array
from rushlight.register.lens_calibrate import LensSolved
from rushlight.register.lens_fit import Linear, board_jacobians, inverse_of, matrix_of, see_board
from rushlight.register.lens_views import Board

TILT_RAD = np.radians(35.0)
"""Tilt of the views proposed: much more, and squares become too flat to measure (common
practice, no source)."""
SHARES = {0.6: "close, so that it fills most of the picture's width",
          0.35: "far enough to fill a third of the picture's width"}  # fmt: skip
_TURNS = {
    "facing the camera": (0.0, 0.0),
    "tilted to the left, its left edge toward the camera": (0.0, -1.0),
    "tilted to the right, its right edge toward the camera": (0.0, 1.0),
    "tilted upward, its upper edge toward the camera": (1.0, 0.0),
    "tilted downward, its lower edge toward the camera": (-1.0, 0.0),
}
_PLACES = {
    "near the upper left corner": (0.0, 0.0),
    "near the upper edge": (0.5, 0.0),
    "near the upper right corner": (1.0, 0.0),
    "near the left edge": (0.0, 0.5),
    "in the middle": (0.5, 0.5),
    "near the right edge": (1.0, 0.5),
    "near the lower left corner": (0.0, 1.0),
    "near the lower edge": (0.5, 1.0),
    "near the lower right corner": (1.0, 1.0),
}
_MARGIN_PX = 4.0
_FIRST = ("in the middle", "tilted to the left, its left edge toward the camera", 0.6)


@dataclass(frozen=True)
class NextView:
    """A view worth adding.

    Attributes
    ----------
    place, turn, size
        In words: where in the picture, how turned, how near.
    doubt_now_px, doubt_then_px
        Doubt over the whole picture before and after it, root-mean-square [px]; NaN when no
        lens is known yet.
    """

    place: str
    turn: str
    size: str
    doubt_now_px: float = np.nan
    doubt_then_px: float = np.nan

    @property
    def words(self) -> str:
        """What to do, as an order."""
        return f"hold the board {self.place} of the picture, {self.turn}, {self.size}"


def first_view() -> NextView:
    """The view to begin with, when nothing is known of the lens."""
    place, turn, share = _FIRST
    return NextView(place, turn, SHARES[share])


def candidate_views(
    board: Board, params: Array, size_px: tuple[int, int]
) -> tuple[list[NextView], Array]:
    """Views that could be taken with this lens: their words, and poses (C, 4, 4)."""
    words, poses = [], []
    for share, size in SHARES.items():
        for place, at in _PLACES.items():
            for turn, axis in _TURNS.items():
                pose = _fitting(board, params, size_px, share, at, axis)
                if pose is not None:
                    words.append(NextView(place, turn, size))
                    poses.append(pose)
    return words, np.reshape(poses, (-1, 4, 4))


def next_view(solved: LensSolved, board: Board) -> NextView | None:
    """Which further view most reduces the doubt over the whole picture?

    Parameters
    ----------
    solved
        What is known from the views so far.
    board
        In use.

    Returns
    -------
    NextView or None
        None where the lens is too uncertain for any candidate to be computed.

    Notes
    -----
    Source: computed here. A view adds to the information about the lens what its corners tell,
    less what its unknown pose takes of it; the candidate that leaves the least mean square of
    `lens_doubt_px` wins (an I-optimal design).
    """
    words, poses = candidate_views(board, solved.fit.params, solved.size_px)
    if not words:
        return None
    by_lens, by_pose = board_jacobians(board.points_m, solved.fit.params, poses)
    try:
        known = inverse_of(solved.cov)
    except ValueError:
        return None
    noise = solved.fit.noise_px * solved.stretch
    spreads = []
    for lens, pose in zip(by_lens, by_pose, strict=True):
        told = Linear(np.zeros((1, lens.size // 9)), lens.reshape(1, -1, 9), pose.reshape(1, -1, 6))
        spreads.append(inverse_of(known + told.information() / noise**2))
    grid = picture_grid(solved.size_px)
    now, *then = np.sqrt(
        np.nanmean(
            lens_doubt_px(grid, solved.fit.K, solved.fit.k, np.stack([solved.cov, *spreads])) ** 2,
            axis=-1,
        )
    )
    best = int(np.argmin(then))
    chosen = words[best]
    return NextView(chosen.place, chosen.turn, chosen.size, float(now), float(then[best]))


def _fitting(
    board: Board,
    params: Array,
    size_px: tuple[int, int],
    share: float,
    at: tuple[float, float],
    axis: tuple[float, float],
) -> Array | None:
    """A pose by which the whole board is seen as near to a place as it goes, or None."""
    points = board.points_m
    size = np.array(size_px, float)
    extent = points.max(axis=0)
    range_m = params[0] * extent[0] / (share * size[0])
    pose = np.eye(4)
    pose[:3, :3] = Rotation.from_rotvec([TILT_RAD * axis[0], TILT_RAD * axis[1], 0.0]).as_matrix()
    goal = np.array(at) * (size - 1.0)
    # Pushed back from the picture's edge until it fits; a board too large never does.
    for _ in range(6):
        ray = undistort_px(goal, matrix_of(params), params[4:])
        if not np.all(np.isfinite(ray)):
            goal = 0.9 * goal + 0.1 * (size - 1.0) / 2.0
            continue
        middle = range_m * np.array([ray[0], ray[1], 1.0])
        pose[:3, 3] = middle - pose[:3, :3] @ (extent / 2.0)
        px = see_board(points, params, pose)
        if not np.all(np.isfinite(px)):
            return None
        low = np.maximum(_MARGIN_PX - px.min(axis=0), 0.0)
        high = np.maximum(px.max(axis=0) - (size - 1.0 - _MARGIN_PX), 0.0)
        if np.all(low + high == 0.0):
            return pose.copy()
        if np.any((low > 0.0) & (high > 0.0)):
            return None
        goal = goal + 1.05 * (low - high)
    return None
