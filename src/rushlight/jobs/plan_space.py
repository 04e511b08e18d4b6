"""What a viewpoint, body or volume rig can be expected to do: `plan.json` and its pictures."""

from __future__ import annotations

from pathlib import Path

from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.plan.space_evaluate import CELLS
from rushlight.plan.space_planning import SpacePlanned, plan_space
from rushlight.records.document import write_bytes
from rushlight.records.rig import Rig
from rushlight.records.space_plan import SpacePlan


def in_space(rig: Rig) -> bool:
    """Whether a rig is planned in space: every rig that does not hold the kind surface."""
    return "surface" not in rig.kinds


def write_space_plan(rig: Path, folder: Path, file: str, progress: Progress = silent) -> SpacePlan:
    """Plan a rig of space, and write the plan with its pictures.

    Parameters
    ----------
    rig
        The rig's file, or its folder.
    folder
        To write to.
    file
        Name of the plan's document there.
    progress
        Told how far the work is.

    Raises
    ------
    RushlightError
        When the rig is wrong, or the folder cannot be written.
    """
    planned = planned_space(rig, progress)
    progress("drawing", 0.0)
    from rushlight.jobs.plan import wiring_pictures
    from rushlight.plan.space_pictures import draw_space

    shelf = load_rig(rig)[1]
    pictures = draw_space(planned) | wiring_pictures(planned.plan.circuits, shelf)
    document = planned.plan.model_copy(
        update={"pictures": {name: shows for name, (_, shows) in pictures.items()}}
    ).stamped("predicted", inputs={"rig": planned.plan.rig})
    for name, (picture, _) in pictures.items():
        write_bytes(folder / name, picture)
    document.write(folder / file)
    progress("drawing", 1.0)
    return document


def planned_space(
    rig: Path, progress: Progress = silent, cells: tuple[int, int, int] = CELLS
) -> SpacePlanned:
    """Plan a rig of space without writing anything.

    Raises
    ------
    RushlightError
        When the rig is wrong.
    """
    document, shelf = load_rig(rig)
    return plan_space(document, shelf, cells, rig_path(rig).name, progress)
