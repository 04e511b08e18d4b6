"""Which parts are there, and what is known of them?"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rushlight.jobs.load import rig_path
from rushlight.records.document import read_text
from rushlight.records.parts import Part
from rushlight.records.sourced import Sourced
from rushlight.shelf.catalogue import KINDS, Kind, Shelf, load_shelf

HEADLINES: dict[Kind, tuple[str, ...]] = {
    "camera": ("size_px", "frame_rate", "shutter", "focal_length"),
    "emitter": ("wavelength", "half_angle", "intensity", "test_current"),
    "cell": ("chemistry", "voltage", "greatest_current"),
    "filter": ("passes", "edge", "centre", "width", "transmission"),
    "display": ("technology", "size_px", "refresh", "delay"),
    "sheet": ("near_straight", "near_aside", "far_straight", "far_aside"),
}
"""The values of each kind that a list of parts shows."""


@dataclass(frozen=True)
class PartValue:
    """One value of one part, in words.

    Attributes
    ----------
    name
        Field of the part.
    text
        Value ± standard deviation and unit.
    source
        Where it comes from; None for plain facts such as the number of pixels.
    """

    name: str
    text: str
    source: str | None = None


def parts(rig: Path | None = None) -> Shelf:
    """The shelf: the built-in parts, with what lies beside a rig.

    Parameters
    ----------
    rig
        The rig's file or folder, or None for the built-in parts alone.

    Raises
    ------
    RushlightError
        When the rig does not exist, or a shelf file beside it is wrong.
    """
    if rig is None:
        return load_shelf(None)
    read_text(rig_path(rig))
    return load_shelf(rig_path(rig).parent)


def part_values(part: Part) -> list[PartValue]:
    """Everything that is known of a part, in the order of its record."""
    values: list[PartValue] = []
    for name in type(part).model_fields:
        given = getattr(part, name)
        if name in ("id", "name", "note", "price") or given is None:
            continue
        if isinstance(given, Sourced):
            values.append(PartValue(name, sourced_text(given), given.source))
        elif name == "capacity":
            values += [
                PartValue(
                    f"capacity at {sourced_text(point.current)}",
                    sourced_text(point.charge),
                    point.charge.source,
                )
                for point in given
            ]
        elif name == "size_px":
            values.append(PartValue(name, f"{given[0]} × {given[1]}"))
        else:
            values.append(PartValue(name, _plain(given)))
    return values


def headlines(part: Part, kind: Kind) -> list[str | None]:
    """The values of a part that a list shows, None for those that it lacks."""
    texts = {value.name: value.text for value in part_values(part)}
    return [texts.get(name) for name in HEADLINES[kind]]


def _plain(given: object) -> str:
    if isinstance(given, bool):
        return "yes" if given else "no"
    return str(given)


def sourced_text(given: Sourced) -> str:
    """A value with its doubt and unit, as "28 ± 8.4 %"."""
    doubt = "" if given.std is None else f" ± {given.std:g}"
    return f"{given.value:g}{doubt} {given.unit}".strip()


def parts_as_dict(shelf: Shelf, kinds: tuple[Kind, ...] = KINDS) -> dict[str, object]:
    """The parts as plain values, for JSON: each with the files that it comes from."""
    return {
        f"{kind}s": [
            {"origin": shelf.origin(kind, part.id), **part.model_dump(mode="json")}
            for part in shelf.of_kind(kind)
        ]
        for kind in kinds
    }
