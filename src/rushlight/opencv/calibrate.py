"""Chessboard corners and a first guess of the lens, by OpenCV, in fixed shapes.

The library's shapes differ from release to release (corners came as (N, 1, 2) in 4.x and come
as (N, 2) in 5.0); whatever it gives leaves here as written below.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.records.arrays import Array

_REFINE_STEPS, _REFINE_REST_PX = 60, 1e-4


@dataclass(frozen=True, eq=False)
class LensStart:
    """What OpenCV makes of corners.

    Attributes
    ----------
    K
        (3, 3) [px].
    k
        (5,) k1 k2 p1 p2 k3.
    camera_from_board
        (V, 4, 4), one a view.
    rms_px
        Root-mean-square distance of the corners from where the fit has them [px].
    params_std
        (9,) standard deviations of fx fy cx cy k1 k2 p1 p2 k3, by the library.
    """

    K: Array
    k: Array
    camera_from_board: Array
    rms_px: float
    params_std: Array


def find_corners(image: Array, columns: int, rows: int) -> Array | None:
    """Where are the inner corners of a chessboard, roughly?

    Parameters
    ----------
    image
        (H, W) of uint8.
    columns, rows
        Inner corners along the board's two sides, at least 3 each.

    Returns
    -------
    (rows × columns, 2) or None
        Pixels [px], row by row, to about half a pixel; None where the whole board is not found.

    Notes
    -----
    OpenCV 5.0 `findChessboardCorners`; its sector-based sibling fails on two of thirteen
    photographs of a real set on which this one finds all.
    """
    import cv2

    flags = cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_FAST_CHECK
    found, corners = cv2.findChessboardCorners(
        np.ascontiguousarray(image), (columns, rows), flags=flags
    )
    if not found:
        return None
    return np.asarray(corners, np.float64).reshape(rows * columns, 2)


def refine_corners(
    image: Array,
    corners_px: Array,
    half_window_px: int,
    steps: int = _REFINE_STEPS,
    rest_px: float = _REFINE_REST_PX,
) -> Array:
    """Where are the corners exactly, by the grey levels within a window about each?

    Parameters
    ----------
    image
        (H, W) of uint8.
    corners_px
        (N, 2) from `find_corners` [px].
    half_window_px
        The window reaches so far each way [px], at least 1.
    steps, rest_px
        So many steps at most, and no more once a step is shorter than this [px].

    Returns
    -------
    (N, 2)
        [px].
    """
    import cv2

    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, steps, rest_px)
    start = np.ascontiguousarray(corners_px, np.float32).reshape(-1, 1, 2).copy()
    window = (half_window_px, half_window_px)
    refined = cv2.cornerSubPix(np.ascontiguousarray(image), start, window, (-1, -1), stop)
    return np.asarray(refined, np.float64).reshape(-1, 2)


def start_lens(
    points_m: Array, px: Array, size_px: tuple[int, int], square_pixels: bool = False
) -> LensStart:
    """Which lens and board poses explain the corners, by the library alone?

    Parameters
    ----------
    points_m
        (N, 3) corners on the board [m], z = 0.
    px
        (V, N, 2) the same in the pictures [px].
    size_px
        Columns and rows of the pictures.
    square_pixels
        Whether fx and fy are held equal.

    Raises
    ------
    ValueError
        When the library finds no lens.
    """
    import cv2

    boards = [np.ascontiguousarray(points_m, np.float32)] * len(px)
    pictures = [np.ascontiguousarray(view, np.float32) for view in px]
    guess = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    flags = cv2.CALIB_FIX_ASPECT_RATIO if square_pixels else 0
    try:
        rms, K, k, turns, places, std, _, _ = cv2.calibrateCameraExtended(
            boards, pictures, size_px, guess, None, flags=flags
        )
    except cv2.error as error:
        raise ValueError("the library finds no lens for these corners") from error
    poses = np.stack([pose_of(*each) for each in zip(turns, places, strict=True)])
    return LensStart(
        np.asarray(K, float),
        np.asarray(k, float).reshape(-1)[:5],
        poses,
        float(rms),
        np.asarray(std, float).reshape(-1)[:9],
    )


def board_pose(points_m: Array, px: Array, K: Array, k: Array) -> Array:
    """How does a board stand before a known camera?

    Parameters
    ----------
    points_m, px
        (N, 3) corners on the board [m], and (N, 2) in the picture [px].
    K, k
        (3, 3) [px] and (5,).

    Returns
    -------
    (4, 4)
        ``camera_from_board``.

    Raises
    ------
    ValueError
        When the library finds no pose.
    """
    import cv2

    found, turn, place = cv2.solvePnP(
        np.ascontiguousarray(points_m, np.float64),
        np.ascontiguousarray(px, np.float64).reshape(-1, 1, 2),
        np.ascontiguousarray(K, np.float64),
        np.ascontiguousarray(k, np.float64),
        flags=cv2.SOLVEPNP_ITERATIVE,
    )
    if not found:
        raise ValueError("the library finds no pose for these corners")
    return pose_of(turn, place)


def pose_of(turn: Array, place: Array) -> Array:
    """A pose (4, 4) from the library's rotation vector and translation."""
    import cv2

    pose = np.eye(4)
    pose[:3, :3] = cv2.Rodrigues(np.asarray(turn, float).reshape(3))[0]
    pose[:3, 3] = np.asarray(place, float).reshape(3)
    return pose
