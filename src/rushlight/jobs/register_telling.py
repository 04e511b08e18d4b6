"""What a live registration tells while it runs: the beacon that stands, and how the map grows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots, Frame
from rushlight.records.registration import Registration
from rushlight.register.error_map import error_map

DASHES = 12
"""Around a beacon; they go out one by one while the light is held."""

_COLUMNS, _ROWS = 25, 16  # of the error map while it grows


@dataclass(frozen=True)
class Beacon:
    """The mark that stands on the display.

    Attributes
    ----------
    number, of
        Which touch it is for, from 1, and how many are planned.
    x_m, y_m
        Its place on the surface [m].
    x_px, y_px
        The same on the display, from its upper left corner [display px].
    dashes_left
        Of `DASHES`.
    carried
        Id of the stylus that is to touch it.
    """

    number: int
    of: int
    x_m: float
    y_m: float
    x_px: float
    y_px: float
    dashes_left: int
    carried: str

    def as_dict(self) -> dict[str, Any]:
        """Plain values."""
        return asdict(self)


@dataclass(frozen=True)
class ToldTouch:
    """One touch until now.

    Attributes
    ----------
    number
        By which it can be asked for again.
    x_m, y_m
        Of its beacon [m].
    carried
        Which stylus touched.
    missed_mm
        By how much the map misses the beacon [mm]; None while there is no map.
    used
        Whether the map rests on it.
    """

    number: int
    x_m: float
    y_m: float
    carried: str
    missed_mm: float | None = None
    used: bool = True


@dataclass(frozen=True, eq=False)
class RegisterState:
    """How a live registration stands, told after every touch.

    Attributes
    ----------
    stage
        ``"touching"``; ``"judged"`` while it waits to be told that it is good enough.
    done, of
        Touches until now, and how many are planned.
    touches
        In the order of their numbers.
    x_m, y_m, rms_mm
        (X,), (Y,) [m], (Y, X) [mm] expected error of the map; None while there is no map.
    vouched, reasons
        The verdict as it would be now; None while there is no map.
    findings
        What the user should know.
    """

    stage: str
    done: int
    of: int
    touches: tuple[ToldTouch, ...]
    x_m: Array | None = None
    y_m: Array | None = None
    rms_mm: Array | None = None
    vouched: bool | None = None
    reasons: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Plain values in the units in which they are shown."""
        rms = self.rms_mm
        return {
            "stage": self.stage,
            "done": self.done,
            "of": self.of,
            "touches": [asdict(touch) for touch in self.touches],
            "map": None
            if self.x_m is None or self.y_m is None or rms is None
            else {
                "x_m": self.x_m.round(4).tolist(),
                "y_m": self.y_m.round(4).tolist(),
                "rms_mm": rms.round(3).tolist(),
            },
            "mean_mm": None if rms is None else round(float(np.sqrt(np.mean(rms**2))), 3),
            "worst_mm": None if rms is None else round(float(rms.max()), 3),
            "vouched": self.vouched,
            "reasons": list(self.reasons),
            "findings": [finding.as_dict() for finding in self.findings],
        }


class Show(Protocol):
    """Who is told, in the thread that registers."""

    def beacon(self, beacon: Beacon | None) -> None:
        """The beacon that stands now, again for every dash that goes out; None for none."""

    def state(self, state: RegisterState) -> None:
        """How it stands, after every touch."""

    def seen(self, frame: Frame, dots: Dots) -> None:
        """Every frame with the dots found in it."""


class Unseen:
    """Tells nobody."""

    def beacon(self, beacon: Beacon | None) -> None:
        """Told to nobody."""

    def state(self, state: RegisterState) -> None:
        """Told to nobody."""

    def seen(self, frame: Frame, dots: Dots) -> None:
        """Told to nobody."""


def told_state(
    stage: str,
    of: int,
    touches: list[ToldTouch],
    fitted: Registration | None,
    findings: tuple[Finding, ...],
) -> RegisterState:
    """The state after a touch.

    Parameters
    ----------
    stage, of, touches, findings
        As of `RegisterState`.
    fitted
        By the touches in this order; None where they tell no map.
    """
    if fitted is None:
        return RegisterState(stage, len(touches), of, tuple(touches), findings=findings)
    found = error_map(fitted, _COLUMNS, _ROWS)
    told = tuple(
        ToldTouch(
            touch.number,
            touch.x_m,
            touch.y_m,
            touch.carried,
            None if fit.residual_m is None else round(float(np.hypot(*fit.residual_m)) * 1e3, 2),
            fit.used,
        )
        for touch, fit in zip(touches, fitted.touches, strict=True)
    )
    return RegisterState(
        stage,
        len(touches),
        of,
        told,
        found.x_m,
        found.y_m,
        found.rms_m * 1e3,
        fitted.verdict.vouched,
        tuple(fitted.verdict.reasons),
        findings,
    )


def part_of_surface(rig_file: Path) -> Callable[[Beacon], str]:
    """Tells in words in which part of a rig's surface a beacon stands, as ``"upper left"``.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.

    Raises
    ------
    RushlightError
        When the rig cannot be read, or has no surface.
    """
    rig, _ = load_rig(rig_file)
    if not rig.surfaces:
        raise RushlightError.of(
            f"{rig_path(rig_file).name}: surfaces", "", "are missing", "give a rig with a display"
        )
    size_m = rig.surfaces[0].width.value, rig.surfaces[0].height.value

    def part(beacon: Beacon) -> str:
        across = _third(beacon.x_m / size_m[0], "left", "right")
        up = _third(beacon.y_m / size_m[1], "lower", "upper")
        return " ".join(word for word in (up, across) if word) or "the middle"

    return part


def _third(share: float, low: str, high: str) -> str:
    return low if share < 1.0 / 3.0 else high if share > 2.0 / 3.0 else ""
