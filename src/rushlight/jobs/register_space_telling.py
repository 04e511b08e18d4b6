"""What a live registration in space tells while it runs: the step, its mark, what came of each."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.register_space_live import Step
from rushlight.jobs.register_telling import DASHES
from rushlight.jobs.watching import first_display
from rushlight.physics.geometry.offaxis import in_screen_frame, screen_frame
from rushlight.plan.space_design import design_of
from rushlight.records.dots import Dots, Frame
from rushlight.records.space import ResolvedSpace, Screen
from rushlight.shelf.resolve_space import resolve_space

Plain = dict[str, Any]


@dataclass(frozen=True)
class StepMark:
    """The mark of one step as a display shows it.

    Attributes
    ----------
    number, of
        Of the step, from 1, and how many there are.
    kind
        ``look`` or ``placing``.
    carried, point
        What is worn or placed, and which of its points is held on the mark.
    x_px, y_px
        The mark, from the display's upper left corner [display px].
    bead_px, bead_mm
        Of a look, the place on the display that the near mark stands before [display px], and how
        far before it [mm]; None of a placing.
    how
        Of a look, how to look.
    dashes_left
        Of `DASHES`; they go out one by one while it is held.
    """

    number: int
    of: int
    kind: str
    carried: str
    point: str
    x_px: float
    y_px: float
    bead_px: tuple[float, float] | None
    bead_mm: float | None
    how: str
    dashes_left: int = DASHES

    def as_dict(self) -> Plain:
        """Plain values."""
        return asdict(self)


def step_mark(step: Step, screen: Screen) -> StepMark | None:
    """Where a step's mark is on a display; None of a swing, which has none."""
    mark = step.mark
    if mark is None:
        return None
    shown, bead = (mark.from_m, None) if mark.to_m is None else (mark.to_m, mark.from_m)
    x_px, y_px, _ = _on_display(shown, screen)
    foot = None if bead is None else _on_display(bead, screen)
    return StepMark(
        step.number,
        step.of,
        mark.kind,
        mark.carried,
        mark.point,
        x_px,
        y_px,
        None if foot is None else foot[:2],
        None if foot is None else round(foot[2] * 1e3, 1),
        step.how,
    )


def _on_display(point_m: Sequence[float], screen: Screen) -> tuple[float, float, float]:
    """Column and row [display px] of the place that a point is straight before, how far [m]."""
    frame = screen_frame(screen.corners_m)
    right, up, before = in_screen_frame(np.array(point_m), frame).tolist()
    (wide, high), (columns, rows) = frame.size_m.tolist(), screen.display_px.tolist()
    return (
        round(right / wide * columns, 2),
        round((1.0 - up / high) * rows, 2),
        before,
    )


def steps_ahead(rig_file: Path) -> Plain:
    """How a rig in space is registered live, before anything is begun.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.

    Returns
    -------
    dict
        ``method`` as `rushlight.plan.space_design.design_of` chooses it; ``carried``, or None, and
        ``steps``, how many, 0 where there is nothing to look past, to place on or to swing.

    Raises
    ------
    RushlightError
        When the rig cannot be used.
    """
    design = design_of(_space_of(rig_file))
    thing = design.thing
    return {
        "method": design.method,
        "carried": None if thing is None else thing.id,
        "steps": 0 if thing is None else max(len(design.marks), 1),
    }


def _space_of(rig_file: Path) -> ResolvedSpace:
    rig, shelf = load_rig(rig_file)
    return resolve_space(rig, shelf, rig_path(rig_file).name)


class StepTelling:
    """Hands on, as plain values, what `register_space_live` shows.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    mark
        Told the mark that stands on the first display, again for every dash that goes out; None
        for none.
    state
        Told how it stands after everything that changes it: ``stage`` (``told``, ``held`` or
        ``finding``), ``method``, ``step`` (what is to be done, places in the rig [m]), ``left_s``
        (of a swing that goes on, whole seconds), ``steps`` (what came of each, by number),
        ``last`` (of these the newest, or None).
    seen
        Told every frame of the first camera, and its dots.

    Attributes
    ----------
    display
        That marks are shown on; None where there is none.
    """

    def __init__(
        self,
        rig_file: Path,
        mark: Callable[[Plain | None], None],
        state: Callable[[Plain], None],
        seen: Callable[[Frame, Dots], None],
    ) -> None:
        space = _space_of(rig_file)
        self._screen = space.screens[0] if space.screens else None
        self.display = first_display(space)
        self._method = design_of(space).method
        self._mark, self._state, self._seen = mark, state, seen
        self._stage = "told"
        self._step: Step | None = None
        self._shown: StepMark | None = None
        self._came: dict[int, Plain] = {}
        self._last: int | None = None
        self._left_s = 0

    def step(self, step: Step) -> None:
        """Another step is to be made."""
        self._step, self._stage = step, "told"
        self._shown = None if self._screen is None else step_mark(step, self._screen)
        self._tell()

    def began(self, step: Step) -> None:
        """It has begun."""
        self._stage, self._left_s = "held", math.ceil(step.lasts_s)
        self._tell()

    def held(self, share: float) -> None:
        """Dashes go out as the hold goes on; of a swing the seconds are counted down."""
        assert self._step is not None
        if self._shown is None:
            left_s = math.ceil((1.0 - share) * self._step.lasts_s)
            if left_s != self._left_s:
                self._left_s = left_s
                self._tell()
            return
        left = DASHES - int(share * DASHES)
        if left != self._shown.dashes_left:
            self._shown = replace(self._shown, dashes_left=left)
            self._mark(self._shown.as_dict())

    def ended(self, step: Step, dots: Sequence[int], why_not: str) -> None:
        """What came of it."""
        self._note(step.number, "refused" if why_not else "counts", list(dots), why_not)

    def left(self, step: Step, back: bool) -> None:
        """It is passed over, or what came of the one before is void."""
        if not back:
            self._note(step.number, "passed", [], "")
            return
        self._came.pop(step.number - 1, None)
        self._last = None

    def over(self) -> None:
        """The cameras are being found."""
        self._step, self._shown, self._stage = None, None, "finding"
        self._tell()

    def seen(self, camera: int, frame: Frame, dots: Dots) -> None:
        """Every frame of every camera."""
        if camera == 0:
            self._seen(frame, dots)

    def _note(self, number: int, came: str, dots: list[int], why_not: str) -> None:
        self._came[number] = {"number": number, "came": came, "dots": dots, "why_not": why_not}
        self._last = number
        self._tell()

    def _tell(self) -> None:
        self._mark(None if self._shown is None else self._shown.as_dict())
        self._state(
            {
                "stage": self._stage,
                "method": self._method,
                "step": None if self._step is None else _told(self._step, self._shown),
                "left_s": self._left_s if self._stage == "held" else None,
                "steps": [self._came[number] for number in sorted(self._came)],
                "last": None if self._last is None else self._came[self._last],
            }
        )


def _told(step: Step, shown: StepMark | None) -> Plain:
    mark = step.mark
    return {
        "number": step.number,
        "of": step.of,
        "kind": "swing" if mark is None else mark.kind,
        "carried": step.carried,
        "point": None if mark is None else mark.point,
        "near_m": None if mark is None else list(mark.from_m),
        "far_m": None if mark is None or mark.to_m is None else list(mark.to_m),
        "bead_mm": None if shown is None else shown.bead_mm,
        "lasts_s": step.lasts_s,
        "how": step.how,
    }
