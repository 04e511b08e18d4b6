"""What a morning's check tells: how far it has come, and go or no-go in the end."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from rushlight.errors import Finding
from rushlight.jobs.ready_cells import CellsUsed
from rushlight.jobs.ready_light import LightTold
from rushlight.jobs.register_telling import Beacon
from rushlight.records.dots import Dots, Frame
from rushlight.register.checking import FALSE_ALARM, SHOWN_WITH, Checked


class ReadyShow(Protocol):
    """Who is told, in the thread that checks."""

    def beacon(self, beacon: Beacon | None) -> None:
        """The beacon that stands now, again for every dash that goes out; None for none."""

    def state(self, state: ReadyState) -> None:
        """How it stands, at every stage."""

    def seen(self, frame: Frame, dots: Dots) -> None:
        """Every frame with the dots found in it."""


@dataclass(frozen=True)
class ReadyState:
    """How far the check has come.

    Attributes
    ----------
    stage
        ``"looking"`` at the room, nothing to be touched; ``"touching"``; ``"judged"``.
    done, of
        Check touches.
    findings
        Until now.
    """

    stage: str
    done: int
    of: int
    findings: tuple[Finding, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "stage": self.stage,
            "done": self.done,
            "of": self.of,
            "findings": [each.as_dict() for each in self.findings],
        }


@dataclass(frozen=True)
class ReadyResult:
    """Go or no-go, and why.

    Attributes
    ----------
    simulated
        Whether the frames were.
    registration_path, carried, goals_m
        What was checked, with which stylus, and where it touched [m].
    checked
        What the touches say; None where they were not made.
    turn_rad
        The turn of the camera that would have been noticed [rad].
    light, cells, sessions
        Of the picture; of every thing with cells; how many sessions were counted.
    taken_over
        Display pixels at registration where they were others.
    findings
        Errors are reasons against beginning.
    """

    simulated: bool
    registration_path: Path
    carried: str
    goals_m: tuple[tuple[float, float], ...]
    checked: Checked | None
    turn_rad: float
    light: LightTold
    cells: tuple[CellsUsed, ...]
    sessions: int
    taken_over: tuple[int, int] | None
    findings: tuple[Finding, ...]

    @property
    def go(self) -> bool:
        """Whether work may begin."""
        return all(each.severity != "error" for each in self.findings)

    def as_dict(self) -> dict[str, Any]:
        """What is told, as plain values in the units in which it is shown."""
        held, light = self.checked, self.light
        return {
            "basis": "simulated" if self.simulated else "measured",
            "go": self.go,
            "reasons": [str(each) for each in self.findings if each.severity == "error"],
            "registration": str(self.registration_path),
            "carried": self.carried,
            "touches": []
            if held is None
            else [
                {
                    "x_m": round(goal[0], 4),
                    "y_m": round(goal[1], 4),
                    "missed_mm": round(float(np.hypot(*missed)) * 1e3, 2),
                    "expected_mm": round(float(expected) * 1e3, 2),
                }
                for goal, missed, expected in zip(
                    self.goals_m, held.missed_m, held.expected_m, strict=True
                )
            ],
            "chance": None if held is None else round(held.chance, 4),
            "false_alarm": FALSE_ALARM,
            "turn_noticed_deg": round(float(np.degrees(self.turn_rad)), 2),
            "turn_noticed_chance": SHOWN_WITH,
            "room_share": _rounded(light.room_share),
            "room_planned_share": _rounded(light.room_planned_share),
            "lights_standing": light.standing,
            "touch_light_share": _rounded(light.touch_share),
            "weakest_over_noise": _rounded(light.peak_over_noise, 1),
            "cells": [
                {
                    "carried": each.carried,
                    "used_h": round(each.used_h, 2),
                    "runtime_h": _rounded(each.runtime_h, 1),
                }
                for each in self.cells
            ],
            "sessions": self.sessions,
            "taken_over_from_px": None if self.taken_over is None else list(self.taken_over),
            "findings": [each.as_dict() for each in self.findings],
        }


def _rounded(value: float, digits: int = 3) -> float | None:
    return round(float(value), digits) if np.isfinite(value) else None
