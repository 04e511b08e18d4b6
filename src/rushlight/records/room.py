"""The room that a rig stands in: walls, places for cameras, daylight, lamps, other lights."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from rushlight.records.document import Record, Slug
from rushlight.records.place import Place
from rushlight.records.quantity import (
    Angle,
    Current,
    Irradiance,
    LengthFromZero,
    LuminousFlux,
    PositiveLength,
    Power,
    RadiantIntensity,
    Share,
    Temperature,
    TimeFromZero,
)

LampKind = Literal["incandescent", "halogen", "led", "fluorescent"]
Glazing = Literal["none", "clear", "double", "coated"]
DisturberKind = Literal["remote-control", "autofocus-lamp", "range-finder"]


class Ambient(Record):
    """Infrared light of the room on the surface, within what the camera passes.

    Attributes
    ----------
    irradiance
        On the surface, within the camera's band.
    gradient
        How much it differs from one side of the picture to the other, as a share.
    """

    irradiance: Irradiance
    gradient: Share | None = None
    source: str = ""


class CameraPlace(Record):
    """Where in the room a camera may be put: a box with sides along the rig's axes, or less.

    Attributes
    ----------
    kind
        What would hold it there. `tripod` stands on the floor, `shelf` and `table` carry it,
        `wall` and `ceiling` are drilled or clamped.
    corner, opposite
        Two opposite corners of the box [m]; equal in a coordinate that cannot be chosen.
    work
        Time to mount a camera there; None where nobody said.
    """

    id: Slug
    kind: Literal["wall", "ceiling", "shelf", "table", "tripod"]
    corner: Place
    opposite: Place
    work: TimeFromZero | None = None


class Window(Record):
    """A window, skylight or open door: a flat rectangle with sides along the rig's axes.

    Attributes
    ----------
    corner, opposite
        Two opposite corners [m], equal in the one coordinate that is its wall: x for a wall
        aside, z for the display's wall or the one behind the people, y for a skylight.
    glazing
        What it is filled with; `transmission` gives the near-infrared share itself.
    light
        What it lets in: only sky and sunlit ground, at some hour the sun too, or nothing
        (at night, or behind a blind).
    """

    id: Slug
    corner: Place
    opposite: Place
    glazing: Glazing = "clear"
    transmission: Share | None = None
    light: Literal["sky", "sun", "dark"] = "sun"

    @model_validator(mode="after")
    def _is_flat(self) -> Window:
        steps = zip(self.corner, self.opposite, strict=True)
        if sum(a.value == b.value for a, b in steps) != 1:
            raise ValueError(
                "needs two corners that are equal in exactly one coordinate, that of its wall; "
                "give opposite corners of the opening"
            )
        return self


class Lamp(Record):
    """A lamp that lights the room, taken to shine evenly all round.

    Attributes
    ----------
    watts, lumens
        One of the two: its electric power, or its light as the packet says.
    """

    id: Slug
    kind: LampKind
    position: Place
    watts: Power | None = None
    lumens: LuminousFlux | None = None

    @model_validator(mode="after")
    def _one_strength(self) -> Lamp:
        if (self.watts is None) == (self.lumens is None):
            raise ValueError(
                'needs exactly one of watts and lumens; give watts = "8 W" as the packet says'
            )
        return self


class Neighbour(Record):
    """Another rig in the room, whose lights this one's cameras may see.

    Attributes
    ----------
    corner, opposite
        Two opposite corners of the box in which its lights move [m].
    part, current
        Its emitter on the shelf, and what drives it.
    """

    id: Slug
    corner: Place
    opposite: Place
    part: Slug
    current: Current


class Disturber(Record):
    """Something else that shines infrared light now and then: a remote control, an autofocus
    lamp, a range finder.

    Attributes
    ----------
    position
        Where it is when it shines [m].
    intensity, wavelength, duty
        Toward the camera and averaged over a frame; left out, typical values of its kind.
    """

    id: Slug
    kind: DisturberKind
    position: Place
    intensity: RadiantIntensity | None = None
    wavelength: PositiveLength | None = None
    duty: Share | None = None


class Room(Record):
    """The room, seen from the rig frame.

    Attributes
    ----------
    width, depth, height
        Clear of furniture, the depth measured from the first surface.
    left
        How far the wall on the left stands from the first surface's left edge.
    facing, latitude
        Bearing toward which someone looks who faces the first surface, from north by east, and
        the place's latitude, south negative: with both the hours of the sun are told.
    temperature
        Of the air on the warmest day of use; warmth lowers what diodes bear.
    farthest_reader
        Distance from the first surface at which its writing must still be read.
    places
        Where a camera may go; none means that nobody said, not that it may go anywhere.
    windows, lamps, neighbours, disturbers
        What sheds infrared light besides the rig's own emitters.
    """

    width: PositiveLength | None = None
    depth: PositiveLength | None = None
    height: PositiveLength | None = None
    left: LengthFromZero | None = None
    facing: Angle | None = None
    latitude: Angle | None = None
    temperature: Temperature | None = None
    farthest_reader: PositiveLength | None = None
    places: list[CameraPlace] = []
    windows: Annotated[list[Window], Field(max_length=40)] = []
    lamps: Annotated[list[Lamp], Field(max_length=200)] = []
    neighbours: Annotated[list[Neighbour], Field(max_length=40)] = []
    disturbers: Annotated[list[Disturber], Field(max_length=40)] = []
