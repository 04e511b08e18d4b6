"""Tasks, trials and studies."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rushlight.records.document import Document, FloatOrUnknown, Record, Slug

Place = tuple[FloatOrUnknown, FloatOrUnknown, FloatOrUnknown]
TaskKind = Literal["beacons", "grid", "tap", "steer", "align", "dock", "scale-bar-swing"]


class Goal(Record):
    """One thing to reach: a shape in a frame, its parameters [m], and how long to stay [s]."""

    shape: Literal["point", "disc", "line", "pose"]
    frame: str = "surface"
    parameters_m: list[float]
    dwell_s: float = Field(default=0.0, ge=0)


class Block(Record):
    """Trials of one condition."""

    id: Slug
    condition: str
    device: str
    people: list[Slug]
    goals: list[Goal]
    order: list[int]


class TaskPlan(Document):
    """What people are asked to do, in which order."""

    SCHEMA = "rushlight/task-plan"

    kind: TaskKind
    blocks: list[Block]
    seed: int


class Trial(Record):
    """One attempt at one goal.

    Attributes
    ----------
    start_ns, end_ns
        [ns] on the session's clock.
    from_m, to_m, selected_m
        (3,) where it began, the goal's centre, and what was selected [m]; z is NaN on a
        surface, and all of `selected_m` where nothing was selected.
    path
        Rows of time [ns] and place [m], or empty.
    """

    participant: str
    condition: str
    block: Slug
    trial: int
    goal: Goal
    device: str
    session: str | None
    start_ns: int
    end_ns: int
    from_m: Place
    to_m: Place
    selected_m: Place
    outcome: Literal["hit", "miss", "abandoned"]
    path: list[tuple[int, FloatOrUnknown, FloatOrUnknown, FloatOrUnknown]] = []
    flags: list[str] = []


class Consent(Record):
    """Three separate consents."""

    taking_part: bool
    publish_trials: bool
    publish_video: bool


class Participant(Record):
    """A participant by random id and in bands only."""

    id: Annotated[str, Field(pattern=r"^[0-9a-f]{8,32}$")]
    age_band: str | None = None
    hand: Literal["right", "left", "both"] | None = None
    consent: Consent
    withdrawn: bool = False


class Study(Document):
    """A study: who, which conditions, in which order, analysed how."""

    SCHEMA = "rushlight/study"

    participants: list[Participant]
    conditions: list[str]
    order: list[list[int]]
    analysis_plan: str
    plan_frozen_at: str | None = None
    deviations: list[str] = []
    sessions: list[str] = []
    trials: list[Trial] = []
