"""Views of a chessboard: its corners at every window, how sharp it is, and which views to keep."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import map_coordinates

from rushlight.opencv.calibrate import find_corners, refine_corners
from rushlight.records.arrays import Array

WINDOWS = (2, 3, 4, 5, 7, 9, 11)
"""Half-widths of the window about a corner that are tried [px]."""
WINDOW_SHARE = 0.4
"""Part of the distance to the next corner beyond which a window takes in that corner's edges:
at 0.5 it reaches the neighbour's own window (common practice, no source)."""
LEAST_SPACING_PX = 2 / WINDOW_SHARE
"""Corners closer than this leave no room for the smallest window."""

STILL_PX = 1.0
"""A board whose corners move less than this from frame to frame, in the median, is held still
[px]: found roughly, the corners of a board at rest jitter by half of it."""
NEW_SHARE = 0.06
"""Part of the picture's width by which some corner of a view must lie elsewhere than in each of
the others: a tilt alone moves the outer corners."""
MOST_VIEWS = 40
_PROFILE = np.linspace(-1.0, 1.0, 41)
_PROFILE_MOST_PX = 8.0


@dataclass(frozen=True)
class Board:
    """A chessboard by its inner corners.

    Attributes
    ----------
    columns, rows
        Inner corners along the long and the short side; one even and one odd, so that the board
        looks different upside down.
    square_m
        Width and height of a square [m], as measured on the print.
    to_scale
        Whether the squares were measured; if not, distances mean nothing, the lens does.
    """

    columns: int = 9
    rows: int = 6
    square_m: tuple[float, float] = (0.022, 0.022)
    to_scale: bool = False

    @property
    def points_m(self) -> Array:
        """(N, 3) inner corners [m], row by row, z = 0."""
        x, y = np.meshgrid(np.arange(self.columns), np.arange(self.rows))
        flat = np.stack([x * self.square_m[0], y * self.square_m[1], 0.0 * x], axis=-1)
        return flat.reshape(-1, 3)


@dataclass(frozen=True, eq=False)
class View:
    """A board seen once.

    Attributes
    ----------
    name
        Of the picture.
    corners_px
        Half-window [px] to (N, 2) corners found with it [px].
    spacing_px
        Least distance between neighbouring corners [px].
    edge_px
        Standard deviation of the blur across the squares' edges, median [px].
    contrast
        Difference of grey levels between light and dark squares, median.
    """

    name: str
    corners_px: Mapping[int, Array]
    spacing_px: float
    edge_px: float
    contrast: float

    @property
    def largest_window_px(self) -> int:
        """The largest half-window that stays clear of the neighbouring corners [px]."""
        return max(w for w in self.corners_px if w <= max(WINDOW_SHARE * self.spacing_px, 2))

    def corners(self, window_px: int, exact: bool = False) -> Array:
        """Corners (N, 2) by a half-window [px], or by the largest that fits unless `exact`."""
        return self.corners_px[window_px if exact else min(window_px, self.largest_window_px)]


def look(image: Array, name: str, board: Board, windows: Iterable[int] = WINDOWS) -> View | None:
    """The view that a picture shows, or None where no whole board with room to measure is seen.

    Parameters
    ----------
    image
        (H, W) of uint8.
    name
        Of the picture.
    board
        What to look for.
    windows
        Half-widths to measure the corners with [px].
    """
    rough = find_corners(image, board.columns, board.rows)
    return None if rough is None else measure(image, rough, name, board, windows)


def measure(
    image: Array, rough_px: Array, name: str, board: Board, windows: Iterable[int] = WINDOWS
) -> View | None:
    """The view about corners already found, or None where they lie too close together."""
    ordered = _from_the_dark_end(image, rough_px, board)
    spacing = least_spacing(ordered, board)
    if spacing < LEAST_SPACING_PX:
        return None
    edge, contrast = edges(image, ordered, board)
    return View(
        name=name,
        corners_px={w: refine_corners(image, ordered, w) for w in sorted({2, *windows})},
        spacing_px=spacing,
        edge_px=edge,
        contrast=contrast,
    )


def least_spacing(corners_px: Array, board: Board) -> float:
    """Least distance between neighbouring corners [px]."""
    grid = corners_px.reshape(board.rows, board.columns, 2)
    steps = [np.linalg.norm(np.diff(grid, axis=axis), axis=-1).min() for axis in (0, 1)]
    return float(min(steps))


