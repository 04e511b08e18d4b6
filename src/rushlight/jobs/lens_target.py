"""The board before the camera: a target to print, and what the user measured of a print."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rushlight.errors import RushlightError
from rushlight.jobs.load import typed_quantity
from rushlight.publish.target import (
    CHECK_MM,
    COLUMNS,
    PAPERS_MM,
    ROWS,
    SQUARE_MM,
    Paper,
    target_pdf,
    target_svg,
)
from rushlight.records.document import write_bytes, write_text
from rushlight.register.lens_views import Board

_CHECK_MM = (80.0, 125.0)
"""A check line beyond these was misread, or is another sheet's."""


@dataclass(frozen=True)
class TargetResult:
    """A target to print: its file, and what to do with it."""

    path: Path
    paper: Paper

    def as_dict(self) -> dict[str, Any]:
        """What is told, as plain values."""
        return {
            "target": str(self.path),
            "paper": self.paper,
            "corners": [COLUMNS, ROWS],
            "square_mm": SQUARE_MM,
            "check_line_mm": CHECK_MM,
        }


def write_target(path: Path, paper: str = "a4") -> TargetResult:
    """A chessboard to print, at true scale.

    Parameters
    ----------
    path
        Ends in ``.pdf`` or ``.svg``.
    paper
        "a4" or "letter".

    Raises
    ------
    RushlightError
        When the ending or the paper is another, or the file cannot be written.
    """
    sheet = next((name for name in PAPERS_MM if name == paper), None)
    if sheet is None:
        raise RushlightError.of(
            "--paper", f'"{paper}"', "is no paper the target is drawn for", 'give "a4" or "letter"'
        )
    suffix = path.suffix.lower()
    if suffix == ".pdf":
        write_bytes(path, target_pdf(sheet))
    elif suffix == ".svg":
        write_text(path, target_svg(sheet))
    else:
        raise RushlightError.of(
            "--target",
            str(path),
            "is neither PDF nor SVG",
            "end its name in .pdf or .svg",
            "ending",
        )
    return TargetResult(path, sheet)


def board_of(
    check_line: str | None = None,
    check_line_up: str | None = None,
    not_to_scale: bool = False,
    corners: str | None = None,
    square: str | None = None,
) -> Board:
    """The board that stands before the camera, as the user measured it.

    Parameters
    ----------
    check_line, check_line_up
        The ruler's reading of the target's lines along its long and its short side, as
        ``"99.2 mm"``; the second is taken to be like the first when left out.
    not_to_scale
        Goes on without any reading.
    corners
        Inner corners of another board, as ``"9x6"``.
    square
        Measured side of another board's squares, as ``"30 mm"``.

    Raises
    ------
    RushlightError
        When nothing tells the scale, or a reading makes no sense.
    """
    columns, rows = _typed_corners(corners)
    told = [name for name, given in (("--check-line", check_line), ("--square", square)) if given]
    if len(told) > 1:
        raise refused("--square", square, "tells the scale a second time", "give one of the two")
    if not told and check_line_up:
        raise refused("--check-line-up", check_line_up, "stands alone", "give --check-line as well")
    if told and not_to_scale:
        raise refused("--not-to-scale", "", f"contradicts {told[0]}", "leave one of the two out")
    if check_line and (columns, rows) != (COLUMNS, ROWS):
        raise refused(
            "--corners",
            corners,
            f"is a board of your own, and check lines are on the target of {COLUMNS} × {ROWS}",
            "measure its squares and give --square instead of --check-line",
        )
    if square:
        side = _length_m("--square", square)
        return Board(columns, rows, (side, side), to_scale=True)
    nominal = SQUARE_MM * 1e-3
    if check_line:
        along = _check_line_m("--check-line", check_line)
        up = _check_line_m("--check-line-up", check_line_up) if check_line_up else along
        scale = nominal / (CHECK_MM * 1e-3)
        return Board(columns, rows, (along * scale, up * scale), to_scale=True)
    if not_to_scale:
        return Board(columns, rows, (nominal, nominal))
    raise refused(
        "--check-line",
        "",
        "is missing: the print's scale is not known until its check line is measured",
        'measure it and give --check-line "99.2 mm", --square for a board of your own, or '
        "--not-to-scale (the lens does not depend on an even scale, only distances do)",
        "check-line-missing",
    )


def refused(
    where: str, given: str | None, allowed: str, remedy: str, code: str = "refused"
) -> RushlightError:
    """An error of one finding about what the user typed."""
    return RushlightError.of(where, given or "", allowed, remedy, code)


def _typed_corners(corners: str | None) -> tuple[int, int]:
    if corners is None:
        return COLUMNS, ROWS
    match = re.fullmatch(r"\s*([0-9]{1,2})\s*[x×]\s*([0-9]{1,2})\s*", corners)
    if match is None or min(map(int, match.groups())) < 3:
        raise refused(
            "--corners",
            corners,
            "is no number of inner corners along both sides, at least 3 each",
            'write "9x6"',
        )
    return int(match[1]), int(match[2])


def _check_line_m(where: str, text: str) -> float:
    length = _length_m(where, text)
    low, high = _CHECK_MM
    if not low <= length * 1e3 <= high:
        raise refused(
            where,
            f'"{text}"',
            f"is far from the {CHECK_MM:g} mm of the target's check line",
            f"measure that line again, or print at 100 %; {low:g} to {high:g} mm is taken",
            "check-line-far",
        )
    return length


def _length_m(where: str, text: str) -> float:
    length = typed_quantity(text, "length", where, "mm")
    if length is None or not length > 0.0:
        raise refused(where, f'"{text}"', "is not a length above 0", 'write "30 mm"')
    return length
