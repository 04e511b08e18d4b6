"""The plan: what a rig can be expected to do, as one document."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, Literal

from pydantic import Field

from rushlight.errors import Finding, Severity
from rushlight.records.circuit import PlanCircuit
from rushlight.records.document import Basis, Document, Record, Slug
from rushlight.records.figure import Figure
from rushlight.records.light_range import LightRange
from rushlight.records.plan_room import PlanRoom
from rushlight.records.safety import BeamLine, EyeLine

CostClass = Literal["free", "minutes", "money"]


class PlanMap(Record):
    """Values over the surface for one carried thing.

    Attributes
    ----------
    carried
        Whose light it is.
    x_m, y_m
        Middles of the cells [m].
    names, units
        One word each for every quantity.
    values
        By quantity, then row from below, then column; None where unknown.
    """

    carried: Slug
    x_m: list[float]
    y_m: list[float]
    names: list[str]
    units: list[str]
    values: list[list[list[float | None]]]

    def of(self, name: str) -> list[list[float | None]]:
        """The rows of one quantity."""
        return self.values[self.names.index(name)]


class PlanFinding(Record):
    """A `Finding` as it stands in a document."""

    severity: Severity
    code: str
    where: str
    given: str
    allowed: str
    remedy: str

    @classmethod
    def of(cls, finding: Finding) -> PlanFinding:
        """The record of a finding."""
        return cls(**finding.as_dict())

    def finding(self) -> Finding:
        """The finding itself, which reads as a sentence."""
        return Finding(**self.model_dump())


class TargetVerdict(Record):
    """Is one target expected to be met? None where that cannot be told."""

    what: str
    wanted: float
    predicted: float | None
    unit: str
    met: bool | None


class Advice(Record):
    """One change, tried by planning the rig anew with it.

    Attributes
    ----------
    change
        What to do, as an order.
    cost, price
        Its class, and what it costs where that is known, as text.
    error_before_mm, error_after_mm
        Root-mean-square error over the surface, on the same coarse grid [mm].
    coverage_before, coverage_after
        Shares [%].
    helps
        Whether it lowers the error by a twentieth or raises the coverage by two points.
    """

    change: str
    cost: CostClass
    price: str = ""
    error_before_mm: float | None
    error_after_mm: float | None
    coverage_before: float
    coverage_after: float
    helps: bool


class PlanCost(Record):
    """One line of the cost; an unknown price is None, never 0."""

    what: str
    count: int = Field(ge=1)
    amount: float | None
    currency: str
    basis: Basis | None
    note: str = ""


class Plan(Document):
    """What a rig can be expected to do.

    Attributes
    ----------
    rig, rig_name, rig_title
        Content hash, name and title of the rig.
    columns, rows
        Of the grid that was looked at.
    floor_m
        Height of the surface's lower edge above the floor [m].
    targets
        Each target and whether it is expected to be met.
    figures
        Every predicted number.
    maps
        Values over the surface, one map a carried thing.
    beacons
        Where to touch during registration, in this order [m].
    registering
        The carried things that touch them, each every beacon once.
    exposures_s
        Camera to exposure [s], chosen by the plan or as the rig says.
    dominant
        The cause that contributes most to the error.
    advice
        Changes that were tried, the most worth while first.
    room
        What the room does to the rig: its light by hour, other lights in view, the projector's
        beam, readers and reach.
    findings, costs, cautions, assumptions
        What to know before building.
    light
        Which exposures, currents, apertures and filters serve; None in plans made before that
        was told.
    circuits
        Of everything that needs a current; empty in plans made before that was told.
    eyes, beams
        How near each light, and the projector's lens, comes to published limits; estimates.
    pictures
        Names of the picture files beside the document, and what each shows.
    """

    SCHEMA = "rushlight/plan"
    AT_ONCE: ClassVar[str] = "all lights at once, everyone at work"

    rig: str
    rig_name: Slug
    rig_title: str = ""
    rig_basis: Basis
    columns: int
    rows: int
    floor_m: float | None = None
    targets: list[TargetVerdict]
    figures: list[Figure]
    maps: list[PlanMap]
    beacons: list[tuple[float, float]]
    registering: list[Slug]
    exposures_s: dict[Slug, float]
    dominant: str
    advice: list[Advice]
    findings: list[PlanFinding]
    room: PlanRoom = PlanRoom()
    costs: list[PlanCost]
    cautions: dict[str, str]
    assumptions: list[str]
    pictures: dict[str, str] = {}
    light: LightRange | None = None
    circuits: list[PlanCircuit] = []
    eyes: list[EyeLine] = []
    beams: list[BeamLine] = []

    def cheapest_advice(self) -> Advice | None:
        """The change of the lowest class of cost that helps, the most worth while of these."""
        return cheapest_of(self.advice)


def cheapest_of(tried: Sequence[Advice]) -> Advice | None:
    """Of changes that were tried, the most worth while first: the helpful one that costs least."""
    order: tuple[CostClass, ...] = ("free", "minutes", "money")
    helpful = [advice for advice in tried if advice.helps]
    return min(helpful, key=lambda advice: order.index(advice.cost), default=None)
