"""What the display shows while its picture is surveyed: the marks, and what to read at them."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path
from typing import Any

from rushlight.jobs.load import load_rig
from rushlight.jobs.survey import READINGS_FILE
from rushlight.jobs.survey_form import USUAL, Form, Line, form_of, text_of
from rushlight.jobs.survey_places import index_of, places_of, size_of, surface_asked
from rushlight.jobs.survey_sketch import as_the_rig_says, marks_of
from rushlight.physics.cautions import CAUTIONS
from rushlight.records.document import read_text, validate
from rushlight.records.rig import Surface
from rushlight.records.survey_readings import MARKS, SurveyReadings

STAIRS = (1, 2, 3, 4, 5)
"""Per cents of the picture that bars reach in from each edge; our own choice."""
_FIRST, _STEP, _WIDE = 0.18, 0.05, 0.03
"""Where the first bar stands along its edge, the next from it, and its width, as shares of the
edge; our own choice: clear of corners and middles."""

INNER_SHARE = 0.1
"""How far from the edges marks inside the picture are proposed, as a share of its sides: twice the
highest bar, so that they are seen where that is cut off; our own choice."""
_INNER = {"upper-left": (0, 0), "upper-right": (1, 0), "lower-left": (0, 1), "lower-right": (1, 1)}

_KINDS = {"lengths": "length", "places": "place", "gaps": "gap"}
"""Kinds of lines as a survey tells them."""
_SIDES = ("upper", "lower", "left", "right")


@dataclass(frozen=True)
class Bar:
    """A bar from an edge of the picture inwards; what of it is not seen, is cut off.

    Attributes
    ----------
    side
        ``"upper"``, ``"lower"``, ``"left"`` or ``"right"``.
    percent
        Of the picture's height or width that it reaches in.
    box_px
        Its left, top, width and height, from the picture's upper left corner [px].
    """

    side: str
    percent: int
    box_px: tuple[float, float, float, float]


@dataclass(frozen=True)
class SurveyMarks:
    """What to draw on a display whose picture is surveyed.

    Attributes
    ----------
    rig, surface
        Name of the rig, and id of the surface.
    display_px
        Columns and rows of the display, as the rig says.
    size_px, first_px
        Columns and rows of the picture, and where it begins on the desktop, in the pixels that
        programs count.
    marks_px
        Each mark's place by name, from the picture's upper left corner [px].
    lines
        What is to be read, in the order and with the names of the survey's form.
    rig_mm
        Of each line what the rig says of it [mm]; None for other lines than lengths.
    bars
        Along every edge.
    """

    rig: str
    surface: str
    display_px: tuple[int, int]
    size_px: tuple[int, int]
    first_px: tuple[float, float]
    marks_px: dict[str, tuple[float, float]]
    lines: tuple[Line, ...]
    rig_mm: tuple[float | None, ...]
    bars: tuple[Bar, ...]

    def as_dict(self) -> dict[str, Any]:
        """As plain values."""
        return {
            "rig": self.rig,
            "surface": self.surface,
            "display_px": list(self.display_px),
            "size_px": list(self.size_px),
            "first_px": list(self.first_px),
            "marks": [
                {"mark": name, "x_px": x, "y_px": y, "own": name not in MARKS}
                for name, (x, y) in self.marks_px.items()
            ],
            "readings": [
                {
                    "number": number,
                    "kind": _KINDS[line.kind],
                    "from": line.one,
                    "to": line.other,
                    "at": line.at,
                    "read": line.filled,
                    "rig_mm": says,
                }
                for number, (line, says) in enumerate(zip(self.lines, self.rig_mm, strict=True), 1)
            ],
            "edges": [
                {"side": bar.side, "percent": bar.percent, "box_px": list(bar.box_px)}
                for bar in self.bars
            ],
            "cautions": [CAUTIONS["beam"], CAUTIONS["height"]],
        }


def survey_marks(
    rig_file: Path, readings_path: Path | None = None, words: str | None = None
) -> SurveyMarks:
    """Where the marks are that `survey` asks to be measured, and between which of them.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    readings_path
        With marks and lines of one's own, filled in or not; ``readings.toml`` beside the rig when
        left out. Where there is none, the marks of every picture and the usual lengths.
    words
        What such a file says, where it is at hand: its path is then not read.

    Raises
    ------
    RushlightError
        When the rig has no surface, or the readings' marks or the names in its lines are wrong.
    """
    if words is None and readings_path is not None:
        words = read_text(readings_path)
    name = READINGS_FILE if readings_path is None else readings_path.name
    form = form_of(rig_file, words)
    rig, _ = load_rig(rig_file)
    # Without its lines, which need not be filled in before they are shown.
    bare = tomllib.loads(text_of(replace(form, lines=())))
    readings = validate(SurveyReadings, bare, name)
    surface = surface_asked(rig, readings.surface, name)
    names, places_px, _ = places_of(readings, surface, name)
    _check(form.lines, names, name)
    wide, high = size_of(readings, surface)
    x, y = readings.first_px
    shown_m = marks_of(form, surface)
    lengths = [
        as_the_rig_says(line, shown_m) if line.kind == "lengths" else None for line in form.lines
    ]
    return SurveyMarks(
        rig=rig.name,
        surface=surface.id,
        display_px=(int(surface.pixels[0]), int(surface.pixels[1])),
        size_px=(wide, high),
        first_px=(x, y),
        marks_px={
            mark: (float(at[0]) - x, float(at[1]) - y)
            for mark, at in zip(names, places_px, strict=True)
        },
        lines=form.lines,
        rig_mm=tuple(None if each is None else round(each, 1) for each in lengths),
        bars=tuple(_bar(*each, wide, high) for each in product(_SIDES, STAIRS)),
    )


def with_inner_marks(form: Form, surface: Surface) -> Form:
    """A form with four marks inside the picture, and lines between them, where edges are cut off.

    Lines that are filled in stay; of those that are not, the new ones take the place. What the
    form has of the new marks already stays as it is.

    Parameters
    ----------
    form
        As filled in.
    surface
        That the picture is shown on.
    """
    columns, rows = form.size_px
    size = [
        int(given) if given.strip().isdecimal() else int(own)
        for given, own in zip((columns, rows), surface.pixels, strict=True)
    ]
    there = {name for name, _, _ in form.marks}
    made = []
    for corner, sides in _INNER.items():
        if (name := f"inner-{corner}") not in there:
            aside = [round(INNER_SHARE * length) for length in size]
            at = [
                length - off if far else off
                for length, off, far in zip(size, aside, sides, strict=True)
            ]
            made.append((name, str(at[0]), str(at[1])))
    kept = [line for line in form.lines if line.filled or line.kind != "lengths"]
    known = {(line.one, line.other) for line in kept}
    pairs = [(f"inner-{one}", f"inner-{other}") for one, other in USUAL]
    new = [Line("lengths", *pair) for pair in pairs if pair not in known]
    return replace(form, marks=(*form.marks, *made), lines=(*kept, *new))


def _bar(side: str, percent: int, wide: int, high: int) -> Bar:
    along = _FIRST + _STEP * (percent - 1)
    deep = percent / 100.0
    left, top, width, height = {
        "upper": (along, 0.0, _WIDE, deep),
        "lower": (along, 1.0 - deep, _WIDE, deep),
        "left": (0.0, along, deep, _WIDE),
        "right": (1.0 - deep, along, deep, _WIDE),
    }[side]
    box = (left * wide, top * high, width * wide, height * high)
    return Bar(side, percent, (*(round(each, 2) for each in box),))  # type: ignore[arg-type]


def _check(lines: tuple[Line, ...], names: list[str], name: str) -> None:
    """That every line names marks that are there."""
    counts: dict[str, int] = {}
    for line in lines:
        number = counts.setdefault(line.kind, 0)
        counts[line.kind] += 1
        where = f"{name}: {line.kind}[{number}]"
        if line.kind == "places":
            index_of(names, line.one, f"{where}.mark")
            continue
        for mark in (line.one, line.other):
            index_of(names, mark, f"{where}.between")
        if line.kind == "gaps":
            index_of(names, line.at, f"{where}.at")
