"""What someone read off a ruler along the displayed picture, as they wrote it down."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from rushlight.records.document import Document, Record, Slug
from rushlight.records.quantity import Length, PositiveLength


def _unset(value: object) -> bool:
    return value is None


MARKS: dict[str, tuple[float, float]] = {
    "upper-left": (0.0, 0.0),
    "upper-middle": (0.5, 0.0),
    "upper-right": (1.0, 0.0),
    "left-middle": (0.0, 0.5),
    "centre": (0.5, 0.5),
    "right-middle": (1.0, 0.5),
    "lower-left": (0.0, 1.0),
    "lower-middle": (0.5, 1.0),
    "lower-right": (1.0, 1.0),
}
"""Named places of every picture, as shares of its columns and rows from the upper left."""


class LengthReading(Record):
    """A ruler laid from one mark to another."""

    between: tuple[Slug, Slug]
    length: PositiveLength
    doubt: PositiveLength | None = None


class PlaceReading(Record):
    """Where a mark is, counted right and up from the surface's lower-left corner."""

    mark: Slug
    right: Length
    up: Length
    doubt: PositiveLength | None = None


class GapReading(Record):
    """How far the wall is from a straight edge or string between two marks, at a third.

    Attributes
    ----------
    gap
        Less than nothing where the wall bulges towards you.
    """

    between: tuple[Slug, Slug]
    at: Slug
    gap: Length
    doubt: PositiveLength | None = None


class SurveyReadings(Document):
    """The readings of a picture survey, a TOML file that a person writes.

    Attributes
    ----------
    surface
        Which of the rig's; its only one when left out.
    ruler_doubt, gap_doubt
        Standard deviation of one reading, where it tells none of its own.
    first_px, size_px
        Where the picture begins on the desktop, and its columns and rows, in the pixels that
        programs count; the rig's own from (0, 0) when left out.
    marks
        Places of marks of one's own in those pixels, from the picture's upper left corner.
    by_registration
        Hash of the content of the registration in whose metres the places were touched; None
        where a ruler told them.
    simulated
        Whether what was touched is simulated; None where a person read it.
    """

    SCHEMA = "rushlight/survey-readings"

    surface: Slug | None = None
    ruler_doubt: PositiveLength | None = None
    gap_doubt: PositiveLength | None = None
    first_px: tuple[float, float] = (0.0, 0.0)
    size_px: tuple[Annotated[int, Field(gt=0)], Annotated[int, Field(gt=0)]] | None = None
    marks: dict[Slug, tuple[float, float]] = {}
    lengths: list[LengthReading] = []
    places: list[PlaceReading] = []
    gaps: list[GapReading] = []
    by_registration: str | None = Field(default=None, exclude_if=_unset)
    simulated: bool | None = Field(default=None, exclude_if=_unset)
