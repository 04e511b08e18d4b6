"""How sure a plan is: what each doubt of parts and room does to what the rig is to reach."""

from __future__ import annotations

from typing import Literal

from rushlight.records.document import Document, Record, Slug

MeasureName = Literal["rms-error", "worst-error", "coverage", "delay"]
Decides = Literal["all targets", "worst-error"]
CauseName = Literal[
    "camera-place",
    "camera-aim",
    "focal-length",
    "sensitivity",
    "camera-delay",
    "exposure",
    "intensity",
    "half-angle",
    "cell",
    "ambient",
    "sun",
    "people",
]
MEASURE_WORDS: dict[MeasureName, str] = {
    "rms-error": "error over the surface, root-mean-square",
    "worst-error": "largest error at a place in view",
    "coverage": "coverage",
    "delay": "mean delay",
}


class ToleranceCause(Record):
    """One doubt, with the distribution that it was given.

    Attributes
    ----------
    words, spread
        What is doubted, and by how much, in words.
    source
        Where the spread comes from; the project's own choices say so.
    own_choice
        Whether any of it is the project's own choice and no figure of shelf or rig.
    measure
        What to measure so as to be rid of it.
    share
        By measure: share of the first-order variance [1]; None where there is no variance.
    std
        By measure: first-order standard deviation by this cause alone, in the measure's unit.
    left
        By measure: share of the Monte Carlo variance that is left on average once this cause is
        known [1], one less Sobol's first-order index, over `Tolerance.pairs` pairs of draws; None
        where nothing varies.
    met_left
        The same of whether all targets are met.
    """

    name: CauseName
    words: str
    spread: str
    source: str
    own_choice: bool
    measure: str
    share: dict[MeasureName, float | None]
    std: dict[MeasureName, float | None]
    left: dict[MeasureName, float | None]
    met_left: float | None


class ToleranceMeasure(Record):
    """One thing that the rig is to reach, under all doubts together.

    Attributes
    ----------
    planned, middle
        With everything as planned, and with every doubt at its middle.
    first_std
        To first order.
    mean, std, low, high
        Of the Monte Carlo draws; low and high enclose 95 % of them, equal shares outside.
    known
        Number of draws in which it is known.
    linear
        Whether first order and Monte Carlo agree within 5 % on the same draws; None where
        neither has any spread or it is not known.
    """

    name: MeasureName
    unit: str
    planned: float | None
    middle: float | None
    first_std: float | None
    mean: float | None
    std: float | None
    low: float | None
    high: float | None
    known: int
    linear: bool | None


class ToleranceTarget(Record):
    """How probable it is that a target is met.

    Attributes
    ----------
    probability
        Share of the draws in which the target is met.
    low, high
        Exact binomial interval of 95 %.
    met, not_known, draws
        Counts; where dots are clipped, weak or parted, an error that looks small is not known
        to be so, and does not count as met.
    """

    what: str
    wanted: str
    probability: float
    low: float
    high: float
    met: int
    not_known: int
    draws: int


class Tolerance(Document):
    """How sure a plan is.

    Attributes
    ----------
    rig, rig_name
        Content hash and name of the rig.
    columns, rows, ways
        Of the grid that was looked at, and nodes over the ways of holding a stylus.
    draws, pairs, seed
        Monte Carlo draws, pairs of draws that share one cause, and the seed.
    causes, measures, targets
        See their classes; the last target is all of them together.
    decides
        Whose variance the advice looks at: whether all targets are met, or, where no draw leaves
        that in doubt, the largest error.
    measure_first
        Cause whose knowledge would leave the least of that variance, or None where none was
        found.
    exposures_s
        Chosen for the rig as planned, then held.
    sentences
        The result in words.
    assumptions
        What all this rests on.
    """

    SCHEMA = "rushlight/tolerance"

    rig: str
    rig_name: Slug
    columns: int
    rows: int
    ways: tuple[int, int]
    draws: int
    pairs: int
    seed: int
    causes: list[ToleranceCause]
    measures: list[ToleranceMeasure]
    targets: list[ToleranceTarget]
    decides: Decides
    measure_first: CauseName | None
    exposures_s: dict[str, float]
    sentences: list[str]
    assumptions: list[str]
