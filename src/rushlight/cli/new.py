"""The verb `new`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def new(
    folder: Annotated[Path, typer.Argument(help="Folder in which the rig shall lie.")],
    kind: Annotated[
        str, typer.Option(help="Kind of rig: surface, viewpoint, body or volume.")
    ] = "surface",
    name: Annotated[
        str | None, typer.Option(help="The rig's id; the folder's name if left out.")
    ] = None,
) -> None:
    """Write a commented rig to start from."""
    from rushlight.cli import render
    from rushlight.jobs.new import new as job

    path = job(folder, kind, name)
    render.note(f"wrote {path}")
    render.note("next: change it to suit your room, then run")
    render.note(f"  rushlight check {path}")
