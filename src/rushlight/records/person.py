"""A person who uses a rig."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rushlight.records.document import Record, Slug
from rushlight.records.place import FloorPoint
from rushlight.records.quantity import LengthFromZero, PositiveLength


class Person(Record):
    """Someone who uses the rig.

    Attributes
    ----------
    age
        Of a child, in whole years; left out for adults.
    reach, reach_spread
        From the shoulder to the tip of what they hold.
    standing
        Corners of the floor where they stand, as (x, z) in the rig frame.
    touch_scatter
        How far from a mark they set the tip, root-mean-square along each axis.
    """

    id: Slug
    age: Annotated[int, Field(ge=2, le=17)] | None = None
    stature: PositiveLength
    eye_height: PositiveLength | None = None
    shoulder_height: PositiveLength | None = None
    shoulder_breadth: PositiveLength | None = None
    reach: PositiveLength
    reach_spread: LengthFromZero | None = None
    hand: Literal["right", "left"]
    seated: bool = False
    standing: Annotated[list[FloorPoint], Field(min_length=3)]
    touch_scatter: LengthFromZero
