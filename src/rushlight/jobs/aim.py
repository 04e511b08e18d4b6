"""An aim as it is told: where the camera stands, what to do about it, and what to expect then."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.aiming import check_kind
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.room_sketch import room_sketch
from rushlight.physics.geometry import matrix_from_quaternion, turn_of_camera
from rushlight.physics.geometry.rotation import pose_matrix
from rushlight.records.aim import Aim, AimChoice
from rushlight.records.document import read_document
from rushlight.records.survey_readings import MARKS
from rushlight.shelf.resolve import resolve

AIM_FILE = "aim.json"
"""Beside the rig."""

_WAYS = {
    "move-x": ("right", "left"),
    "move-y": ("up", "down"),
    "move-z": ("farther", "nearer"),
    "turn": ("right", "left"),
    "tilt": ("up", "down"),
    "roll": ("clockwise", "anticlockwise"),
}
"""What a kind of step is called with a positive and with a negative amount."""


@dataclass(frozen=True)
class AimResult:
    """An aim, and where it is kept.

    Attributes
    ----------
    aim
        As written.
    path
        The file; None where it is not written yet.
    """

    aim: Aim
    path: Path | None

    @property
    def findings(self) -> list[Finding]:
        """What the user should know."""
        return [each.finding() for each in self.aim.findings]

    def as_dict(self) -> dict[str, Any]:
        """What is told, as plain values in the units in which it is shown."""
        aim, light = self.aim, self.aim.light
        std = np.sqrt(np.diag(np.array(aim.cov)))
        advised = next(each for each in aim.choices if each.name == aim.advice)
        return {
            "basis": aim.header.basis if aim.header else "measured",
            "camera": aim.camera,
            "surface": aim.surface,
            "reached": aim.reached,
            "advice": aim.advice,
            "coverage": {
                "now": round(aim.coverage, 3),
                "low": round(aim.coverage_low, 3),
                "high": round(aim.coverage_high, 3),
                "wanted": round(aim.coverage_wanted, 3),
                "planned": round(aim.coverage_planned, 3),
                "target": _rounded(aim.coverage_target, 3),
                "then": round(advised.coverage, 3),
            },
            "steps": _steps(advised),
            "choices": [
                {"name": each.name, "coverage": round(each.coverage, 3), "steps": _steps(each)}
                for each in aim.choices
            ],
            "planned": _told_pose(aim.planned_m, aim.planned_quaternion, aim.planned_view_m),
            "found": {
                **_told_pose(aim.found_m, aim.found_quaternion, aim.found_view_m),
                "x_std_cm": round(float(std[0]) * 100.0, 1),
                "y_std_cm": round(float(std[1]) * 100.0, 1),
                "z_std_cm": round(float(std[2]) * 100.0, 1),
            },
            "focal_percent": round(aim.focal_share * 100.0, 1) + 0.0,
            "focal_std_percent": round(float(std[6]) * 100.0, 1),
            "misfit": round(aim.misfit, 1),
            "freedom": aim.freedom,
            "places": [
                {
                    "name": each.name,
                    "state": each.state,
                    "x_m": round(each.at_m[0], 3),
                    "y_m": round(each.at_m[1], 3),
                    "able": each.able,
                    "carried": each.carried,
                    "used": each.used,
                    "missed_px": _rounded(each.missed_px, 2),
                    "full_share": _rounded(each.full_share, 3),
                    "expected_share": _rounded(each.expected_share, 3),
                    "over_noise": _rounded(each.over_noise, 1),
                }
                for each in aim.places
            ],
            "corners": [
                {
                    "name": each.name,
                    "inside": each.inside,
                    "margin_px": _rounded(each.margin_px, 1),
                }
                for each in aim.corners
            ],
            "light": {
                "room_share": _rounded(light.room_share, 3),
                "room_planned_share": _rounded(light.room_planned_share, 3),
                "room_noise": _rounded(light.room_noise, 2),
                "standing": light.standing,
                "fullest_share": _rounded(light.fullest_share, 3),
                "weakest_over_noise": _rounded(light.weakest_over_noise, 1),
                "exposure_ms": round(light.exposure_s * 1e3, 4),
            },
            "findings": [each.model_dump() for each in aim.findings],
            "aim": None if self.path is None else str(self.path),
        }


def kept_aim(rig_file: Path, path: Path | None = None) -> AimResult:
    """The aim that was made of a rig last, as long as it is of the rig as it stands now.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    path
        Where it is kept; ``aim.json`` beside the rig when left out.

    Raises
    ------
    RushlightError
        When there is none, or it is of another rig.
    """
    rig, _ = load_rig(rig_file)
    file = rig_path(rig_file)
    check_kind(rig, file.name)
    kept = file.parent / AIM_FILE if path is None else path
    if not kept.exists():
        raise RushlightError.of(
            str(kept), "", "does not exist, so nothing was aimed yet",
            "aim with --camera, such as --camera rig or --camera rehearsal:7:askew", "aim-missing",
        )  # fmt: skip
    aim = read_document(Aim, kept)
    if aim.header is None or aim.header.inputs.get("rig") != rig.content_hash():
        raise RushlightError.of(
            kept.name, "", "is of the rig as it was before it changed", "aim anew with --camera",
            "aim-other-rig",
        )  # fmt: skip
    return AimResult(aim, kept)


def aim_sketch(rig_file: Path) -> dict[str, Any]:
    """The room before anything was aimed, for whoever draws it.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.

    Returns
    -------
    dict
        As `room_sketch`, with its first camera as ``planned`` in the form of `AimResult.as_dict`
        in place of ``cameras``; and ``places``, by name.

    Raises
    ------
    RushlightError
        When the rig cannot be used.
    """
    rig, shelf = load_rig(rig_file)
    name = rig_path(rig_file).name
    check_kind(rig, name)
    resolved = resolve(rig, shelf, name)
    sketch = room_sketch(rig, resolved.cameras)
    first = sketch.pop("cameras")[0]
    sketch["planned"] = {"at_m": first["at_m"], "view_m": first["corners_m"]}
    wide, high = (float(side) for side in resolved.surface.size_m[0])
    sketch["places"] = [
        {"name": place, "x_m": x * wide, "y_m": (1.0 - y) * high} for place, (x, y) in MARKS.items()
    ]
    return sketch


def _steps(choice: AimChoice) -> list[dict[str, Any]]:
    told = []
    for step in choice.steps:
        moves = step.kind.startswith("move")
        amount = step.amount * 100.0 if moves else float(np.degrees(step.amount))
        std = step.std * 100.0 if moves else float(np.degrees(step.std))
        told.append(
            {
                "kind": "move" if moves else step.kind,
                "way": _WAYS[step.kind][amount < 0.0],
                "amount": round(abs(amount), 1),
                "std": round(std, 1),
                "unit": "cm" if moves else "°",
                "told": step.told,
            }
        )
    return told


def _told_pose(
    at_m: list[float], quaternion: list[float], view_m: list[list[float]]
) -> dict[str, Any]:
    pose = pose_matrix(matrix_from_quaternion(quaternion), at_m)
    turn, tilt, roll = (float(np.degrees(angle)) for angle in turn_of_camera(pose))
    return {
        "at_m": [round(each, 4) for each in at_m],
        "view_m": [[round(each, 3) for each in corner] for corner in view_m],
        "quaternion": [round(each, 6) for each in quaternion],
        "turn_deg": round(turn, 2) + 0.0,
        "tilt_deg": round(tilt, 2) + 0.0,
        "roll_deg": round(roll, 2) + 0.0,
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not np.isfinite(value) else round(value, digits)
