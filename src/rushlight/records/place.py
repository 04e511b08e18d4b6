"""Places and poses in the rig frame, as a builder would say them."""

from __future__ import annotations

from rushlight.records.document import Record
from rushlight.records.quantity import Angle, Length

Place = tuple[Length, Length, Length]
FloorPoint = tuple[Length, Length]
Direction = tuple[float, float, float]


class PlacedPose(Record):
    """Where something stands in the rig frame, as a builder would say it.

    Attributes
    ----------
    position
        x to the right, y up, z out of the first surface toward the user [m], from that
        surface's lower-left corner.
    turn, tilt, roll
        Turn to the user's right about the vertical, tilt upward, and roll clockwise as seen
        from behind; all zero faces the same way as the first surface.
    """

    position: Place
    turn: Angle | None = None
    tilt: Angle | None = None
    roll: Angle | None = None
