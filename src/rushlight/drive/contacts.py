"""From fixes and switchings to what pointers do, and the box in which that waits its turn.

A pointer is down as long as its light is on. It comes down with the first fix of a trail, and
goes up when the trail's light is known to be off, at the place last seen; places that no camera
saw, for the light coasts in the dark, do not move it. When a thing turns up
under another trail, its pointer goes up first: no program ever sees one pointer come down twice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from rushlight.drive.output import Display, Results, Step, StepKind
from rushlight.records.session import Event, Fix

MOST_WAITING = 256
"""Steps that may wait before what lies between is given up; no source: a quarter of a second of
eight styli at 120 Hz."""


@dataclass(slots=True)
class _Contact:
    """A pointer that is down."""

    trail: int
    last: Step


class Contacts:
    """Follows which pointers are down, and where.

    Parameters
    ----------
    display
        Turns places on the surface into pixels.
    """

    def __init__(self, display: Display) -> None:
        self._display = display
        self._numbers: dict[tuple[str, str], int] = {}
        self._down: dict[int, _Contact] = {}
        self._of_trail: dict[int, set[int]] = {}

    def steps(self, results: Results) -> list[Step]:
        """What the pointers do by one frame's results, in the order in which they do it.

        Parameters
        ----------
        results
            Of a frame later than the one before.

        Returns
        -------
        list[Step]
        """
        steps: list[Step] = []
        fixes = [fix for fix in results.fixes if fix.cameras]
        moving = {fix.trail for fix in fixes}
        ups = [event for event in results.events if event.kind in ("switch-up", "lost")]
        for event in ups:
            if event.trail not in moving:
                steps += self._lift(event)
        for fix in fixes:
            if fix.dimensions == 2 and self._display.surface in (None, fix.surface):
                steps += self._follow(fix)
        for event in ups:
            if event.trail in moving:
                steps += self._lift(event)
        return [replace(step, frame=results.frame) for step in steps]

    def call_off(self) -> list[Step]:
        """Steps that end everything that is down, for a run that ends in the middle."""
        steps = [
            replace(contact.last, kind="cancel", detect_ns=-1, map_ns=-1, frame=-1)
            for contact in self._down.values()
        ]
        self._down.clear()
        self._of_trail.clear()
        return steps

    def _follow(self, fix: Fix) -> list[Step]:
        """Down or on to another place."""
        key = (fix.carried, fix.point)
        number = self._numbers.setdefault(key, len(self._numbers) + 1)
        contact = self._down.get(number)
        steps: list[Step] = []
        if not fix.switch:
            return [] if contact is None else [self._up(number, fix.capture_ns, fix)]
        if contact is not None and contact.trail != fix.trail:
            steps.append(self._up(number, contact.last.capture_ns, fix))
            contact = None
        x_px, y_px = self._display.px(float(fix.position_m[0]), float(fix.position_m[1]))
        kind: StepKind = "down" if contact is None else "move"
        moments = fix.capture_ns, fix.detect_ns, fix.map_ns
        step = Step(kind, number, fix.carried, x_px, y_px, *moments)
        self._down[number] = _Contact(fix.trail, step)
        self._of_trail.setdefault(fix.trail, set()).add(number)
        return [*steps, step]

    def _lift(self, event: Event) -> list[Step]:
        """Everything of an ended trail goes up."""
        numbers = sorted(self._of_trail.get(event.trail, ()))
        return [self._up(number, event.time_ns, event) for number in numbers]

    def _up(self, number: int, time_ns: int, known: Event | Fix) -> Step:
        """One pointer goes up where it was last."""
        contact = self._down.pop(number)
        self._of_trail[contact.trail].discard(number)
        if not self._of_trail[contact.trail]:
            del self._of_trail[contact.trail]
        return replace(
            contact.last,
            kind="up",
            capture_ns=max(time_ns, contact.last.capture_ns),
            detect_ns=known.detect_ns,
            map_ns=known.map_ns,
        )


class WaitingSteps:
    """Steps that a slow reader has not taken yet: of places only the newest is kept.

    Coming down and going up is never lost. Should even those pile up, each pointer's past is
    given up whole: it is called off, and comes down anew if it is down.

    Parameters
    ----------
    most
        Steps that may wait, ≥ 1.

    Attributes
    ----------
    lost
        Steps given up.
    """

    def __init__(self, most: int = MOST_WAITING) -> None:
        self.lost = 0
        self._most = most
        self._steps: list[Step] = []
        self._last: dict[int, int] = {}

    def __len__(self) -> int:
        return len(self._steps)

    def add(self, steps: Iterable[Step]) -> None:
        """Let these wait too, the newest last."""
        for step in steps:
            row = self._last.get(step.pointer)
            if row is not None and step.kind == self._steps[row].kind == "move":
                self._steps[row] = step
                self.lost += 1
                continue
            self._last[step.pointer] = len(self._steps)
            self._steps.append(step)
        if len(self._steps) > self._most:
            self._give_up()

    def take(self) -> list[Step]:
        """All that waits, in order; nothing waits afterwards."""
        taken, self._steps = self._steps, []
        self._last.clear()
        return taken

    def _give_up(self) -> None:
        """Keep the pointers' present state alone."""
        before = len(self._steps)
        kept: list[Step] = []
        for row in sorted(self._last.values()):
            step = self._steps[row]
            kept.append(replace(step, kind="cancel"))
            if step.kind in ("down", "move"):
                kept.append(replace(step, kind="down"))
        self._steps = kept
        self._last = {step.pointer: row for row, step in enumerate(kept)}
        self.lost += max(before - len(kept), 0)
