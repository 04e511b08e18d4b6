"""Beacons told by words, on standard error; the bench shows them on the display itself."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from rushlight.jobs.ready_telling import ReadyState
    from rushlight.jobs.register_telling import Beacon, RegisterState
    from rushlight.records.dots import Dots, Frame


class TextShow:
    """Tells each beacon once, and how the map grows.

    Parameters
    ----------
    rig
        The rig's file or folder; tells how large the surface is.
    """

    def __init__(self, rig: Path) -> None:
        self._rig = rig
        self._part: Callable[[Beacon], str] | None = None
        self._told: tuple[int, str] | None = None
        self._begun = False

    def beacon(self, beacon: Beacon | None) -> None:
        """A line when another beacon stands."""
        if beacon is None or (beacon.number, beacon.carried) == self._told:
            return
        self._told = (beacon.number, beacon.carried)
        if self._part is None:
            from rushlight.jobs.register_telling import part_of_surface

            self._part = part_of_surface(self._rig)
        self._say(
            f"beacon {beacon.number} of {beacon.of}, {self._part(beacon)}: hold the light of "
            f"{beacon.carried} still {beacon.x_m:.3f} m from the left edge and {beacon.y_m:.3f} m "
            "above the lower edge"
        )

    def state(self, state: RegisterState | ReadyState) -> None:
        """A line after every touch."""
        told = state.as_dict()
        if told["stage"] == "looking":
            self._say("looking at the room: touch nothing, and keep every light off")
        elif told.get("worst_mm") is not None:
            self._say(f"  {told['worst_mm']} mm rms expected at the worst place of the surface")
        self._told = None

    def seen(self, frame: Frame, dots: Dots) -> None:
        """Frames are not told."""

    def _say(self, line: str) -> None:
        # Not before there is something to tell: a job that refuses its rig speaks of that alone.
        if not self._begun:
            self._begun = True
            self._say("beacons are told in words here; rushlight bench shows them on the display")
        print(line, file=sys.stderr, flush=True)


def refuse_beside(option: str, others: dict[str, object]) -> None:
    """Refuse options that do nothing beside another one."""
    from rushlight.errors import RushlightError

    for name, value in others.items():
        if value:
            raise RushlightError.of(
                name, "", f"does nothing beside {option}", "leave it out", "option-idle"
            )
