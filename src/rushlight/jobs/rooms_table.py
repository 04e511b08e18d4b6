"""A table of rooms: a row a room, read into the rig that its search begins with."""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rushlight.errors import Finding, RushlightError
from rushlight.records.document import read_text
from rushlight.records.quantity import Dimension, Quantity, QuantityError, parse_quantity
from rushlight.records.rig import Rig
from rushlight.records.room import Ambient, CameraPlace, Room
from rushlight.records.search import Money, SearchSettings

COLUMNS: dict[str, tuple[str, str]] = {
    "room": ("", ""),
    "width": ("surface", "width"),
    "height": ("surface", "height"),
    "height_above_floor": ("surface", "height_above_floor"),
    "room_width": ("room", "width"),
    "room_depth": ("room", "depth"),
    "room_height": ("room", "height"),
    "room_left": ("room", "left"),
    "places": ("room", "places"),
    "ambient": ("ambient", "irradiance"),
    "money": ("search", "budget"),
    "build_time": ("search", "minutes"),
}
"""Columns of the table, and what of the rig each stands for."""
_FROM_ZERO = ("height_above_floor", "room_left", "ambient")
_DIMENSIONS: dict[str, Dimension] = {"ambient": "irradiance", "build_time": "time"}
_MONEY = re.compile(r"(\d+(?:\.\d+)?)\s*([A-Z]{3})", re.ASCII)
_NAME = re.compile(r"\w[\w .,/()#+-]{0,79}")
_KINDS = ("wall", "ceiling", "shelf", "table", "tripod")
_PLACE = re.compile(rf"({'|'.join(_KINDS)})\s+(.+)", re.DOTALL)
_EXAMPLE = '"ceiling 0.4 m, 1.5 m, 2.4 m to 2 m, 1.7 m, 3.2 m"'


@dataclass(frozen=True)
class SurveyRoom:
    """One row of the table: the room's name, its row, and the rig that its search begins with."""

    name: str
    row: int
    rig: Rig


def read_rooms(path: Path, rig: Rig) -> list[SurveyRoom]:
    """The rooms of a table.

    Parameters
    ----------
    path
        Comma-separated text, or semicolons where the header has them; the first row names the
        columns, in any order, and an empty cell keeps what the rig says.
    rig
        What holds where the table says nothing.

    Raises
    ------
    RushlightError
        With a finding for each wrong cell, naming its row and column.
    """
    header, rows = _rows(path)
    found: list[Finding] = []
    rooms: list[SurveyRoom] = []
    first_row: dict[str, int] = {}
    for number, cells in rows:
        row = _Row(f"{path.name}: row {number}", dict(zip(header, cells, strict=True)))
        name = row.name(first_row)
        made = row.rig_of(rig)
        first_row.setdefault(name, number)
        found += row.found
        if not row.found:
            rooms.append(SurveyRoom(name, number, made))
    if found:
        raise RushlightError(found)
    if not rooms:
        raise RushlightError.of(
            path.name, "", "holds no rooms", "write a row for each below the header", "rooms-none"
        )
    return rooms


def _rows(path: Path) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """The table's header, and its rows with their numbers, empty ones left out."""
    text = read_text(path).removeprefix("\ufeff")
    top = text.partition("\n")[0]
    divider = ";" if ";" in top and "," not in top else ","
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=divider, strict=True))
    except csv.Error as error:
        raise RushlightError.of(
            path.name, "", f"is no table of comma-separated values ({error})",
            "save it anew as CSV", "rooms-table",
        ) from None  # fmt: skip
    header = [cell.strip() for cell in lines[0]] if lines else []
    _check_header(path.name, header)
    rows = [
        (number, [cell.strip() for cell in cells])
        for number, cells in enumerate(lines[1:], 2)
        if any(cell.strip() for cell in cells)
    ]
    uneven = [
        Finding(
            "error",
            "rooms-cells",
            f"{path.name}: row {number}",
            "",
            f"holds {len(cells)} cells where the header names {len(header)} columns",
            "add or remove cells, and put quotation marks round a cell with commas in it",
        )
        for number, cells in rows
        if len(cells) != len(header)
    ]
    if uneven:
        raise RushlightError(uneven)
    return header, rows


def _check_header(name: str, header: list[str]) -> None:
    found = []
    for place, column in enumerate(header):
        if column not in COLUMNS:
            likely = difflib.get_close_matches(column, COLUMNS, n=1)
            what, code = "is no column of a table of rooms", "rooms-column"
            remedy = f'write "{likely[0]}"' if likely else f"use some of {', '.join(COLUMNS)}"
        elif column in header[:place]:
            what, remedy, code = "stands there twice", "keep one of them", "rooms-column"
        else:
            continue
        where = f"{name}: row 1, column {place + 1}"
        found.append(Finding("error", code, where, f'"{column}"', what, remedy))
    if "room" not in header:
        where = f"{name}: row 1"
        remedy = f"begin the table with a row of names such as {', '.join(list(COLUMNS)[:4])}"
        found.append(Finding("error", "rooms-column", where, "", 'lacks the column "room"', remedy))
    if found:
        raise RushlightError(found)


