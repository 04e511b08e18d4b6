"""Which surface a survey is of, and at which display pixels its marks are."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.errors import RushlightError
from rushlight.records.arrays import Array
from rushlight.records.rig import Rig, Surface
from rushlight.records.survey_readings import MARKS, SurveyReadings

CORNERS = ("lower-left", "lower-right", "upper-right", "upper-left")


def surface_asked(rig: Rig, wanted: str | None, name: str) -> Surface:
    """The surface that readings name, or the rig's first.

    Parameters
    ----------
    rig
        Of the survey.
    wanted
        The surface's id; None for the first.
    name
        What messages call the file.

    Raises
    ------
    RushlightError
        When the rig has no surface, or none of that id.
    """
    if not rig.surfaces:
        raise RushlightError.of(
            f"{name}: surfaces", "", "holds none, so there is no picture to survey",
            "give a rig with a surface", "survey-no-surface",
        )  # fmt: skip
    found = [each for each in rig.surfaces if wanted in (None, each.id)]
    if not found:
        known = ", ".join(each.id for each in rig.surfaces)
        raise RushlightError.of(
            f"{name}: surface", f'"{wanted}"', "is not in the rig", f"use {known}", "surface"
        )
    return found[0]


def size_of(readings: SurveyReadings, surface: Surface) -> tuple[int, int]:
    """Columns and rows of the picture [px]: as the readings count them, or the rig's own."""
    columns, rows = readings.size_px or surface.pixels
    return int(columns), int(rows)


def places_of(
    readings: SurveyReadings, surface: Surface, name: str
) -> tuple[list[str], Array, Array]:
    """Names and places of all marks, and of the picture's corners.

    Parameters
    ----------
    readings
        With marks of one's own, and where the picture begins on the desktop.
    surface
        That it is shown on.
    name
        What messages call the file of the readings.

    Returns
    -------
    list of str, (M, 2) array, (4, 2) array
        Names of the marks; their places, and those of `CORNERS`, on the desktop [px].

    Raises
    ------
    RushlightError
        When an own mark lies outside the picture, or has the name of another.
    """
    size = np.array(size_of(readings, surface), float)
    first = np.array(readings.first_px, float)
    places = {mark: first + np.array(share) * size for mark, share in MARKS.items()}
    for mark, px in readings.marks.items():
        if mark in MARKS:
            raise RushlightError.of(
                f"{name}: marks.{mark}", str(list(px)), "has the name of a mark of every picture",
                "choose another name", "mark-taken",
            )  # fmt: skip
        if not np.all((np.array(px) >= 0.0) & (np.array(px) <= size)):
            raise RushlightError.of(
                f"{name}: marks.{mark}", str(list(px)),
                f"lies outside the picture of {size[0]:.0f} × {size[1]:.0f} px",
                "count its pixels from the picture's upper left corner", "mark-outside",
            )  # fmt: skip
        places[mark] = first + np.array(px)
    corners = np.array([places[corner] for corner in CORNERS])
    return list(places), np.array(list(places.values())), corners


def index_of(names: Sequence[str], mark: str, where: str) -> int:
    """Which of the marks one is.

    Parameters
    ----------
    names
        Of all marks.
    mark
        The one that a reading names.
    where
        What messages call the reading's field.

    Raises
    ------
    RushlightError
        When there is no such mark.
    """
    if mark not in names:
        raise RushlightError.of(
            where, f'"{mark}"', "is no mark of the picture",
            f"use {', '.join(names)}, or add it under [marks]", "mark-unknown",
        )  # fmt: skip
    return list(names).index(mark)
