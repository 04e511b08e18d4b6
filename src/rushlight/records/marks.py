"""Marks on a surface that are touched one after another, as a person writes them down."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from rushlight.records.document import Document, Record, Slug
from rushlight.records.quantity import Length


class Mark(Record):
    """One mark, touched once.

    Attributes
    ----------
    place
        To the right and up from the surface's lower-left corner, measured with a ruler.
    carried
        Which stylus touches it; left out where there is one.
    """

    place: tuple[Length, Length]
    carried: Slug | None = None


class MarkList(Document):
    """Marks in the order in which they are touched."""

    SCHEMA = "rushlight/marks"

    marks: Annotated[list[Mark], Field(min_length=1)]
