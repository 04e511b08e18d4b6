"""An aim: where a camera truly stands, what that means for the plan, and what to do about it."""

from __future__ import annotations

from typing import Literal

from rushlight.records.document import Document, FloatOrUnknown, Record, Slug
from rushlight.records.plan import PlanFinding
from rushlight.records.registration import Matrix, Row

PlaceState = Literal["held", "passed over", "open"]
StepKind = Literal["move-x", "move-y", "move-z", "turn", "tilt", "roll"]
ChoiceName = Literal["leave", "turn", "move"]


class AimPlace(Record):
    """A named place of the surface at which a light may be held.

    Attributes
    ----------
    name, at_m
        Its name, and where it is [m].
    state
        Held; not seen or skipped; or not asked for.
    able, carried
        Whether someone reaches it without hiding it from the planned camera, and what they hold.
    px
        Where the light was seen [px].
    missed_px
        By how much the found pose misses that [px].
    used
        Whether the pose rests on it.
    full_share
        Brightest pixel as a share of full scale, the room's light included [1].
    expected_share
        The most that the plan expects of it where the camera truly stands [1].
    over_noise
        Brightest pixel above the room's light, over the noise of a pixel beside it [1].
    """

    name: Slug
    at_m: tuple[float, float]
    state: PlaceState
    able: bool
    carried: Slug
    px: tuple[float, float] | None = None
    missed_px: FloatOrUnknown | None = None
    used: bool = False
    full_share: FloatOrUnknown | None = None
    expected_share: FloatOrUnknown | None = None
    over_noise: FloatOrUnknown | None = None


class AimCorner(Record):
    """A corner of the surface in the picture.

    Attributes
    ----------
    name
        As of the named places.
    inside
        Whether the camera sees it.
    margin_px
        How far inside of the picture's nearest edge it lies, negative outside [px]; NaN where
        the lens cannot see it.
    """

    name: Slug
    inside: bool
    margin_px: FloatOrUnknown


class AimStep(Record):
    """One movement of the camera toward where it should stand.

    Attributes
    ----------
    kind
        Along the surface's x, y or z; or about the camera's own axes: turn to its right, tilt
        upward, roll clockwise seen from behind.
    amount, std
        How far, with sign, and how well that is known [m] or [rad].
    told
        Whether it is worth a hand: more than its doubt, and more than can be set by hand.
    """

    kind: StepKind
    amount: float
    std: float
    told: bool


class AimChoice(Record):
    """Something that can be done, and what it is predicted to give.

    Attributes
    ----------
    name
        Leave it; turn it where it stands; move it to its planned place and turn it.
    coverage
        Share of the surface where the targets are then met [1].
    steps
        What to do.
    """

    name: ChoiceName
    coverage: float
    steps: list[AimStep]


class AimLight(Record):
    """The light: of the room, and of what was held.

    Attributes
    ----------
    room_share, room_planned_share
        Of full scale that the room takes, now and as planned [1].
    room_noise
        Noise of a pixel in that light over its noise in the dark [1].
    standing
        Lights that stood in the picture while none was held.
    fullest_share, weakest_over_noise
        Of the lights held: brightest pixel over full scale, and the weakest's over the noise [1].
    exposure_s
        That the plan chose, or the rig states [s].
    """

    room_share: FloatOrUnknown
    room_planned_share: FloatOrUnknown
    room_noise: FloatOrUnknown
    standing: int
    fullest_share: FloatOrUnknown
    weakest_over_noise: FloatOrUnknown
    exposure_s: float


class Aim(Document):
    """A camera's true place, found from a light held at named places.

    Attributes
    ----------
    camera, surface
        Ids.
    planned_m, planned_quaternion, planned_view_m
        `rig_from_camera` as planned: place [m], and rotation, scalar first; and where the corners
        of its picture look (4, 3) [m].
    found_m, found_quaternion, found_view_m, cov
        As found, and (7, 7) covariance of steps from it [m, rad] and of the focal length as a
        share of it.
    focal_share
        By how much the focal length is greater than supposed, as a share of it.
    misfit, freedom
        Sum of squares of dots and plan in their doubts, and its degrees of freedom.
    coverage_planned, coverage_target, coverage_wanted
        What the plan predicts, what the rig wants, and what counts as enough: the lesser.
    coverage, coverage_low, coverage_high
        Predicted where the camera truly stands, and between what that lies by the doubt of it.
    reached
        Whether that is enough.
    choices, advice
        What can be done, from the least work on; and the least that is enough.
    """

    SCHEMA = "rushlight/aim"

    camera: Slug
    surface: Slug
    places: list[AimPlace]
    planned_m: Row
    planned_quaternion: Row
    planned_view_m: Matrix
    found_m: Row
    found_quaternion: Row
    found_view_m: Matrix
    cov: Matrix
    focal_share: float
    misfit: float
    freedom: int
    coverage_planned: float
    coverage_target: FloatOrUnknown
    coverage_wanted: float
    coverage: float
    coverage_low: float
    coverage_high: float
    reached: bool
    choices: list[AimChoice]
    advice: ChoiceName
    corners: list[AimCorner]
    light: AimLight
    findings: list[PlanFinding] = []
