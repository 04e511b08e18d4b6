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
    preview: Annotated[
        bool,
        typer.Option(
            "--preview",
            help="Write nothing: tell what a kit of what lies beside the rig would hold.",
        ),
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="Print what was made as JSON.")] = False,
) -> None:
    """Publish a rig as a kit that others can build by: a page, drawings, data and checks."""
    from rushlight.cli import render
    from rushlight.jobs.kit import kit as job

    if preview:
        given = {
            "--plan": plan, "--assessment": assessment, "--registration": registration,
            "--session": session, "--out": out,
        }  # fmt: skip
        _preview(rig, [name for name, value in given.items() if value], json)
        return
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


def _preview(rig: Path, given: list[str], json: bool) -> None:
    from rushlight.cli import render
    from rushlight.errors import RushlightError
    from rushlight.jobs.kit_preview import kit_preview

    if given:
        raise RushlightError.of(
            ", ".join(given), "", "is not heeded by --preview, which takes what is beside the rig",
            "leave it out", "kit-preview-options",
        )  # fmt: skip
    with render.progress() as progress:
        shown = kit_preview(rig, progress=progress)
    told = shown.as_dict()
    if json:
        render.print_json(told)
        return
    render.heading(f"{told['title']}: edition {told['edition']} ({told['basis']}), not written")
    for notice in (*told["notices"], *told["cautions"]):
        render.note(notice)
    render.table(
        "Files",
        ["file", "what it is", "rests on"],
        [[file["path"], file["role"], file["basis"]] for file in told["files"]],
    )
    render.heading("What is missing before publishing")
    render.findings([*shown.lacking, *shown.made.findings])
    state = "it lies there already" if shown.is_published else "it would lie"
    render.note(f"{state} in {shown.folder}")
