"""A scene drawn on a screen for an eye: what a renderer would show, in software."""

from __future__ import annotations

import numpy as np

from rushlight.opencv.draw import painted
from rushlight.physics.geometry.offaxis import drawn_at, off_axis, screen_frame
from rushlight.records.arrays import Array
from rushlight.records.scene import SceneDrawing
from rushlight.records.space import Screen

_NEAR_SHARE = 0.02
"""Pieces nearer to the eye than this share of its distance from the screen are left out."""


def scene_points_m(scene: SceneDrawing, screen: Screen) -> list[Array]:
    """(N, 3) corners of each piece in the rig [m], told from a screen."""
    frame = screen_frame(screen.corners_m)
    return [frame.corner_m + piece.outline_m @ frame.axes for piece in scene.pieces]


def draw_scene(scene: SceneDrawing, told_from: Screen, screen: Screen, eye_m: Array) -> Array:
    """The picture that a screen must show, for an eye to see a scene where it is.

    Parameters
    ----------
    scene
        What is drawn.
    told_from
        The screen from which the scene is told.
    screen
        On which it is drawn.
    eye_m
        (3,) [m].

    Returns
    -------
    ndarray, shape (rows, columns, 3)
        Red, green, blue, 8 bits; the backdrop alone for an eye in or behind the screen's plane.
    """
    columns, rows = (int(side) for side in screen.display_px)
    ground = _rgb(scene.backdrop)
    frame = screen_frame(screen.corners_m)
    depth = off_axis(screen.corners_m, eye_m, 0.01, 1e3).frustum.distance_m
    if np.isnan(depth):
        return painted((columns, rows), ground, [])
    shapes = []
    for piece, corners in zip(scene.pieces, scene_points_m(scene, told_from), strict=True):
        away = float(np.mean((eye_m - corners) @ frame.axes[2]))
        if np.min((eye_m - corners) @ frame.axes[2]) < _NEAR_SHARE * depth:
            continue
        place = drawn_at(corners, screen.corners_m, eye_m) / frame.size_m
        shapes.append((away, place * [columns, -rows] + [0.0, rows], piece.rgb))
    shapes.sort(key=lambda shape: -shape[0])
    return painted((columns, rows), ground, [(corners, rgb) for _, corners, rgb in shapes])


def _rgb(colour: str) -> tuple[int, int, int]:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return red, green, blue
