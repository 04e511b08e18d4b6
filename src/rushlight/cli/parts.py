"""The verb `parts`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rushlight.jobs.building import BuildSheet


class PartKind(StrEnum):
    """The kinds of parts."""

    camera = "camera"
    emitter = "emitter"
    cell = "cell"
    filter = "filter"
    display = "display"
    sheet = "sheet"


def parts(
    of: Annotated[
        Path | None,
        typer.Argument(
            metavar="[RIG]",
            help="A rig's file or folder: what to buy and do to build it. Without one: the shelf.",
        ),
    ] = None,
    kind: Annotated[PartKind | None, typer.Option(help="Show one kind of part only.")] = None,
    rig: Annotated[
        Path | None, typer.Option(help="The shelf with the parts that lie beside this rig.")
    ] = None,
    sources: Annotated[
        bool, typer.Option("--sources", help="Show every value with its source.")
    ] = False,
    done: Annotated[
        list[str] | None, typer.Option(help="Key of a line of RIG to tick off; repeatable.")
    ] = None,
    undone: Annotated[
        list[str] | None, typer.Option(help="Key of a line of RIG to open again; repeatable.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Folder for the drawings of RIG.")] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the parts as JSON.")] = False,
) -> None:
    """List the parts that a rig may be made of, or what to buy and do to build one."""
    from rushlight.cli import render
    from rushlight.errors import RushlightError

    shelf_only = {"--kind": kind, "--rig": rig, "--sources": sources}
    rig_only = {"--done": done, "--undone": undone, "--out": out}
    given = [name for name, value in (shelf_only if of else rig_only).items() if value]
    if given:
        raise RushlightError.of(
            ", ".join(given),
            "",
            "belongs to the shelf, and a rig to build was named"
            if of
            else "needs the rig that is to be built",
            "leave it out" if of else "name the rig: rushlight parts RIG",
            "parts-options",
        )
    if of is None:
        _shelf(kind, rig, sources, json)
        return
    from rushlight.jobs.building import building

    with render.progress() as progress:
        sheet = building(of, done or (), undone or (), out, progress)
    if json:
        render.print_json(sheet.as_dict())
        return
    _build(sheet)
    if out is not None:
        render.note(f"drawings written to {out}")


def _build(sheet: BuildSheet) -> None:
    from rushlight.cli import render

    made = sheet.as_dict()
    render.heading(f"{made['title']} ({made['basis']}): before you begin")
    for caution in made["cautions"]:
        render.note(caution)
    render.findings(sheet.findings)
    marks = {"done": "x", "open": "", "changed": "?"}
    render.table(
        "What to buy",
        ["got", "what", "how many [1]", "each [1]", "together [1]", "price of", "rests on", "key"],
        [
            [
                marks[line["state"]], line["name"], line["count"], line["each"], line["together"],
                (line["price"] or {}).get("date"), (line["price"] or {}).get("basis"), line["key"],
            ]
            for line in made["buy"]
        ],
    )  # fmt: skip
    cost = made["cost"]
    total = "not known" if cost["value"] is None else f"{cost['value']:.2f} {cost['unit']}"
    render.note(f"in all {total} ({cost['basis']} prices; {cost['method']})")
    render.table(
        "What to do",
        ["done", "step", "key"],
        [[marks[line["state"]], line["title"], line["key"]] for line in made["steps"]],
    )
    for line in made["steps"]:
        render.note(f"{line['title']}: {line['text']}")
    for lookup in sheet.build.lookups:
        render.table(lookup.what, lookup.columns, lookup.rows)
    render.note(f"{made['done']} of {made['of']} ticked off")
    if any(line.state == "changed" for line in sheet.lines):
        render.note('"?": ticked off when the line said something else')


def _shelf(kind: PartKind | None, rig: Path | None, sources: bool, json: bool) -> None:
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
            values = [
                [value.name.replace("_", " "), value.text, value.source]
                for value in part_values(part)
            ]
            render.table("", ["value", "± one standard deviation", "source"], values)
