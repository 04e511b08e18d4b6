"""The rigs of a folder: how far each has come, and what comes next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rushlight.errors import RushlightError
from rushlight.jobs.load import RIG_FILE
from rushlight.records.document import read_document
from rushlight.records.rig import Rig

STAGES = ("new", "planned", "searched", "registered", "watched", "assessed", "published")
"""How far a rig may have come, in order."""

_NEXT = {
    "new": "plan",
    "planned": "search",
    "searched": "register",
    "registered": "watch",
    "watched": "results",
    "assessed": "kit",
    "published": "",
}

_MADE: dict[str, Callable[[Path], bool]] = {
    "planned": lambda folder: (folder / "plan" / "plan.json").exists(),
    "searched": lambda folder: (folder / "search" / "search.json").exists(),
    "registered": lambda folder: (folder / "registration.json").exists(),
    "watched": lambda folder: any(folder.glob("*.sqlite")),
    "assessed": lambda folder: (folder / "assessment" / "assessment.json").exists(),
    "published": lambda folder: (folder / "kit" / "kit.json").exists(),
}
"""Stage to whether its files lie in a rig's folder."""


@dataclass(frozen=True)
class RigPlace:
    """A rig in a folder.

    Attributes
    ----------
    name
        By which pages speak of it: the name of its own folder.
    file
        Its ``rig.toml``.
    title, basis, kinds
        As the rig says; empty where it cannot be read.
    fault
        The first sentence of what is wrong with it, or empty.
    made
        The stages whose files are there, of `STAGES` without the first.
    """

    name: str
    file: Path
    title: str
    basis: str
    kinds: tuple[str, ...]
    fault: str
    made: tuple[str, ...]

    @property
    def folder(self) -> Path:
        """Where the rig and everything made of it lies."""
        return self.file.parent

    @property
    def stage(self) -> str:
        """The last of `STAGES` that it has come to."""
        return self.made[-1] if self.made else "new"

    @property
    def next_step(self) -> str:
        """What comes next, as the name of a page; empty after the last."""
        return "plan" if self.fault else _NEXT[self.stage]

    def as_dict(self) -> dict[str, Any]:
        """The place as plain values, for JSON."""
        return {
            "name": self.name,
            "file": str(self.file),
            "title": self.title,
            "basis": self.basis,
            "kinds": list(self.kinds),
            "fault": self.fault,
            "made": list(self.made),
            "stage": self.stage,
            "next": self.next_step,
        }


def rigs_of(folder: Path) -> list[RigPlace]:
    """The rigs of a folder: the one that lies in it, and those one folder below, by name.

    Raises
    ------
    RushlightError
        When there is no such folder.
    """
    if not folder.is_dir():
        raise RushlightError.of(
            str(folder), "", "is no folder", "give a folder that holds rigs, or make it", "folder"
        )
    files = [folder / RIG_FILE, *sorted(folder.glob(f"*/{RIG_FILE}"))]
    return [place_of(file) for file in files if file.is_file()]


def folder_told(folder: Path) -> dict[str, Any]:
    """The rigs of a folder as plain values, each with its stage and next step.

    Raises
    ------
    RushlightError
        When there is no such folder.
    """
    return {"rigs": [place.as_dict() for place in rigs_of(folder)]}


def place_of(file: Path) -> RigPlace:
    """How far the rig of a file has come."""
    folder = file.parent
    title, basis, kinds, fault = "", "", (), ""
    try:
        rig = read_document(Rig, file)
        title, basis, kinds = rig.title or rig.name, str(rig.basis), tuple(rig.kinds)
    except RushlightError as error:
        fault = str(error.findings[0])
    made = tuple(stage for stage in STAGES if stage in _MADE and _MADE[stage](folder))
    return RigPlace(folder.resolve().name, file, title, basis, kinds, fault, made)


def find_rig(folder: Path, name: str) -> RigPlace:
    """The rig of a folder by its name.

    Raises
    ------
    RushlightError
        When there is none.
    """
    places = rigs_of(folder)
    for place in places:
        if place.name == name:
            return place
    known = ", ".join(place.name for place in places)
    raise RushlightError.of(
        str(folder), f'"{name}"', "holds no rig of that name",
        f"use {known}" if known else "make one with rushlight new", "rig-missing",
    )  # fmt: skip
