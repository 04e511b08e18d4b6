"""The files of an inspection: measured values as TOML, and the map of odd pixels."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

import numpy as np

from rushlight.errors import RushlightError
from rushlight.inspect.result import Measure
from rushlight.records.document import Basis, read_document, write_bytes, write_text
from rushlight.records.parts import PartMeasured
from rushlight.records.sourced import Sourced
from rushlight.see.hot import HotPixels
from rushlight.shelf.catalogue import MEASURED_FOLDER, Shelf

_ABOVE = (
    "Measured of the part at hand by `rushlight inspect`; each value goes before the shelf's.",
    "Delete a value to return to the shelf's, the file if you use another specimen.",
)


def write_measured(
    path: Path,
    part: str,
    kind: Literal["camera", "emitter"],
    measures: Sequence[Measure],
    basis: Basis,
    inputs: Mapping[str, str],
    shelf: Shelf,
) -> PartMeasured:
    """Write measured values of a part, beside those that were measured before.

    Parameters
    ----------
    path
        Of the TOML file.
    part, kind
        Whose values.
    measures
        Each with a field and a finite value.
    basis
        Of the new values.
    inputs
        Role of each take, and its content hash.
    shelf
        That knows the part.

    Returns
    -------
    PartMeasured
        As written.

    Raises
    ------
    RushlightError
        When simulated values would stand in the place of measured ones, a value cannot be the
        part's, or the file there is not one of measured values.
    """
    values: dict[str, Sourced] = {}
    kept_inputs: dict[str, str] = {}
    if path.exists():
        before = read_document(PartMeasured, path)
        values = dict(before.values)
        kept_inputs = dict(before.header.inputs) if before.header else {}
    for measure in measures:
        field = measure.field or ""
        old = values.get(field)
        if basis == "simulated" and old is not None and old.basis == "measured":
            raise RushlightError.of(
                f"{path.name}: values.{field}",
                f"{old.value:g} {old.unit}".strip(),
                "was measured, and simulated pictures must not replace it",
                "give another folder with --out",
                "simulated-over-measured",
            )
        values[field] = measure.sourced(basis)
    bases = {value.basis for value in values.values()}
    document = PartMeasured(part=part, kind=kind, values=values).stamped(
        "simulated" if "simulated" in bases else "measured", {**kept_inputs, **inputs}
    )
    _must_fit(document, shelf, path)
    write_text(path, toml_of(document))
    return document


def _must_fit(document: PartMeasured, shelf: Shelf, path: Path) -> None:
    """Refuse what the shelf would refuse the next time that it is read."""
    part = shelf.find(document.kind, document.part)
    if part is None:
        raise RushlightError.of(
            f"shelf: {document.kind}",
            f'"{document.part}"',
            "is not on the shelf",
            shelf.remedy(document.kind, document.part),
            "part-unknown",
        )
    try:
        type(part).model_validate({**part.model_dump(), **document.model_dump()["values"]})
    except ValueError as error:
        raise RushlightError.of(
            f"{path.name}: values",
            "",
            f"cannot be values of {document.part}: {error}",
            "look at the takes again",
            "value-wrong",
        ) from None


def toml_of(document: PartMeasured) -> str:
    """A document of measured values as TOML text."""
    import tomlkit  # only where something is written

    content: dict[str, Any] = document.model_dump(mode="json", by_alias=True, exclude_none=True)
    text = tomlkit.document()
    for line in _ABOVE:
        text.add(tomlkit.comment(line))
    for key in ("schema", "version", "part", "kind", "specimen"):
        if content.get(key):
            text.add(key, content[key])
    values = tomlkit.table(is_super_table=True)
    for name, value in content["values"].items():
        table = tomlkit.table()
        for key, each in value.items():
            table.add(key, each)
        values.add(name, table)
    text.add("values", values)
    if "header" in content:
        text.add("header", tomlkit.item(content["header"]))
    return tomlkit.dumps(text)


def write_pixels(
    pixels: Sequence[tuple[int, int, str]], size_px: tuple[int, int], stem: Path
) -> list[Path]:
    """Write the odd pixels as a list, and as a map of the picture: hot white, dead grey.

    Parameters
    ----------
    pixels
        (x, y, "hot" or "dead").
    size_px
        Width and height of the picture [px].
    stem
        Path without a suffix.

    Returns
    -------
    list of Path
        The list and the map.
    """
    from PIL import Image

    lines = ["x_px,y_px,what", *(f"{x},{y},{what}" for x, y, what in pixels)]
    listed = stem.with_name(stem.name + ".csv")
    write_text(listed, "\n".join(lines) + "\n")
    levels = np.zeros((size_px[1], size_px[0]), np.uint8)
    for x, y, what in pixels:
        levels[y, x] = 255 if what == "hot" else 128
    buffer = io.BytesIO()
    Image.fromarray(levels).save(buffer, format="PNG")
    mapped = stem.with_name(stem.name + ".png")
    write_bytes(mapped, buffer.getvalue())
    return [listed, mapped]


def hot_pixels(folder: Path, part: str, size_px: tuple[int, int]) -> HotPixels | None:
    """The odd pixels of a camera, as inspection listed them beside a rig; None where it did not.

    Parameters
    ----------
    folder
        Of the rig.
    part
        Id of the camera's part.
    size_px
        Width and height of the pictures [px].

    Raises
    ------
    RushlightError
        When the list cannot be read, or is of larger pictures.
    """
    path = folder / MEASURED_FOLDER / f"{part}-noise-pixels.csv"
    if not path.is_file():
        return None
    try:
        rows = [line.split(",")[:2] for line in path.read_text().splitlines()[1:] if line]
        places = np.array([[int(x), int(y)] for x, y in rows], np.int64).reshape(-1, 2)
    except (OSError, ValueError) as error:
        raise RushlightError.of(
            str(path), "", "is no list of pixels", "inspect the camera's noise again", "pixels"
        ) from error
    found = HotPixels(xy=places)
    if not found.within(*size_px):
        raise RushlightError.of(
            str(path),
            "",
            f"lists pixels outside pictures of {size_px[0]}×{size_px[1]} px",
            "inspect the camera at the size that the rig uses",
            "pixels",
        )
    return found