@dataclass
class _Row:
    """One row while it is read; what is wrong with its cells gathers in `found`."""

    where: str
    cells: dict[str, str]
    found: list[Finding] = field(default_factory=list)

    def name(self, taken: dict[str, int]) -> str:
        name = self.cells["room"]
        if not name:
            self._wrong("room", "", "is empty", "give every room a name of its own")
        elif not _NAME.fullmatch(name):
            self._wrong(
                "room", name, "is no name of a room",
                "begin with a letter or digit, and go on with those, blanks and . , / ( ) # + -",
            )  # fmt: skip
        elif name in taken:
            self._wrong(
                "room", name, f"is the name of row {taken[name]} too",
                "give every room a name of its own",
            )  # fmt: skip
        return name

    def rig_of(self, rig: Rig) -> Rig:
        """The rig with what the row says; a wrong cell is left out of it."""
        said: dict[str, dict[str, Any]] = {}
        for column, text in self.cells.items():
            if column == "room" or not text:
                continue
            value = self._read(column, text)
            if value is not None:
                part, name = COLUMNS[column]
                said.setdefault(part, {})[name] = value
        update: dict[str, Any] = {}
        if "surface" in said and rig.surfaces:
            first = rig.surfaces[0].model_copy(update=said["surface"])
            update["surfaces"] = [first, *rig.surfaces[1:]]
        if "room" in said:
            update["room"] = (rig.room or Room()).model_copy(update=said["room"])
        if "ambient" in said:
            # What the table says was not learnt as the rig's own figure was.
            said["ambient"]["source"] = "the table of rooms"
            old = rig.ambient or Ambient(**said["ambient"])
            update["ambient"] = old.model_copy(update=said["ambient"])
        if "search" in said:
            update["search"] = (rig.search or SearchSettings()).model_copy(update=said["search"])
        return rig.model_copy(update=update)

    def _read(self, column: str, text: str) -> Any:
        readers: dict[str, Callable[[str, str], Any]] = {
            "places": self._places,
            "money": self._money,
        }
        return readers.get(column, self._quantity)(column, text)

    def _quantity(self, column: str, text: str) -> Quantity | None:
        dimension = _DIMENSIONS.get(column, "length")
        try:
            quantity = parse_quantity(text, dimension)
        except QuantityError as error:
            self._wrong(column, text, error.allowed, error.remedy)
            return None
        if quantity.value < 0.0 or (quantity.value == 0.0 and column not in _FROM_ZERO):
            bound = "0 or more" if column in _FROM_ZERO else "more than 0"
            self._wrong(column, text, f"is not {bound}", f"give {bound}")
            return None
        return quantity

    def _money(self, column: str, text: str) -> Money | None:
        match = _MONEY.fullmatch(text)
        if match is None or float(match[1]) <= 0.0:
            self._wrong(
                column, text, "is no amount above 0 with its currency", 'write it as "80 EUR"'
            )
            return None
        return Money(amount=float(match[1]), currency=match[2])

    def _places(self, column: str, text: str) -> list[CameraPlace] | None:
        places: list[CameraPlace] = []
        for part in filter(None, (each.strip() for each in text.split(";"))):
            match = _PLACE.fullmatch(part)
            if match is None:
                self._wrong(
                    column, part, "begins with no kind of place",
                    f"begin with one of {', '.join(_KINDS)}, as {_EXAMPLE}",
                )  # fmt: skip
                return None
            corners = [
                [each.strip() for each in corner.split(",")]
                for corner in re.split(r"\bto\b", match[2])
            ]
            if len(corners) > 2 or any(len(corner) != 3 for corner in corners):
                self._wrong(
                    column, part, "is neither a point nor a box",
                    f"write x, y, z, or two corners with to between them, as {_EXAMPLE}",
                )  # fmt: skip
                return None
            try:
                low, high = (
                    tuple(parse_quantity(step, "length") for step in corner)
                    for corner in (corners[0], corners[-1])
                )
            except QuantityError as error:
                self._wrong(column, part, f"holds a length that {error.allowed}", error.remedy)
                return None
            kind = match[1]
            alike = sum(each.kind == kind for each in places)
            name = f"{kind}-{alike + 1}" if alike else kind
            places.append(CameraPlace(id=name, kind=kind, corner=low, opposite=high))
        return places or None

    def _wrong(self, column: str, given: str, allowed: str, remedy: str) -> None:
        shown = f'"{given}"' if given else ""
        where = f"{self.where}, column {column}"
        self.found.append(Finding("error", "rooms-cell", where, shown, allowed, remedy))
