"""What a live aim tells while it runs: which place to hold, the light, and what was found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from rushlight.errors import Finding
from rushlight.jobs.aim import AimResult
from rushlight.plan.light import FULLEST_PEAK
from rushlight.records.dots import Dots, Frame


@dataclass(frozen=True)
class AimState:
    """How an aim stands.

    Attributes
    ----------
    stage
        ``"looking"`` at the room, with every light off; ``"holding"``; ``"judged"`` while it
        waits to be told what next.
    round
        How often the camera was moved since the beginning.
    carried, place
        What to hold now, and where; or None.
    held_share
        How much of the time it must be held is over, from 0 to 1.
    done, of
        Places held in this round, and how many are wanted.
    states
        Of every named place.
    level_share, over_noise
        Brightest dot of the newest frame: its peak over full scale, the room's light included,
        and over the noise; NaN where there is none.
    room_share
        Of full scale that the room takes; NaN while it is not known.
    result
        What is found until now, or None.
    findings
        What the user should know beside it.
    """

    stage: str
    round: int
    carried: str | None
    place: str | None
    held_share: float
    done: int
    of: int
    states: dict[str, str]
    level_share: float = np.nan
    over_noise: float = np.nan
    room_share: float = np.nan
    result: AimResult | None = None
    findings: tuple[Finding, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "stage": self.stage,
            "round": self.round,
            "carried": self.carried,
            "place": self.place,
            "held_share": round(self.held_share, 2),
            "done": self.done,
            "of": self.of,
            "states": dict(self.states),
            "level_share": _rounded(self.level_share, 3),
            "level_limit": FULLEST_PEAK,
            "level_full": bool(self.level_share > FULLEST_PEAK),
            "over_noise": _rounded(self.over_noise, 1),
            "room_share": _rounded(self.room_share, 3),
            "result": None if self.result is None else self.result.as_dict(),
            "findings": [each.as_dict() for each in self.findings],
        }


class AimShow(Protocol):
    """Who is told, in the thread that aims."""

    def state(self, state: AimState) -> None:
        """How it stands: whenever something happens, and some times a second."""

    def seen(self, frame: Frame, dots: Dots) -> None:
        """Every frame with the dots found in it."""


class AimUnseen:
    """Tells nobody."""

    def state(self, state: AimState) -> None:
        """Told to nobody."""

    def seen(self, frame: Frame, dots: Dots) -> None:
        """Told to nobody."""


def _rounded(value: float, digits: int) -> float | None:
    return round(float(value), digits) if np.isfinite(value) else None