def edges(image: Array, corners_px: Array, board: Board) -> tuple[float, float]:
    """How blurred are the edges between squares [px], and how strong [grey levels]? Medians.

    An edge blurred by a normal law of deviation σ rises by its contrast over √(2π) σ at its
    steepest; the reading between pixels adds some 0.4 px.
    """
    grid = corners_px.reshape(board.rows, board.columns, 2)
    ends = [(grid[:, :-1], grid[:, 1:]), (grid[:-1], grid[1:])]
    first, last = (np.concatenate([each[i].reshape(-1, 2) for each in ends]) for i in (0, 1))
    along = last - first
    length = np.linalg.norm(along, axis=-1, keepdims=True)
    across = np.stack([-along[:, 1], along[:, 0]], axis=-1) / length
    reach = np.minimum(0.4 * length, _PROFILE_MOST_PX)
    places = ((first + last) / 2)[:, None] + (_PROFILE * reach)[..., None] * across[:, None]
    grey = map_coordinates(
        np.asarray(image, float), [places[..., 1], places[..., 0]], order=1, mode="nearest"
    )
    contrast = np.abs(grey[:, -4:].mean(axis=1) - grey[:, :4].mean(axis=1))
    step = reach[:, 0] * (_PROFILE[1] - _PROFILE[0])
    # Over a pixel or so, lest noise pass for steepness.
    wide = np.maximum(1, np.round(1.0 / step)).astype(int)
    steepest = np.array(
        [np.abs(line[w:] - line[:-w]).max() / w for line, w in zip(grey, wide, strict=True)]
    )
    steepest = np.maximum(steepest / step, 1e-9)
    return float(np.median(contrast / steepest) / np.sqrt(2 * np.pi)), float(np.median(contrast))


def _from_the_dark_end(image: Array, corners_px: Array, board: Board) -> Array:
    """The corners counted so that the first four enclose a dark square.

    With an even and an odd number of corners the two ends differ, so that two cameras that see
    one board count its corners alike. A board without that is left as it was found.
    """
    if (board.columns + board.rows) % 2 == 0:
        return corners_px
    grid = corners_px.reshape(board.rows, board.columns, 2)
    middles = [part.reshape(-1, 2).mean(axis=0) for part in (grid[:2, :2], grid[-2:, -2:])]
    first, last = map_coordinates(
        np.asarray(image, float), np.array(middles).T[::-1], order=1, mode="nearest"
    )
    return corners_px if first <= last else corners_px[::-1]


@dataclass
class Gatherer:
    """Keeps the views worth keeping out of a stream of frames.

    Parameters
    ----------
    board
        What to look for.
    moving
        Whether the frames are of a board being moved: then only those are kept in which it is
        held still and stands elsewhere than in every view kept before.
    most
        So many views at most.

    Attributes
    ----------
    views
        Those kept.
    passed
        Why frames were passed over, and the names of those that were.
    last_px
        (N, 2) corners of the latest frame, or None: to show what is seen.
    """

    board: Board
    moving: bool = True
    most: int = MOST_VIEWS
    views: list[View] = field(default_factory=list)
    passed: dict[str, list[str]] = field(default_factory=dict)
    last_px: Array | None = None

    def offer(self, image: Array, name: str) -> View | None:
        """Look at a frame; returns the view if it is kept.

        Parameters
        ----------
        image
            (H, W) of uint8, all of one size.
        name
            Of the frame.
        """
        before, rough = self.last_px, find_corners(image, self.board.columns, self.board.rows)
        self.last_px = rough
        if rough is None:
            return self._pass("no whole board", name)
        if self.moving:
            if before is None or np.median(np.abs(rough - before)) > STILL_PX:
                return self._pass("board not held still", name)
            if self._known(rough, image.shape[1]):
                return self._pass("like a view already taken", name)
        if len(self.views) >= self.most:
            return self._pass(f"beyond the {self.most} views that are enough", name)
        view = measure(image, rough, name, self.board)
        if view is None:
            return self._pass("board too small in the picture", name)
        self.views.append(view)
        return view

    def _known(self, rough_px: Array, columns_px: int) -> bool:
        kept = [view.corners_px[2] for view in self.views]
        apart = [np.linalg.norm(each - rough_px, axis=-1).max() for each in kept]
        turned = [np.linalg.norm(each[::-1] - rough_px, axis=-1).max() for each in kept]
        return min([*apart, *turned], default=np.inf) < NEW_SHARE * columns_px

    def _pass(self, why: str, name: str) -> None:
        self.passed.setdefault(why, []).append(name)


def gather(
    frames: Iterable[tuple[str, Array]], board: Board, moving: bool = True, most: int = MOST_VIEWS
) -> Gatherer:
    """The views worth keeping of named frames (H, W) of uint8; see `Gatherer`."""
    gatherer = Gatherer(board, moving, most)
    for name, image in frames:
        gatherer.offer(image, name)
    return gatherer
