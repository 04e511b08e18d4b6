"""The verb `check`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def check(
    rig: Annotated[Path, typer.Argument(help="The rig's file, or its folder.")],
    json: Annotated[bool, typer.Option("--json", help="Print the findings as JSON.")] = False,
) -> None:
    """Tell what is wrong or doubtful about a rig; exit code 2 when something is wrong."""
    from rushlight.cli import plan_tables_eyes, render
    from rushlight.jobs.check import check as job
    from rushlight.physics.cautions import DEFER

    result = job(rig)
    if json:
        render.print_json(result.as_dict())
    else:
        render.findings(result.findings)
        if result.passed and result.rig:
            render.note(f"{result.rig.name}: no errors")
            for title, columns, rows in plan_tables_eyes.tables(result.eyes, result.beams):
                render.table(title, columns, rows)
            render.note(DEFER)
    if not result.passed:
        raise typer.Exit(2)
