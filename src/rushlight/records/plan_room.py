"""What a plan says of the room: its light, what else the cameras see, the beam, readers, reach."""

from __future__ import annotations

from typing import Literal

from rushlight.records.document import Record, Slug


class PlanLight(Record):
    """One window or lamp.

    Attributes
    ----------
    told_w_m2, sun_w_m2
        Mean over the surface of what it sheds, without the sun and while the sun does worst,
        counted as light of the rig's own wavelength.
    """

    id: Slug
    kind: str
    told_w_m2: float
    sun_w_m2: float


class PlanSeen(Record):
    """One other light in a camera's picture.

    Attributes
    ----------
    x_px, y_px
        Where it stands in the picture.
    ratio
        Its dot over the rig's weakest dot; None for a window, or where that is not known.
    passes
        Whether it is strong enough to be taken for a dot, or to dazzle.
    full_share
        Of a window: share of full scale that it takes.
    """

    camera: Slug
    id: Slug
    kind: str
    x_px: float
    y_px: float
    ratio: float | None
    passes: bool
    full_share: float | None = None


class PlanSun(Record):
    """When the sun comes in onto the surface on one day.

    Attributes
    ----------
    season
        The month of an equinox or solstice.
    from_h, to_h
        First and last solar time with sun on the surface; None where there is none.
    greatest_w_m2, mean_w_m2
        Of the sun alone: at the brightest place at any time, and the mean over the surface at
        its worst time.
    """

    season: str
    from_h: float | None
    to_h: float | None
    greatest_w_m2: float
    mean_w_m2: float


class PlanAmbient(Record):
    """The room's light on the surface, within one camera's band.

    Attributes
    ----------
    camera
        The one that counts most of it.
    used_w_m2, used
        What the plan reckons with, and whether the rig gives it or it is estimated.
    estimated_w_m2, sun_w_m2, sun_greatest_w_m2
        From windows and lamps: mean without the sun; mean and greatest while the sun does worst.
    full_share, sun_full_share
        Share of full scale that the lit surface takes at the planned exposure: as planned, and
        at its brightest place while the sun does worst.
    coverage, sun_coverage
        Share of the surface that is covered as planned, and that stays so then, at the exposure
        and beacons planned; None where no sun comes in.
    thrown
        Whether what comes by way of the room's walls is in it.
    lights
        By window and lamp.
    hours
        By season, where the room's bearing and latitude are known.
    """

    camera: Slug
    used_w_m2: float
    used: Literal["given", "estimated"]
    estimated_w_m2: float
    sun_w_m2: float
    sun_greatest_w_m2: float
    full_share: float
    sun_full_share: float
    coverage: float
    sun_coverage: float | None = None
    thrown: bool
    lights: list[PlanLight]
    hours: list[PlanSun] = []


class PlanBeam(Record):
    """A projector before its wall.

    Attributes
    ----------
    lens_m
        Where its lens is.
    throw_m
        From how far its throw ratio fills the width, None where no ratio is known.
    cameras
        Ids of the cameras in its beam.
    hides
        By camera: the share of the surface that the projector itself hides from it.
    picture_mean, picture_max
        Share of the picture in the shadow of whoever touches it: over the places.
    touched_mean, touched_max
        How often the touched place itself lies in that shadow.
    heads
        By carried thing: how often its holder's head is in the beam.
    """

    lens_m: tuple[float, float, float]
    throw_m: float | None
    cameras: list[Slug]
    hides: dict[Slug, float]
    picture_mean: float
    picture_max: float
    touched_mean: float
    touched_max: float
    heads: dict[Slug, float]


class PlanReading(Record):
    """From how far the surface's writing can be read.

    Attributes
    ----------
    text_height_m, farthest_m
        The writing as the rig gives it, and how far away it can be read.
    reader_m, needed_m
        The farthest reader, and the height of writing that needs.
    """

    text_height_m: float | None
    farthest_m: float | None
    reader_m: float | None
    needed_m: float | None


class PlanReach(Record):
    """Between which heights a group is to reach, and how much of the surface lies there.

    Attributes
    ----------
    low_m, high_m
        Above the floor.
    share
        Of the surface's height, 0 to 1.
    people
        Ids of the rig's people who belong to the group.
    """

    who: str
    low_m: float
    high_m: float
    share: float
    people: list[Slug]


class PlanRoom(Record):
    """What a plan says of the room; a part is None where the rig does not say enough."""

    ambient: PlanAmbient | None = None
    seen: list[PlanSeen] = []
    beam: PlanBeam | None = None
    reading: PlanReading | None = None
    reach: list[PlanReach] = []
