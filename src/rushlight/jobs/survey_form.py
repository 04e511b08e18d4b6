"""The readings of a picture survey as a form: lines to fill in, and the file they make."""

from __future__ import annotations

import re
import tomllib
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from rushlight.errors import RushlightError
from rushlight.jobs.edit import refuse_if_changed
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.survey import READINGS_FILE, SurveyResult, survey, survey_of
from rushlight.records.document import read_text, validate, write_text
from rushlight.records.survey_readings import MARKS, SurveyReadings

USUAL = (
    ("lower-left", "lower-right"),
    ("upper-left", "upper-right"),
    ("lower-left", "upper-left"),
    ("lower-right", "upper-right"),
    ("lower-left", "upper-right"),
    ("lower-right", "upper-left"),
)
"""Marks between which one measures first: four sides and both diagonals."""

_KEYS = {
    "lengths": ("between", "length", "doubt"),
    "places": ("mark", "right", "up", "doubt"),
    "gaps": ("between", "at", "gap", "doubt"),
}
_READ = {"lengths": ("length",), "places": ("right", "up"), "gaps": ("gap",)}
"""What a line must have before it counts as filled in."""


@dataclass(frozen=True)
class Line:
    """One reading as typed; what its kind does not have stays empty.

    Attributes
    ----------
    kind
        ``"lengths"``, ``"places"`` or ``"gaps"``.
    one, other
        Marks between which a ruler or straight edge lies; of a place its mark, and nothing.
    at
        Mark at which a gap is read.
    read, up, doubt
        Quantities as typed; of a place `read` is its way to the right.
    """

    kind: str
    one: str
    other: str = ""
    at: str = ""
    read: str = ""
    up: str = ""
    doubt: str = ""

    @property
    def filled(self) -> bool:
        """Whether anything was read."""
        return bool(self.read.strip() or self.up.strip())


