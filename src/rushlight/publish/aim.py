"""Where a camera hangs and which way it looks, in a builder's words and numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.geometry import project, ray_on_plane, turn_of_camera, undistort_px
from rushlight.publish.wording import metres
from rushlight.records.resolved import ResolvedRig

Array = NDArray[Any]

_LEAST_DEG = 0.5
"""Less is left out: nobody sets a clamp more finely by hand (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Hanging:
    """One camera's place and aim.

    Attributes
    ----------
    camera
        Its id.
    lens_m
        (3,) in the rig frame [m].
    height_m
        Of the lens above the floor [m].
    turn_deg, tilt_deg, roll_deg
        To its own right, upward, and clockwise seen from behind [°].
    aim_m
        (2,) where the line of sight meets the surface's plane [m]; NaN if it does not.
    focus_m
        From the lens along the line of sight to the surface's plane [m]; NaN if it does not.
    edges_m
        (4, 2) where the middles of the picture's top, right, bottom and left edge look [m].
    corners_px
        (4, 2) pixel at which a light at the surface's lower left, lower right, upper right and
        upper left corner appears; NaN outside the picture.
    """

    camera: str
    lens_m: Array
    height_m: float
    turn_deg: float
    tilt_deg: float
    roll_deg: float
    aim_m: Array
    focus_m: float
    edges_m: Array
    corners_px: Array


def hanging_of(resolved: ResolvedRig, index: int, camera: str) -> Hanging:
    """Place and aim of one camera of the first rig.

    Parameters
    ----------
    resolved
        The rig as numbers.
    index
        The camera's place along C.
    camera
        Its id.
    """
    c, surface = resolved.cameras, resolved.surface
    pose, K, k = c.rig_from_camera[0, index], c.K[0, index], c.distortion[0, index]
    size = c.size_px[0, index]
    turn, tilt, roll = (math.degrees(float(angle)) for angle in turn_of_camera(pose))
    middles = np.array([[0.5, 0.0], [1.0, 0.5], [0.5, 1.0], [0.0, 0.5]]) * size - 0.5
    aim = np.asarray(ray_on_plane(np.zeros(2), pose))
    lens = pose[:3, 3]
    width, height = surface.size_m[0]
    corners = np.array([[0, 0, 0], [width, 0, 0], [width, height, 0], [0, height, 0]], float)
    px, ahead = project(corners, K, k, pose)
    inside = np.all((px >= -0.5) & (px <= size - 0.5), axis=-1) & (ahead > 0)
    return Hanging(
        camera=camera,
        lens_m=lens,
        height_m=float(lens[1] + surface.floor_m[0]),
        turn_deg=turn,
        tilt_deg=tilt,
        roll_deg=roll,
        aim_m=aim,
        focus_m=float(np.linalg.norm([*(aim - lens[:2]), lens[2]])),
        edges_m=np.asarray(ray_on_plane(undistort_px(middles, K, k), pose)),
        corners_px=np.where(inside[:, None], px, np.nan),
    )


def aim_words(turn_deg: float, tilt_deg: float, roll_deg: float = 0.0) -> str:
    """Which way to turn a camera that looks level and square at the wall, in words.

    Parameters
    ----------
    turn_deg, tilt_deg, roll_deg
        To its own right, upward, and clockwise seen from behind [°].

    Examples
    --------
    >>> aim_words(-3.2, -12.4)
    'turn 3° left, tilt 12° down, no roll'
    >>> aim_words(0.1, 0.0, 2.0)
    'no turn, no tilt, roll 2° clockwise (seen from behind the camera)'
    """
    parts = (
        ("turn", turn_deg, "right", "left"),
        ("tilt", tilt_deg, "up", "down"),
        ("roll", roll_deg, "clockwise", "anticlockwise"),
    )
    words = []
    for verb, angle, positive, negative in parts:
        if abs(angle) < _LEAST_DEG:
            words.append(f"no {verb}")
        else:
            words.append(f"{verb} {abs(angle):.0f}° {positive if angle > 0 else negative}")
    seen = " (seen from behind the camera)" if abs(roll_deg) >= _LEAST_DEG else ""
    return ", ".join(words) + seen


def place_words(hanging: Hanging) -> str:
    """Where to hang the lens, in words."""
    x, _, z = (float(step) for step in hanging.lens_m)
    side = f"{metres(x)} to the right of" if x >= 0 else f"{metres(-x)} to the left of"
    return (
        f"the lens {metres(hanging.height_m)} above the floor, {metres(z)} out from the surface, "
        f"and {side} the surface's left edge as the user sees it"
    )
