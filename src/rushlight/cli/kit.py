"""The verb `kit`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def kit(
    rig: Annotated[Path, typer.Argument(help="The rig's file, or its folder.")],
    plan: Annotated[
        Path | None, typer.Option(help="A plan of this rig; without one it is planned now.")
    ] = None,
    assessment: Annotated[Path | None, typer.Option(help="What sessions of it showed.")] = None,
    registration: Annotated[Path | None, typer.Option(help="A registration of it.")] = None,
    session: Annotated[
        list[Path] | None, typer.Option(help="A session to add as tables; repeatable.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder to write to; by default kit beside the rig.")
    ] = None,
    edition: Annotated[int, typer.Option(help="Number of the release.")] = 1,
    json: Annotated[bool, typer.Option("--json", help="Print what was made as JSON.")] = False,
) -> None:
    """Publish a rig as a kit that others can build by: a page, drawings, data and checks."""
    from rushlight.cli import render
    from rushlight.jobs.kit import kit as job

    with render.progress() as progress:
        result = job(
            rig,
            plan=plan,
            assessment=assessment,
            registration=registration,
            sessions=session or (),
            out=out,
            edition=edition,
            progress=progress,
        )
    if json:
        render.print_json(result.as_dict())
        return
    render.heading(f"{result.kit.rig.title or result.kit.name}: edition {result.kit.edition}")
    for notice in result.kit.notices:
        render.note(notice)
    render.table(
        "Files",
        ["file", "what it is", "rests on"],
        [[file.path, file.role, file.basis] for file in result.kit.files],
    )
    render.findings(result.findings)
    render.note(f"written to {result.folder}, and as {result.zip}")
    render.note(f"read it: {result.folder / 'index.html'}")
