"""Changing a rig's text: one value at a time, and everything else stays as the user wrote it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from rushlight.errors import RushlightError
from rushlight.jobs.load import RIG_FILE
from rushlight.records.document import read_text, write_text
from rushlight.records.quantity import Dimension, QuantityError, parse_quantity

_STEP = re.compile(r"([A-Za-z_][\w-]*)|\[(\d+)\]")
_ABOUT_M = 1.5
"""How far a slider reaches to either side where no room bounds it [m]; a choice of ours."""
_AXES = ("x", "y", "z")
_STEPS = 200

CHANGED_ELSEWHERE = "changed-elsewhere"
"""Code of the finding that a file is not as it was read."""


@dataclass(frozen=True)
class Field:
    """One value of a rig that a page lets people change.

    Attributes
    ----------
    path
        In the document, such as ``"cameras[0].position[2]"``.
    group
        What it belongs to: the id of a camera or carried thing, or a table's name.
    name
        Of the value, such as ``"position.z"``.
    text
        As it stands there.
    unit
        As typed; empty where it is no quantity, and then there are no bounds.
    value, low, high, step
        In that unit, for a slider.
    """

    path: str
    group: str
    name: str
    text: str
    unit: str = ""
    value: float = 0.0
    low: float = 0.0
    high: float = 0.0
    step: float = 0.0

    @property
    def slides(self) -> bool:
        """Whether a slider makes sense."""
        return self.high > self.low

    def written(self, value: float) -> str:
        """A value of the slider as it is written into the rig: in the unit as typed."""
        digits = max(0, len(f"{self.step:.9f}".rstrip("0").split(".")[1]))
        number = f"{value:.{digits}f}"
        number = number.rstrip("0").rstrip(".") if "." in number else number
        return f"{number} {self.unit}"


def fields_of(text: str) -> list[Field]:
    """The values of a rig that are worth trying out, in the order of the document.

    Raises
    ------
    RushlightError
        When the text is no TOML.
    """
    document = parsed(text)
    return list(_fields(document))


def edited(text: str, path: str, given: str) -> str:
    """The rig's text with one value changed; comments, order and spaces stay.

    Parameters
    ----------
    text
        Of ``rig.toml``.
    path
        Of the value, such as ``"cameras[0].position[2]"``; it must be there.
    given
        The new value, as the user types it.

    Raises
    ------
    RushlightError
        When the text is no TOML, or nothing stands at the path.
    """
    document = parsed(text)
    put(document, path, given)
    return tomlkit.dumps(document)


def put(document: Any, path: str, given: str) -> None:
    """Put a value into a document that was read; see `edited`."""
    steps = _steps(path)
    holder: Any = document
    try:
        for step in steps[:-1]:
            holder = holder[step]
        if not isinstance(holder[steps[-1]], str):
            raise KeyError(path)
        holder[steps[-1]] = given
    except (KeyError, IndexError, TypeError):
        raise RushlightError.of(
            f"{RIG_FILE}: {path}", "", "is not there", "write it into the file first", "path"
        ) from None


def save(file: Path, text: str, read_as: str) -> None:
    """Write a rig's text, unless the file was changed since it was read.

    Parameters
    ----------
    file
        Of the rig.
    text
        To write.
    read_as
        What stood in the file when the user began.

    Raises
    ------
    RushlightError
        When the text is no TOML, something else stands there now, or it cannot be written.
    """
    parsed(text)  # nobody wants a rig replaced by what no program can read
    refuse_if_changed(file, read_text(file), read_as)
    write_text(file, text)


def refuse_if_changed(file: Path, now: str, read_as: str) -> None:
    """Let nobody write over what somebody else wrote meanwhile.

    Parameters
    ----------
    file
        Whose text it is.
    now
        What stands there now.
    read_as
        What stood there when the user began.

    Raises
    ------
    RushlightError
        With the code ``"changed-elsewhere"``, when they differ.
    """
    if now != read_as:
        raise RushlightError.of(
            str(file),
            "",
            "was changed elsewhere since this page read it",
            "load it anew, or save over it on purpose",
            CHANGED_ELSEWHERE,
        )


def parsed(text: str) -> tomlkit.TOMLDocument:
    """A rig's text with its style kept; raises RushlightError when it is no TOML."""
    try:
        return tomlkit.parse(text)
    except TOMLKitError as error:
        raise RushlightError.of(
            RIG_FILE, "", f"is not valid TOML: {error}", "mend that line", "toml"
        ) from None


