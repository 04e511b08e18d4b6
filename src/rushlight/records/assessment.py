"""What sessions of a rig showed: places, taps, figures, and how they stand to what was expected."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rushlight.errors import Finding
from rushlight.records.document import Basis, Document, FloatOrUnknown, Record
from rushlight.records.figure import Figure, Scope
from rushlight.records.space_assessment import LengthResult, StandResult, ViewTrial

SessionKind = Literal[
    "grid", "tapping", "strokes", "places", "motion", "still", "swing", "view-task"
]


class AssessedSession(Record):
    """One session that was looked at.

    Attributes
    ----------
    name
        Of its file.
    kind
        What was done in it.
    basis
        Measured or simulated.
    causes, cause_word
        Error causes that were switched on in simulated footage, None when everything acts; and
        the same in words.
    registration
        Content hash of the registration that it used.
    duration_s, frames, fixes, goals
        How long it is [s], and how much it holds.
    truth
        Whether true places were given; without them the hand is mixed in.
    """

    name: str
    kind: SessionKind
    basis: Basis
    causes: list[str] | None
    cause_word: str
    carried: list[str]
    registration: str | None
    filter_name: str
    duration_s: float
    frames: int
    fixes: int
    goals: int
    truth: bool


class PlaceResult(Record):
    """What one hold at one place showed.

    Attributes
    ----------
    cause
        As in `Figure`; None when several but not all causes acted.
    place_m
        Where it was shown on the surface [m].
    deviation_m
        Mean of pointer minus truth, right and up [m]: the systematic part.
    spread_m
        Two-dimensional standard deviation within the hold [m]: the random part.
    rms_m
        Root-mean-square distance of pointer and truth [m].
    n, lit
        Frames with a fix, and frames in which the light should have been seen.
    seen
        Whether enough frames have a fix for the place to count among the errors.
    """

    session: str
    cause: str | None
    carried: str
    block: str
    trial: int
    place_m: tuple[float, float]
    deviation_m: tuple[FloatOrUnknown, FloatOrUnknown]
    spread_m: FloatOrUnknown
    rms_m: FloatOrUnknown
    n: int
    lit: int
    seen: bool


class TappingBlock(Record):
    """One sequence of taps by one person in one condition.

    Attributes
    ----------
    distance_m, width_m
        A and W: mean distance of the targets, and their diameter [m].
    n, left_out, misnamed
        Trials that count; those that do not, for want of a tap or a fix; and taps that bore
        another one's name, which count all the same.
    error_rate
        Share of selections outside their target.
    movement_time_s, effective_width_m, effective_distance_m
        MT [s], We and Ae [m], means of the sequence.
    effective_difficulty_bit, throughput_bit_s
        IDe [bit] and IDe/MT [bit/s].
    ae_form, ddof
        Which form of Ae was taken, and the divisor of SDx is n − ddof.
    """

    session: str
    participant: str
    carried: str
    block: str
    condition: str
    distance_m: float
    width_m: float
    n: int
    left_out: int
    misnamed: int
    error_rate: FloatOrUnknown
    movement_time_s: FloatOrUnknown
    effective_width_m: FloatOrUnknown
    effective_distance_m: FloatOrUnknown
    effective_difficulty_bit: FloatOrUnknown
    throughput_bit_s: FloatOrUnknown
    ae_form: str
    ddof: int


class Comparison(Record):
    """A prediction beside its measurement.

    Attributes
    ----------
    predicted, measured
        In `unit`.
    low, high, level
        Interval of the measured value.
    ratio, ratio_low, ratio_high
        Predicted over measured, and its interval from the measured value's.
    reading
        How to read it, in a sentence.
    """

    name: str
    cause: str | None
    statistic: str
    scope: Scope
    unit: str
    predicted: float
    measured: float
    low: float | None
    high: float | None
    level: Annotated[float, Field(gt=0, lt=1)] | None
    ratio: float | None
    ratio_low: float | None
    ratio_high: float | None
    method: str
    basis: Basis
    reading: str


class RelativePerformanceRow(Record):
    """The rig beside its reference on one criterion; above 1 is better than the reference.

    Attributes
    ----------
    condition
        Under which both stand, such as a distance and width of targets; empty for all.
    rig_value, reference_value
        In `unit`.
    ratio, low, high, level
        Turned so that more is better, with its interval, None when unknown.
    log_std
        Standard uncertainty of ln(ratio), None when unknown.
    reading
        How to read it, in a sentence.
    """

    name: str
    statistic: str
    condition: str = ""
    unit: str
    rig_value: float
    rig_basis: Basis
    reference_value: float
    reference_basis: Basis
    reference_source: str
    lower_is_better: bool
    ratio: float
    low: float | None
    high: float | None
    level: float | None
    log_std: float | None
    reading: str


class WeightShift(Record):
    """How the overall figure moves when one weight changes and the others keep their shares."""

    name: str
    weight: float
    if_lower: float
    if_higher: float


class OverallPerformance(Record):
    """One number over the criteria, under the weights that the rig names.

    Attributes
    ----------
    value, low, high
        Weighted geometric mean of the ratios; the interval is None when a part has none.
    weights
        Shares, and what the value becomes when a weight is lower or higher by `weight_change`.
    """

    value: float
    low: float | None
    high: float | None
    level: float
    weight_change: float
    weights: list[WeightShift]


class RelativeCost(Record):
    """What share of the reference's price the rig costs.

    Attributes
    ----------
    rig_cost, reference_cost
        In `currency`.
    ratio, low, high, level
        Below 1 is cheaper; the interval is None unless every price has a known spread.
    """

    rig_cost: float
    reference_cost: float
    currency: str
    ratio: float
    low: float | None = None
    high: float | None = None
    level: float | None = None
    method: str
    basis: Basis


class Assessment(Document):
    """What sessions of a rig showed.

    Attributes
    ----------
    conditions
        Under which conditions the spread was found, in words.
    stands, view_trials, lengths
        Of a rig of space: what each stand, trial and length check showed.
    figures
        Measured or simulated, as each says.
    compared
        Predictions beside measurements.
    relative, overall, cost
        The rig beside its reference; None or empty when there is none.
    findings
        What to know when reading all this.
    """

    SCHEMA = "rushlight/assessment"

    rig: str | None
    rig_name: str
    basis: Basis
    sessions: list[AssessedSession]
    conditions: list[str]
    places: list[PlaceResult]
    taps: list[TappingBlock]
    stands: list[StandResult] = []
    view_trials: list[ViewTrial] = []
    lengths: list[LengthResult] = []
    figures: list[Figure]
    compared: list[Comparison]
    reference: str | None = None
    relative: list[RelativePerformanceRow] = []
    overall: OverallPerformance | None = None
    cost: RelativeCost | None = None
    findings: list[Finding]

    def basis_in(self, session: str) -> Basis:
        """What one of the sessions rests on: where one is simulated, the whole counts as such."""
        return next((each.basis for each in self.sessions if each.name == session), self.basis)
