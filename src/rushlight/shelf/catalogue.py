"""The shelf: parts by kind and id, built in or from files beside a rig.

Later files win over earlier ones: the built-in ``generic.toml``, then every ``*.shelf.toml``
beside the rig, then single values from every ``*.measured.json`` there and from every
``measured/*.toml``, where ``rushlight inspect`` writes them.
"""

from __future__ import annotations

import difflib
import functools
import importlib.resources
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal, TypeVar, cast

from pydantic import ValidationError

from rushlight.errors import RushlightError
from rushlight.records.document import read_document, validate
from rushlight.records.parts import (
    CameraPart,
    CellPart,
    DisplayPart,
    EmitterPart,
    FilterPart,
    Part,
    PartMeasured,
    SheetPart,
    ShelfDocument,
)
from rushlight.records.registration import LensCalibration

Kind = Literal["camera", "emitter", "cell", "filter", "display", "sheet"]
KINDS: tuple[Kind, ...] = ("camera", "emitter", "cell", "filter", "display", "sheet")
BUILT_IN = "generic.toml"
MEASURED_FOLDER = "measured"

AnyPart = TypeVar("AnyPart", bound=Part)
Parts = Mapping[Kind, Mapping[str, Part]]


@dataclass(frozen=True)
class Shelf:
    """Parts by kind and id.

    Parameters
    ----------
    parts
        Parts of each kind by id, in the order of their files.
    origins
        (kind, id) to the files that a part and its measured values come from.
    folder
        Where the rig lies, or None; lens calibrations are read from there.
    measured
        (kind, id) to the names of the values that were measured of the part at hand.
    """

    parts: Parts
    origins: Mapping[tuple[Kind, str], tuple[str, ...]] = field(default_factory=dict)
    folder: Path | None = None
    measured: Mapping[tuple[Kind, str], tuple[str, ...]] = field(default_factory=dict)

    def of_kind(self, kind: Kind) -> list[Part]:
        """Every part of a kind."""
        return list(self.parts.get(kind, {}).values())

    def find(self, kind: Kind, part_id: str) -> Part | None:
        """A part, or None when there is none of that id."""
        return self.parts.get(kind, {}).get(part_id)

    def origin(self, kind: Kind, part_id: str) -> str:
        """The files that a part comes from, in words."""
        return " and ".join(self.origins.get((kind, part_id), ()))

    def remedy(self, kind: Kind, part_id: str) -> str:
        """What to write in place of an id that is not on the shelf."""
        known = list(self.parts.get(kind, {}))
        likely = difflib.get_close_matches(part_id, known, n=1)
        if likely:
            return f'write "{likely[0]}" if that is meant'
        return f"use one of {', '.join(known)}" if known else "describe it in a *.shelf.toml"

    def camera(self, part_id: str) -> CameraPart:
        """The camera of an id; raises RushlightError when there is none."""
        return cast(CameraPart, self._get("camera", part_id))

    def emitter(self, part_id: str) -> EmitterPart:
        """The emitter of an id; raises RushlightError when there is none."""
        return cast(EmitterPart, self._get("emitter", part_id))

    def cell(self, part_id: str) -> CellPart:
        """The cell of an id; raises RushlightError when there is none."""
        return cast(CellPart, self._get("cell", part_id))

    def filter(self, part_id: str) -> FilterPart:
        """The filter of an id; raises RushlightError when there is none."""
        return cast(FilterPart, self._get("filter", part_id))

    def display(self, part_id: str) -> DisplayPart:
        """The display of an id; raises RushlightError when there is none."""
        return cast(DisplayPart, self._get("display", part_id))

    def sheet(self, part_id: str) -> SheetPart:
        """The retro-reflective sheet of an id; raises RushlightError when there is none."""
        return cast(SheetPart, self._get("sheet", part_id))

    def lens(self, file_name: str) -> LensCalibration:
        """A lens calibration that lies beside the rig.

        Raises
        ------
        RushlightError
            When it is missing or not a lens calibration.
        """
        return read_document(LensCalibration, (self.folder or Path()) / file_name)

    def _get(self, kind: Kind, part_id: str) -> Part:
        part = self.find(kind, part_id)
        if part is None:
            raise RushlightError.of(
                "shelf",
                f'"{part_id}"',
                f"is not {_a(kind)} on the shelf",
                self.remedy(kind, part_id),
                "part-unknown",
            )
        return part


@functools.cache
def built_in_shelf() -> Shelf:
    """The parts that come with the program: generic, with typical values, without prices."""
    text = importlib.resources.files("rushlight.shelf").joinpath(BUILT_IN).read_text("utf-8")
    document = validate(ShelfDocument, tomllib.loads(text), BUILT_IN)
    return _with_document(Shelf({kind: {} for kind in KINDS}), document, BUILT_IN, {})