def _steps(path: str) -> list[str | int]:
    return [name or int(index) for name, index in _STEP.findall(path)]


def _fields(document: Any) -> Iterator[Field]:
    room = _room_bounds(document)
    for i, camera in enumerate(document.get("cameras", ())):
        group, at = str(camera.get("id", "camera")), f"cameras[{i}]"
        for what in ("position", "look_at"):
            for axis, (name, value) in enumerate(zip(_AXES, camera.get(what, ()), strict=False)):
                bounds = room[axis] if room and what == "position" else None
                yield _place(f"{at}.{what}[{axis}]", group, f"{what}.{name}", value, bounds)
        for what, low, high in (("exposure", 0.02e-3, 20e-3), ("frame_rate", 5.0, 240.0)):
            dimension: Dimension = "time" if what == "exposure" else "frequency"
            if what in camera:
                yield _bounded(f"{at}.{what}", group, what, camera[what], dimension, low, high)
    for i, surface in enumerate(document.get("surfaces", ())):
        group = str(surface.get("id", "surface"))
        for what in ("width", "height", "height_above_floor"):
            if what in surface:
                yield _scaled(f"surfaces[{i}].{what}", group, what, surface[what], "length")
    for i, carried in enumerate(document.get("carried", ())):
        for j, emitter in enumerate(carried.get("emitters", ())):
            group, at = str(carried.get("id", "carried")), f"carried[{i}].emitters[{j}]"
            for what, dimension in (("current", "current"), ("duty", "share")):
                if what in emitter:
                    yield _scaled(f"{at}.{what}", group, what, emitter[what], dimension)
    for table, what, dimension in (
        ("ambient", "irradiance", "irradiance"),
        ("targets", "worst_error", "length"),
        ("targets", "delay", "time"),
        ("targets", "coverage", "share"),
    ):
        if what in document.get(table, {}):
            yield _scaled(f"{table}.{what}", table, what, document[table][what], dimension)


def _room_bounds(document: Any) -> list[tuple[float, float]] | None:
    """Of the room along x, y and z in the rig frame [m], or None where no room is told."""
    room, surfaces = document.get("room"), document.get("surfaces")
    if not room or not surfaces:
        return None
    try:
        wide, deep, tall, left, floor = (
            parse_quantity(text, "length").value
            for text in (
                room["width"],
                room["depth"],
                room["height"],
                room.get("left", "0 m"),
                surfaces[0]["height_above_floor"],
            )
        )
    except (QuantityError, KeyError):
        return None
    return [(-left, wide - left), (-floor, tall - floor), (0.0, deep)]


def _place(
    path: str, group: str, name: str, given: Any, bounds: tuple[float, float] | None
) -> Field:
    value = _value(given, "length")
    if value is None:
        return Field(path, group, name, str(given))
    low, high = bounds or (value - _ABOUT_M, value + _ABOUT_M)
    return _bounded(path, group, name, given, "length", min(low, value), max(high, value))


def _scaled(path: str, group: str, name: str, given: Any, dimension: Dimension) -> Field:
    """A field that may become three times as much; shares at most whole."""
    value = _value(given, dimension)
    if value is None or value <= 0.0:
        return Field(path, group, name, str(given))
    high = 1.0 if dimension == "share" else 3.0 * value
    return _bounded(path, group, name, given, dimension, value / 20.0, high)


def _bounded(
    path: str, group: str, name: str, given: Any, dimension: Dimension, low: float, high: float
) -> Field:
    """A field with bounds in SI, told in the unit as typed."""
    value, unit = _value(given, dimension), _unit_of(str(given))
    if value is None or not unit:
        return Field(path, group, name, str(given))
    one = parse_quantity(f"1 {unit}", dimension).value
    step = _round_step((high - low) / one / _STEPS)
    least = step * max(-(-low // (step * one)), -1e9)
    return Field(path, group, name, str(given), unit, value / one, least, high / one, step)


def _round_step(wanted: float) -> float:
    """The 1, 2 or 5 times a power of ten next below."""
    for exponent in range(6, -8, -1):
        for digit in (5.0, 2.0, 1.0):
            step = round(digit * 10.0**exponent, 9)
            if step <= wanted:
                return step
    return 1e-7


def _value(given: Any, dimension: Dimension) -> float | None:
    try:
        return parse_quantity(str(given), dimension).value
    except QuantityError:
        return None


def _unit_of(text: str) -> str:
    """The first unit word of a quantity as typed."""
    found = re.search(r"[\d.]\s*([^\s\d.+-]\S*)", text)
    return found[1] if found else ""
