"""Whether footage and plans belong to a rig."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

from rushlight.errors import RushlightError
from rushlight.records.document import read_document
from rushlight.records.plan import Plan
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig


class Source(Protocol):
    """What is asked of a source of frames before the first is taken."""

    @property
    def name(self) -> str:
        """As the user gave it."""

    @property
    def camera(self) -> str:
        """The camera's id."""

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of every frame [px]."""

    @property
    def full_scale_dn(self) -> int:
        """Level of a pixel at full scale."""

    @property
    def simulated(self) -> bool:
        """Whether the frames were computed rather than filmed."""


def camera_of(rig: Rig, resolved: ResolvedRig, footage: Source, name: str) -> int:
    """Which of the rig's cameras made the footage?

    Parameters
    ----------
    rig, resolved
        The rig, and the same as numbers.
    footage
        As opened.
    name
        Of the rig's file, for messages.

    Raises
    ------
    RushlightError
        When none of the cameras can have made it.
    """
    ids = [camera.id for camera in rig.cameras]
    if footage.camera not in ids:
        raise RushlightError.of(
            f"{name}: cameras",
            ", ".join(ids),
            f'has no camera "{footage.camera}", which made the footage',
            "give the rig that belongs to the footage",
            "camera-unknown",
        )
    camera = ids.index(footage.camera)
    wide, high = (int(side) for side in resolved.cameras.size_px[0, camera])
    if (wide, high) != footage.size_px:
        raise RushlightError.of(
            footage.name,
            f"{footage.size_px[0]}×{footage.size_px[1]} px",
            f'is not the picture size of camera "{footage.camera}" in {name}, {wide}×{high} px',
            "give the rig that belongs to the footage, set the camera to that size, or name a "
            "part of that size in the rig",
            "size-differs",
        )
    return camera


def plan_of(rig: Rig, path: Path) -> Plan:
    """The plan in a file, which must be of this rig as it is now.

    Raises
    ------
    RushlightError
        When it cannot be read, or is the plan of another rig.
    """
    plan = read_document(Plan, path)
    if plan.rig != rig.content_hash():
        raise RushlightError.of(
            str(path),
            "",
            "is the plan of another rig, or of this one before it was changed",
            "plan this rig anew",
            "plan-of-another-rig",
        )
    return plan
