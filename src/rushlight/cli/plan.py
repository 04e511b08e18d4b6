"""The verb `plan`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rushlight.errors import RushlightError

if TYPE_CHECKING:
    from rushlight.records.plan import Plan
    from rushlight.records.space_plan import SpacePlan

    Table = tuple[str, list[str], list[list[object]]]


def plan(
    rig: Annotated[Path, typer.Argument(help="The rig's file, or its folder.")],
    out: Annotated[
        Path | None, typer.Option(help="Folder to write to; by default plan beside the rig.")
    ] = None,
    grid: Annotated[
        str, typer.Option(help="Columns x rows of places of a surface to look at.")
    ] = "9x6",
    touched_by: Annotated[
        list[str] | None,
        typer.Option(help="A carried thing that touches the beacons; by default every stylus."),
    ] = None,
    tolerance: Annotated[
        bool,
        typer.Option("--tolerance", help="Tell how sure the plan is, in place of the plan."),
    ] = False,
    draws: Annotated[
        int, typer.Option(help="Rigs drawn at random for --tolerance, 20 to 100000.")
    ] = 400,
    seed: Annotated[int, typer.Option(help="Of the draws for --tolerance.")] = 1,
    doubt: Annotated[
        list[str] | None,
        typer.Option(
            help='How well you know a cause for --tolerance, such as "camera-place=1 cm", '
            '"focal-length=1 %" or "ambient=0". May be given again.'
        ),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Predict what a rig will do, before anything is bought: error, light, delay, power, cost."""
    from rushlight.cli import render
    from rushlight.jobs.plan import default_folder, grid_of
    from rushlight.jobs.plan import plan as job

    folder = out or default_folder(rig)
    if tolerance:
        _tolerance(rig, folder, draws, seed, doubt or (), json)
        return
    if doubt:
        raise RushlightError.of(
            "--doubt",
            f'"{doubt[0]}"',
            "says how well a cause is known, which the plan itself does not ask",
            "add --tolerance, or leave it out",
            "doubt",
        )
    with render.progress() as progress:
        document = job(rig, folder, grid_of(grid), progress, touched_by or ())
    if json:
        render.print_json(document.model_dump(mode="json", by_alias=True))
        return
    if document.SCHEMA == "rushlight/space-plan":
        _show_space(document)
    else:
        _show(document)
    render.note(f"written to {folder}: plan.json, {', '.join(document.pictures)}")


def _tolerance(
    rig: Path, folder: Path, draws: int, seed: int, doubts: Sequence[str], json: bool
) -> None:
    from rushlight.cli import render, tolerance_tables
    from rushlight.jobs.tolerance import PICTURE_FILE, TOLERANCE_FILE
    from rushlight.jobs.tolerance import tolerance as job

    with render.progress() as progress:
        document = job(rig, folder, draws, seed, progress, doubts)
    if json:
        render.print_json(document.model_dump(mode="json", by_alias=True))
        return
    render.heading(f"{document.rig_name}: how sure the plan is")
    render.note("Everything here is predicted, nothing measured.")
    for title, columns, rows in tolerance_tables.tables(document):
        render.table(title, columns, rows)
    render.note("\n".join(document.sentences))
    render.heading("Assumed")
    render.note("\n".join(f"· {each}" for each in document.assumptions))
    render.note(f"written to {folder}: {TOLERANCE_FILE}, {PICTURE_FILE}")


def _show(document: Plan) -> None:
    from rushlight.cli import plan_tables

    _shown(document, plan_tables.in_short(document), plan_tables.tables(document))


def _show_space(document: SpacePlan) -> None:
    from rushlight.cli import space_tables

    _shown(document, space_tables.in_short(document), space_tables.tables(document))


def _shown(document: Plan | SpacePlan, short: list[str], tables: list[Table]) -> None:
    from rushlight.cli import plan_tables, render

    below = plan_tables.below(document)
    render.heading(f"{document.rig_title or document.rig_name}: what can be expected")
    if document.rig_basis == "invented":
        render.note("The rig is invented; everything here is predicted, nothing measured.")
    for line in short:
        render.note(line)
    for title, columns, rows in tables:
        render.table(title, columns, rows)
        if rows and title in below:
            render.note(below[title] + "\n")
    render.heading("Eyes and hands")
    render.note("\n\n".join(document.cautions.values()))
    render.heading("Findings")
    render.findings([each.finding() for each in document.findings])
    render.heading("Assumed")
    render.note("\n".join(f"· {each}" for each in document.assumptions))
