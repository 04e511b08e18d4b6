"""What a rig can be expected to do: `plan.json` and its pictures."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.plan_space import in_space, write_space_plan
from rushlight.jobs.progress import Progress, silent
from rushlight.plan.planning import Planned, plan_rig
from rushlight.records.circuit import PlanCircuit
from rushlight.records.document import write_bytes
from rushlight.records.plan import Plan
from rushlight.records.space_plan import SpacePlan
from rushlight.shelf.catalogue import Shelf

PLAN_FILE = "plan.json"
_MOST_PLACES = 60


def plan(
    rig: Path,
    out: Path | None = None,
    grid: tuple[int, int] = (9, 6),
    progress: Progress = silent,
    touched_by: Sequence[str] = (),
) -> Plan | SpacePlan:
    """Plan a rig, and write the plan with its pictures.

    Parameters
    ----------
    rig
        The rig's file, or its folder.
    out
        Folder to write to; by default ``plan`` beside the rig.
    grid
        Columns and rows of places to look at, each 2 to 60; of surface rigs only.
    progress
        Told how far the work is.
    touched_by
        Ids of the carried things that touch the beacons; every stylus where none is given. Of
        surface rigs only.

    Returns
    -------
    Plan or SpacePlan
        As written to ``plan.json``; the latter for rigs that hold no surface kind.

    Raises
    ------
    RushlightError
        When the rig is wrong or cannot be computed, the grid is too small or large, or the
        folder cannot be written.
    """
    folder = default_folder(rig) if out is None else out
    if in_space(load_rig(rig)[0]):
        return write_space_plan(rig, folder, PLAN_FILE, progress)
    planned = planned_rig(rig, grid, progress, touched_by)
    progress("drawing", 0.0)
    from rushlight.plan.pictures import draw_all

    rig_record, shelf = load_rig(rig)
    pictures = draw_all(planned, tuple(person.id for person in rig_record.people))
    pictures |= wiring_pictures(planned.plan.circuits, shelf)
    document = planned.plan.model_copy(
        update={"pictures": {name: shows for name, (_, shows) in pictures.items()}}
    ).stamped("predicted", inputs={"rig": planned.plan.rig})
    for name, (picture, _) in pictures.items():
        write_bytes(folder / name, picture)
    document.write(folder / PLAN_FILE)
    progress("drawing", 1.0)
    return document


def wiring_pictures(circuits: list[PlanCircuit], shelf: Shelf) -> dict[str, tuple[bytes, str]]:
    """A drawing of every circuit whose supply is known."""
    from rushlight.publish.wiring import circuits_of, wiring_drawing

    drawable = [each for each in circuits_of(circuits, shelf) if each.drawable]
    drawings = [wiring_drawing(each, f"wiring-{i}") for i, each in enumerate(drawable, start=1)]
    return {f"{each.name}.svg": (each.svg.encode(), each.title) for each in drawings}


def planned_rig(
    rig: Path,
    grid: tuple[int, int] = (9, 6),
    progress: Progress = silent,
    touched_by: Sequence[str] = (),
) -> Planned:
    """Plan a rig without writing anything; arguments and errors as `plan`."""
    columns, rows = grid
    if not (2 <= columns <= _MOST_PLACES and 2 <= rows <= _MOST_PLACES):
        raise RushlightError.of(
            "grid",
            f"{columns}x{rows}",
            f"has a side outside 2 to {_MOST_PLACES}",
            'give columns and rows as "9x6"',
            "grid",
        )
    document, shelf = load_rig(rig)
    return plan_rig(document, shelf, columns, rows, rig_path(rig).name, progress, touched_by)


def default_folder(rig: Path) -> Path:
    """Where a rig's plan is written unless said otherwise."""
    return rig_path(rig).parent / "plan"


def grid_of(text: str) -> tuple[int, int]:
    """Columns and rows of a text such as "9x6".

    Raises
    ------
    RushlightError
        When the text is nothing of the kind.
    """
    parts = text.lower().replace("×", "x").split("x")
    if len(parts) != 2 or not all(part.strip().isdecimal() for part in parts):
        raise RushlightError.of(
            "grid", f'"{text}"', "is not columns x rows", 'write it as "9x6"', "grid"
        )
    return int(parts[0]), int(parts[1])
