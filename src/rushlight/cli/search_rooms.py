"""What `search --rooms` prints: a recommendation a room."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from rushlight.cli.rounding import digits

if TYPE_CHECKING:
    from rushlight.records.search_rooms import RoomsResult

SHOWN = 40
"""Rooms in the printed table; the files hold them all."""


def survey(
    rig: Path,
    table: Path,
    out: Path | None,
    bounds: tuple[int | None, int | None],
    crew: tuple[int | None, str | None],
    json: bool,
) -> None:
    """Search in every room of a table and print what is recommended.

    Parameters
    ----------
    bounds, crew
        Seed and generations; workers and the scheduler's address.
    """
    from rushlight.cli import render
    from rushlight.jobs.search_rooms import (
        ROOMS_FILE,
        ROOMS_TABLE,
        default_folder,
        search_rooms,
    )

    folder = out or default_folder(rig)
    try:
        with render.progress() as progress:
            result = search_rooms(rig, table, folder, *bounds, *crew, progress)
    except KeyboardInterrupt:
        render.aside("stopped by the user; the same command goes on from the rooms that are done")
        raise typer.Exit(130) from None
    if json:
        render.print_json(result.model_dump(mode="json", by_alias=True))
        return
    _show(result)
    render.note(f"written to {folder}: {ROOMS_FILE}, {ROOMS_TABLE}")


def _show(result: RoomsResult) -> None:
    from rushlight.cli import render
    from rushlight.plan.search_limits import findings_of

    render.heading(f"{result.table}: what fits in {result.fitting} of {len(result.rooms)} rooms")
    render.note("Everything here is predicted, nothing measured.")
    rows: list[list[object]] = []
    warned = any(each.taken.warned for each in result.rooms if each.taken)
    more = 1 if warned else 0
    for each in result.rooms[:SHOWN]:
        one = each.taken
        if one is None:
            rows.append([each.room, "nothing fits", *[None] * (5 + more)])
            continue
        rows.append(
            [
                each.room,
                one.place,
                f"{one.camera}, {one.filter or 'no filter'}, {one.emitter}",
                f"{one.cost:.2f}",
                digits(1e3 * one.error_rms_m),
                f"{100 * one.coverage:.0f}",
                ", ".join(one.missed) or "none",
                *([", ".join(one.warned) or "nothing"] if warned else []),
            ]
        )
    columns = [
        "room", "place", "parts", f"cost [{result.currency}]", "error [mm]", "covers [%]", "misses",
        *(["warned of"] if warned else []),
    ]  # fmt: skip
    render.table(f"The first {len(rows)} rooms", columns, rows)
    for each in result.rooms[:SHOWN]:
        if each.taken is None:
            render.note(f"{each.room}: {' '.join(each.why)}")
    render.note(
        f"All that fit cost {result.sum_of_costs:.2f} {result.currency} together, by the "
        "parts whose price is known."
    )
    found = findings_of([(each.room, tuple(one.finding() for one in each.findings))
                         for each in result.rooms])  # fmt: skip
    if found:
        render.heading("Findings")
        render.findings(found)
    told = list(dict.fromkeys(text for each in result.rooms for text in each.cautions.values()))
    if told:
        render.heading("Eyes and hands")
        render.note("\n\n".join(told))
    render.heading("Assumed")
    render.note("\n".join(f"· {each}" for each in result.assumptions))
