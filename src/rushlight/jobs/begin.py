"""A new rig from an invented example, or from four answers."""

from __future__ import annotations

import importlib.resources
from dataclasses import dataclass
from pathlib import Path

from rushlight.errors import RushlightError
from rushlight.jobs.demo import SCENARIOS
from rushlight.jobs.edit import edited
from rushlight.jobs.glance import glance
from rushlight.jobs.load import RIG_FILE
from rushlight.jobs.new import new
from rushlight.records.document import read_text, write_text
from rushlight.records.quantity import QuantityError, parse_quantity
from rushlight.shelf.catalogue import load_shelf

WHERE = ("behind", "ceiling", "side")
"""Where a camera can go before a surface: behind the users and above their heads, above them
near the surface, on a stand beside it."""

_DISTANCES = (0.6, 0.8, 1.0, 1.2, 1.45, 1.75, 2.1)
"""Distances tried, over the greater side of the surface; a choice of ours."""


@dataclass(frozen=True)
class Answers:
    """What somebody answers who begins a rig.

    Attributes
    ----------
    kind
        Of the rig.
    width, height
        Of its surface, as typed; empty keeps the template's.
    where
        One of `WHERE`, or empty to keep the template's place; for the kind surface.
    camera
        Id of a camera on the shelf that is at hand, or empty to keep the template's.
    """

    kind: str = "surface"
    width: str = ""
    height: str = ""
    where: str = ""
    camera: str = ""


def begin_from_answers(folder: Path, name: str, answers: Answers) -> Path:
    """Write a commented rig into a folder of its own, changed as the answers say.

    The camera of a surface rig is put where, of a few distances, the quick look predicts that
    most of the surface is covered.

    Returns
    -------
    Path
        Of the file written.

    Raises
    ------
    RushlightError
        When an answer cannot be used, or the rig is there already; nothing is written then.
    """
    sizes = [_length(words, what) for what, words in _sizes(answers)]
    _known(answers.where, ("", *WHERE), "where can a camera go")
    cameras = [part.id for part in load_shelf(folder).of_kind("camera")]
    _known(answers.camera, ("", *cameras), "what have you got")
    path = new(folder / name, answers.kind, name)
    text = read_text(path)
    if answers.camera:
        text = edited(text, "cameras[0].part", answers.camera)
    for what, words in _sizes(answers):
        if words and answers.kind != "volume":
            text = edited(text, f"surfaces[0].{what}", words.strip())
    if answers.kind == "surface" and (answers.where or any(sizes)):
        text = _placed(text, path.parent, answers.where or "behind")
    write_text(path, text)
    return path


def begin_from_scenario(folder: Path, scenario: str) -> Path:
    """Copy an invented example into a folder of its name.

    Raises
    ------
    RushlightError
        When there is no such example, or the folder is there already.
    """
    _known(scenario, SCENARIOS, "example")
    to = folder / scenario
    if to.exists():
        raise RushlightError.of(
            str(to), "", "exists already and is not overwritten", "open it instead", "exists"
        )
    source = importlib.resources.files("rushlight.jobs") / "scenarios" / scenario
    for each in source.iterdir():
        if each.name.endswith(".toml"):
            write_text(to / each.name, each.read_text(encoding="utf-8"))
    return to / RIG_FILE


def _sizes(answers: Answers) -> tuple[tuple[str, str], tuple[str, str]]:
    return ("width", answers.width), ("height", answers.height)


def _length(words: str, what: str) -> float | None:
    if not words.strip():
        return None
    try:
        return parse_quantity(words, "length").value
    except QuantityError as error:
        raise RushlightError.of(
            f"how large: {what}", f'"{words}"', error.allowed, error.remedy, "quantity"
        ) from None


def _known(given: str, allowed: tuple[str, ...], what: str) -> None:
    if given not in allowed:
        names = ", ".join(each for each in allowed if each)
        raise RushlightError.of(what, f'"{given}"', "is not known", f"use {names}", "answer")


def _placed(text: str, folder: Path, where: str) -> str:
    """The rig's text with its camera where, of some distances, most is covered."""
    room = glance(text, folder).room
    if room is None or not room["surfaces"]:
        return text
    _, (width, _, _), (_, height, _), _ = room["surfaces"][0]["corners_m"]
    tried = []
    for share in _DISTANCES:
        away = share * max(width, height)
        place = {
            "behind": (width / 2, height + 0.1, away),
            "ceiling": (width / 2, height + 0.6, 0.7 * away),
            "side": (-0.25 * width, 0.8 * height, away),
        }[where]
        other = text
        for axis, value in enumerate(place):
            other = edited(other, f"cameras[0].position[{axis}]", f"{value:.2f} m")
        for axis, value in enumerate((width / 2, height / 2, 0.0)):
            other = edited(other, f"cameras[0].look_at[{axis}]", f"{value:.2f} m")
        looked = glance(other, folder)
        if looked.coverage is not None and looked.error_mm is not None:
            tried.append((-looked.coverage, looked.error_mm, other))
    return min(tried)[2] if tried else text
