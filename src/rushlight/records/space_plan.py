"""The plan of a rig of space: what can be expected of an eye point, a pose, points in a volume."""

from __future__ import annotations

from typing import Literal

from rushlight.records.circuit import PlanCircuit
from rushlight.records.document import Basis, Document, Record, Slug
from rushlight.records.figure import Figure
from rushlight.records.plan import Advice, PlanCost, PlanFinding, TargetVerdict, cheapest_of
from rushlight.records.safety import EyeLine

Point = tuple[float, float, float]
SpaceMethod = Literal["looks", "placings", "swing", "mounting"]


class PlannedMark(Record):
    """One step of a registration.

    Attributes
    ----------
    carried, point
        Which thing, and which of its named points.
    kind
        ``look``: the eye is held so that two marks stand in line, and lies on the line through
        them. ``placing``: the point is held on a mark.
    from_m, to_m
        The near mark and the far one of a look; the mark of a placing, and None. In the rig [m].
    """

    carried: Slug
    point: str
    kind: Literal["look", "placing"]
    from_m: Point
    to_m: Point | None = None


class CameraDoubt(Record):
    """How exactly a camera's place and angles are known: one standard deviation of one axis.

    Attributes
    ----------
    place_before_m, turn_before_rad
        As mounted [m], [rad]. A volume rig is told from its first camera, which is exact.
    place_after_m, turn_after_rad, focal_after
        As the registration is predicted to leave them [m], [rad], share of the focal length [1].
    """

    camera: Slug
    place_before_m: float
    turn_before_rad: float
    place_after_m: float
    turn_after_rad: float
    focal_before: float
    focal_after: float


class RegistrationPlan(Record):
    """How the rig is best registered.

    Attributes
    ----------
    method
        Looks past marks, placings on marks, a scale bar swung, or measured mounting alone.
    carried
        What is worn, placed or swung; None for mounting.
    marks
        Where, in this order; empty for a swing.
    frames
        How many frames each mark is held for, or how many different poses of the swing count.
    cameras
        What it brings.
    """

    method: SpaceMethod
    carried: Slug | None
    marks: list[PlannedMark] = []
    frames: int
    cameras: list[CameraDoubt]


class ZoneMap(Record):
    """Values over the zone of one thing.

    Attributes
    ----------
    carried
        Whose main point moves there.
    x_m, y_m, z_m
        The places along each axis of the rig [m].
    names, units
        One word each for every quantity.
    values
        By quantity, then z, y and x; None where unknown.
    """

    carried: Slug
    x_m: list[float]
    y_m: list[float]
    z_m: list[float]
    names: list[str]
    units: list[str]
    values: list[list[list[list[float | None]]]]

    def of(self, name: str) -> list[list[list[float | None]]]:
        """The values of one quantity by z, y and x."""
        return self.values[self.names.index(name)]


class Reason(Record):
    """Why a thing cannot be followed at places of its zone, and at how many.

    Attributes
    ----------
    share
        Of places and orientations [%], counted once for each reason that holds there.
    """

    carried: Slug
    why: str
    share: float


class Baseline(Record):
    """What another distance between the first two cameras would bring; the aims stay on the zone.

    Attributes
    ----------
    baseline_m, error_m, coverage
        Distance [m], root-mean-square error over the zone [m], share of places within the
        target [%].
    dots_m
        The part of the error that the dots' noise makes [m]: what a longer baseline lowers.
    now
        Whether the rig stands so.
    """

    baseline_m: float
    error_m: float | None
    dots_m: float | None
    coverage: float
    now: bool


class ConstellationPlace(Record):
    """Where a light stands in the thing's frame [m], and where it would better stand."""

    light: str
    now_m: Point
    better_m: Point


class ConstellationPlan(Record):
    """How well the lights of one thing tell its pose.

    Attributes
    ----------
    carried
        The thing.
    size_m, depth_m
        Root-mean-square distance of the lights from their middle, and from the plane that fits
        them best [m].
    nearest_twin_m
        How far the lights are from looking the same after an exchange of names and a turn:
        root-mean-square [m]; 0 for a symmetric constellation.
    turn_error_rad, better_turn_error_rad
        Root-mean-square error of the angle in the middle of the zone [rad], now and with the
        better places; dots and where the lights sit count, cameras are taken as known.
    place_error_m, better_place_error_m
        The same of the main point [m].
    better
        Best places found within the box that the lights span now; empty when nothing better
        was found.
    box_low_m, box_high_m
        That box [m].
    """

    carried: Slug
    size_m: float
    depth_m: float
    nearest_twin_m: float
    turn_error_rad: float | None
    better_turn_error_rad: float | None
    place_error_m: float | None
    better_place_error_m: float | None
    better: list[ConstellationPlace] = []
    box_low_m: Point
    box_high_m: Point


class SpacePlan(Document):
    """What a viewpoint, body or volume rig can be expected to do.

    Attributes
    ----------
    rig, rig_name, rig_title, rig_basis, kinds
        Content hash, name, title, basis and kinds of the rig.
    targets
        Each target and whether it is expected to be met.
    figures
        Every predicted number; a measurement joins on name, cause, statistic and scope.
    maps
        Values over the zone of each thing.
    reasons
        Why it does not work where it does not.
    registration
        How to register, and what that brings.
    exposures_s
        Camera to exposure [s], chosen by the plan or as the rig says.
    dominant
        The cause that contributes most to the error.
    advice
        Changes that were tried, the most worth while first.
    baselines
        Distance between two cameras against error; empty for one camera.
    constellations
        Of everything whose pose is solved from four or more lights.
    findings, costs, cautions, assumptions
        What to know before building.
    circuits, eyes
        Of everything that needs a current; how near each light comes to published limits.
    pictures
        Names of the picture files beside the document, and what each shows.
    """

    SCHEMA = "rushlight/space-plan"

    rig: str
    rig_name: Slug
    rig_title: str = ""
    rig_basis: Basis
    kinds: list[Literal["surface", "viewpoint", "body", "volume"]]
    targets: list[TargetVerdict]
    figures: list[Figure]
    maps: list[ZoneMap]
    reasons: list[Reason]
    registration: RegistrationPlan
    exposures_s: dict[Slug, float]
    dominant: str
    advice: list[Advice]
    baselines: list[Baseline] = []
    constellations: list[ConstellationPlan] = []
    findings: list[PlanFinding]
    costs: list[PlanCost]
    cautions: dict[str, str]
    assumptions: list[str]
    circuits: list[PlanCircuit] = []
    eyes: list[EyeLine] = []
    pictures: dict[str, str] = {}

    def cheapest_advice(self) -> Advice | None:
        """The change of the lowest class of cost that helps, the most worth while of these."""
        return cheapest_of(self.advice)
