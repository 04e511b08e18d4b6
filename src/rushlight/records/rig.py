"""The rig: everything that makes one low-cost interactive display, in one document."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from rushlight.records.document import Basis, Document, Record, Slug
from rushlight.records.person import Person
from rushlight.records.place import Direction, Place, PlacedPose
from rushlight.records.quantity import (
    Angle,
    AngleFromZero,
    Current,
    Frequency,
    LengthFromZero,
    PositiveLength,
    Share,
    Speed,
    Time,
    TimeFromZero,
)
from rushlight.records.rig_space import Scene, Zone
from rushlight.records.room import Ambient, Room
from rushlight.records.search import SearchSettings
from rushlight.records.sourced import Price, Sourced
from rushlight.records.wiring import Feed, Wiring

RigKind = Literal["surface", "viewpoint", "body", "volume"]
Pixels = tuple[Annotated[int, Field(gt=7, le=20000)], Annotated[int, Field(gt=7, le=20000)]]


class Surface(Record):
    """The flat display that is pointed at or looked into.

    Attributes
    ----------
    height_above_floor
        Of the lower edge.
    delay
        From the computer's output to light on the display.
    flatness
        Root-mean-square departure from the best plane.
    reflectance
        Share of the emitters' infrared light that the surface returns, matt.
    pose
        Left out for the first surface, which is the rig frame itself.
    text_height
        Of the smallest writing that must be read on it: of its capitals, or left out.
    projector
        Place and aim of the projector's lens, or left out.
    """

    id: Slug
    width: PositiveLength
    height: PositiveLength
    height_above_floor: LengthFromZero
    pixels: Pixels
    refresh: Frequency
    delay: TimeFromZero
    flatness: LengthFromZero
    reflectance: Share
    text_height: PositiveLength | None = None
    display: Slug | None = None
    pose: PlacedPose | None = None
    projector: PlacedPose | None = None


class Aim(Record):
    """Which way a camera looks: turned right, tilted up, rolled; all zero looks at the wall."""

    turn: Angle
    tilt: Angle
    roll: Angle | None = None


class Illuminator(Record):
    """Lights beside the lens, for reflectors.

    Attributes
    ----------
    current
        Through each diode.
    wiring
        How the diodes are joined; each on a resistor of its own where it is left out.
    feed
        What feeds them, or left out, and then no resistor can be told.
    """

    part: Slug
    count: Annotated[int, Field(ge=1, le=500)]
    current: Current
    ring_radius: PositiveLength
    wiring: Wiring | None = None
    feed: Feed | None = None


class Stream(Record):
    """How pictures travel from the camera: as they are, or compressed and so less sharp.

    Attributes
    ----------
    quality
        Of the encoder's own scale: its quantiser for MJPEG (1 is best), its constant rate
        factor for H.264 (0 is best).
    """

    codec: Literal["raw", "mjpeg", "h264"]
    quality: Annotated[int, Field(ge=0, le=51)] | None = None

    @model_validator(mode="after")
    def _quality_of_codec(self) -> Stream:
        if (self.codec == "raw") != (self.quality is None):
            raise ValueError(
                "needs a quality with mjpeg and h264, and none with raw; correct one of the two"
            )
        return self


class DotLines(Record):
    """How a sensor that finds dots itself writes them: one line a frame, numbers between marks.

    Attributes
    ----------
    fields
        What the numbers of a dot mean, in order; "skip" passes over one.
    before
        What stands before the first dot, in order.
    separator
        Between numbers; a space stands for any run of blanks.
    dots
        Most dots in a line.
    absent
        The x that a sensor without dots writes, or left out where it writes fewer numbers.
    size_px
        Range of its coordinates.
    baud
        Speed of the serial line.
    """

    fields: list[Literal["x", "y", "size", "peak", "skip"]] = ["x", "y"]
    before: list[Literal["time-us", "time-ms", "count", "skip"]] = []
    separator: Annotated[str, Field(min_length=1, max_length=3)] = ","
    dots: Annotated[int, Field(ge=1, le=64)] = 4
    absent: float | None = None
    size_px: Pixels
    baud: Annotated[int, Field(ge=1200, le=4_000_000)] = 115_200

    @model_validator(mode="after")
    def _has_place(self) -> DotLines:
        if self.fields.count("x") != 1 or self.fields.count("y") != 1:
            raise ValueError('needs "x" and "y" once each among its fields; add them')
        return self


class Camera(Record):
    """One camera of the rig.

    Attributes
    ----------
    position
        Of the lens, in the rig frame.
    look_at, aim
        One of the two: the point it looks at, or its angles.
    exposure
        A time, or "auto" to let the plan choose one that neither saturates nor starves.
    lens
        File of a lens calibration beside the rig, or left out for the shelf's typical lens.
    source
        Where its frames come from when the rig runs: "camera:0", a network address, "serial:"
        and a device, or left out.
    stream
        How its pictures are compressed on the way; raw when left out.
    lines
        For a sensor that sends coordinates instead of pictures.
    placed_within, turned_within
        How exactly its place and its angles are known before a registration: one standard
        deviation along and about each axis; left out, see `rushlight.shelf.resolve_space`.
    """

    id: Slug
    part: Slug
    mount: Literal["fixed", "carried"] = "fixed"
    position: Place
    look_at: Place | None = None
    aim: Aim | None = None
    exposure: Time | Literal["auto"] = "auto"
    frame_rate: Frequency
    gain: Annotated[float, Field(gt=0, le=100)] = 1.0
    filter: Slug | None = None
    illuminator: Illuminator | None = None
    clock: Slug | None = None
    lens: str | None = None
    source: str | None = None
    stream: Stream | None = None
    lines: DotLines | None = None
    placed_within: LengthFromZero | None = None
    turned_within: AngleFromZero | None = None

    @model_validator(mode="after")
    def _one_aim(self) -> Camera:
        if (self.look_at is None) == (self.aim is None):
            raise ValueError(
                "needs exactly one of look_at and aim; give the point that the camera looks at"
            )
        return self


class Diffuser(Record):
    """A cap or sanding over an emitter that spreads its light."""

    transmission: Share
    spread: Share = Field(description="share of the light that leaves evenly in all directions")


class CarriedEmitter(Record):
    """A light or reflector on a carried thing.

    Attributes
    ----------
    part, reflector
        One of the two: an emitter of the shelf, or the diameter of a reflective marker, which
        the camera's illuminator lights.
    sheet, shape
        Of a reflective marker: what it is covered with, and whether it is a ball or a disc that
        faces along `axis`.
    distance_from_tip
        Along a stylus, from its tip; or else `position`.
    position, axis
        In the thing's own frame: x, y, and z from the tip (or front) backward.
    drive
        steady, switched (on while pressed), pulsed with the camera, or coded by blinking.
    code
        Of a coded light: what it repeats, one digit a bit, 1 for lit.
    code_bit
        Length of a bit; at least two frames, so that each bit is seen whole once.
    current
        Through each diode while it is lit.
    pulse
        Of a pulsed light: how long each pulse lasts.
    wiring
        How several diodes at one place are joined; one diode where it is left out.
    """

    id: Slug
    part: Slug | None = None
    reflector: PositiveLength | None = None
    sheet: Slug | None = None
    shape: Literal["ball", "disc"] = "ball"
    distance_from_tip: LengthFromZero | None = None
    position: Place | None = None
    axis: Direction = (0.0, 0.0, -1.0)
    current: Current | None = None
    drive: Literal["steady", "switched", "pulsed", "coded"] = "switched"
    duty: Share | None = None
    code: Annotated[str, Field(pattern="^[01]{4,16}$")] | None = None
    code_bit: Time | None = None
    pulse: Time | None = None
    wiring: Wiring | None = None
    diffuser: Diffuser | None = None

    @model_validator(mode="after")
    def _code_is_whole(self) -> CarriedEmitter:
        if (self.code is None) != (self.code_bit is None):
            raise ValueError("needs both code and code_bit, or neither; add the other")
        return self

    @model_validator(mode="after")
    def _complete(self) -> CarriedEmitter:
        if (self.part is None) == (self.reflector is None):
            raise ValueError("needs exactly one of part and reflector; name an emitter part")
        if (self.distance_from_tip is None) == (self.position is None):
            raise ValueError(
                "needs exactly one of distance_from_tip and position; give distance_from_tip"
            )
        if self.part is not None and self.current is None:
            raise ValueError('needs a current; add current = "20 mA" or so')
        if sum(step * step for step in self.axis) == 0.0:
            raise ValueError("has an axis of no length; give a direction such as [0, 0, -1]")
        return self


class NamedPoint(Record):
    """A point of a carried thing that matters: tip, eye or hinge.

    Attributes
    ----------
    position, std
        In the thing's own frame, as its drawing has it, and how exactly: one standard deviation
        along each axis.
    which
        Of an eye, which of the wearer's two; left out, the point midway between both.
    """

    name: Literal["tip", "eye", "hinge"]
    position: Place
    std: LengthFromZero | None = None
    which: Literal["left", "right"] | None = None

    @model_validator(mode="after")
    def _only_eyes_come_in_two(self) -> NamedPoint:
        if self.which is not None and self.name != "eye":
            raise ValueError(f"says which {self.name} it is, and only eyes come in two; drop which")
        return self


class Carried(Record):
    """A thing that people hold or wear.

    Attributes
    ----------
    tilt
        Least and greatest angle from the surface's normal at which it is held.
    lean, lean_spread
        The side toward which a stylus leans, anticlockwise from the surface's x axis as the
        user sees it, and its standard deviation; left out, it follows the person's hand.
    solved_as
        What is computed from its dots: one point, a pair, or a full pose.
    zone
        Where it moves in space; needed for viewpoint, body and volume rigs.
    placed_within
        How exactly each light's place on it is known: one standard deviation along each axis.
    """

    id: Slug
    kind: Literal["stylus", "cap", "model", "baton", "scale-bar"]
    person: Slug | None = None
    emitters: Annotated[list[CarriedEmitter], Field(min_length=1)]
    points: list[NamedPoint] = []
    switch: Literal["none", "button", "tip"] = "none"
    cell: Slug | None = None
    cells: Annotated[int, Field(ge=1, le=12)] = 1
    tilt: tuple[AngleFromZero, AngleFromZero] | None = None
    lean: Angle | None = None
    lean_spread: AngleFromZero | None = None
    solved_as: Literal["point", "pair", "pose"]
    zone: Zone | None = None
    placed_within: LengthFromZero | None = None


class Anchor(Record):
    """An emitter fixed in the room, by which the camera's shaking is corrected.

    Attributes
    ----------
    current, wiring
        Through each diode, and how several at one place are joined.
    feed
        What feeds it, or left out, and then no resistor can be told.
    """

    id: Slug
    part: Slug
    position: Place
    current: Current
    wiring: Wiring | None = None
    feed: Feed | None = None


class Targets(Record):
    """What the rig must reach to be worth building.

    Attributes
    ----------
    worst_error
        Greatest root-mean-square pointing error at a place that still counts as covered.
    coverage
        Share of the surface that must be covered.
    delay
        From the hand's motion to light on the display.
    pointing_speed
        At which delay is turned into a displacement.
    turn_error
        Greatest root-mean-square error of a pose's angle that still counts as covered.
    picture_error
        The same of a viewpoint's picture, on the screen, for the content of its scene.
    """

    worst_error: PositiveLength
    delay: Time
    coverage: Share
    pointing_speed: Speed
    runtime: Time | None = None
    turn_error: AngleFromZero | None = None
    picture_error: PositiveLength | None = None


FigureName = Literal[
    "error", "jitter", "trueness", "precision", "delay", "coverage", "throughput", "dropouts"
]


class ReferenceFigure(Record):
    """One figure of the reference device."""

    name: FigureName
    statistic: Literal["rms", "median", "p95", "mean", "max", "share"]
    value: Sourced


class Reference(Record):
    """The costly device that the rig is compared with."""

    name: str
    price: Price | None = None
    figures: list[ReferenceFigure] = []


class Smoothing(Record):
    """How trails are smoothed when the rig runs; `rushlight run --tune` proposes the numbers.

    Attributes
    ----------
    cutoff, speed_gain
        Of the one-euro filter: cut-off at rest, and how much it rises a pixel a second [1/px].
    agility
        Of the Kalman filter: spectral density of the hand's acceleration [px²/s³].
    """

    filter: Literal["none", "one-euro", "kalman"] = "none"
    cutoff: Frequency | None = None
    speed_gain: Annotated[float, Field(ge=0, le=10)] | None = None
    agility: Annotated[float, Field(gt=0)] | None = None


class Drive(Record):
    """Where results go out, for the outputs that are switched on.

    Attributes
    ----------
    pointer
        Address on which the page and socket for browsers are served.
    osc
        Address to which bundles are sent.
    ahead
        How far ahead of the last frame fixes are foretold, to make up for delay.
    """

    pointer: str = "127.0.0.1:8790"
    osc: str = "127.0.0.1:9010"
    ahead: TimeFromZero | None = None


class Rig(Document):
    """One low-cost interactive display, whole."""

    SCHEMA = "rushlight/rig"

    name: Slug
    title: str = ""
    story: str = ""
    basis: Basis
    kinds: Annotated[list[RigKind], Field(min_length=1)]
    licence: str
    authors: Annotated[list[str], Field(min_length=1)]
    surfaces: list[Surface] = []
    cameras: Annotated[list[Camera], Field(min_length=1)]
    carried: Annotated[list[Carried], Field(min_length=1)]
    anchors: list[Anchor] = []
    people: list[Person] = []
    room: Room | None = None
    scene: Scene | None = None
    search: SearchSettings | None = None
    ambient: Ambient | None = None
    targets: Targets
    reference: Reference | None = None
    outputs: list[Literal["session", "pointer", "desktop", "touch", "osc", "lines", "views"]] = []
    drive: Drive | None = None
    smoothing: Smoothing | None = None
    weights: dict[FigureName, Annotated[float, Field(ge=0)]] | None = None
    prices: dict[Slug, Price] = {}
