"""The verb `search`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rushlight.errors import RushlightError

if TYPE_CHECKING:
    from rushlight.records.search import SearchResult


def search(
    rig: Annotated[Path, typer.Argument(help="The rig's file, or its folder.")],
    out: Annotated[
        Path | None, typer.Option(help="Folder to write to; by default search beside the rig.")
    ] = None,
    seed: Annotated[
        int | None, typer.Option(help="Of the optimiser; by default as the rig says.")
    ] = None,
    generations: Annotated[
        int | None, typer.Option(help="How long to breed; by default as the rig says.")
    ] = None,
    rooms: Annotated[
        Path | None, typer.Option(help="A table (CSV) of rooms: search in each of them.")
    ] = None,
    workers: Annotated[
        int | None, typer.Option(help="With --rooms: processes here; by default one a processor.")
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="With --rooms: a cluster's scheduler (Dask)."),
    ] = None,
    draws: Annotated[
        int | None,
        typer.Option(
            help="Rigs drawn of each winner shown, for the probability that all targets are met; "
            "64 by default, 0 leaves it out, else 20 to 10000."
        ),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Find parts and a camera's place for a rig: cost against error, coverage, delay, hours."""
    from rushlight.cli import render
    from rushlight.jobs.search import DRAWS, default_folder
    from rushlight.jobs.search import search as job
    from rushlight.jobs.search_space import is_search_in_space

    if draws is not None and (rooms is not None or is_search_in_space(rig)):
        raise RushlightError.of(
            "--draws",
            str(draws),
            "is for a search on a surface, in one room",
            "leave it out",
            "draws",
        )
    if rooms is not None:
        from rushlight.cli.search_rooms import survey

        survey(rig, rooms, out, (seed, generations), (workers, scheduler), json)
        return
    if workers is not None or scheduler is not None:
        raise RushlightError.of(
            "--workers" if workers is not None else "--scheduler",
            str(workers if workers is not None else scheduler),
            "is for a search in many rooms",
            "give a table of rooms with --rooms, or leave it out",
            "rooms",
        )
    folder = out or default_folder(rig)
    if is_search_in_space(rig):
        from rushlight.cli.search_space import show
        from rushlight.jobs.search_space import search_in_space

        with render.progress() as progress:
            found = search_in_space(rig, folder, seed, generations, progress)
        if json:
            render.print_json(found.model_dump(mode="json", by_alias=True))
        else:
            show(found, folder)
        return
    try:
        with render.progress() as progress:
            count = DRAWS if draws is None else draws
            result = job(rig, folder, seed, generations, progress, count)
    except KeyboardInterrupt:
        render.aside("stopped by the user; the same command goes on from where it was")
        raise typer.Exit(130) from None
    if json:
        render.print_json(result.model_dump(mode="json", by_alias=True))
        return
    _show(result)
    render.note(f"written to {folder}: search.json, {', '.join(result.pictures)}")


def _show(result: SearchResult) -> None:
    from rushlight.cli import render, search_tables

    render.heading(f"{result.rig_name}: what was found")
    if result.rig_basis == "invented":
        render.note("The rig is invented; everything here is predicted, nothing measured.")
    for line in result.why:
        render.note(line)
    for title, columns, rows in search_tables.tables(result):
        render.table(title, columns, rows)
    for line in search_tables.to_write(result):
        render.note(line)
    search_tables.show_prices(result)
    render.heading("Eyes and hands")
    render.note("\n\n".join(result.cautions.values()))
    if result.findings:
        render.heading("Findings")
        render.findings([each.finding() for each in result.findings])
    render.heading("Assumed")
    render.note("\n".join(f"· {each}" for each in result.assumptions))
