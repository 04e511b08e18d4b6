"""The verb `demo`."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path
from typing import Annotated

import typer


def demo(
    scenario: Annotated[
        str,
        typer.Option(
            help="Which invented rig: barn-wall, paper-theatre, ferry-model or choir-baton."
        ),
    ] = "barn-wall",
    out: Annotated[Path, typer.Option(help="Folder to work in.")] = Path("demo-out"),
    seed: Annotated[int, typer.Option(min=0, help="Of the simulated room, hands and noise.")] = 7,
) -> None:
    """Take an invented rig through every stage, from plan to kit, on simulated footage."""
    from rushlight.cli import render
    from rushlight.jobs.demo import demo as job

    with render.progress() as progress:
        result = job(scenario, out, seed, progress)
    render.heading(f"{scenario}: everything here is invented, and all footage is simulated")
    if result.place:
        render.heading(
            "Where a search would put the camera (predicted; the rig keeps its own place)"
        )
    for line in result.place:
        render.note(line)
    render.table("", ["what", "how much"], result.summary)
    render.note(f"every stage's files: {result.folder.absolute()}")
    render.note(f"kit to pass on: {result.archive}")
    render.note(f"kit, open index.html in it: {result.kit}")
    render.note(f"look at all of it in the browser: {_this_program()} bench {result.folder}")


def _this_program() -> str:
    """As a shell in this folder calls it: by its name, or by its path where that is not known."""
    own = Path(sys.executable).with_name("rushlight")
    if shutil.which("rushlight") or not own.exists():
        return "rushlight"
    return os.path.relpath(own)
