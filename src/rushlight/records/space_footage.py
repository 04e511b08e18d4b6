"""The sidecar of what several cameras of a rig of space filmed at once."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rushlight.records.document import Document, Record, Slug
from rushlight.records.space_plan import Point

SPACE_FOOTAGE = "space.json"
"""Name of the sidecar; each camera's footage lies in a folder beside it, named for the camera."""


class SpaceMark(Record):
    """One step of a registration, and when it was held.

    Attributes
    ----------
    carried, point
        Which thing, and which of its named points.
    kind
        ``look``: the point (an eye) lies on the line through both marks, beyond the near one.
        ``placing``: the point is held on a mark.
    from_m, to_m
        The near mark and the far one of a look; the mark of a placing, and None. In the rig [m].
    from_ns, until_ns
        How long it was held, on the cameras' clock [ns].
    """

    carried: Slug
    point: str
    kind: Literal["look", "placing"]
    from_m: Point
    to_m: Point | None = None
    from_ns: int
    until_ns: int


class SpaceHold(Record):
    """While a thing was held still; where, only the truth knows.

    Attributes
    ----------
    carried
        Which thing.
    from_ns, until_ns
        How long, on the cameras' clock [ns].
    """

    carried: Slug
    from_ns: int
    until_ns: int


class SpaceFootage(Document):
    """Several cameras' footage of one event.

    Attributes
    ----------
    cameras
        Ids, in the order of the rig's; each has a folder of this name beside this document, with
        a sidecar of its own, or else a video file of this name. Their times are those of the
        cameras' own clocks, which may stand apart.
    script
        What was done before the cameras, where it is known.
    marks
        Of a registration: what was held where and when. Known without truth.
    holds
        When a thing was held still.
    simulated
        Whether it was computed rather than filmed.
    causes
        In simulated footage, the error causes that were switched on.
    rig
        Content hash of the rig's document.
    truth
        In simulated footage, name of the file beside this document that holds what is true.
    """

    SCHEMA = "rushlight/space-footage"

    cameras: Annotated[list[Slug], Field(min_length=1)]
    script: str | None = None
    marks: list[SpaceMark] = []
    holds: list[SpaceHold] = []
    simulated: bool
    causes: list[str] | None = None
    rig: str | None = None
    truth: str | None = None
