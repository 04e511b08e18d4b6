"""Steps of a registration in space, told by words; the user answers by keys and Enter."""

from __future__ import annotations

import sys
import threading
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rushlight.jobs.register_space_live import Asks, Step
    from rushlight.records.dots import Dots, Frame

_WORDS = {"": "begin", "s": "skip", "b": "back", "f": "finish"}


class StepShow:
    """Tells each step, and what came of it, on standard error."""

    def __init__(self) -> None:
        self._say(
            "Enter begins a step, s and Enter passes it over, b and Enter makes the one before "
            "again, f and Enter ends it with the steps made so far"
        )
        self._say("never look into a lit emitter, and rest when you feel dizzy")

    def step(self, step: Step) -> None:
        """What is to be done."""
        self._say(f"step {step.number} of {step.of}: {_words(step)}; then press Enter")

    def began(self, step: Step) -> None:
        """That it goes on."""
        self._say(f"  swing on for {step.lasts_s:g} s" if step.mark is None else "  hold still")

    def held(self, share: float) -> None:
        """How long it still takes is not told."""

    def ended(self, step: Step, dots: Sequence[int], why_not: str) -> None:
        """What was seen."""
        seen = ", ".join(str(each) for each in dots)
        if why_not:
            self._say(f"  does not count: {why_not} (dots: {seen}); do it again")
        else:
            self._say(f"  seen (dots: {seen})")

    def left(self, step: Step, back: bool) -> None:
        """The next step is told instead."""

    def over(self) -> None:
        """What is found is shown at the end."""

    def seen(self, camera: int, frame: Frame, dots: Dots) -> None:
        """Frames are not told."""

    def _say(self, line: str) -> None:
        print(line, file=sys.stderr, flush=True)


def _words(step: Step) -> str:
    mark = step.mark
    if mark is None:
        return (
            f"swing {step.carried} slowly through all of its zone, turning it, both lights toward "
            "the cameras"
        )
    near = _place(mark.from_m)
    if mark.to_m is None:
        return f"hold the {mark.point} of {step.carried} on the mark at {near}"
    return (
        f"wear {step.carried}, the nose toward the near mark at {near} and the far mark at "
        f"{_place(mark.to_m)}; {step.how}"
    )


def _place(point: Sequence[float]) -> str:
    x, y, z = point
    return f"x {x + 0.0:.3f}, y {y + 0.0:.3f}, z {z + 0.0:.3f} m"


def listen(asks: Asks) -> None:
    """Hand on what is typed, from a thread of its own; the end of the input ends the steps."""

    def read() -> None:
        for line in sys.stdin:
            word = _WORDS.get(line.strip().lower())
            if word is None:
                print("  that is none of the keys: Enter, s, b, f", file=sys.stderr, flush=True)
            else:
                asks.put(word)  # type: ignore[arg-type]
        asks.put("finish")

    threading.Thread(target=read, daemon=True).start()
