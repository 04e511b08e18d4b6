"""What people did on the page of trials: which marks stood where and when, and what they did."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, model_validator

from rushlight.records.document import Document, Record, Slug
from rushlight.records.session import ShownGoal
from rushlight.records.study import Block, Participant

RunKind = Literal["tap", "still", "grid", "align"]
PointerType = Literal["mouse", "pen", "touch", "keyboard", "eye"]
RandomId = Annotated[str, Field(pattern=r"^[0-9a-f]{12,32}$")]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Point = tuple[Finite, Finite, Finite]

MOST_SAMPLES = 200_000
"""Samples that one run may hold: ten minutes at 240 Hz and more; no source."""


class Press(Record):
    """A button, tip or light going down, and up again.

    Attributes
    ----------
    down_ns, up_ns
        On the sitting's clock [ns].
    place_m
        Where it went down, to the right and up from the display's lower left corner [m].
    """

    down_ns: int
    up_ns: int
    place_m: tuple[Finite, Finite]

    @model_validator(mode="after")
    def _in_order(self) -> Press:
        if self.up_ns < self.down_ns:
            raise ValueError("up_ns must not come before down_ns")
        return self


class AlignTrial(Record):
    """One trial of the view task: a near mark brought in line with a far one.

    Attributes
    ----------
    near_m, far_m
        The marks in the rig [m].
    start_m, end_m
        The eye for which the picture was drawn, when the marks came up and when the person said
        that they stood in line [m].
    shown_ns, said_ns
        When [ns].
    """

    near_m: Point
    far_m: Point
    start_m: Point
    end_m: Point
    shown_ns: int
    said_ns: int

    @model_validator(mode="after")
    def _in_order(self) -> AlignTrial:
        if self.said_ns <= self.shown_ns:
            raise ValueError("said_ns must come after shown_ns")
        return self


class TrialRun(Record):
    """One block of trials of one task.

    Attributes
    ----------
    kind, block
        The task, and the block of the plan.
    number
        Of the run in the sitting; a run that is sent again replaces the one of its number.
    pointer_types
        What the browser said was used.
    clock_offset_ms, clock_doubt_ms
        Of the page's clock to the server's, and half the quickest round trip [ms]; None where
        the places came from the browser alone.
    time_ns, x_m, y_m
        Where the pointer was [ns] [m]: at every display refresh while a mark stood.
    goals
        The marks as they stood; those to be held have no width.
    presses
        In order of time.
    align
        Trials of the view task, which has none of the above.
    abandoned
        Marks that were left without being selected.
    flags
        What was not as it should be, such as ``"window"``: the page did not fill the display.
    """

    kind: RunKind
    block: Slug
    number: Annotated[int, Field(ge=0, lt=1000)]
    pointer_types: list[PointerType] = []
    clock_offset_ms: Annotated[float, Field(allow_inf_nan=False)] | None = None
    clock_doubt_ms: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None = None
    time_ns: Annotated[list[int], Field(max_length=MOST_SAMPLES)] = []
    x_m: Annotated[list[Finite], Field(max_length=MOST_SAMPLES)] = []
    y_m: Annotated[list[Finite], Field(max_length=MOST_SAMPLES)] = []
    goals: Annotated[list[ShownGoal], Field(max_length=500)] = []
    presses: Annotated[list[Press], Field(max_length=5000)] = []
    align: Annotated[list[AlignTrial], Field(max_length=500)] = []
    abandoned: Annotated[int, Field(ge=0)] = 0
    flags: list[Literal["window", "hidden", "rescaled"]] = []

    @model_validator(mode="after")
    def _whole(self) -> TrialRun:
        if not len(self.time_ns) == len(self.x_m) == len(self.y_m):
            raise ValueError("time_ns, x_m and y_m must be equally long")
        if any(later < earlier for earlier, later in pairwise(self.time_ns)):
            raise ValueError("time_ns must not go back")
        if self.kind == "align" and not self.align:
            raise ValueError("a run of the view task needs trials")
        if self.kind != "align" and not self.goals:
            raise ValueError("a run needs the marks that stood")
        return self


class Sitting(Document):
    """Trials of one person with one device.

    Attributes
    ----------
    id
        Random.
    participant
        By random id and consent alone; without consent nothing is kept.
    device, device_name
        Under which name its figures stand, and as the person called it.
    role
        Whether it is the rig, the reference that the rig is compared with, or another.
    rig, rig_name
        Content hash and name.
    display_px, display_m
        Of the display [CSS px] [m].
    """

    SCHEMA = "rushlight/sitting"

    id: RandomId
    participant: Participant
    device: Slug
    device_name: Annotated[str, Field(min_length=1, max_length=40)]
    role: Literal["rig", "reference", "other"]
    rig: str | None = None
    rig_name: str
    display_px: tuple[int, int]
    display_m: tuple[Annotated[float, Field(gt=0)], Annotated[float, Field(gt=0)]]
    runs: list[TrialRun] = []


class TryStep(Record):
    """One step of what the page asks for.

    Attributes
    ----------
    kind, block
        The task; marks with their places and widths [m], and the order in which they come.
    rest_s
        To rest before it [s].
    about_s
        How long it takes, roughly [s]; no promise.
    """

    kind: RunKind
    block: Block
    rest_s: float
    about_s: float


class TryPlan(Document):
    """What the page of trials asks for, step by step.

    Attributes
    ----------
    surface_m
        Of the display [m].
    carried
        Pointers of the rig, by the names in its document.
    cautions
        Shown before the start.
    """

    SCHEMA = "rushlight/try-plan"

    rig_name: str
    task: str
    surface_m: tuple[float, float]
    carried: list[Slug]
    steps: list[TryStep]
    cautions: list[str]

    @property
    def about_s(self) -> float:
        """How long all of it takes with its rests, roughly [s]; no promise."""
        return sum(step.rest_s + step.about_s for step in self.steps)
