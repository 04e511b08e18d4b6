"""What a session holds beside frames and dots: clocks, trails, fixes, events."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from rushlight.records.arrays import Array, ArrayRecord, shaped
from rushlight.records.document import Document, Record, Slug
from rushlight.records.rig import Stream

TrailState = Literal["tentative", "held", "coasting", "lost"]
EventKind = Literal["switch-down", "switch-up", "drop", "lost", "found", "sent", "fault"]


class Clock(Record):
    """A clock and how it stands to the host's monotonic clock."""

    id: Slug
    kind: Literal["host-monotonic", "camera", "file", "simulated"]
    offset_ns: int = 0
    drift: float = 0.0
    std_ns: float | None = None


@dataclass(frozen=True, slots=True)
class TrailLink:
    """One dot's membership in a trail.

    Attributes
    ----------
    camera, frame, dot
        Which dot: camera id, frame index, index within the frame (−1 while coasting).
    trail
        Trail id, unique in the session.
    carried, emitter
        What is taken to have made it; None when unknown.
    confidence
        In that identity, 0 to 1.
    state
        tentative, held, coasting or lost.
    """

    camera: str
    frame: int
    dot: int
    trail: int
    carried: str | None
    emitter: str | None
    confidence: float
    state: TrailState


@dataclass(frozen=True, eq=False)
class Fix(ArrayRecord):
    """The one output of every rig kind: where something is, and when.

    Attributes
    ----------
    capture_ns, valid_ns, detect_ns, map_ns, sent_ns
        Middle of the exposure; moment the fix speaks of; end of detection; end of mapping;
        handed to every output [ns]; −1 where it did not happen. When it left by which output
        is told by `Departure`.
    frame
        Index of the frame.
    carried, point, trail
        Which thing and which of its points; trail id or −1.
    dimensions
        2 on a surface, 3 in space, 6 for a pose.
    surface
        Id of the surface, or None.
    position_m
        (3,) [m]; z is NaN in two dimensions.
    quaternion
        (4,) or NaN.
    cov
        (6, 6); NaN where unknown.
    switch
        Whether it is lit or pressed.
    cameras
        Ids of the cameras used; none where the light coasts in the dark.
    predicted
        Whether it was coasted rather than seen.
    hypotheses
        Weights of the possible answers, the chosen one first; of things that look alike, the
        possible names too.
    """

    capture_ns: int
    valid_ns: int
    detect_ns: int
    map_ns: int
    sent_ns: int
    frame: int
    carried: str
    point: str
    trail: int
    dimensions: Literal[2, 3, 6]
    surface: str | None
    switch: bool
    cameras: tuple[str, ...]
    predicted: bool
    hypotheses: tuple[float, ...]
    position_m: Array = shaped(3)
    quaternion: Array = shaped(4, default=np.nan)
    cov: Array = shaped(6, 6, default=np.nan)


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened: a switch, a drop, a loss, a fault.

    A light's beginning and end are known some frames later than they happen: `time_ns` is the
    moment of the light, and what follows is of the frame by which it was known.

    Attributes
    ----------
    time_ns
        On the session's clock [ns].
    kind
        What happened.
    carried, trail, frame
        What it refers to, None or −1 where it refers to none.
    detail
        In words.
    capture_ns, detect_ns, map_ns, sent_ns
        Of the frame by which it was known: middle of the exposure; end of detection; end of
        mapping; handed to every output [ns]; −1 where it did not happen.
    """

    time_ns: int
    kind: EventKind
    carried: str | None = None
    trail: int = -1
    frame: int = -1
    detail: str = ""
    capture_ns: int = -1
    detect_ns: int = -1
    map_ns: int = -1
    sent_ns: int = -1

    def known(self, capture_ns: int, detect_s: float, map_s: float) -> Event:
        """The event with the moments of the frame by which it was known.

        Parameters
        ----------
        capture_ns
            Middle of that frame's exposure [ns].
        detect_s, map_s
            From having the frame to the end of detection and of mapping [s].
        """
        return replace(
            self,
            capture_ns=capture_ns,
            detect_ns=capture_ns + round(detect_s * 1e9),
            map_ns=capture_ns + round(map_s * 1e9),
        )


@dataclass(frozen=True, slots=True)
class Departure:
    """When what one frame told left by one output.

    Attributes
    ----------
    output
        Name of the output.
    frame
        Index of the frame that told it.
    sent_ns
        End of the write by which it left this program, or, of the session itself, end of the
        commit that saved it [ns].
    """

    output: str
    frame: int
    sent_ns: int


class SessionHeader(Document):
    """What a session was made from.

    Attributes
    ----------
    role
        A session holds what was found; a truth holds what simulated footage was made from,
        in the same shapes, so that neither is taken for the other.
    rig, footage, registration
        Content hashes of the inputs, None where there was none.
    causes
        In simulated footage, the error causes that were switched on.
    script
        In scripted footage, the name of the script.
    goals
        What was shown on the display and when, as the footage's sidecar tells it.
    """

    SCHEMA = "rushlight/session"

    role: Literal["session", "truth"] = "session"
    rig: str | None = None
    rig_name: str = ""
    footage: str | None = None
    registration: str | None = None
    cameras: list[Slug]
    carried: list[Slug]
    clocks: list[Clock]
    filter_name: str = "none"
    causes: list[str] | None = None
    script: str | None = None
    goals: list[ShownGoal] = []


SIMULATED_MARK = "simulated by rushlight; not filmed"
"""Stands in the video file itself, so that footage parted from its sidecar still says so."""


class FootageHeader(Document):
    """The sidecar of footage: what was filmed, and the exact time of each frame.

    Attributes
    ----------
    picture
        Name of the video file beside this document.
    capture_ns
        Middle of each frame's exposure [ns], whole numbers.
    causes
        In simulated footage, the error causes that were switched on.
    stream
        In simulated footage, how the pictures were compressed and decoded again before they were
        kept; None where they were not.
    full_scale_dn
        Level of a pixel at full scale: 255 for 8 bits, 1023 for 10, and so on, whatever the
        video's format could hold.
    goals
        What was shown on the display and when, as the person saw it: place [m], from, to [ns],
        which carried thing, and the block of the task plan. Known without truth.
    """

    SCHEMA = "rushlight/footage"

    picture: str
    camera: Slug
    size_px: tuple[int, int]
    full_scale_dn: Annotated[int, Field(ge=255, le=65535)] = 255
    capture_ns: list[int]
    exposure_ns: int
    simulated: bool
    script: str | None = None
    causes: list[str] | None = None
    stream: Stream | None = None
    goals: list[ShownGoal] = []
    rig: str | None = None
    truth: str | None = None


class ShownGoal(Record):
    """One mark as it stood on the display."""

    carried: Slug
    block: str
    trial: int
    place_m: tuple[float, float]
    width_m: float | None = None
    from_ns: int
    until_ns: int


SessionHeader.model_rebuild()
FootageHeader.model_rebuild()