def load_shelf(folder: Path | None) -> Shelf:
    """The built-in parts, with those and the measurements that lie beside a rig.

    Parameters
    ----------
    folder
        The rig's, or None for the built-in parts alone.

    Raises
    ------
    RushlightError
        When a file there is wrong, gives an id twice, or measures a part that is not there.
    """
    shelf = built_in_shelf()
    if folder is None:
        return shelf
    shelf = replace(shelf, folder=folder)
    seen: dict[str, str] = {}
    for path in sorted(folder.glob("*.shelf.toml")):
        shelf = _with_document(shelf, read_document(ShelfDocument, path), path.name, seen)
    measured: dict[tuple[Kind, str, str], str] = {}
    for path in measured_files(folder):
        name = path.relative_to(folder).as_posix()
        shelf = _with_measured(shelf, read_document(PartMeasured, path), name, measured)
    return shelf


def measured_files(folder: Path) -> list[Path]:
    """The files beside a rig that hold what was measured of its parts."""
    return [
        *sorted(folder.glob("*.measured.json")),
        *sorted(folder.glob(f"{MEASURED_FOLDER}/*.toml")),
    ]


def _with_document(shelf: Shelf, document: ShelfDocument, name: str, seen: dict[str, str]) -> Shelf:
    """The shelf with one file's parts; `seen` says which file of this folder gave an id."""
    parts = {kind: dict(known) for kind, known in shelf.parts.items()}
    origins = dict(shelf.origins)
    for kind in KINDS:
        for position, part in enumerate(getattr(document, f"{kind}s")):
            where = f"{name}: {kind}s[{position}].id"
            if part.id in seen:
                raise RushlightError.of(
                    where,
                    f'"{part.id}"',
                    f"is already the id of a part in {seen[part.id]}",
                    "give each part its own id",
                    "id-twice",
                )
            other = next((k for k in KINDS if k != kind and part.id in parts[k]), None)
            if other is not None:
                raise RushlightError.of(
                    where,
                    f'"{part.id}"',
                    f"is already the id of {_a(other)} on the shelf",
                    "give this part another id",
                    "id-twice",
                )
            seen[part.id] = name
            parts[kind][part.id] = part
            origins[kind, part.id] = (name,)
    return replace(shelf, parts=parts, origins=origins)


def _with_measured(
    shelf: Shelf, document: PartMeasured, name: str, measured: dict[tuple[Kind, str, str], str]
) -> Shelf:
    """The shelf with what was measured of one part in the place of its typical values."""
    kind = document.kind
    part = shelf.find(kind, document.part)
    if part is None:
        raise RushlightError.of(
            f"{name}: part",
            f'"{document.part}"',
            f"is not {_a(kind)} on the shelf",
            shelf.remedy(kind, document.part),
            "part-unknown",
        )
    for value in document.values:
        where = f"{name}: values.{value}"
        if value not in part.DIMENSIONS:
            likely = difflib.get_close_matches(value, part.DIMENSIONS, n=1)
            raise RushlightError.of(
                where,
                "",
                f"is no value of {_a(kind)}",
                f'write "{likely[0]}" if that is meant' if likely else "remove it",
                "value-unknown",
            )
        if (kind, document.part, value) in measured:
            raise RushlightError.of(
                where,
                "",
                f"was measured in {measured[kind, document.part, value]} too",
                "keep the file of the part that you use",
                "measured-twice",
            )
        measured[kind, document.part, value] = name
    changed = _override(part, document, name)
    parts = {**shelf.parts, kind: {**shelf.parts[kind], part.id: changed}}
    files = (*shelf.origins.get((kind, part.id), ()), name)
    values = (*shelf.measured.get((kind, part.id), ()), *document.values)
    return replace(
        shelf,
        parts=parts,
        origins={**shelf.origins, (kind, part.id): files},
        measured={**shelf.measured, (kind, part.id): values},
    )


def _override(part: AnyPart, document: PartMeasured, name: str) -> AnyPart:
    try:
        return type(part).model_validate({**part.model_dump(), **document.model_dump()["values"]})
    except ValidationError as error:
        message = str(error.errors()[0].get("ctx", {}).get("error", error.errors()[0]["msg"]))
        allowed, _, remedy = message.partition("; ")
        raise RushlightError.of(
            f"{name}: values", "", allowed, remedy or "correct it", "value-wrong"
        ) from None


def _a(word: str) -> str:
    return f"{'an' if word[0] in 'aeio' else 'a'} {word}"
