"""People in front of a display: how far they reach, what they read, what they hide.

Body sizes and reach bands are for planning. They describe groups, never the person at hand:
measure the user, and ask people about reach that their body allows or not. For what a building
must provide, the local code and those licensed to apply it decide.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

PERCENTILES = (5, 50, 95)

ANSUR_II_M: dict[str, dict[str, tuple[float, float, float]]] = {
    "women": {
        "stature": (1.525, 1.626, 1.740),
        "shoulder height": (1.242, 1.332, 1.434),
        "thumb-tip reach": (0.674, 0.742, 0.816),
        "bideltoid breadth": (0.406, 0.450, 0.499),
    },
    "men": {
        "stature": (1.648, 1.755, 1.870),
        "shoulder height": (1.339, 1.439, 1.546),
        "thumb-tip reach": (0.742, 0.811, 0.886),
        "bideltoid breadth": (0.459, 0.509, 0.567),
    },
}
"""Body dimensions [m] at the 5th, 50th and 95th percentile.

Source: ANSUR II, Gordon et al. 2014, NATICK/TR-15/007; percentiles computed here from the open
data, printed to the millimetre. The people measured are soldiers of one army, not the public:
no children, no old people, nobody in a wheelchair. Thumb-tip reach was taken with the back
against a wall, so it counts from there, not from the shoulder joint (from memory).
"""


def body_dimension(measure: str, group: str, percentile: int = 50) -> float:
    """How large a body dimension is at a tabulated percentile.

    Parameters
    ----------
    measure : "stature", "shoulder height", "thumb-tip reach" or "bideltoid breadth"
    group : "women" or "men"
    percentile : 5, 50 or 95

    Returns
    -------
    float [m], without shoes

    Raises
    ------
    ValueError
        When the table has no such entry.

    Notes
    -----
    Source: ANSUR II, NATICK/TR-15/007 (soldiers, not the public); see `ANSUR_II_M`.

    Examples
    --------
    >>> body_dimension("shoulder height", "women", 5)
    1.242
    """
    if group not in ANSUR_II_M or measure not in ANSUR_II_M[group]:
        raise ValueError(
            f"no {measure!r} of {group!r}; groups: {', '.join(ANSUR_II_M)}; measures: "
            f"{', '.join(ANSUR_II_M['women'])}"
        )
    if percentile not in PERCENTILES:
        raise ValueError(f"percentile must be 5, 50 or 95, got {percentile}")
    return ANSUR_II_M[group][measure][PERCENTILES.index(percentile)]


def reach_mask(
    point_m: ArrayLike,
    floor_y_m: ArrayLike,
    shoulder_height_m: ArrayLike,
    reach_m: ArrayLike,
    standing_x_low_m: ArrayLike,
    standing_x_high_m: ArrayLike,
    distance_m: ArrayLike,
) -> Mask:
    """Which points of a wall a standing person touches, the arm turning about the shoulder.

    The person may walk along the wall between two places and neither stoops nor stretches; a
    sphere about one shoulder stands for the arm.

    Parameters
    ----------
    point_m : (..., 2) [m], surface frame
    floor_y_m : (...) [m]
        Where the floor lies in the surface frame: −0.8 when the display's lower edge hangs
        0.8 m above it.
    shoulder_height_m : (...) [m], > 0, above the floor
    reach_m : (...) [m], > 0
        From shoulder to the tip of hand or stylus.
    standing_x_low_m, standing_x_high_m : (...) [m], low ≤ high
    distance_m : (...) [m], ≥ 0
        From shoulder to wall.

    Returns
    -------
    (...) bool; False where a number is unknown

    Raises
    ------
    ValueError
        When low lies beyond high.

    Notes
    -----
    Source: a sphere cut by a plane; computed here.

    Examples
    --------
    >>> reach_mask([[1.0, 0.5], [1.0, 1.6]], -0.8, 1.4, 0.7, 0.0, 2.0, 0.4).tolist()
    [True, False]
    """
    point = np.asarray(point_m, float)
    low, high = np.asarray(standing_x_low_m, float), np.asarray(standing_x_high_m, float)
    if np.any(low > high):
        raise ValueError("standing_x_low_m lies beyond standing_x_high_m")
    # The place along the wall nearest to the point, within where the person may stand.
    aside = point[..., 0] - np.minimum(np.maximum(point[..., 0], low), high)
    above = point[..., 1] - np.asarray(floor_y_m, float) - np.asarray(shoulder_height_m, float)
    away = np.asarray(distance_m, float)
    return np.asarray(aside**2 + above**2 + away**2 <= np.asarray(reach_m, float) ** 2)


def ada_reach_band(
    approach: Literal["forward", "side"], obstruction_depth_m: float = 0.0
) -> tuple[float, float]:
    """Between which heights above the floor a seated adult is to reach.

    Parameters
    ----------
    approach : "forward" or "side"
    obstruction_depth_m : float [m], ≥ 0
        How deep a counter or shelf the reach goes over: at most .635 forward, .610 aside.

    Returns
    -------
    low, high : float [m]
        ``low`` is NaN over an obstruction, where the source gives none.

    Raises
    ------
    ValueError
        When the obstruction is deeper than the source allows.

    Notes
    -----
    Source: 2010 ADA Standards for Accessible Design, §308.2 and §308.3. The side reach over an
    obstruction of .255 to .610 m (1.170 m) is from memory. Other countries have other codes.

    Examples
    --------
    >>> ada_reach_band("forward")
    (0.38, 1.22)
    >>> ada_reach_band("forward", 0.6)
    (nan, 1.12)
    """
    limits = {"forward": (0.510, 0.635, 1.120, 0.0), "side": (0.255, 0.610, 1.170, 0.255)}
    if approach not in limits:
        raise ValueError(f'approach must be "forward" or "side", got {approach!r}')
    shallow, deepest, high_over, free = limits[approach]
    if not 0 <= obstruction_depth_m <= deepest:
        raise ValueError(
            f"an obstruction for {approach} reach may be 0 to {deepest} m deep, "
            f"got {obstruction_depth_m} m"
        )
    low = 0.380 if obstruction_depth_m <= free else float("nan")
    return low, 1.220 if obstruction_depth_m <= shallow else high_over


def ada_children_reach_band(age_years: int) -> tuple[float, float]:
    """Between which heights above the floor children of an age are advised to reach.

    Parameters
    ----------
    age_years : int, 3 to 12

    Returns
    -------
    low, high : float [m]

    Raises
    ------
    ValueError
        When the source gives no band for the age.

    Notes
    -----
    Source: 2010 ADA Standards, advisory 308.1 (advice, no requirement).

    Examples
    --------
    >>> ada_children_reach_band(7)
    (0.455, 1.015)
    """
    bands = (((3, 4), 0.510, 0.915), ((5, 8), 0.455, 1.015), ((9, 12), 0.405, 1.120))
    for (youngest, oldest), low, high in bands:
        if youngest <= age_years <= oldest:
            return low, high
    raise ValueError(f"there is advice for ages 3 to 12, got {age_years}")


def blocked_by_body(
    camera_m: ArrayLike, point_m: ArrayLike, body_m: ArrayLike, floor_y_m: ArrayLike = 0.0
) -> Mask:
    """Whether a standing body hides a point from a camera.

    The body is an upright column with a round top, from the floor up.

    Parameters
    ----------
    camera_m, point_m : (..., 3) [m], surface frame
    body_m : (..., 4) [m]
        x and z of the column's axis, its radius (> 0), its height above the floor
        (≥ the radius).
    floor_y_m : (...) [m]
        Where the floor lies in the surface frame.

    Returns
    -------
    (...) bool
        True when the line of sight touches the column, also when one end lies inside it.

    Raises
    ------
    ValueError
        When a radius is not positive or exceeds the height.

    Notes
    -----
    Source: nearest points of two segments, Ericson, Real-Time Collision Detection, 2005, §5.1.9
    (from memory); tested by sampling.

    Examples
    --------
    >>> person = [1.0, 1.0, 0.25, 1.7]
    >>> blocked_by_body([1.0, 1.2, 3.0], [[1.0, 1.0, 0.0], [2.5, 1.0, 0.0]], person).tolist()
    [True, False]
    """
    start, end, body = (np.asarray(a, float) for a in (camera_m, point_m, body_m))
    x, z, radius, height = (body[..., k] for k in range(4))
    if not np.all(radius > 0) or np.any(height < radius):
        raise ValueError("a body needs radius > 0 and height ≥ radius")
    way = end - start
    # All heights from the floor: the axis runs from 0 to the centre of the round top.
    px, py, pz = start[..., 0] - x, start[..., 1] - floor_y_m, start[..., 2] - z
    dx, dy, dz = way[..., 0], way[..., 1], way[..., 2]
    length = height - radius
    flat, full = dx**2 + dz**2, dx**2 + dy**2 + dz**2
    # Nearest to the endless axis first, then pull the foot onto the column and meet it again.
    share = _share(-(px * dx + pz * dz), flat)
    foot = np.clip(py + share * dy, 0.0, length)
    share = _share(-(px * dx + (py - foot) * dy + pz * dz), full)
    foot = np.clip(py + share * dy, 0.0, length)
    gap2 = (px + share * dx) ** 2 + (py + share * dy - foot) ** 2 + (pz + share * dz) ** 2
    return np.asarray(gap2 <= radius**2)


def _share(along: Array, squared_length: Array) -> Array:
    """How far along a segment the nearest point lies, 0 to 1; 0 on a segment of no length."""
    whole = np.where(squared_length > 0, squared_length, 1.0)
    return np.asarray(np.clip(np.where(squared_length > 0, along / whole, 0.0), 0.0, 1.0))


def shadow_width(body_width_m: ArrayLike, throw_m: ArrayLike, distance_m: ArrayLike) -> Array:
    """How wide a shadow a body casts on the wall in a projector's picture.

    Parameters
    ----------
    body_width_m : (...) [m], ≥ 0
    throw_m : (...) [m], > 0
        From projector to wall.
    distance_m : (...) [m], 0 ≤ distance < throw
        From body to wall.

    Returns
    -------
    (...) [m]

    Raises
    ------
    ValueError
        When the body stands at or behind the projector.

    Notes
    -----
    Source: similar triangles, b D/(D − z); computed here.

    Examples
    --------
    >>> print(f"{shadow_width(0.51, 2.0, 0.5):.2f}")
    0.68
    """
    width, throw, away = (np.asarray(a, float) for a in (body_width_m, throw_m, distance_m))
    if np.any(away < 0) or np.any(away >= throw):
        raise ValueError("the body must stand between wall and projector")
    return np.asarray(width * throw / (throw - away))[()]


METRES_A_TEXT_METRE = 200.0
"""Reading distance over the height of the writing, both in metres: AVIXA V202.01:2016 (DISCAS)."""


def farthest_viewer(image_height_m: ArrayLike, element_height: ArrayLike) -> Array:
    """From how far the smallest element of a picture can still be read.

    Parameters
    ----------
    image_height_m : (...) [m], > 0
    element_height : (...) [1], 0 < share ≤ 1
        Height of the smallest letter or sign as a share of the picture's height.

    Returns
    -------
    (...) [m]

    Raises
    ------
    ValueError
        When the share lies outside (0, 1].

    Notes
    -----
    Source: AVIXA V202.01:2016 (DISCAS): height × percent × 200.

    Examples
    --------
    >>> print(f"{farthest_viewer(1.5, 0.035):.1f}")
    10.5
    """
    height, share = np.asarray(image_height_m, float), np.asarray(element_height, float)
    if np.any(share <= 0) or np.any(share > 1):
        raise ValueError(f"element_height is a share in (0, 1], got {np.max(share)}")
    return np.asarray(height * share * METRES_A_TEXT_METRE)[()]
