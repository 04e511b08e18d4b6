"""What rigs of space add to a rig's document: where a thing moves, and what a picture shows."""

from __future__ import annotations

from pydantic import model_validator

from rushlight.records.document import Record
from rushlight.records.place import Place
from rushlight.records.quantity import AngleFromZero, LengthFromZero


class Zone(Record):
    """Where a carried thing moves, and how far it is turned there.

    The thing's own frame stands like the rig's (x right, y up, z toward the user) when it faces
    the first surface and nothing is turned.

    Attributes
    ----------
    low, high
        Two corners of a box in the rig frame, least and greatest on each axis; the point of the
        thing that matters (eye, hinge, tip) stays within it.
    turn, nod, lean
        Greatest angle to either side about the vertical, about the rig's x axis, and about its z
        axis; all values between are taken as equally likely.
    """

    low: Place
    high: Place
    turn: AngleFromZero
    nod: AngleFromZero
    lean: AngleFromZero

    @model_validator(mode="after")
    def _low_is_below_high(self) -> Zone:
        if any(a.value > b.value for a, b in zip(self.low, self.high, strict=True)):
            raise ValueError("has a low corner beyond its high corner; swap the two values")
        return self


class Scene(Record):
    """What the picture of a viewpoint rig shows, as depths from the screen.

    Attributes
    ----------
    before
        How far its nearest content stands out toward the viewer.
    behind
        How far its farthest content lies behind the screen.
    """

    before: LengthFromZero
    behind: LengthFromZero