@dataclass(frozen=True)
class Form:
    """All that a person fills in.

    Attributes
    ----------
    surface
        Id of the surface.
    ruler_doubt, gap_doubt
        Standard deviation of a reading, as typed; empty for the usual.
    first_px, size_px
        Where the picture begins on the desktop, and its columns and rows, as typed; empty for
        the rig's own.
    marks
        Own marks: name, and pixels to the right and down, as typed.
    lines
        Readings.
    by_registration
        As of `SurveyReadings`; empty where no place was touched.
    simulated
        Whether what was touched is simulated.
    """

    surface: str
    ruler_doubt: str = ""
    gap_doubt: str = ""
    first_px: tuple[str, str] = ("", "")
    size_px: tuple[str, str] = ("", "")
    marks: tuple[tuple[str, str, str], ...] = ()
    lines: tuple[Line, ...] = field(default=())
    by_registration: str = ""
    simulated: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Every mark that a reading may name."""
        return (*MARKS, *(name for name, _, _ in self.marks if name))


def blank(rig_file: Path) -> Form:
    """A form with nothing filled in.

    Raises
    ------
    RushlightError
        When the rig has no surface.
    """
    rig, _ = load_rig(rig_file)
    if not rig.surfaces:
        raise RushlightError.of(
            f"{rig_path(rig_file).name}: surfaces", "",
            "holds none, so there is no picture to survey", "give a rig with a surface",
            "survey-no-surface",
        )  # fmt: skip
    return Form(rig.surfaces[0].id, lines=tuple(Line("lengths", *pair) for pair in USUAL))


def form_of(rig_file: Path, words: str | None = None) -> Form:
    """The form as its file has it, or a blank one where there is none.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    words
        Of the file, where they are at hand.

    Raises
    ------
    RushlightError
        When the file is no TOML, or the rig has no surface.
    """
    empty, path = blank(rig_file), _file(rig_file)
    if words is None and not path.exists():
        return empty
    try:
        data = tomllib.loads(read_text(path) if words is None else words)
    except tomllib.TOMLDecodeError as error:
        raise RushlightError.of(
            path.name, "", f"is not valid TOML: {error}", "mend that line", "toml"
        ) from None
    lines = [
        _line(kind, each) for kind in _KEYS for each in data.get(kind, ()) if isinstance(each, dict)
    ]
    marks = data.get("marks")
    return replace(
        empty,
        surface=str(data.get("surface", empty.surface)),
        ruler_doubt=str(data.get("ruler_doubt", "")),
        gap_doubt=str(data.get("gap_doubt", "")),
        first_px=_pair(data.get("first_px")),
        size_px=_pair(data.get("size_px")),
        marks=tuple((name, *_pair(px)) for name, px in marks.items())
        if isinstance(marks, dict)
        else (),
        lines=tuple(lines) or empty.lines,
        by_registration=str(data.get("by_registration", "")),
        simulated=data.get("simulated") is True,
    )


def text_of(form: Form, before: str = "", blank_lines: bool = False) -> str:
    """The file that a form makes; comments and order of the file before stay where they can.

    Parameters
    ----------
    form
        As filled in.
    before
        What stood in the file.
    blank_lines
        Whether lines that are not filled in are written too.

    Raises
    ------
    RushlightError
        When the text before is no TOML.
    """
    try:
        document = tomlkit.parse(before)
    except TOMLKitError as error:
        raise RushlightError.of(
            READINGS_FILE, "", f"is not valid TOML: {error}", "mend that line", "toml"
        ) from None
    top: dict[str, Any] = {
        "schema": SurveyReadings.SCHEMA,
        "version": SurveyReadings.VERSION,
        "surface": form.surface,
        "ruler_doubt": form.ruler_doubt.strip() or None,
        "gap_doubt": form.gap_doubt.strip() or None,
        "first_px": _pixels(form.first_px),
        "size_px": _pixels(form.size_px),
        "marks": {name: [_number(x), _number(y)] for name, x, y in form.marks if name.strip()}
        or None,
        "by_registration": form.by_registration or None,
        "simulated": form.simulated or None,
    }
    for key, value in top.items():
        _set(document, key, value)
    for kind in _KEYS:
        _set_lines(
            document, kind,
            [each for each in form.lines if each.kind == kind and (each.filled or blank_lines)],
        )  # fmt: skip
    return re.sub(r"\n{3,}", "\n\n", tomlkit.dumps(document))


def surveyed(rig_file: Path, form: Form) -> SurveyResult:
    """What the filled-in lines tell; nothing is written.

    Raises
    ------
    RushlightError
        As `rushlight.jobs.survey.survey`.
    """
    data = tomllib.loads(text_of(form))
    return survey_of(rig_file, validate(SurveyReadings, data, READINGS_FILE))


def kept_text(rig_file: Path) -> str:
    """What stands in the file of the readings, for `form_of` and `keep`; empty where none is.

    Raises
    ------
    RushlightError
        When it cannot be read.
    """
    path = _file(rig_file)
    return read_text(path) if path.exists() else ""


def keep(rig_file: Path, form: Form, read_as: str | None = None) -> SurveyResult:
    """Write the readings beside the rig, and survey by them as the command does.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    form
        As filled in.
    read_as
        What stood in the file when the user began, of `kept_text`; None for whatever stands there.

    Raises
    ------
    RushlightError
        As `surveyed`, or when something else stands in the file now, with the code
        `rushlight.jobs.edit.CHANGED_ELSEWHERE`; then nothing is written.
    """
    surveyed(rig_file, form)
    now, path = kept_text(rig_file), _file(rig_file)
    if read_as is not None:
        refuse_if_changed(path, now, read_as)
    write_text(path, text_of(form, now))
    return survey(rig_file)


def _file(rig_file: Path) -> Path:
    return rig_path(rig_file).parent / READINGS_FILE


def _line(kind: str, given: dict[str, Any]) -> Line:
    one, other = _pair(given.get("between"))
    if kind == "places":
        one = str(given.get("mark", ""))
    read = given.get(_READ[kind][0], "")
    return Line(
        kind, one, other, str(given.get("at", "")), str(read), str(given.get("up", "")),
        str(given.get("doubt", "")),
    )  # fmt: skip


def _plain(line: Line) -> dict[str, Any]:
    """A line as the file has it."""
    typed = asdict(line)
    values: dict[str, Any] = {
        "between": [line.one, line.other],
        "mark": line.one,
        _READ[line.kind][0]: line.read.strip(),
        "up": line.up.strip(),
        "at": typed["at"],
        "doubt": line.doubt.strip(),
    }
    return {key: values[key] for key in _KEYS[line.kind] if values[key] or key in _READ[line.kind]}


def _set(table: Any, key: str, value: Any) -> None:
    """Write a value, or take it away; one that is there already stays as it was written."""
    if value is None:
        table.pop(key, None)
    elif key not in table or table[key] != value:
        table[key] = value


def _set_lines(document: Any, kind: str, lines: list[Line]) -> None:
    there = list(document.get(kind, ()))
    if [each.unwrap() for each in there] == [_plain(line) for line in lines]:
        return
    made = tomlkit.aot()
    for line in lines:
        wanted = _plain(line)
        same = [each for each in there if _where(each) == _where(wanted)]
        table = same[0] if same else tomlkit.table()
        if same:
            there = [each for each in there if each is not table]
        for key in _KEYS[kind]:
            _set(table, key, wanted.get(key))
        made.append(table)
    document.pop(kind, None)
    if len(made):
        document[kind] = made


def _where(table: Any) -> tuple[Any, ...]:
    return (list(table.get("between", ())), table.get("mark"), table.get("at"))


def _pair(given: Any) -> tuple[str, str]:
    if not isinstance(given, list | tuple) or len(given) != 2:
        return ("", "")
    return (_typed(given[0]), _typed(given[1]))


def _typed(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _pixels(given: tuple[str, str]) -> list[int | float | str] | None:
    return [_number(each) for each in given] if any(each.strip() for each in given) else None


def _number(given: str) -> int | float | str:
    """A number where it is one; what is none is refused by the record, in its own sentence."""
    for kind in (int, float):
        try:
            return kind(given)
        except ValueError:
            continue
    return given
