"""The verb `parts`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class PartKind(StrEnum):
    """The kinds of parts."""

    camera = "camera"
    emitter = "emitter"
    cell = "cell"
    filter = "filter"
    display = "display"
    sheet = "sheet"


def parts(
    kind: Annotated[PartKind | None, typer.Option(help="Show one kind of part only.")] = None,
    rig: Annotated[
        Path | None, typer.Option(help="With the parts that lie beside this rig.")
    ] = None,
    sources: Annotated[
        bool, typer.Option("--sources", help="Show every value with its source.")
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="Print the parts as JSON.")] = False,
) -> None:
    """List the parts that a rig may be made of."""
    from rushlight.cli import render
    from rushlight.jobs.parts import HEADLINES, headlines, part_values, parts_as_dict
    from rushlight.jobs.parts import parts as job
    from rushlight.shelf.catalogue import KINDS

    shelf = job(rig)
    kinds = KINDS if kind is None else tuple(each for each in KINDS if each == kind.value)
    if json:
        render.print_json(parts_as_dict(shelf, kinds))
        return
    for each in kinds:
        render.heading(f"{each}s")
        if not sources:
            columns = ["id", *(name.replace("_", " ") for name in HEADLINES[each])]
            rows = [[part.id, *headlines(part, each)] for part in shelf.of_kind(each)]
            render.table("", columns, rows)
            continue
        for part in shelf.of_kind(each):
            render.note(f"{part.id}: {part.name} (from {shelf.origin(each, part.id)})")
            if part.note:
                render.note(f"  {part.note}")
            rows = [
                [value.name.replace("_", " "), value.text, value.source]
                for value in part_values(part)
            ]
            render.table("", ["value", "± one standard deviation", "source"], rows)
