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
