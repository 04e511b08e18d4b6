"""People as numbers: what a rig says of them, and what stands in for what it leaves out."""

from __future__ import annotations

import numpy as np

from rushlight.physics.people import body_dimension
from rushlight.records.arrays import Array
from rushlight.records.person import Person


def _share_of_stature(measure: str) -> float:
    """Median body dimension over median stature, mean of both groups of the survey."""
    shares = [
        body_dimension(measure, group) / body_dimension("stature", group)
        for group in ("women", "men")
    ]
    return float(np.mean(shares))


def shoulder_height_m(person: Person) -> float | None:
    """Height of the shoulder above the floor [m], None when it cannot be told.

    Where the rig leaves it out, 82 % of the stature of someone who stands.

    Notes
    -----
    Source: ANSUR II, NATICK/TR-15/007 (soldiers, not the public): medians of shoulder height
    over medians of stature.
    """
    if person.shoulder_height is not None:
        return float(person.shoulder_height.value)
    if person.seated:
        return None
    return float(_share_of_stature("shoulder height") * person.stature.value)


def shoulder_breadth_m(person: Person) -> float:
    """Breadth over both shoulders [m]; where the rig leaves it out, 28 % of the stature.

    Notes
    -----
    Source: ANSUR II, NATICK/TR-15/007 (soldiers, not the public): medians of bideltoid breadth
    over medians of stature.
    """
    if person.shoulder_breadth is not None:
        return float(person.shoulder_breadth.value)
    return float(_share_of_stature("bideltoid breadth") * person.stature.value)


EYE_SHARE = 0.934
"""Standing eye height over stature (ANSUR II, NATICK/TR-15/007: medians 1.517/1.626 m of women and
1.640/1.755 m of men; soldiers, not the public)."""


def eye_height_m(person: Person) -> float | None:
    """Height of the eyes above the floor [m], None when it cannot be told."""
    if person.eye_height is not None:
        return float(person.eye_height.value)
    return None if person.seated else float(EYE_SHARE * person.stature.value)


def nearest_eye_m(person: Person, place_m: Array, floor_m: float) -> float:
    """Nearest that a person's eyes come to a place (3,) while they keep to where they stand [m].

    Parameters
    ----------
    place_m
        In the rig frame.
    floor_m
        Height of the frame's origin above the floor. Eyes of unknown height are taken as high as
        the place, which errs near.
    """
    across = _gap_to_outline_m(standing_outline_m(person), place_m[[0, 2]])
    height = eye_height_m(person)
    up = 0.0 if height is None else height - floor_m - place_m[1]
    return float(np.hypot(across, up))


def _gap_to_outline_m(outline: Array, point: Array) -> float:
    """Distance from a point to a polygon (N, 2), 0 inside it (even-odd rule; from memory)."""
    start, step = outline, np.roll(outline, -1, axis=0) - outline
    length = np.maximum((step**2).sum(axis=1), 1e-18)
    along = np.clip(((point - start) * step).sum(axis=1) / length, 0.0, 1.0)
    gap = np.linalg.norm(start + along[:, None] * step - point, axis=1).min()
    end = start + step
    crosses = (start[:, 1] > point[1]) != (end[:, 1] > point[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        at = start[:, 0] + (point[1] - start[:, 1]) / step[:, 1] * step[:, 0]
    inside = bool(np.sum(crosses & (point[0] < at)) % 2)
    return 0.0 if inside else float(gap)


def standing_outline_m(person: Person) -> Array:
    """Corners (N, 2) of where a person stands, along the wall and out of it [m]."""
    return np.array([[step.value for step in corner] for corner in person.standing])


def standing_area_m2(person: Person) -> float:
    """Area of where a person stands [m²], by the shoelace formula (textbook; from memory)."""
    return abs(_signed_area(standing_outline_m(person)))


def standing_middle_m(person: Person) -> Array:
    """Centroid (2,) of where a person stands [m] (textbook formula; from memory)."""
    outline = standing_outline_m(person)
    following = np.roll(outline, -1, axis=0)
    cross = outline[:, 0] * following[:, 1] - following[:, 0] * outline[:, 1]
    return np.asarray(cross @ (outline + following) / (6 * _signed_area(outline)))


def _signed_area(outline: Array) -> float:
    x, z = outline.T
    return float(np.sum(x * np.roll(z, -1) - np.roll(x, -1) * z) / 2)
